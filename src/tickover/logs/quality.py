"""What is wrong with a log though every cell is a number: a frozen tail, stale values at key on, a leaping sensor."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from tickover.signals import Recording, signal

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

_SLOW = (
    "coolant_temperature",
    "intake_temperature",
    "oil_temperature",
    "ambient_temperature",
    "catalyst_temperature_1",
    "catalyst_temperature_2",
)
_STALE_STEP = 50.0  # a temperature that drops this far at its first refresh is from the drive before [°C]
_LEAP = {"coolant_temperature": 10.0, "oil_temperature": 10.0, "intake_temperature": 15.0}  # between two polls [°C]
_SOON = 30.0  # polls further apart than this say nothing of a leap [s]
# Faster than these no car changes, upwards or down, in a unit each second: an engine in neutral, tyres on a dry road.
_FASTEST = {"engine_speed": 12_000.0, "vehicle_speed": 60.0}
_LEAST_JUMP = {"engine_speed": 1_000.0, "vehicle_speed": 20.0}  # smaller ones may be rounding or a late stamp
_MOVES = 20  # rows that moved, before a standstill can be told from a steady signal


def frozen_tail(same: Bools, still: Bools, engine_speed: Floats, period: float) -> int:
    """Rows at the end in which nothing is measured any more, long after the next poll was due.

    Args:
        same: whether each row equals the one before in every column, time too, shape (rows,).
        still: the same without the columns of time: a logger may stamp on when the car has fallen silent.
        engine_speed: by row, NaN where it is not in it [r/min].
        period: rows from poll to poll.
    Returns: how many rows at the end are frozen; 0 where the last polls still moved. Where the time goes on, an engine
        that stands is no frozen tail, and the pause must be three times as long as any before it: a steady idle read
        to 50 r/min stands still for a while, too.
    """
    least = max(8, 5 * period)
    run = _still_at_end(same)
    if run >= least:
        return run
    run = _still_at_end(still)
    known = engine_speed[np.isfinite(engine_speed)]
    if run < least or not len(known) or known[-1] <= 0:
        return 0
    moves = np.flatnonzero(~still)
    longest = int(np.diff(moves).max()) - 1 if len(moves) > 1 else 0
    return run if len(moves) >= _MOVES and run > 3 * max(longest, 1) else 0


def _still_at_end(same: Bools) -> int:
    moved = np.flatnonzero(~same)
    return len(same) - 1 - int(moved[-1]) if len(moved) else max(len(same) - 1, 0)


def key_on_rows(engine_speed: Floats) -> int:
    """Rows before the engine first turned; 0 where it never does."""
    turning = np.flatnonzero(engine_speed > 0)
    return int(turning[0]) if len(turning) else 0


def stale_at_key_on(recording: Recording, start: float) -> tuple[str, ...]:
    """Temperatures whose value before the start belongs to the drive before.

    Args:
        recording: as read.
        start: when the engine first turned [s].
    Returns: a sentence for each.
    """
    out = []
    for name in _SLOW:
        series = recording.get(name)
        if series is None or not len(series):
            continue
        value = series.value
        first = np.flatnonzero(value[1:] != value[:-1])
        if len(first) and series.t_hi[first[0] + 1] <= start + 30:
            step = float(value[first[0] + 1] - value[0])
            if step < -_STALE_STEP:
                out.append(
                    f"{signal(name).label} at key on ({value[0]:g} °C) is stale: it falls to "
                    f"{value[first[0] + 1]:g} °C at its first refresh."
                )
    return tuple(s[0].upper() + s[1:] for s in out)


def leaps(recording: Recording) -> tuple[str, ...]:
    """Signals that jump between two polls as no car does: a bad contact, an open line, a lost byte.

    Args:
        recording: as read.
    Returns: a sentence for each.
    Source: limits are our own choice; see ``_LEAP`` and ``_FASTEST``.
    """
    out = []
    for name, limit in _LEAP.items():
        series = recording.get(name)
        if series is None or len(series) < 2:
            continue
        jump = np.abs(np.diff(series.value))
        found = np.flatnonzero((jump > limit) & (series.t_hi[1:] - series.t_hi[:-1] < _SOON))
        if len(found):
            at = int(found[np.argmax(jump[found])])
            out.append(
                f"The {signal(name).label} sensor leaps {_times(len(found))}, by up to {jump[at]:g} °C at "
                f"{series.t_hi[at + 1]:.0f} s: look at its contact before trusting it."
            )
    return tuple(out) + _jumps(recording)


def _jumps(recording: Recording) -> tuple[str, ...]:
    out = []
    for name, fastest in _FASTEST.items():
        series = recording.get(name)
        if series is None or len(series) < 2:
            continue
        jump = np.abs(np.diff(series.value))
        room = series.t_hi[1:] - series.t_lo[:-1]  # as far apart as the two instants may be
        found = np.flatnonzero((jump > fastest * room) & (jump > _LEAST_JUMP[name]))
        if len(found):
            at = int(found[np.argmax(jump[found])])
            out.append(
                f"{signal(name).label[:1].upper()}{signal(name).label[1:]} jumps {_times(len(found))} as no car does, "
                f"from {series.value[at]:g} to {series.value[at + 1]:g} {signal(name).unit} at "
                f"{series.t_hi[at + 1]:.1f} s: single values were lost or garbled."
            )
    return tuple(out)


def _times(count: int) -> str:
    return "once" if count == 1 else f"{count} times"


def impossible(columns: Mapping[str, Floats]) -> tuple[str, ...]:
    """Single values that no car has, where the column as a whole is in order; a sentence for each signal."""
    out = []
    for name, values in columns.items():
        entry = signal(name)
        count = int(np.count_nonzero((values < entry.lo) | (values > entry.hi)))
        if count:
            worst = float(np.nanmax(values)) if np.nanmax(values) > entry.hi else float(np.nanmin(values))
            plural, are = ("s", "are") if count > 1 else ("", "is")
            out.append(
                f"{count} value{plural} of {entry.label} {are} outside {entry.lo:g} to {entry.hi:g} {entry.unit} "
                f"(such as {worst:g})."
            )
    return tuple(out)


# Counters that stop at their last number. Source: SAE J1979 scaling; from memory of its appendix B.
_ENDS = {"warm_ups": 255.0, "distance_since_clear": 65535.0, "time_since_clear": 65535.0, "distance_lamp_on": 65535.0,
         "time_lamp_on": 65535.0, "run_time": 65535.0}  # fmt: skip


def saturated(recording: Recording) -> tuple[str, ...]:
    """Counters at their end; a sentence for each."""
    out = []
    for name, end in _ENDS.items():
        series = recording.get(name)
        if series is not None and len(series) and np.any(series.value >= end):
            out.append(f"{signal(name).label} reads {end:g}: that is {end:g} or more.")
    return tuple(s[0].upper() + s[1:] for s in out)


def gaps(t: Floats, row_period: float) -> tuple[str, ...]:
    """Pauses of the logger: steps in time far longer than a row takes.

    Args:
        t: when each row was written, rising [s].
        row_period: typical time from row to row [s].
    Returns: a sentence, or none.
    """
    steps = np.diff(t)
    long = np.flatnonzero(steps > max(2.0, 5 * row_period))
    if not len(long):
        return ()
    shown = ", ".join(f"{steps[i]:.1f} s at {t[i]:.0f} s" for i in long[:5])
    plural = "s" if len(long) > 1 else ""
    return (f"{len(long)} gap{plural} without rows: {shown}{' …' if len(long) > 5 else ''}.",)


def implausible(columns: Mapping[str, Floats]) -> dict[str, str]:
    """Signals whose values cannot be in the unit taken for them: half or more outside the plausible range."""
    out = {}
    for name, values in columns.items():
        known = values[np.isfinite(values)]
        entry = signal(name)
        if len(known) and np.mean((known < entry.lo) | (known > entry.hi)) > 0.5:
            out[name] = f"most values are outside {entry.lo:g} to {entry.hi:g} {entry.unit}"
    return out
