"""Trends of a short stretch of readings: a straight line, and a first-order curve towards a level not yet reached."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from tickover.stats import effective_samples

Floats = NDArray[np.float64]

SLOW, FAST = 3000.0, 60.0
"""Slowest and fastest time constant of a warming engine allowed for [s], evenly in its log; own choice."""
RATES = 1.0 / np.geomspace(SLOW, FAST, 40)
"""Rates of approach tried [1/s]."""


@dataclass(frozen=True, slots=True)
class Draws:
    """Draws of what the readings leave open.

    Attributes:
        level: value now, shape (n,), in the readings' unit.
        slope: its rate now, shape (n,), per second.
        rate: rate of approach of the curve, shape (n,) [1/s]; 0 for a straight line.
    """

    level: Floats
    slope: Floats
    rate: Floats

    def time_to(self, threshold: Floats | float) -> Floats:
        """When each draw reaches a threshold.

        Args:
            threshold: one for all, or one for each, in the readings' unit.
        Returns: seconds from now, shape (n,); 0 where it is there already, infinite where it is never reached.
        """
        gap = np.asarray(threshold, dtype=np.float64) - self.level
        with np.errstate(divide="ignore", invalid="ignore"):
            ahead = np.where(self.slope != 0, gap / self.slope, np.inf)
            share = 1.0 - self.rate * ahead
            curved = np.where(share > 0, -np.log(np.where(share > 0, share, 1.0)) / self.rate, np.inf)
        time = np.where(self.rate > 0, curved, ahead)
        return np.where(np.abs(gap) < 1e-12, 0.0, np.where(ahead >= 0, time, np.inf))


def resolution(value: Floats) -> float:
    """The step in which values are written: the smallest difference between two of them; 0 where there is one value."""
    levels = np.unique(np.round(value, 6))
    return float(np.min(np.diff(levels))) if len(levels) > 1 else 0.0


def fit_line(t: Floats, value: Floats, rng: Generator, draws: int = 4000) -> Draws:
    """A straight line, with what it leaves open.

    Args:
        t: seconds against now, not above 0, shape (n,), n of 4 or more, not all equal.
        value: readings, shape (n,).
        rng: seeded generator.
        draws: how many.
    Returns: draws of level and slope; rate 0.
    Source: the posterior of a linear model under flat priors (any textbook, from memory), with the effective samples of
        the residuals in place of their number, and no less scatter than the rounding of the readings gives.
    """
    design = np.column_stack([np.ones_like(t), t])
    theta, _ = _one(design, value, rng, draws)
    return Draws(theta[:, 0], theta[:, 1], np.zeros(draws))


def fit_approach(t: Floats, value: Floats, rng: Generator, draws: int = 4000) -> Draws:
    """A first-order approach: level + slope (1 − exp(−rate t))/rate, with what it leaves open.

    Written by the level and the slope of now, it stays determined where the final level is not.

    Args:
        t, value, rng, draws: as for ``fit_line``.
    Returns: draws of level, slope and rate; rates weighed by how well each fits.
    Source: as ``fit_line`` for each rate; the rates by their marginal likelihood on a grid. Own choice: the grid.
    """
    designs = [np.column_stack([np.ones_like(t), -np.expm1(-k * t) / k]) for k in RATES]
    fits = [_squares(d, value) for d in designs]
    worth = _worth(designs[int(np.argmin(fits))], value)
    floor = len(t) * _floor(value)
    log_weight = np.array(
        [
            -0.5 * (worth - 2) * np.log(s + floor) - 0.5 * np.linalg.slogdet(d.T @ d)[1]
            for s, d in zip(fits, designs, strict=True)
        ]
    )
    weight = np.exp(log_weight - log_weight.max())
    chosen = rng.choice(len(RATES), size=draws, p=weight / weight.sum())
    level, slope = np.empty(draws), np.empty(draws)
    for k in np.unique(chosen):
        at = chosen == k
        theta, _ = _one(designs[k], value, rng, int(at.sum()), worth)
        level[at], slope[at] = theta[:, 0], theta[:, 1]
    return Draws(level, slope, RATES[chosen])


def _one(design: Floats, value: Floats, rng: Generator, draws: int, worth: float | None = None) -> tuple[Floats, float]:
    n = len(value)
    worth = _worth(design, value) if worth is None else worth
    best, *_ = np.linalg.lstsq(design, value, rcond=None)
    variance = _squares(design, value) / (n - 2) + _floor(value)
    freedom = max(worth - 2.0, 1.0)
    spread = variance * freedom / rng.chisquare(freedom, size=draws) * n / worth
    root = np.linalg.cholesky(np.linalg.inv(design.T @ design))
    return best + (rng.standard_normal((draws, 2)) @ root.T) * np.sqrt(spread)[:, None], worth


def _squares(design: Floats, value: Floats) -> float:
    best, *_ = np.linalg.lstsq(design, value, rcond=None)
    return float(np.sum((value - design @ best) ** 2))


def _worth(design: Floats, value: Floats) -> float:
    """Effective samples of what the fit leaves over; no fewer than three, or nothing could be said."""
    best, *_ = np.linalg.lstsq(design, value, rcond=None)
    left = value - design @ best
    if float(np.ptp(left)) < 1e-9:
        return float(len(value))
    return max(effective_samples(left).stated, 3.0)


def _floor(value: Floats) -> float:
    """Variance that rounding alone gives."""
    return resolution(value) ** 2 / 12
