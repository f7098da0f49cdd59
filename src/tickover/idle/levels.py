"""Levels that a signal holds, and an idle told from a held speed where no pedal was logged (docs/why/pedal-rest.md)."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from tickover.signals import Recording

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

CLEAR = 4.5  # distance against the scatter inside: one level gives 2.3, a uniform spread 2.7, a sine 3.8 [C]
SPEEDS_APART = 300.0  # more than any load lifts an idle, 250 in our panel [r/min]; own choice
FASTEST_IDLE = 1200.0  # a lowest level above it may be a foot as well as an idle [r/min]; own choice
OPEN_APART = 1.0  # the throttle of a held speed stands so much above that of the idle [%]; own choice
THROTTLES = ("throttle_position", "relative_throttle", "commanded_throttle")
_EDGE = 10.0  # share of the time that may lie beyond, either side [%]


def held_open(recording: Recording, free: Bools, edge: Floats) -> Bools | None:
    """Rows in which a foot holds the throttle open, where no pedal was logged.

    Args:
        recording: with engine speed and a throttle.
        free: rows in which the engine runs, warm, and the car is known to stand, shape (n,); others are not judged.
        edge: begin of each row, and the end of the last one, shape (n + 1,) [s].
    Returns: shape (n,); None where this cannot be told: no throttle was logged, the speed holds one level only, its
        lowest is faster than any sure idle, or the throttle does not stand clearly lower there.
    """
    seconds = np.diff(edge)
    speed = recording["engine_speed"].hold(edge[:-1])
    most = np.inf
    while (
        found := threshold(speed[free & (speed <= most)], seconds[free & (speed <= most)], SPEEDS_APART)
    ) is not None:
        most = found
    if not np.isfinite(most):
        return None
    low, high = free & (speed <= most), free & (speed > most)
    if _share(speed[low], seconds[low], 50.0) > FASTEST_IDLE:
        return None
    for name in THROTTLES:
        series = recording.get(name)
        if series is None or not len(series):
            continue
        throttle = series.hold(edge[:-1])
        closed, opened = (rows & np.isfinite(throttle) for rows in (low, high))
        if not closed.any() or not opened.any():
            continue
        rest = _share(throttle[closed], seconds[closed], 100.0 - _EDGE)
        foot = _share(throttle[opened], seconds[opened], _EDGE)
        if foot - rest < OPEN_APART:
            return None
        return free & ~((speed <= most) & (throttle < (rest + foot) / 2))
    return None


def threshold(values: Floats, seconds: Floats, apart: float) -> float | None:
    """Value between two levels by Otsu's rule on time; None where the levels are not clearly two.

    Args:
        values: of each row, shape (n,).
        seconds: for how long each stood, shape (n,) [s].
        apart: least distance of two levels [unit of the values].
    """
    known = np.isfinite(values)
    x, w = values[known], seconds[known]
    if len(x) < 8:
        return None
    order = np.argsort(x, kind="stable")
    x, w = x[order], w[order]
    total, moment = np.cumsum(w), np.cumsum(w * x)
    cut = np.flatnonzero(np.diff(x) > 0)
    if not len(cut):
        return None
    w0, w1 = total[cut], total[-1] - total[cut]
    m0, m1 = moment[cut] / w0, (moment[-1] - moment[cut]) / w1
    at = int(cut[np.argmax(w0 * w1 * (m1 - m0) ** 2)]) + 1
    low, high = _median(x[:at], w[:at]), _median(x[at:], w[at:])
    off = np.concatenate([np.abs(x[:at] - low), np.abs(x[at:] - high)])
    order = np.argsort(off, kind="stable")
    scatter = 1.4826 * _median(off[order], w[order])  # robust: a blip must not hide two levels
    if high - low < apart or high - low < CLEAR * scatter:
        return None
    return float(x[at - 1] + x[at]) / 2


def _median(x: Floats, w: Floats) -> float:
    """Weighted median of sorted values."""
    total = np.cumsum(w)
    return float(x[np.searchsorted(total, total[-1] / 2)])


def _share(x: Floats, w: Floats, percent: float) -> float:
    """The value below which a share of the time lies; x in any order, without gaps."""
    order = np.argsort(x, kind="stable")
    total = np.cumsum(w[order])
    return float(x[order][min(int(np.searchsorted(total, total[-1] * percent / 100)), len(x) - 1)])
