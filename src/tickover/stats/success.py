"""Counts and times of few cases: successes, events in a time at risk, medians; each with an interval that says so."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special, stats

from tickover.errors import SignalError
from tickover.results import Quantity

Floats = NDArray[np.float64]

LEVEL = 0.9
"""Coverage where none is named."""


def beta_binomial_log(k: ArrayLike, n: ArrayLike, a: ArrayLike, b: ArrayLike) -> Floats:
    """Log probability of k successes in n cases whose chance is itself of a beta B(a, b).

    log C(n, k) + log B(k + a, n − k + b) − log B(a, b)

    Args:
        k, n: counts, arrays that go together.
        a, b: of the beta, above 0; arrays that go together with the counts.
    Returns: log probability, the common shape; −inf where k is not between 0 and n.
    Raises: SignalError if a or b is not above 0 and finite.
    Source: Skellam, J. R. Stat. Soc. B 10 (1948) (from memory); checked against another library in tests/outside.
    """
    k, n, a, b = np.broadcast_arrays(*(np.asarray(x, dtype=np.float64) for x in (k, n, a, b)))
    if not (np.all(a > 0) and np.all(b > 0) and np.all(np.isfinite(a)) and np.all(np.isfinite(b))):
        raise SignalError("the two numbers of a beta must be above 0 and finite")
    with np.errstate(invalid="ignore", divide="ignore"):
        choose = special.gammaln(n + 1) - special.gammaln(k + 1) - special.gammaln(n - k + 1)
        value = choose + special.betaln(k + a, n - k + b) - special.betaln(a, b)
    return np.where((k >= 0) & (k <= n), value, -np.inf)


def success(k: int, n: int, prior: tuple[float, float] = (1.0, 1.0), level: float = LEVEL) -> Quantity:
    """A chance from its counts alone, nothing borrowed.

    Args:
        k, n: successes and cases.
        prior: the beta held beforehand.
        level: coverage.
    Returns: mean of the posterior with its equal-tailed interval, unit ``1``.
    Raises: SignalError for counts that cannot be.
    Example: nothing counted gives 0.5 (0.05 to 0.95).
    """
    if not 0 <= k <= n:
        raise SignalError(f"{k} successes of {n} cases cannot be")
    a, b = prior[0] + k, prior[1] + n - k
    lo, hi = (float(special.betaincinv(a, b, q)) for q in ((1 - level) / 2, (1 + level) / 2))
    return Quantity(value=a / (a + b), lo=lo, hi=hi, level=level, unit="1", n_eff=float(n))


def event_rate(events: int, at_risk: float, unit: str, level: float = LEVEL) -> Quantity:
    """Events a unit of time, from how often it came while it could have come.

    Args:
        events: how many came.
        at_risk: time in which each would have been seen, summed; above 0.
        unit: of the rate, e.g. ``1/d``.
        level: coverage.
    Returns: events over time, with the exact Poisson interval; it begins at 0 where none came.
    Raises: SignalError if there was no time, or the events are fewer than none.
    Source: Garwood, Biometrika 28 (1936) (from memory): χ² quantiles with 2k and 2k + 2 degrees.
    Example: none in 100 days: 0 (0 to 0.030 a day) at 90 %, the upper end being −ln 0.05 / 100.
    """
    if events < 0 or not at_risk > 0 or not math.isfinite(at_risk):
        raise SignalError(f"{events} events in a time at risk of {at_risk:g} give no rate")
    tail = (1 - level) / 2
    lo = float(stats.chi2.ppf(tail, 2 * events)) / 2 if events else 0.0
    hi = float(stats.chi2.ppf(1 - tail, 2 * events + 2)) / 2
    low, high = lo / at_risk, hi / at_risk
    return Quantity(value=events / at_risk, lo=low, hi=high, level=level, unit=unit, n_eff=float(events))


def median(values: Sequence[float], unit: str, level: float = LEVEL) -> Quantity:
    """The median with an interval that asks nothing of the distribution.

    The ends are order statistics: the true median lies below the r-th smallest with the chance that a fair coin falls
    fewer than r times in n.

    Args:
        values: one or more, finite.
        unit: of the values.
        level: coverage; that of the interval is never below.
    Returns: the median; an end is None where so few values cannot bound it (below 5 at 90 %).
    Raises: SignalError if there is no value, or one is not finite.
    Source: Thompson, Ann. Math. Statist. 7 (1936) (from memory).
    Example: ``median([3, 1, 2], "min")`` is 2 with no ends.
    """
    x = np.sort(np.asarray(values, dtype=np.float64))
    if not x.size or not np.all(np.isfinite(x)):
        raise SignalError("a median needs values, all of them finite")
    n = int(x.size)
    below = stats.binom.cdf(np.arange(n), n, 0.5)
    rank = int(np.searchsorted(below, (1 - level) / 2 * (1 + 1e-12), side="right"))
    lo, hi = (float(x[rank - 1]), float(x[n - rank])) if rank > 0 else (None, None)
    return Quantity(value=float(np.median(x)), lo=lo, hi=hi, level=level, unit=unit, n_eff=float(n))
