"""Weighted points of a density that is known up to a factor: importance sampling that fits itself."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray
from scipy.optimize import minimize

from tickover.errors import TimingError

Floats = NDArray[np.float64]
LogDensity = Callable[[Floats], Floats]

TAIL = 5.0
"""Degrees of freedom of the proposal: its tails are heavier than those of the density. Own choice."""
TRIAL, FINAL = 1000, 3000
"""Points of each round that fits the proposal, and of the last one. Own choice."""
ROUNDS = 12
"""So many rounds at most. Own choice."""
GOOD = 0.3
"""A round with this share of effective points is the last that fits. Own choice."""
EVEN = 150.0
"""A proposal is fitted to so many effective points at least. Own choice."""
WELL, WORTH = 300.0, 50.0
"""With fewer effective points than the first more are drawn; with fewer than the second they are not trusted."""


@dataclass(frozen=True, eq=False)
class Weighed:
    """Points with weights that sum to 1.

    Attributes:
        points: shape (n, k).
        weights: shape (n,).
        log_evidence: logarithm of the integral of the density.
    """

    points: Floats
    weights: Floats
    log_evidence: float

    @property
    def worth(self) -> float:
        """Effective number of points."""
        return float(1 / (self.weights**2).sum())

    def sd(self, values: Floats) -> float:
        """Weighted standard deviation of one value a point."""
        mean = float(self.weights @ values)
        return math.sqrt(float(self.weights @ (values - mean) ** 2))

    def quantiles(self, values: Floats, shares: Sequence[float]) -> Floats:
        """Weighted quantiles of one value a point."""
        order = np.argsort(values)
        cumulated = np.cumsum(self.weights[order]) - self.weights[order] / 2
        return np.asarray(np.interp(shares, cumulated, values[order]), dtype=np.float64)

    def resampled(self, rng: Generator, n: int) -> Floats:
        """``n`` points, each as likely: one draw spaced evenly over the weights."""
        if n == 0:
            return self.points[:0]
        marks = (rng.random() + np.arange(n)) / n
        at = np.searchsorted(np.cumsum(self.weights), marks)
        return np.asarray(self.points[rng.permutation(np.minimum(at, len(self.points) - 1))], dtype=np.float64)


def weigh(log_density: LogDensity, start: Floats, scale: Floats, rng: Generator) -> Weighed:
    """Weigh points by a density.

    Args:
        log_density: of many points at once, shape (n, k) to (n,), up to a constant.
        start: where to begin the search for its top, shape (k,).
        scale: how far the density reaches at most in each direction, such as a prior's standard deviation, shape (k,).
        rng: randomness.
    Returns: the points of the last round, 3,000 of them.
    Raises: TimingError if the density cannot be weighed so, having several tops far apart.
    Valid for: a density with one top and no heavier tails than a Student one of ``TAIL`` degrees of freedom.
    Source: common practice.
    """
    centre = _top(log_density, start, scale)
    proposal = _Proposal(centre, 1.3 * _curvature(log_density, centre, scale))
    for _ in range(ROUNDS):
        points, logs = proposal.tried(log_density, TRIAL, rng)
        found = _weighed(points, logs)
        well = found.worth > GOOD * TRIAL
        proposal = _fitted(points, logs, scale)
        if well:
            break
    final = _weighed(*proposal.tried(log_density, FINAL, rng))
    if final.worth < WELL:
        final = _weighed(*proposal.tried(log_density, 8 * FINAL, rng))
    if final.worth < WORTH:
        raise TimingError("these taps fit several quite different persons; practise on, or begin again")
    return final


@dataclass(frozen=True, eq=False)
class _Proposal:
    """A Student distribution to draw from."""

    centre: Floats
    spread: Floats

    def tried(self, log_density: LogDensity, n: int, rng: Generator) -> tuple[Floats, Floats]:
        """Points, and the logarithm of their weights before these are made to sum to 1."""
        k = len(self.centre)
        root = np.linalg.cholesky(self.spread)
        stretch = np.sqrt(TAIL / rng.chisquare(TAIL, n))[:, None]
        normal = rng.standard_normal((n, k)) * stretch
        points = self.centre + normal @ root.T
        log_q = -(TAIL + k) / 2 * np.log1p((normal**2).sum(axis=1) / TAIL) - float(np.log(np.diag(root)).sum())
        log_q += math.lgamma((TAIL + k) / 2) - math.lgamma(TAIL / 2) - k / 2 * math.log(TAIL * math.pi)
        return points, np.asarray(log_density(points) - log_q, dtype=np.float64)


def _weighed(points: Floats, logs: Floats) -> Weighed:
    most = float(logs.max())
    weights = np.exp(logs - most)
    total = float(weights.sum())
    return Weighed(points, weights / total, most + math.log(total / len(points)))


def _fitted(points: Floats, logs: Floats, scale: Floats) -> _Proposal:
    """A proposal with the mean and the covariance of the points; weights that rest on few of them are evened first."""
    power = 1.0
    found = _weighed(points, logs)
    while found.worth < EVEN and power > 1e-3:
        power *= 0.7
        found = _weighed(points, power * logs)
    centre = found.weights @ points
    off = points - centre
    spread = (off.T * found.weights) @ off + np.diag((1e-3 * scale) ** 2)
    return _Proposal(np.asarray(centre, dtype=np.float64), 1.2 * np.asarray(spread, dtype=np.float64))


def _top(log_density: LogDensity, start: Floats, scale: Floats) -> Floats:
    """The top of the density, by BFGS with central differences, all of one step evaluated at once."""
    k = len(start)
    step = 1e-4 * np.eye(k)

    def value(u: Floats) -> tuple[float, Floats]:
        points = np.vstack([u, u + step, u - step])
        f = -log_density(start + points * scale)
        return float(f[0]), np.asarray((f[1 : k + 1] - f[k + 1 :]) / 2e-4, dtype=np.float64)

    found = minimize(value, np.zeros(k), jac=True, method="L-BFGS-B", bounds=[(-6.0, 6.0)] * k)
    return np.asarray(start + found.x * scale, dtype=np.float64)


def _curvature(log_density: LogDensity, top: Floats, scale: Floats) -> Floats:
    """Covariance of the normal density that is as curved at the top, nowhere wider than ``scale``."""
    k, h = len(top), 0.02
    pairs = [(i, j) for i in range(k) for j in range(i, k)]
    unit = h * np.eye(k)
    corners = [s * unit[i] + t * unit[j] for i, j in pairs for s, t in ((1, 1), (1, -1), (-1, 1), (-1, -1))]
    f = log_density(top + np.array(corners) * scale).reshape(-1, 4)
    second = -(f[:, 0] - f[:, 1] - f[:, 2] + f[:, 3]) / (4 * h * h)
    hessian = np.zeros((k, k))
    for (i, j), value in zip(pairs, second, strict=True):
        hessian[i, j] = hessian[j, i] = value
    values, vectors = np.linalg.eigh(hessian)
    covariance = (vectors / np.maximum(values, 1.0)) @ vectors.T
    return np.asarray(covariance * np.outer(scale, scale), dtype=np.float64)
