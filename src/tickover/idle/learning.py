"""A trim that is still learning: fitted as an exponential, which foretells where it ends and when."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from tickover.results import CannotTell, Quantity, Result

Floats = NDArray[np.float64]

LEVEL = 0.9
LEARNED_WITHIN = 1.0
"""A trim this near its end has learned [%]. Own choice."""
_FEWEST = 6


class Learning(Result):
    """A trim that is still learning.

    Attributes:
        ends_at: where it will end [%].
        learned_at: when it will be within 1 % of that [as ``Drive.at``].
        time_constant: in which it covers 63 % of the way [as ``Drive.at``].
        says: that in a sentence.
    """

    kind: Literal["learning"] = "learning"
    ends_at: Quantity
    learned_at: Quantity
    time_constant: Quantity
    says: str


def fit_learning(points: Sequence[tuple[float, float]], normal: float | None = None) -> Learning | CannotTell:
    """Where a learning trim will end, and when.

    trim = end + (start − end) · exp(−t / τ), least squares; τ on a grid, the other two exactly; intervals from the
    likelihood over τ and Student's t within.

    Args:
        points: time and trim [%], rising in time.
        normal: the trim after it was healed, for the words [%].
    Returns: the fit with 90 % intervals; or why it cannot be told: too few points, no movement, or no bend yet
    Source: own choice of method; the law is a first-order lag, as long trims follow the short one.
    """
    if len(points) < _FEWEST:
        return CannotTell(
            reason=f"Where the trim will end: {_readings(len(points))}, {_FEWEST} are needed.", way_out="Read on."
        )
    t, y = (np.array(c, dtype=np.float64) for c in zip(*points, strict=True))
    t0, span = float(t[0]), float(t[-1] - t[0])
    taus = np.geomspace(span / 30, span * 30, 160)
    fits = [_linear(np.exp(-(t - t0) / tau), y) for tau in taus]
    errors = np.array([f[2] for f in fits])
    freedom = len(t) - 3
    floor = max(float(errors.min()), 1e-9 * max(float(np.ptp(y)) ** 2, 1e-12))
    flat = float(((y - y.mean()) ** 2).sum())
    if (flat - floor) / 2 / (floor / freedom) < stats.f.ppf(0.99, 2, freedom):
        return CannotTell(
            reason="Where the trim will end: it has not moved by more than it scatters.",
            way_out="It may have learned already; compare it with its normal."
            if normal is None
            else f"It may have learned already: on average it stands at {y.mean():+.1f} %, its normal is "
            f"{normal:+.1f} %.",
        )
    weight = (np.maximum(errors, floor) / floor) ** (-(freedom + 1) / 2)
    weight /= weight.sum()
    if float(weight[taus > 1.5 * span].sum()) > 0.1:
        return CannotTell(
            reason="Where the trim will end: it still moves and does not bend yet.",
            way_out="Read on; if it goes on like this, it is a fault and not learning.",
        )
    return _learning(t0, taus, fits, weight, freedom, floor)


def _readings(n: int) -> str:
    return "1 reading" if n == 1 else f"{n or 'no'} readings"


def _linear(decay: Floats, y: Floats) -> tuple[float, float, float, float]:
    """Least squares of y on 1 and a decay: end, amplitude, squared error, variance factor of the end."""
    a = np.column_stack([np.ones_like(decay), decay])
    gram = np.linalg.pinv(a.T @ a)
    end, amplitude = gram @ (a.T @ y)
    error = float(((y - a @ np.array([end, amplitude])) ** 2).sum())
    return float(end), float(amplitude), error, float(max(gram[0, 0], 0.0))


def _learning(
    t0: float,
    taus: Floats,
    fits: Sequence[tuple[float, float, float, float]],
    weight: Floats,
    freedom: int,
    floor: float,
) -> Learning:
    best = int(np.argmax(weight))
    quantile = np.linspace(0.005, 0.995, 100)
    student = stats.t.ppf(quantile, freedom)
    ends = np.array([f[0] + student * np.sqrt(max(f[2], floor) / freedom * f[3]) for f in fits])
    amplitude = np.array([abs(f[1]) for f in fits])
    when = t0 + taus * np.log(np.maximum(amplitude / LEARNED_WITHIN, 1.0))
    each = np.repeat(weight / len(quantile), len(quantile))
    end = _quantity(fits[best][0], ends.ravel(), each, "%")
    learned = _quantity(float(when[best]), when, weight, "")
    says = f"The trim will end at {end.value:+.1f} % ({end.lo:+.1f} to {end.hi:+.1f})."
    return Learning(
        ends_at=end,
        learned_at=learned,
        time_constant=_quantity(float(taus[best]), taus, weight, ""),
        says=says,
    )


def _quantity(value: float, values: Floats, weight: Floats, unit: str) -> Quantity:
    order = np.argsort(values)
    total = np.cumsum(weight[order])
    lo, hi = (float(np.interp(q, total, values[order])) for q in ((1 - LEVEL) / 2, (1 + LEVEL) / 2))
    return Quantity(value=value, lo=min(lo, value), hi=max(hi, value), level=LEVEL, unit=unit)
