"""Readings of real car logs, against values computed elsewhere; each tolerance shuts out the naive reading.

The naive reader takes the rows as they stand: every row a second, a sample and an idle of one kind.
"""

import csv
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from tickover.idle import IdleReading, compare, read_idle
from tickover.logs import read_log, read_log_report
from tickover.results import CannotTell, Quantity
from tickover.stats import autocorrelation, effective_samples

LOGS = Path(__file__).resolve().parents[3] / "shared" / "data" / "car-log"
pytestmark = pytest.mark.skipif(not LOGS.is_dir(), reason="the recordings in ../shared/data are not here")


def reading(name):
    found = read_idle(read_log(LOGS / f"{name}.csv"), np.random.default_rng(1))
    assert isinstance(found, IdleReading)
    return found


def naive(name, *wanted, warm=True):
    """Columns by position, every row of full width, as a reader without doubts takes them; warm rows where asked."""
    with (LOGS / f"{name}.csv").open() as stream:
        rows = list(csv.reader(stream))
    at = {h.split(" ")[0]: i for i, h in enumerate(rows[0])}
    full = [r for r in rows[1:] if len(r) >= len(rows[0]) - 1]
    table = np.array([[float(r[at[w]]) for w in ("COOLANT_TEMPERATURE", "ENGINE_RUN_TINE", *wanted)] for r in full])
    keep = (table[:, 0] >= 80) & (table[:, 1] >= 10) if warm else np.ones(len(table), dtype=bool)
    return table[keep][:, 2:].T


def speed_samples(name, start):
    series = read_log(LOGS / f"{name}.csv")["engine_speed"]
    return series.value[series.t_hi >= start]


def test_idle7_rows_refreshes_and_seconds():
    """Data: idle7, 947 s from 1,930 rows; 460 to 515 refreshes while warm; lag-one 0.57 to 0.63, of rows 0.89."""
    recording, report = read_log_report(LOGS / "idle7.csv")
    assert (report.rows_in, report.rows_out) == (1930, 1930)
    assert recording["run_time"].value[-1] - recording["run_time"].value[0] == 947
    assert report.seconds == pytest.approx(947, abs=5)  # 1,930 rows taken for seconds are twice that
    assert report.refresh_period["engine_speed"] == pytest.approx(1.80, abs=0.02)
    assert 460 <= reading("idle7").states[0].refreshes <= 515
    assert 0.57 <= autocorrelation(speed_samples("idle7", 17), 1)[1] <= 0.63
    (rows,) = naive("idle7", "ENGINE_RPM")
    assert autocorrelation(rows, 1)[1] == pytest.approx(0.89, abs=0.01)
    assert not 460 <= len(rows) <= 515


def test_idle7_reading():
    """Data: idle7, compressor off, mean 651.3, sd 6.1 r/min, total trim −1.89 %, 25 to 45 effective samples."""
    state = reading("idle7").states[0]
    assert len(reading("idle7").states) == 1
    assert state.speed.value == pytest.approx(651.3, abs=0.7)
    assert state.spread == pytest.approx(6.1, abs=0.7)
    assert state.trim.value == pytest.approx(-1.89, abs=0.05)
    assert 25 <= state.speed.n_eff <= 45
    # one column aside of the trims, as a reader gets that takes the first column for an index
    shifted = naive("idle7", "SHORT_TERM_FUEL_TRIM_BANK_1", "INTAKE_MANIFOLD_PRESSURE").sum(axis=0).mean()
    assert abs(shifted + 1.89) > 0.05


def test_idle7_first_order_and_rows_are_too_kind():
    """Data: idle7, a first-order estimate says about 128 effective samples where 25 to 45 are right; rows say more."""
    x = speed_samples("idle7", 17)
    r = autocorrelation(x, 1)[1]
    assert len(x) * (1 - r) / (1 + r) == pytest.approx(128, abs=8)
    assert 25 <= effective_samples(x).stated <= 45
    (rows,) = naive("idle7", "ENGINE_RPM")
    r = autocorrelation(rows, 1)[1]
    assert len(rows) * (1 - r) / (1 + r) > 45
    assert not 25 <= len(rows) <= 45


def test_idle25_reading():
    """Data: idle25, mean 650.1, sd 9.1 r/min, 95 to 150 effective samples, trim −1.50 %."""
    state = reading("idle25").states[0]
    assert state.speed.value == pytest.approx(650.1, abs=0.7)
    assert state.spread == pytest.approx(9.1, abs=0.7)
    assert 95 <= state.speed.n_eff <= 150
    assert state.trim.value == pytest.approx(-1.50, abs=0.05)
    (rows,) = naive("idle25", "ENGINE_RPM")
    assert not 95 <= len(rows) <= 150


