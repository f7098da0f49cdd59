"""Chances of several groups at once: each borrows from the others as much as they agree with each other.

The groups' chances are taken to come from one beta with mean m and concentration κ, both unknown: a small κ says that
groups differ and each stands for itself, a large one that they are alike. Both are integrated over, not guessed.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy import optimize, special

from tickover.errors import SignalError
from tickover.results import Quantity
from tickover.stats.success import LEVEL, beta_binomial_log

Floats = NDArray[np.float64]

CONCENTRATION = (1.0, 60.0)
"""Range of κ, uniform in its logarithm: from groups that may be anything to groups within about 0.06 of each other.
Own choice: up to 200 the 90 % intervals held the truth in 88 to 89 % of the panel's cases, up to 60 in 90 to 91 %."""
_NODES = (40, 28)
_CLOSE = 1e-5


@dataclass(frozen=True, slots=True)
class Chance:
    """The chance of one group.

    Attributes:
        rate: mean and interval, unit ``1``; ``n_eff`` is the group's own number of cases.
        beta: the beta of the same mean and variance, for whoever goes on to count.
    """

    rate: Quantity
    beta: tuple[float, float]


@dataclass(frozen=True, slots=True)
class Pooled:
    """Chances of groups that lend to each other.

    Attributes:
        groups: one each, in the order given.
        new: a group that nobody has counted yet.
        mean: of all groups, with its interval.
        concentration: κ, median with its interval, unit ``1``.
        cases: of all groups together.
    """

    groups: tuple[Chance, ...]
    new: Chance
    mean: Quantity
    concentration: Quantity
    cases: int


def pool(
    successes: Sequence[int],
    cases: Sequence[int],
    *,
    mean: tuple[float, float] = (2.0, 2.0),
    level: float = LEVEL,
) -> Pooled:
    """Partial pooling of counted successes.

    Args:
        successes, cases: one each a group; no group at all is allowed, and says how little is known.
        mean: the beta held of the common mean beforehand.
        level: coverage of the intervals.
    Returns: the posterior of each group, of a group not seen yet, of mean and concentration.
    Raises: SignalError for counts that cannot be, or lists of different lengths.
    Valid for: groups that nothing orders or separates beforehand. Up to some thousand cases a group.
    Source: the model as in Gelman et al., Bayesian Data Analysis, the rat tumours (from memory); quadrature by
        Gauss–Legendre in m and log κ, own choice, checked against a fine sum in the tests.
    Example: one group, 0 of 0: 0.5, from about 0.1 to 0.9.
    """
    held = _Held.of(successes, cases, mean)
    total = int(held.n.sum())
    return Pooled(
        groups=tuple(held.group(i, level) for i in range(held.n.size)),
        new=_chance(held.share, held.a, held.b, 0, level),
        mean=_of_grid(held.share, held.m, level, total, centre=float(held.share @ held.m)),
        concentration=_of_grid(held.share, held.kappa, level, total, centre=None),
        cases=total,
    )


def pool_one(
    successes: Sequence[int],
    cases: Sequence[int],
    index: int,
    *,
    mean: tuple[float, float] = (2.0, 2.0),
    level: float = LEVEL,
) -> Chance:
    """One group of ``pool``, for its price alone.

    Args:
        successes, cases, mean, level: as for ``pool``.
        index: which group.
    Raises: as ``pool``.
    """
    return _Held.of(successes, cases, mean).group(index, level)


@dataclass(frozen=True, slots=True)
class _Held:
    """The posterior over the grid: share of each node, its mean, κ and beta; and the counts."""

    share: Floats
    m: Floats
    kappa: Floats
    a: Floats
    b: Floats
    k: Floats
    n: Floats

    @classmethod
    def of(cls, successes: Sequence[int], cases: Sequence[int], mean: tuple[float, float]) -> _Held:
        k, n = np.asarray(successes, dtype=np.float64), np.asarray(cases, dtype=np.float64)
        if k.shape != n.shape or k.ndim != 1 or not np.all((k >= 0) & (k <= n)):
            raise SignalError("successes and cases must be as many, and none of them more than its cases")
        m, kappa, weight = _grid()
        a, b = m * kappa, (1 - m) * kappa
        log = np.log(weight) + (mean[0] - 1) * np.log(m) + (mean[1] - 1) * np.log1p(-m)
        for each_k, each_n in zip(k, n, strict=True):
            if each_n:
                log = log + beta_binomial_log(each_k, each_n, a, b)
        share = np.exp(log - log.max())
        return cls(share / share.sum(), m, kappa, a, b, k, n)

    def group(self, i: int, level: float) -> Chance:
        k, n = self.k[i], self.n[i]
        return _chance(self.share, self.a + k, self.b + n - k, int(n), level)


@lru_cache(maxsize=1)
def _grid() -> tuple[Floats, Floats, Floats]:
    """Nodes and weights over mean and concentration, flat arrays of the same length."""
    (x, wm), (y, wu) = (special.roots_legendre(nodes) for nodes in _NODES)
    lo, hi = np.log(CONCENTRATION)
    m, u = (x + 1) / 2, lo + (hi - lo) * (y + 1) / 2
    mm, uu = np.meshgrid(m, u, indexing="ij")
    return mm.ravel(), np.exp(uu.ravel()), np.outer(wm, wu).ravel()


def _chance(share: Floats, a: Floats, b: Floats, own: int, level: float) -> Chance:
    """Mean, quantiles and matching beta of a mixture of betas."""
    each = a / (a + b)
    mean = float(share @ each)
    second = float(share @ (each * (a + 1) / (a + b + 1)))
    spread = second - mean * mean
    kappa = mean * (1 - mean) / spread - 1
    lo, hi = (_quantile(share, a, b, q) for q in ((1 - level) / 2, (1 + level) / 2))
    rate = Quantity(value=mean, lo=lo, hi=hi, level=level, unit="1", n_eff=float(own))
    return Chance(rate, (mean * kappa, (1 - mean) * kappa))


def _quantile(share: Floats, a: Floats, b: Floats, q: float) -> float:
    """Where the mixture has the share q below it."""
    kept = share > 1e-7  # what weighs nothing only costs time
    share, a, b = share[kept] / share[kept].sum(), a[kept], b[kept]
    return float(optimize.brentq(lambda x: float(share @ special.betainc(a, b, x)) - q, 0.0, 1.0, xtol=_CLOSE))


def _of_grid(share: Floats, x: Floats, level: float, cases: int, centre: float | None) -> Quantity:
    """A parameter of the grid: its mean or median, and its interval."""
    order = np.argsort(x, kind="stable")
    below = np.cumsum(share[order])
    lo, mid, hi = (float(np.interp(q, below, x[order])) for q in ((1 - level) / 2, 0.5, (1 + level) / 2))
    value = mid if centre is None else centre
    return Quantity(value=value, lo=min(lo, value), hi=max(hi, value), level=level, unit="1", n_eff=float(cases))
