"""How far inside, or outside, its limits a signal stays: robustness of temporal conditions, vectorised.

A signal is held: a value stands from its instant until the next one. What is not known is NaN, and a window that is not
full or holds anything unknown has no margin (NaN): it is undecided.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def within(value: Floats, lo: float = -math.inf, hi: float = math.inf) -> Floats:
    """How far each value lies inside its limits; negative outside.

    Args:
        value: shape (n,), NaN where not known.
        lo, hi: limits in the same unit; infinite on an open side, not both.
    Returns: ``min(value − lo, hi − value)``, same shape and unit.
    Source: Donzé & Maler, Robust satisfaction of temporal logic over real-valued signals (2010); from memory.
    """
    return np.minimum(value - lo, hi - value)


def all_of(*margins: Floats) -> Floats:
    """The margin of several conditions that hold together: the least; NaN where one is not known."""
    found = margins[0]
    for one in margins[1:]:
        found = np.minimum(found, one)
    return found


def sliding_min(t: Floats, value: Floats, width: float, end: float | None = None) -> Floats:
    """The least of a held signal in the window that begins at each of its instants.

    Args:
        t: instants, rising, shape (n,) [s].
        value: from each instant on, shape (n,); NaN where not known.
        width: of the window, both ends in it, 0 or more [s].
        end: until when the last value stands; its own instant where None [s].
    Returns: shape (n,); NaN where the window runs past ``end`` or holds anything unknown.
    Raises: ValueError for a negative width or shapes that differ.
    Valid for: any spacing. Time grows with n times the logarithm of the rows in the longest window, memory with n.
    Source: own choice: windows as two overlapping runs of a power of two (sparse table), level by level.
    Example: ``sliding_min(arange(4.0), array([3.0, 1.0, 2.0, 5.0]), 1)`` is ``[1, 1, 2, nan]``.
    """
    if width < 0 or t.shape != value.shape or t.ndim != 1:
        raise ValueError(f"no window of {width} s over {t.shape} instants and {value.shape} values")
    n = len(t)
    out = np.full(n, np.nan)
    if not n:
        return out
    stop = float(t[-1]) if end is None else end
    slack = 1e-9 * max(1.0, abs(stop))
    full = int(np.searchsorted(t, stop - width + slack, side="right"))  # windows that begin here end within the log
    if full <= 0:
        return out
    reach = _rows_in_window(t, full, width + slack)
    least, most = (int(r).bit_length() - 1 for r in (reach.min(), reach.max()))
    level = None if least == most else np.frexp(reach.astype(np.float64))[1] - 1  # floor of the logarithm to base 2
    table = value
    for k in range(most + 1):
        if k:
            table = np.minimum(table[: -(1 << (k - 1))], table[1 << (k - 1) :])
        if level is not None:
            rows = np.flatnonzero(level == k)
            if len(rows):
                out[rows] = np.minimum(table[rows], table[rows + reach[rows] - (1 << k)])
    if level is None:
        offset = reach - (1 << most)
        second = table[offset[0] : offset[0] + full] if len(offset) == 1 else table[np.arange(full) + offset]
        out[:full] = np.minimum(table[:full], second)
    return out


def _rows_in_window(t: Floats, full: int, width: float) -> NDArray[np.int64]:
    """Rows in each of the first ``full`` windows, shape (full,); shape (1,) where all hold the same number."""
    step = np.diff(t)
    if len(step) and step[0] > 0 and step.min() == step.max():  # an even clock: no search
        each = int(width / step[0]) + 1
        if full + each - 1 <= len(t):
            return np.array([each], dtype=np.int64)
    return np.searchsorted(t, t[:full] + width, side="right") - np.arange(full)


def sliding_max(t: Floats, value: Floats, width: float, end: float | None = None) -> Floats:
    """The greatest of a held signal in each window; otherwise as ``sliding_min``."""
    return -sliding_min(t, -value, width, end)


def best_window(t: Floats, margin: Floats, width: float, end: float | None = None) -> tuple[float, float, float]:
    """The best margin that was kept in one piece for a time: robustness of "at some time, for ``width`` on end".

    Args:
        t, margin: a held margin, shape (n,).
        width, end: as ``sliding_min``.
    Returns: lowest and highest value it can have, whatever the unknown was, and where the best window begins; all NaN
        where no window is full.
    """
    lowest = sliding_min(t, np.where(np.isnan(margin), -np.inf, margin), width, end)
    highest = sliding_min(t, np.where(np.isnan(margin), np.inf, margin), width, end)
    if not np.any(np.isfinite(lowest) | np.isinf(lowest)):
        return math.nan, math.nan, math.nan
    best = int(np.nanargmax(lowest))
    return float(np.nanmax(lowest)), float(np.nanmax(highest)), float(t[best])


def counted(t: Floats, margin: Floats, end: float) -> tuple[float, float]:
    """Seconds during which a held margin is 0 or more, and seconds during which it is not known."""
    length = np.diff(np.append(t, end))
    return float(length[margin >= 0].sum()), float(length[np.isnan(margin)].sum())