def test_idle25_interval_is_not_that_of_rows():
    """Data: idle25, rows taken as independent make the interval less than half as wide as effective samples do."""
    state = reading("idle25").states[0]
    (rows,) = naive("idle25", "ENGINE_RPM")
    assert 1.96 * rows.std() / np.sqrt(len(rows)) < state.speed.half_width / 2


def test_idle1_two_load_states():
    """Data: idle1, compressor off 656 ± 3 r/min from 62 refreshes, on 852 ± 3; pooled 721 with sd 95."""
    found = reading("idle1")
    off, on = found.states
    assert (off.name, on.name) == ("loads off", "loads on")
    assert off.speed.value == pytest.approx(656, abs=3)
    assert off.refreshes == pytest.approx(62, abs=2)
    assert on.speed.value == pytest.approx(852, abs=3)
    (rows,) = naive("idle1", "ENGINE_RPM")
    assert rows.mean() == pytest.approx(721, abs=1)
    assert rows.std() == pytest.approx(95, abs=1)
    assert abs(rows.mean() - 656) > 3
    assert abs(rows.mean() - 852) > 3


def test_idle38_compressor_on():
    """Data: idle38, compressor on 859 r/min; off is only passed through."""
    found = reading("idle38")
    assert [s.name for s in found.states] == ["loads on"]
    assert found.states[0].speed.value == pytest.approx(859, abs=0.7)
    (rows,) = naive("idle38", "ENGINE_RPM")
    assert abs(rows.mean() - 859) > 0.7  # pooled


def test_idle6_off_is_refused():
    """Data: idle6, the off samples are only transitions: an off reading must be refused."""
    found = reading("idle6")
    assert found.state("loads off") is None
    assert found.state("one load state") is None
    assert any("loads off" in r.reason and "passing" in r.reason for r in found.refusals)
    (throttle,) = naive("idle6", "THROTTLE")
    assert np.count_nonzero(throttle < 17) > 40  # the naive split has an answer


def test_idle8_is_never_warm():
    """Data: idle8, never warm, must be refused; the rows have an engine running with the pedal up all the same."""
    found = read_idle(read_log(LOGS / "idle8.csv"), np.random.default_rng(1))
    assert isinstance(found, CannotTell)
    assert "warm" in found.reason
    assert "73 °C" in found.reason


def test_idle30_to_idle31_too_few_effective_samples():
    """Data: idle30 to idle31, +9.2 r/min, trim +0.42 to −2.35 %: too few effective samples for a claim."""
    before, after = reading("idle30"), reading("idle31")
    found = compare(before, after)
    assert found.verdict == "cannot tell"
    assert "effective samples" in found.sentence
    assert isinstance(found.difference, Quantity)
    assert found.difference.value == pytest.approx(9.2, abs=0.7)
    assert before.states[0].trim.value == pytest.approx(0.42, abs=0.05)
    assert after.states[0].trim.value == pytest.approx(-2.35, abs=0.05)
    # rows taken as independent samples make a firm claim of it
    (b,), (a,) = naive("idle30", "ENGINE_RPM"), naive("idle31", "ENGINE_RPM")
    z = (a.mean() - b.mean()) / np.hypot(a.std() / np.sqrt(len(a)), b.std() / np.sqrt(len(b)))
    assert z > 5


@pytest.mark.parametrize("name", ["idle31", "idle32"])
def test_a_handful_of_effective_samples(name):
    """Data: idle31 and idle32, only a handful of effective samples in 90 and more refreshes."""
    state = reading(name).states[0]
    assert state.refreshes > 85
    assert state.speed.n_eff < 8


@pytest.mark.parametrize(("name", "line", "fields"), [("idle1", 1214, 17), ("ufpe4", 1350, 23)])
def test_broken_rows_by_number(name, line, fields):
    """Data: trap 3, idle1 last row has 17 fields, ufpe4 last row 23: named by line and left out."""
    report = read_log_report(LOGS / f"{name}.csv")[1]
    assert [b.line for b in report.broken] == [line]
    assert f"{fields} fields" in report.broken[0].what
    text = (LOGS / f"{name}.csv").read_bytes().decode()
    assert len(text.split("\n")[line - 1].split(",")) == fields
    assert report.rows_out == report.rows_in - 1 == line - 2


@pytest.mark.parametrize(("name", "line"), [("idle2", 1227), ("live18", 3086)])
def test_a_row_of_one_field_is_named(name, line):
    """Data: trap 3, idle2 and live18 have one row of one field, which holds a carriage return alone: named by line."""
    report = read_log_report(LOGS / f"{name}.csv")[1]
    assert (report.blank_lines, report.blank_at) == (1, (line,))
    assert report.broken == ()
    assert report.rows_in == line - 2  # a reader that counts lines has one row more
    assert any(f"1 blank line: line {line}." in s for s in report.sentences())


