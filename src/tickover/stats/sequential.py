"""Sequential tests: decide as soon as enough was seen, with stated error rates.

``sprt`` between two hypotheses (Wald), ``cusum`` for a shift that may begin at any time, and what both cost on average.
Data go in as log-likelihood steps or standardised values; nothing here knows a car.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from math import exp, log
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from tickover.errors import SignalRangeError

Floats = NDArray[np.float64]
Decision = Literal["null", "alternative", "undecided"]


@dataclass(frozen=True)
class Bounds:
    """Where a sequential probability ratio test stops, as log likelihood ratios.

    Attributes:
        upper: the alternative is taken from here up [nat].
        lower: the null is taken from here down [nat].
    """

    upper: float
    lower: float


def sprt_bounds(alpha: float, beta: float) -> Bounds:
    """Wald's bounds.

    Args:
        alpha: chance of taking the alternative where the null is true, 0 to 0.5 [1].
        beta: chance of taking the null where the alternative is true, 0 to 0.5 [1].
    Raises: SignalRangeError for a rate outside 0 to 0.5.
    Source: Wald, Sequential Analysis (1947): ln((1 − β)/α), ln(β/(1 − α)). From memory.
    Example: ``sprt_bounds(0.05, 0.10)`` is 2.8904 and −2.2513.
    """
    for name, rate in (("alpha", alpha), ("beta", beta)):
        if not 0 < rate < 0.5:
            raise SignalRangeError(name, rate, 0.0, 0.5)
    return Bounds(log((1 - beta) / alpha), log(beta / (1 - alpha)))


def normal_steps(values: ArrayLike, null: float, alternative: float, spread: float) -> Floats:
    """Log likelihood ratio that each value adds: alternative over null, both normal with the same spread.

    Args:
        values: shape (n,).
        null, alternative: their means.
        spread: their standard deviation, above 0.
    Returns: shape (n,) [nat]
    Raises: SignalRangeError for a spread that is not above 0.
    """
    if not spread > 0:
        raise SignalRangeError("spread", spread, 0.0, np.inf)
    x = np.asarray(values, dtype=np.float64)
    return np.asarray((alternative - null) / spread**2 * (x - (null + alternative) / 2))


@dataclass(frozen=True)
class Sprt:
    """How a sequential test went.

    Attributes:
        decision: which was taken, or undecided so far.
        at: number of values until the decision; None where undecided.
        sums: log likelihood ratio after each value, up to the decision, shape (k,) [nat].
        bounds: where it stops.
    """

    decision: Decision
    at: int | None
    sums: Floats
    bounds: Bounds


def sprt(steps: ArrayLike, alpha: float, beta: float) -> Sprt:
    """Run the test over values in their order.

    Args:
        steps: log likelihood ratio that each value adds, shape (n,), n may be 0 [nat].
        alpha, beta: as ``sprt_bounds``.
    Raises: SignalRangeError for rates out of range.
    Source: Wald 1947. From memory.
    Example: ``sprt(normal_steps([1, 1, 1, 1, 1, 1], 0, 1, 1), 0.05, 0.05).at`` is 6.
    """
    bounds = sprt_bounds(alpha, beta)
    sums = np.cumsum(np.asarray(steps, dtype=np.float64))
    out = (sums >= bounds.upper) | (sums <= bounds.lower)
    if not out.any():
        return Sprt("undecided", None, sums, bounds)
    first = int(np.argmax(out))
    taken: Decision = "alternative" if sums[first] >= bounds.upper else "null"
    return Sprt(taken, first + 1, sums[: first + 1], bounds)


def sprt_expected(step_null: float, step_alternative: float, alpha: float, beta: float) -> tuple[float, float]:
    """Values that the test needs on average, by Wald's approximation, which neglects the excess over the bounds.

    Args:
        step_null: mean step where the null is true, below 0 [nat].
        step_alternative: mean step where the alternative is true, above 0 [nat].
        alpha, beta: as ``sprt_bounds``.
    Returns: where the null is true, where the alternative is true [1]
    Raises: SignalRangeError for steps of the wrong sign.
    Source: Wald 1947. From memory.
    Example: for a mean shifted by one spread (−0.5, 0.5) at 0.05 and 0.05 both are 5.300.
    """
    if not step_null < 0:
        raise SignalRangeError("mean step under the null", step_null, -np.inf, 0.0)
    if not step_alternative > 0:
        raise SignalRangeError("mean step under the alternative", step_alternative, 0.0, np.inf)
    b = sprt_bounds(alpha, beta)
    null = (alpha * b.upper + (1 - alpha) * b.lower) / step_null
    return null, ((1 - beta) * b.upper + beta * b.lower) / step_alternative


def fixed_sample(shift: float, alpha: float, beta: float) -> float:
    """Values that a test of fixed size needs for the same error rates, one-sided, of a normal mean.

    Args:
        shift: of the mean, over the spread [1], above 0.
        alpha, beta: error rates [1].
    Returns: [1], not rounded
    Example: ``fixed_sample(1, 0.05, 0.05)`` is 10.82.
    """
    if not shift > 0:
        raise SignalRangeError("shift", shift, 0.0, np.inf)
    return float(((special.ndtri(1 - alpha) + special.ndtri(1 - beta)) / shift) ** 2)


@dataclass(frozen=True)
class BinomialLines:
    """A sequential test of a share: accept below ``low + slope·n``, reject above ``high + slope·n`` events of n."""

    slope: float
    low: float
    high: float


def binomial_lines(p0: float, p1: float, alpha: float, beta: float) -> BinomialLines:
    """Wald's two lines for a share of events.

    Args:
        p0, p1: share under the null and, larger, under the alternative [1].
        alpha, beta: as ``sprt_bounds``.
    Raises: SignalRangeError where 0 < p0 < p1 < 1 does not hold.
    Source: Wald 1947. From memory.
    Example: for 0.1, 0.3, 0.02, 0.03 slope 0.1862, low −2.5826, high 2.8754.
    """
    if not 0 < p0 < p1 < 1:
        raise SignalRangeError("share under the alternative", p1, p0, 1.0)
    b = sprt_bounds(alpha, beta)
    unit = log(p1 * (1 - p0) / (p0 * (1 - p1)))
    return BinomialLines(log((1 - p0) / (1 - p1)) / unit, b.lower / unit, b.upper / unit)


@dataclass(frozen=True)
class Cusum:
    """Cumulative sums.

    Attributes:
        high, low: the sums after each value, shape (n,).
        since_high, since_low: how many values each sum has stood above 0, shape (n,).
        at: number of values until one of them passes the limit; None where none does.
        upward: whether that was the upper one; None where none does.
        shift: estimate of the new mean over the old one, in the values' unit, at that moment; None where none does.
    """

    high: Floats
    low: Floats
    since_high: NDArray[np.intp]
    since_low: NDArray[np.intp]
    at: int | None
    upward: bool | None
    shift: float | None


def cusum(values: ArrayLike, mean: float, slack: float, limit: float, *, two_sided: bool = True) -> Cusum:
    """Watch for a shift of the mean.

    Args:
        values: in order, shape (n,).
        mean: what they have while nothing happens.
        slack: K, half the shift to be found, in the values' unit, above 0.
        limit: H, in the values' unit, above 0.
        two_sided: either direction, else upward only.
    Raises: SignalRangeError for slack or limit that is not above 0.
    Source: Page, Biometrika 41 (1954); tabular form and the estimate of the new mean as Montgomery, Introduction to
        Statistical Quality Control. From memory.
    """
    for name, given in (("slack", slack), ("limit", limit)):
        if not given > 0:
            raise SignalRangeError(name, given, 0.0, np.inf)
    x = np.asarray(values, dtype=np.float64)
    high, low = _one_sided(x - mean - slack), _one_sided(mean - slack - x)
    (up, n_up), (down, n_down) = high, low
    out = (up > limit) | ((down > limit) & two_sided)
    if not out.any():
        return Cusum(up, down, n_up, n_down, None, None, None)
    k = int(np.argmax(out))
    upward = bool(up[k] > limit)
    shift = slack + up[k] / n_up[k] if upward else -slack - down[k] / n_down[k]
    return Cusum(up, down, n_up, n_down, k + 1, upward, float(shift))


def _one_sided(steps: Floats) -> tuple[Floats, NDArray[np.intp]]:
    """S = max(0, S + step), and for how long it has been above 0."""
    total = np.concatenate([[0.0], np.cumsum(steps)])
    lowest = np.minimum.accumulate(total)
    s = (total - lowest)[1:]
    reset = np.where(total <= lowest, np.arange(len(total)), 0)
    since = np.arange(len(total)) - np.maximum.accumulate(reset)
    return np.asarray(s), np.asarray(since[1:], dtype=np.intp)


def cusum_run_length(
    slack: float, limit: float, shift: float = 0.0, *, two_sided: bool = True, nodes: int = 120
) -> float:
    """Values until a cumulative sum of standard normal values passes its limit, on average, started at 0.

    Args:
        slack, limit: K and H over the spread [1], above 0.
        shift: of the mean over the spread [1].
        two_sided: both directions, else upward only.
        nodes: of the quadrature.
    Returns: average run length [1]
    Raises: SignalRangeError for slack or limit that is not above 0.
    Source: Page's integral equation, L(z) = 1 + L(0) Φ(k − z − δ) + ∫ L(x) φ(x + k − z − δ) dx over 0 to h, by
        Gauss–Legendre; both sides by 1/L = 1/L₊ + 1/L₋. From memory; the numbers of the table are in tests/outside.
    Example: ``cusum_run_length(0.5, 5)`` is 465.44, and with a shift of one spread 10.38.
    """
    for name, given in (("slack", slack), ("limit", limit)):
        if not given > 0:
            raise SignalRangeError(name, given, 0.0, np.inf)
    up = _page(slack - shift, limit, nodes)
    return 1 / (1 / up + 1 / _page(slack + shift, limit, nodes)) if two_sided else up


@lru_cache(maxsize=256)
def _page(drift: float, limit: float, nodes: int) -> float:
    """One-sided average run length from 0; each value adds N(−drift, 1)."""
    x, weight = np.polynomial.legendre.leggauss(nodes)
    x, weight = (x + 1) * limit / 2, weight * limit / 2
    z = np.append(0.0, x)
    density = np.exp(-((x[None, :] + drift - z[:, None]) ** 2) / 2) / np.sqrt(2 * np.pi)
    kernel = np.column_stack([special.ndtr(drift - z), density * weight])
    return float(np.linalg.solve(np.eye(nodes + 1) - kernel, np.ones(nodes + 1))[0])


def ewma_cycles(
    now: float, below: float, share: float = 0.1, current: float = 0.0, *, rounds: bool = True
) -> int | None:
    """Cycles until an exponentially weighted mean of counts is below a level, if each adds the same count.

    Args:
        now: the mean, 0 or more [count].
        below: the level it is to pass below, above 0 [count].
        share: weight of the newest cycle, 0 to 1 [1].
        current: counts of each coming cycle, 0 or more [count].
        rounds: the controller keeps whole numbers.
    Returns: number of cycles, 0 where it is below already; None where it never gets there
    Raises: SignalRangeError for a share outside 0 to 1 or a level that is not above 0.
    Source: new = 0.1 · current + 0.9 · previous, once a driving cycle: two makers' published service pages; rounding
        from memory.
    Example: ``ewma_cycles(100, 10)`` is 24: rounding holds it up; without it 22.
    """
    if not 0 < share <= 1:
        raise SignalRangeError("share", share, 0.0, 1.0)
    if not below > 0:
        raise SignalRangeError("below", below, 0.0, np.inf)
    value = float(now)
    for cycle in range(100_000):
        if value < below:
            return cycle
        new = share * current + (1 - share) * value
        new = float(np.floor(new + 0.5)) if rounds else new
        if new >= value:
            return None
        value = new
    return None


def weight_of_latest(cycles: int, share: float = 0.1) -> float:
    """Weight that the latest cycles have in such a mean [1].

    Example: ``weight_of_latest(10)`` is 0.6513.
    """
    return 1 - exp(cycles * log(1 - share)) if share < 1 else 1.0
