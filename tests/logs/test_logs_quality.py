"""The quality report: frozen tails, repeats, jumps and blank lines, each counted and each said."""

import numpy as np
import pytest

from tickover.idle import IdleReading, read_idle
from tickover.logs import read_log_report


def put(tmp_path, lines):
    path = tmp_path / "log.csv"
    path.write_text("\n".join(lines), encoding="utf-8")
    return path


def wide(n=200, freeze=0, stands=False):
    """A log with a clock; the last rows repeat all but the clock."""
    out, last = ["Time (s),Engine RPM,Coolant (°C),Throttle (%)"], ""
    for i in range(n):
        last = f"{700 + (i * 37) % 11 + (i * 13) % 5},{88 + i % 3},15.{i % 7}"
        out.append(f"{i / 4},{last}")
    last = "0,88,17.6" if stands else last
    return [*out, *(f"{(n + i) / 4},{last}" for i in range(freeze))]


def long(n=120, freeze=0, twice=()):
    out = ["time,signal,value"]
    for i in range(n + freeze):
        k = min(i, n - 1)
        pair = [f"{i / 2},Engine RPM,{700 + (k * 37) % 11}", f"{i / 2},Coolant,{88 + k % 3}"]
        out += pair + (pair if i in twice else [])
    return out


@pytest.mark.parametrize("lines", [wide(freeze=60), long(freeze=60)])
def test_a_tail_frozen_under_a_running_clock_is_left_out(tmp_path, lines):
    recording, report = read_log_report(put(tmp_path, lines))
    assert report.frozen_tail == 60
    assert report.rows_in == report.rows_out + report.frozen_tail
    assert recording["engine_speed"].t_hi[-1] < 60
    assert any("last 60 rows are frozen" in s for s in report.sentences())


def test_a_steady_idle_and_an_engine_that_stands_are_no_frozen_tail(tmp_path):
    coarse = ["Time (s),Engine RPM", *(f"{i / 4},{700 + 50 * (i // 40 % 2)}" for i in range(400))]
    assert read_log_report(put(tmp_path, coarse))[1].frozen_tail == 0
    assert read_log_report(put(tmp_path, wide(freeze=60, stands=True)))[1].frozen_tail == 0
    same = ["Time (s),Engine RPM", *(f"{i / 4},700" for i in range(400))]
    assert read_log_report(put(tmp_path, same))[1].frozen_tail == 0


def test_repeats_in_a_long_table_are_counted(tmp_path):
    report = read_log_report(put(tmp_path, long(twice=(7, 8, 50))))[1]
    assert report.duplicates == 3
    assert report.rows_out == 123
    assert any("246 values of 2 signals make 123 rows; 246 + 0 broken are its 246 lines" in r for r in report.remarks)
    assert read_log_report(put(tmp_path, long()))[1].duplicates == 0


def test_a_speed_that_jumps_as_no_car_does(tmp_path):
    lines = ["Time (s),Engine RPM,Speed (km/h)"]
    for i in range(200):
        lines.append(f"{i / 4},{7900 if i == 90 else 700 + i % 7},{80 if i == 150 else 0}")
    recording, report = read_log_report(put(tmp_path, lines))
    assert len(report.leaps) == 2
    assert "Engine speed jumps 2 times as no car does, from" in report.leaps[0]
    assert "80 km/h at 37.5 s" in report.leaps[1]
    assert recording["engine_speed"].value.max() == 7900  # said, not removed
    blip = ["Time (s),Engine RPM", *(f"{i / 4},{700 + 900 * max(0, 4 - abs(i - 90))}" for i in range(200))]
    assert read_log_report(put(tmp_path, blip))[1].leaps == ()


def test_blank_lines_and_key_on_rows_are_said(tmp_path):
    lines = wide()
    lines[1:6] = [f"{i / 4},0,88,17.6" for i in range(5)]
    lines.insert(100, "")
    lines.insert(50, "  \r")
    report = read_log_report(put(tmp_path, lines))[1]
    assert (report.blank_lines, report.blank_at) == (2, (51, 102))
    said = " ".join(report.sentences())
    assert "2 blank lines: line 51, 102." in said
    assert "The first 5 rows are key on, engine off." in said
    assert report.rows_in == report.rows_out == 200


def test_a_leaping_coolant_does_not_stop_the_idle_from_being_measured(tmp_path):
    rng = np.random.default_rng(4)
    lines = ["Time (s),Engine RPM,Coolant (°C),Speed (km/h)"]
    lines += [f"{i / 4},{700 + 6 * rng.normal():.2f},{-40 if i in (300, 301) else 88},0" for i in range(800)]
    recording, report = read_log_report(put(tmp_path, lines))
    assert "leaps 2 times, by up to 128 °C" in report.leaps[0]
    found = read_idle(recording, np.random.default_rng(1))
    assert isinstance(found, IdleReading)
    assert found.states[0].seconds > 180
    assert any("not warm" in (s.unused_because or "") for s in found.stretches)
