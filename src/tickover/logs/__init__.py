"""Files -> recordings: CSV of any ordinary shape, with a report of what was done; and a CSV of our own."""

from tickover.logs.naming import set_units
from tickover.logs.own import format_log, write_log
from tickover.logs.reader import read_log, read_log_report
from tickover.logs.report import BrokenRow, ColumnLeft, ColumnUsed, LogReport, Suspicion

__all__ = [
    "BrokenRow", "ColumnLeft", "ColumnUsed", "LogReport", "Suspicion", "format_log", "read_log", "read_log_report",
    "set_units", "write_log",
]  # fmt: skip
