"""Moving-block bootstrap of a weighted mean and spread."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.random import Generator
from numpy.typing import ArrayLike, NDArray
from scipy import stats

from tickover.errors import SignalError
from tickover.stats.effective import effective_samples

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class MeanAndSpread:
    """Weighted mean and standard deviation with intervals, all in the unit of the values.

    Attributes:
        mean, lo, hi: the mean and its interval.
        sd, sd_lo, sd_hi: the standard deviation and its interval.
        n: samples with weight.
        n_eff: effective number of independent samples.
        block: block length used [samples].
        level: coverage claimed.
    """

    mean: float
    lo: float
    hi: float
    sd: float
    sd_lo: float
    sd_hi: float
    n: int
    n_eff: float
    block: int
    level: float


def mean_and_spread(
    values: ArrayLike,
    rng: Generator,
    *,
    weights: ArrayLike | None = None,
    groups: ArrayLike | None = None,
    level: float = 0.95,
    draws: int = 2000,
) -> MeanAndSpread:
    """Mean and spread of a correlated series, with intervals by moving blocks.

    Blocks are long enough for the correlation (``effective_samples``). Few blocks understate the scatter, so the
    bootstrap's deviations are stretched by √(n/(n − block)) and by Student's factor for the effective samples, and the
    interval of the mean is never narrower than Student's own, that of the spread never than χ²'s of the effective
    samples.

    Args:
        values: samples in their order, shape (n,).
        rng: seeded generator.
        weights: what each sample stands for, e.g. seconds, shape (n,), positive; equal where None.
        groups: unbroken stretches, as in ``autocorrelation``.
        level: coverage wanted, between 0 and 1.
        draws: bootstrap draws.
    Returns: mean, spread, their intervals, the effective samples.
    Raises: SignalError if the series is empty or not finite, or a weight is not positive.
    Valid for: four samples or more; with fewer, lo and hi are infinitely far.
    Source: Künsch, The jackknife and the bootstrap for general stationary observations, Annals of Statistics 17 (1989)
        (from memory); the stretching is our own choice, checked by coverage in the tests.
    """
    x = np.asarray(values, dtype=np.float64)
    w = np.ones_like(x) if weights is None else np.asarray(weights, dtype=np.float64)
    if w.shape != x.shape or not np.all(w > 0) or not np.all(np.isfinite(w)):
        raise SignalError("weights must be positive, finite and as many as the values")
    worth = effective_samples(x, groups)
    centre = float(np.average(x, weights=w))
    d = x - centre  # centred first, so that squares of large values do not lose the small spread
    sd = math.sqrt(float(np.average(d * d, weights=w)))
    n = len(x)
    if n < 4:
        return MeanAndSpread(centre, -math.inf, math.inf, sd, 0.0, math.inf, n, worth.stated, worth.block, level)
    if float(np.ptp(x)) == 0.0:
        return MeanAndSpread(float(x[0]), float(x[0]), float(x[0]), 0.0, 0.0, 0.0, n, worth.stated, worth.block, level)
    means, sds = _draw(d, w, worth.block, draws, rng)
    tail = (1 - level) / 2
    student = float(stats.t.ppf(1 - tail, max(worth.stated - 1, 1.0)))
    stretch = math.sqrt(n / (n - worth.block)) * student / float(stats.norm.ppf(1 - tail))
    low, high = (float(q) for q in np.quantile(means, [tail, 1 - tail]))
    least = student * sd / math.sqrt(worth.stated)
    sd_low, sd_high = (float(q) - sd for q in np.quantile(sds, [tail, 1 - tail]))
    freedom = max(worth.stated - 1, 1.0)
    chi_lo, chi_hi = (sd * math.sqrt(freedom / float(stats.chi2.ppf(q, freedom))) for q in (1 - tail, tail))
    return MeanAndSpread(
        mean=centre,
        lo=centre + min(low * stretch, -least),
        hi=centre + max(high * stretch, least),
        sd=sd,
        sd_lo=max(0.0, min(sd + sd_low * stretch, chi_lo)),
        sd_hi=max(sd + sd_high * stretch, chi_hi),
        n=n,
        n_eff=worth.stated,
        block=worth.block,
        level=level,
    )


def _draw(d: Floats, w: Floats, block: int, draws: int, rng: Generator) -> tuple[Floats, Floats]:
    """Means and spreads of ``draws`` resampled series; sums over blocks come from running totals."""
    n = len(d)
    per_draw = math.ceil(n / block)
    sums = []
    for term in (w, w * d, w * d * d):
        total = np.concatenate([[0.0], np.cumsum(term)])
        sums.append(total[block:] - total[:-block])
    # Long series of short blocks would need a large table of starts, so the draws go through in slices.
    slices = max(1, math.ceil(draws * per_draw / 4_000_000))
    collected: list[tuple[Floats, Floats]] = []
    for part in np.array_split(np.arange(draws), slices):
        start = rng.integers(0, n - block + 1, size=(len(part), per_draw))
        s0, s1, s2 = (s[start].sum(axis=1) for s in sums)
        mean = s1 / s0
        collected.append((mean, np.sqrt(np.maximum(s2 / s0 - mean**2, 0.0))))
    return np.concatenate([m for m, _ in collected]), np.concatenate([s for _, s in collected])
