"""Clocks of twelve hours, dates in a column of their own, and what becomes of what is no time."""

import polars as pl
import pytest

from tickover.errors import LogFileError
from tickover.logs import read_log_report
from tickover.logs.stamps import days_of, seconds_of

FROM = 86_400 - 30  # half a minute before midnight [s]


def clock(s):
    s %= 86_400
    return f"{s // 3600:02d}:{s // 60 % 60:02d}:{s % 60:02d}"


def twelve(s, half=True):
    hour = s // 3600 % 24
    return f"{(hour - 1) % 12 + 1}:{s // 60 % 60:02d}:{s % 60:02d}" + (f" {'AM' if hour < 12 else 'PM'}" * half)


def day(s, form):
    return form.format(17 + s // 86_400)


def put(tmp_path, header, row, n=90):
    path = tmp_path / "log.csv"
    path.write_text("\n".join([header, *(row(i) for i in range(n))]), encoding="utf-8")
    return path


@pytest.mark.parametrize(
    ("header", "row"),
    [
        ("Time,Engine RPM", lambda i: f"{twelve(FROM + i)},{700 + i % 7}"),
        ("Time,Engine RPM", lambda i: f"{twelve(43_170 + i).lower()},{700 + i % 7}"),
        ("Time,Engine RPM", lambda i: f"{twelve(46_770 + i, half=False)},{700 + i % 7}"),  # 12:59:59, then 1:00:00
        ("Time,Engine RPM", lambda i: f"17.05.2026 {clock(36_000 + i)},{700 + i % 7}"),
        ("Timestamp,Engine RPM", lambda i: f"{day(FROM + i, '5/{}/2026')} {twelve(FROM + i)},{700 + i % 7}"),
        ("Date,Time,Engine RPM", lambda i: f"{day(FROM + i, '2026-05-{}')},{clock(FROM + i)},{700 + i % 7}"),
        ("Date,Time,Engine RPM", lambda i: f"{day(FROM + i, '{}/05/2026')},{twelve(FROM + i)},{700 + i % 7}"),
        ("Date,Time,Engine RPM", lambda i: f"{day(FROM + i, '202605{}')},{clock(FROM + i)},{700 + i % 7}"),
        ("Engine RPM;Uhrzeit;Datum", lambda i: f"{700 + i % 7};{clock(FROM + i)};{day(FROM + i, '{}.05.2026')}"),
        ("Date,Time,Name,Value", lambda i: f"{day(FROM + i, '{}.05.2026')},{twelve(FROM + i)},RPM,{700 + i % 7}"),
    ],
)
def test_clocks_and_dates_in_one_column_or_two(tmp_path, header, row):
    recording, report = read_log_report(put(tmp_path, header, row))
    t = recording["engine_speed"].t_hi
    assert (len(t), t[-1] - t[0]) == (90, 89)
    assert report.left == ()
    assert report.rows_in == report.rows_out


def test_a_pause_of_two_days_needs_the_date(tmp_path):
    path = put(
        tmp_path, "Date,Time,Engine RPM", lambda i: f"{17 + 2 * (i > 44)}.05.2026,{clock(36_000 + i)},{700 + i % 7}"
    )
    recording, report = read_log_report(path)
    assert recording["engine_speed"].t_hi[-1] - recording["engine_speed"].t_hi[0] == 2 * 86_400 + 89
    assert any("172801.0 s" in g for g in report.gaps)
    assert [c.header for c in report.used if c.name == "time"] == ["Date", "Time"]


def test_a_date_without_a_clock_is_no_time(tmp_path):
    path = put(tmp_path, "Date,Engine RPM,Engine run time", lambda i: f"17.05.2026,{700 + i % 7},{i // 2}")
    report = read_log_report(path)[1]
    assert report.time_base == "engine run time"
    assert [(c.header, c.reason) for c in report.left] == [("Date", "a date without a clock")]
    with pytest.raises(LogFileError, match="no column tells the time"):
        read_log_report(put(tmp_path, "Date,Engine RPM", lambda i: f"17.05.2026,{700 + i % 7}"))


def test_a_stopwatch_needs_no_date(tmp_path):
    report = read_log_report(put(tmp_path, "Date,Time (s),Engine RPM", lambda i: f"20260517,{i},{700 + i % 7}"))[1]
    assert report.seconds == 89
    assert [c.header for c in report.left] == ["Date"]


def test_day_and_month_are_told_by_the_shorter_log():
    days = days_of(pl.Series(["31/05/2026", "01/06/2026"]))
    assert days[1] - days[0] == 1
    days = days_of(pl.Series(["05/31/2026", "06/01/2026"]))
    assert days[1] - days[0] == 1
    days = days_of(
        pl.Series(["05/06/2026", "06/06/2026"])
    )  # either way round; a month would be the naive answer of one
    assert days[1] - days[0] == 1


def test_noon_and_midnight_of_twelve_hours():
    at = seconds_of(pl.Series(["12:00:00 AM", "1:00:00 AM", "12:00:00 PM", "1:00:00 pm", "11:59 p.m."]))
    assert at.tolist() == [0, 3600, 43_200, 46_800, 86_340]
