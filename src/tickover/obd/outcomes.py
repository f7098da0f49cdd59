"""Service 06 on CAN: results of the monitors, and misfires counted by cylinder."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from tickover.errors import ReplyError
from tickover.obd.results import MonitorResult, MonitorResults, ResultState
from tickover.obd.scalings import MISFIRE_GENERAL, SCALINGS, is_misfire, monitor_name, name_of_test

RECORD = 9
"""Bytes of one result: monitor, test, scaling, value, lower and upper limit."""


def monitor_results(data: bytes, *, line: int | None = None) -> MonitorResults:
    """Decode the results of service 06.

    Args:
        data: the answer from its first byte, 46.
        line: for the error.
    Returns: the results. A value is signed where its scaling's number is 80 or more; limits likewise.
    Raises: ReplyError if there is not a whole number of nine-byte results.
    Source: SAE J1979; ISO 15765-4. That three zeros mean "not run" is from memory.
    Example: ``46 A2 0B 24 00 05 00 00 FF FF`` says 5 misfires in cylinder 1, smoothed.
    """
    body = data[1:]
    if not body or len(body) % RECORD:
        raise ReplyError(
            f"results come nine bytes at a time, {len(body)} are not a multiple",
            line=line,
            byte=len(data),
            way_out="Type the whole answer: 46, then monitor, test, scaling, value, least and most for each result.",
        )
    return MonitorResults(results=tuple(_result(body[i : i + RECORD]) for i in range(0, len(body), RECORD)))


def _result(record: bytes) -> MonitorResult:
    mid, tid, uas = record[:3]
    signed = uas >= 0x80
    value, lo, hi = (int.from_bytes(record[i : i + 2], "big", signed=signed) for i in (3, 5, 7))
    state: ResultState = "inside its limits" if lo <= value <= hi else "outside its limits"
    if value == lo == hi == 0:
        state = "not run"
    scaling = SCALINGS.get(uas)
    figures = [None if scaling is None else round(raw * scaling.scale + scaling.offset, 9) for raw in (value, lo, hi)]
    return MonitorResult(
        mid=mid,
        tid=tid,
        uas=uas,
        monitor=monitor_name(mid),
        test=name_of_test(tid),
        raw=(value, lo, hi),
        value=figures[0],
        lo=figures[1],
        hi=figures[2],
        unit="" if scaling is None else scaling.unit,
        state=state,
    )


def misfires(results: Iterable[MonitorResult], tid: int) -> dict[int, int]:
    """Misfires counted by cylinder, for comparing cylinders with each other, not with a limit.

    Args:
        results: of service 06.
        tid: ``MISFIRE_EWMA`` or ``MISFIRE_COUNT``.
    Returns: cylinder, from 1, to count; general data left out.
    Source: service information of makers, read; SAE J1979 for the numbers.
    """
    return {
        r.mid - MISFIRE_GENERAL: r.raw[0]
        for r in results
        if is_misfire(r.mid) and r.mid != MISFIRE_GENERAL and r.tid == tid
    }


def misfire_ewma(counts: Sequence[float], start: float = 0.0, *, rounded: bool = False) -> list[float]:
    """The smoothed misfire count after each driving cycle: a tenth of the new one, nine tenths of the old.

    Args:
        counts: misfires in each driving cycle, oldest first.
        start: the smoothed count before the first.
        rounded: whether the controller keeps whole numbers only (halves go up).
    Returns: one smoothed count a cycle.
    Source: formula and once a cycle from makers' service information, read; rounding from memory.
    Example: ``misfire_ewma([100, 100])`` is 10, 19.
    """
    found = []
    smoothed = start
    for count in counts:
        smoothed = 0.1 * count + 0.9 * smoothed
        if rounded:
            smoothed = float(int(smoothed + 0.5))
        found.append(smoothed)
    return found
