"""A straight line that a few odd values do not bend."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import stats

from tickover.errors import SignalError


@dataclass(frozen=True, slots=True)
class Slope:
    """A slope with its interval, in units of y for each unit of x."""

    slope: float
    lo: float
    hi: float


def theil_sen(x: ArrayLike, y: ArrayLike, level: float = 0.95) -> Slope:
    """Median of the slopes of all pairs, with Sen's interval.

    Args:
        x, y: values, shape (n,), n of 3 or more.
        level: coverage wanted.
    Raises: SignalError if there are too few values, they differ in number, are not finite, or all x are equal.
    Valid for: independent errors.
    Source: Sen, Estimates of the regression coefficient based on Kendall's tau, JASA 63 (1968) (from memory); by scipy.
    Example: Sen's own seven pairs give 4, 26/7 to 35/8 at 0.93.
    """
    a, b = np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64)
    if a.shape != b.shape or a.ndim != 1 or len(a) < 3 or not np.all(np.isfinite(a)) or not np.all(np.isfinite(b)):
        raise SignalError("a slope needs three finite pairs or more")
    if float(np.ptp(a)) == 0.0:
        raise SignalError("a slope needs values of x that differ")
    found = stats.theilslopes(b, a, alpha=level)
    return Slope(float(found.slope), float(found.low_slope), float(found.high_slope))