def test_key_on_rows():
    """Data: trap 4, the first 3 to 15 rows are key on, engine off; idle2 and ufpe17 begin with the engine running."""
    for path in sorted(LOGS.glob("*.csv")):
        recording, report = read_log_report(path)
        if path.stem in ("idle2", "ufpe17"):
            assert report.key_on_rows == 0
            continue
        assert 3 <= report.key_on_rows <= 15, path.name
        assert recording.span[0] < 0  # before the start, by the engine's own clock
        assert recording["engine_speed"].value[0] == 0


def test_rows_are_not_seconds():
    """Data: trap 1, 2.04 rows per second of run time, each signal refreshed every 1.8 s or so; live5 to 12 slower."""
    for path in sorted(LOGS.glob("*.csv")):
        report = read_log_report(path)[1]
        rate, poll = (1.87, 2.02) if path.stem.startswith("live") and path.stem != "live18" else (2.04, 1.805)
        assert 1 / report.row_period == pytest.approx(rate, abs=0.045), path.name
        assert report.refresh_period["engine_speed"] == pytest.approx(poll, abs=0.06), path.name


def test_live5_to_12_are_rounded():
    """Data: trap 3, live5 to live12 have rounded numbers: loads of three decimals, where others have six."""
    for name in ("live5", "live6", "live10", "live12"):
        load = read_log(LOGS / f"{name}.csv")["engine_load"].value
        assert np.allclose(load, np.round(load, 3), atol=1e-9)
        assert len(read_log_report(LOGS / f"{name}.csv")[1].suspicions) == 0  # rounded is not another unit
    load = read_log(LOGS / "idle7.csv")["engine_load"].value
    assert not np.allclose(load, np.round(load, 3), atol=1e-9)


def test_no_real_car_jumps():
    """Data: in all 25 logs no sensor leaps and no speed jumps; a rule that says so of one of them is a false alarm."""
    for path in sorted(LOGS.glob("*.csv")):
        report = read_log_report(path)[1]
        assert report.leaps == (), path.name
        assert report.frozen_tail == 0, path.name  # none of these 25 ends in rows that stand still


def test_live6_has_no_time_since_clear():
    """Data: live6 has 24 fields throughout: time since clear and warm-ups are missing there, not zero."""
    recording, report = read_log_report(LOGS / "live6.csv")
    assert not {"time_since_clear", "warm_ups", "distance_lamp_on"} & set(recording)
    assert len([c for c in report.left if "no row" in c.reason]) == 3
    assert report.broken == ()


def test_columns_are_not_shifted():
    """Data: idle7, 27 names over 28 fields: minutes since clear are 8166, minutes with the lamp on 0."""
    recording = read_log(LOGS / "idle7.csv")
    assert recording["time_since_clear"].value[0] == 8166
    assert recording["time_lamp_on"].value[0] == 0
    assert recording["warm_ups"].value[0] == 255


@pytest.mark.parametrize(("name", "km"), [("drive10", 23.44), ("long10", 40.97), ("live5", 9.31)])
def test_distance_by_run_time(name, km):
    """Data: drive10, long10, live5 are 23.44, 40.97 and 9.31 km by run time, within 1 %."""
    series = read_log(LOGS / f"{name}.csv")["vehicle_speed"]
    steps = np.diff(series.t_hi)
    assert float(np.sum(series.value[:-1] * steps)) / 3600 == pytest.approx(km, rel=0.01)
    (speed,) = naive(name, "VEHICLE_SPEED", warm=False)
    assert speed.sum() / 3600 > 1.8 * km  # rows taken for seconds


def test_catalyst_temperature_is_stale_at_key_on():
    """Data: catalyst temperature is stale at key on in idle7 (458 °C), and said so."""
    report = read_log_report(LOGS / "idle7.csv")[1]
    assert any("Catalyst at key on (458.2 °C)" in s for s in report.stale)


def test_duplicates_are_counted():
    """Data: trap 1, 6 to 22 % of the rows repeat the one before exactly; counted here line by line as text."""
    for path in sorted(LOGS.glob("*.csv")):
        report = read_log_report(path)[1]
        assert 0.06 <= report.duplicates / report.rows_out <= 0.22, path.name
        lines = [line for line in path.read_bytes().decode().split("\n")[1:] if line.strip()]
        assert report.duplicates == sum(a == b for a, b in pairwise(lines)), path.name


def test_every_log_is_read_or_refused_with_a_reason():
    """Data: all 25 logs; counts in are counts out, and every reading or refusal has its reason."""
    assert len(list(LOGS.glob("*.csv"))) == 25
    for path in sorted(LOGS.glob("*.csv")):
        recording, report = read_log_report(path)
        assert report.rows_in == report.rows_out + len(report.broken) + report.backward + report.frozen_tail
        found = read_idle(recording, np.random.default_rng(1))
        if isinstance(found, CannotTell):
            assert found.reason
            assert found.way_out
        else:
            assert found.stretches[0].start == pytest.approx(recording.span[0], abs=3)
