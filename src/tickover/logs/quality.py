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
_LEAP = {"coolant_temperature": 10.0, "oil_temperature": 10.0}  # no engine does this between two polls [°C]


def frozen_tail(same: Bools, period: float) -> int:
    """Rows at the end that only repeat one row, long after the next poll was due.

    Args:
        same: whether each row equals the one before in every column, shape (rows,).
        period: rows from poll to poll.
    Returns: how many rows at the end are frozen; 0 where the last polls still moved.
    """
    moved = np.flatnonzero(~same)
    run = len(same) - 1 - int(moved[-1]) if len(moved) else max(len(same) - 1, 0)
    return run if run >= max(8, 5 * period) else 0


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
    """Sensors that jump between two polls as no engine does: a bad contact, or an open line."""
    out = []
    for name, limit in _LEAP.items():
        series = recording.get(name)
        if series is None or len(series) < 2:
            continue
        jump = np.abs(np.diff(series.value))
        soon = series.t_hi[1:] - series.t_hi[:-1] < 30
        count = int(np.count_nonzero((jump > limit) & soon))
        if count:
            at = int(np.argmax(np.where(soon, jump, 0)))
            out.append(
                f"The {signal(name).label} sensor leaps {count} times, by up to {jump[at]:g} °C at "
                f"{series.t_hi[at + 1]:.0f} s: look at its contact before trusting it."
            )
    return tuple(out)


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
