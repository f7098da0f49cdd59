"""What the reader says about the real recordings: no unit doubted that is right, and a wrong one found."""

import csv
from pathlib import Path

import numpy as np
import pytest

from tickover.logs import read_log, read_log_report

LOGS = Path(__file__).resolve().parents[3] / "shared" / "data" / "car-log"
pytestmark = pytest.mark.skipif(not LOGS.is_dir(), reason="the recordings in ../shared/data are not here")


def rewritten(name, column, change, tmp_path):
    """The log with one column's numbers changed, in a file of its own."""
    with (LOGS / f"{name}.csv").open() as stream:
        rows = list(csv.reader(stream))
    at = next(i for i, h in enumerate(rows[0]) if h.startswith(column))
    for row in rows[1:]:
        if len(row) > at and row[at]:
            row[at] = f"{change(float(row[at])):.2f}"
    path = tmp_path / "changed.csv"
    path.write_text("\n".join(",".join(r) for r in rows))
    return path


def test_no_unit_of_the_real_logs_is_doubted():
    """Data: all 25 logs are in the units of SAE J1979; a rule that doubts one of them is a false alarm."""
    for path in sorted(LOGS.glob("*.csv")):
        report = read_log_report(path, displacement=1.496)[1]
        assert report.suspicions == (), path.name
        assert report.impossible == (), path.name


def test_full_warm_up_counters_are_said():
    """Data: warm-ups 255 means 255 or more (idle7); after a memory clear the counter is low (idle31)."""
    assert any("255 or more" in s for s in read_log_report(LOGS / "idle7.csv")[1].saturated)
    assert read_log_report(LOGS / "idle31.csv")[1].saturated == ()


def test_the_first_drive_after_a_clear_is_read_as_it_was():
    """Data: drive10, long trim exactly 0 until 906 s of run time, purge from 859 s; rows as seconds give twice that."""
    log = read_log(LOGS / "drive10.csv")
    for name, expected in (("long_trim_1", 906), ("purge_command", 859)):
        series = log[name]
        first = int(np.flatnonzero(series.value != 0)[0])
        assert log["run_time"].hold([series.t_hi[first]])[0] == expected
        assert series.t_hi[first] == pytest.approx(expected, abs=3)


@pytest.mark.parametrize(("name", "rises_at"), [("idle31", 354), ("ufpe15", 110), ("ufpe11", 109)])
def test_the_warm_up_counter_rises_where_it_did(name, rises_at):
    """Data: warm-up counter rises at 354 s in idle31, 110 s in ufpe15, 109 s in ufpe11, by run time."""
    log = read_log(LOGS / f"{name}.csv")
    counter = log["warm_ups"]
    (rise,) = np.flatnonzero(np.diff(counter.value) > 0) + 1
    assert log["run_time"].hold([counter.t_hi[rise]])[0] == rises_at
    assert counter.value[rise] - counter.value[rise - 1] == 1


@pytest.mark.parametrize(
    ("name", "column", "change", "signal", "likely"),
    [
        ("idle7", "INTAKE_MANIFOLD_PRESSURE", lambda x: x * 10, "manifold_pressure", "hPa"),
        ("drive10", "VEHICLE_SPEED", lambda x: x / 1.609344, "vehicle_speed", "mph"),
        ("idle7", "COOLANT_TEMPERATURE", lambda x: x * 1.8 + 32, "coolant_temperature", "°F"),
        ("drive10", "INTAKE_AIR_TEMP", lambda x: x * 1.8 + 32, "intake_temperature", "°F"),
    ],
)
def test_a_wrong_unit_is_found_in_a_real_log(tmp_path, name, column, change, signal, likely):
    """Data: idle7 and drive10 with one column turned into another unit; that column, and it alone, is doubted."""
    found = read_log_report(rewritten(name, column, change, tmp_path), displacement=1.496)[1].suspicions
    assert [s.name for s in found] == [signal]
    assert found[0].likely[0] == likely
