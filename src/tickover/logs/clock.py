"""When each row was written.

A time column is taken where there is one. Else the engine's own run time serves, which counts whole seconds and is
itself held between polls: each new second anchors one row, and a straight line through the neighbouring anchors places
the rows between, so that rows of one second are spread and the rows before the start get times below 0.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tickover.errors import LogFileError

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

_HALF_WINDOW = 15  # anchors on either side of the line through them
_STALL = 3.0  # a step this much longer than its rows suggest is a pause of the logger [s]
_EPOCH = 1e7  # seconds above this are a date, not a stopwatch


@dataclass(frozen=True)
class Clock:
    """Times of rows.

    Attributes:
        t: when each kept row was written, shape (n,), never falling [s].
        keep: which of the rows given were kept, shape (rows,).
        base: ``time column`` or ``engine run time``.
        why: in a sentence, why it was taken and how it was filled in.
        row_period: median time from row to row [s].
        remarks: pauses and restarts found.
    """

    t: Floats
    keep: Bools
    base: str
    why: str
    row_period: float
    remarks: tuple[str, ...] = ()


def from_time_column(raw: Floats, unit_given: bool, run_time: Floats | None) -> Clock | None:
    """Times from a column that says when each row was written.

    Args:
        raw: the column, already in seconds if the file gave its unit [s].
        unit_given: whether it did; else milliseconds are recognised by their steps.
        run_time: the engine's run time by row, to check the unit against [s].
    Returns: the clock, or None where the column does not move or is mostly empty.
    Raises: LogFileError (no file named yet) if more than 1 % of the rows run backwards.
    """
    filled = np.isfinite(raw)
    if filled.mean() < 0.5 or len(raw) < 2:
        return None
    t = np.where(filled, raw, np.nan)
    why = "the log has a time column"
    if not unit_given and _looks_like_ms(t[filled], None if run_time is None else run_time[filled]):
        t = t / 1000
        why += ", without a unit and by its steps in milliseconds"
    if abs(float(t[filled][0])) > _EPOCH:
        t = t - t[filled][0]
    best = np.maximum.accumulate(np.where(filled, t, -np.inf))
    keep = filled & (t >= best)
    backward = int(np.count_nonzero(filled & ~keep))
    if backward > max(3, 0.01 * len(t)):
        first = int(np.flatnonzero(filled & ~keep)[0])
        raise LogFileError(
            f"time runs backwards in {backward} rows", line=first, way_out="Sort the rows by time, or cut the log up."
        )
    t = t[keep]
    if len(t) < 2 or t[-1] <= t[0]:
        return None
    steps = np.diff(t)
    if np.mean(steps == 0) > 0.2:
        resolution = float(np.min(steps[steps > 0]))
        new = np.flatnonzero(steps > 0) + 1
        if len(new) >= 3:
            t = _through_anchors(len(t), new, t[new] + resolution / 2)[0]
            why += f"; it counts in steps of {resolution:g} s, rows of one step are spread"
    moving = np.diff(t)
    return Clock(t, keep, "time column", why, float(np.median(moving[moving > 0])))


def _looks_like_ms(t: Floats, run_time: Floats | None) -> bool:
    span = float(t[-1] - t[0])
    if run_time is not None and np.isfinite(run_time[[0, -1]]).all() and run_time[-1] - run_time[0] > 5:
        return 100 < span / float(run_time[-1] - run_time[0]) < 10_000
    steps = np.diff(t)
    steps = steps[steps > 0]
    if not len(steps) or not np.all(steps == np.round(steps)):
        return False
    # A row every 20, 30 or 60 s is written by hand or by a slow logger; milliseconds that short are never so round.
    middle = float(np.median(steps))
    return middle >= 100 or (middle >= 20 and bool(np.any(steps % 5 != 0)))


def from_run_time(run_time: Floats) -> Clock | None:
    """Times from the engine's run time, which counts whole seconds and is held between polls.

    Args:
        run_time: by row [s].
    Returns: the clock; 0 is the start of the engine. None where fewer than four seconds are counted.
    """
    filled = np.isfinite(run_time)
    if np.count_nonzero(filled) < 4:
        return None
    held = run_time[np.maximum.accumulate(np.where(filled, np.arange(len(run_time)), 0))]
    held = np.where(np.isfinite(held), held, run_time[filled][0])
    steps = np.diff(held)
    restarts = np.flatnonzero(steps < 0) + 1
    new = np.flatnonzero(steps > 0) + 1
    if len(new) < 4:
        return None
    period = float((held[new[-1]] - held[new[0]] - min(0.0, steps[restarts - 1].sum())) / max(1, new[-1] - new[0]))
    t = np.empty(len(held))
    offset = 0.0
    pauses = 0
    for begin, end in zip([0, *restarts], [*restarts, len(held)], strict=True):
        inside = new[(new > begin) & (new < end)]
        if len(inside) >= 2:
            # a new second shows up to one row late, so its anchor is the middle of [v, v + 1 + row]
            part, found = _through_anchors(end - begin, inside - begin, held[inside] + (1 + period) / 2)
            pauses += found
        else:
            part = held[begin] + period * np.arange(end - begin)
        if begin:
            offset = t[begin - 1] + period - part[0]
        t[begin:end] = part + offset
    t = np.maximum.accumulate(t)
    moving = np.diff(t)
    row = float(np.median(moving[moving > 0]))
    remarks = [f"The engine's run time starts again {len(restarts)} times; the pause between is not known."] * bool(
        len(restarts)
    )
    if pauses:
        remarks.append(f"The logger paused {pauses} times.")
    why = f"no time column; the engine's run time counts whole seconds, {1 / row:.2f} rows in each are spread"
    return Clock(t, np.ones(len(t), dtype=bool), "engine run time", why, row, tuple(remarks))


def _through_anchors(rows: int, at: NDArray[np.int64], value: Floats) -> tuple[Floats, int]:
    """Times of all rows from a line through the neighbouring anchors; and how often the logger paused.

    Args:
        rows: number of rows.
        at: rows that carry an anchor, rising, at least two.
        value: time at each anchor [s].
    """
    x = at.astype(np.float64)
    rate = float(np.median(np.diff(value) / np.diff(x))) if len(at) > 2 else float(np.diff(value)[0] / np.diff(x)[0])
    late = np.diff(value) - rate * np.diff(x) > _STALL + rate * np.diff(x)
    if not np.all(late):
        rate = float(np.diff(value)[~late].sum() / np.diff(x)[~late].sum())
    cuts = np.flatnonzero(late) + 1
    smooth = np.empty_like(value)
    for a, b in zip([0, *cuts], [*cuts, len(at)], strict=True):
        smooth[a:b] = _local_line(x[a:b], value[a:b], rate)
    smooth = np.maximum.accumulate(smooth)
    t = np.interp(np.arange(rows), x, smooth)
    head, tail = np.arange(at[0]), np.arange(at[-1] + 1, rows)
    first = _edge_rate(x[: cuts[0] if len(cuts) else None], smooth, rate)
    t[head] = smooth[0] - first * (at[0] - head)
    t[tail] = smooth[-1] + rate * (tail - at[-1])
    for cut in cuts:  # rows before a pause go on at their own pace; the pause lies before the first row after it
        between = np.arange(at[cut - 1] + 1, at[cut])
        t[between] = np.minimum(smooth[cut - 1] + rate * (between - at[cut - 1]), smooth[cut])
    return np.maximum.accumulate(t), len(cuts)


def _edge_rate(x: Floats, smooth: Floats, rate: float) -> float:
    """Pace at the beginning: over the first anchors, where there are enough of them."""
    k = min(len(x) - 1, _HALF_WINDOW)
    return float((smooth[k] - smooth[0]) / (x[k] - x[0])) if k >= 5 else rate


def _local_line(x: Floats, y: Floats, rate: float) -> Floats:
    """Least-squares line over up to 2·15 + 1 neighbours, evaluated at each point; vectorised by running sums."""
    n = len(x)
    if n < 5:
        return np.asarray(np.mean(y - rate * x) + rate * x)
    x0, y0 = x - x[0], y - y[0] - rate * (x - x[0])  # small numbers keep the sums exact
    a = np.maximum(np.arange(n) - _HALF_WINDOW, 0)
    b = np.minimum(np.arange(n) + _HALF_WINDOW + 1, n)

    def over(term: Floats) -> Floats:
        total = np.concatenate([[0.0], np.cumsum(term)])
        return np.asarray(total[b] - total[a])

    m = (b - a).astype(np.float64)
    sx, sy, sxx, sxy = over(x0), over(y0), over(x0 * x0), over(x0 * y0)
    spread = sxx - sx * sx / m
    slope = np.where(spread > 0, (sxy - sx * sy / m) / np.where(spread > 0, spread, 1.0), 0.0)
    return np.asarray(sy / m + slope * (x0 - sx / m) + y[0] + rate * (x - x[0]))
