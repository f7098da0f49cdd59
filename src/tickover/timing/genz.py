"""Chance that sums of independent intervals keep all their bounds, whatever way the sums overlap.

The method of Genz: go through the intervals one by one; each is cut to what the earlier ones leave it by the bounds
that end with it, its chance of lying there is a factor, and it is drawn from there. What is left to average is smooth,
so that points of a lattice, shifted at random, do far better than random ones, and the shifts tell the error.
Source: Genz, Numerical computation of multivariate normal probabilities, Journal of Computational and Graphical
Statistics 1 (1992) 141–149; from memory. Here the intervals are independent already, so no Cholesky factor is needed,
and they need not be normal: lapses, answers that come evenly and “not before” are exact too.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray
from scipy.special import ndtr, ndtri

from tickover.timing.chain import Interval

Floats = NDArray[np.float64]

SHIFTS = 8
POINTS = 256
MOST_POINTS = 4096
"""Points of one shift at first, and where it ends: doubled until the error is small enough. Own choice."""

MOST_INTERVALS = 60
"""A lattice in more dimensions than this is no better than drawing. Own choice."""

_TINY = 1e-300


class Sampled(NamedTuple):
    """A chance found from points or from drawn attempts, and its standard error."""

    p: float
    se: float


@dataclass(frozen=True, slots=True)
class Sum:
    """``lo ≤ Σ plus − Σ minus ≤ hi`` over intervals, by their places [s]."""

    plus: tuple[int, ...]
    minus: tuple[int, ...]
    lo: float
    hi: float


def genz(intervals: Sequence[Interval], sums: Sequence[Sum], rng: Generator, wanted: float = 3e-4) -> Sampled:
    """Chance that independent intervals keep bounds on sums of them.

    Args:
        intervals: their distributions; each with some spread.
        sums: the bounds, each on one interval or more.
        rng: for the shifts of the lattice.
        wanted: standard error to reach; the last try's is told where ``MOST_POINTS`` do not reach it.
    Returns: probability and its standard error, from the scatter of the shifts.
    Source: as for the module.
    Example: two intervals N(5, 0.5) in 4..6 and N(3, 0.3) in 2.5..3.5, their sum in 7..9: 0.8288.
    """
    ends: list[list[Sum]] = [[] for _ in intervals]
    for s in sums:
        ends[max((*s.plus, *s.minus))].append(s)
    points = POINTS
    while True:
        found = _means(intervals, ends, rng.random((SHIFTS, len(intervals))), points)
        se = float(found.std(ddof=1)) / math.sqrt(SHIFTS)
        if se <= wanted or points >= MOST_POINTS:
            return Sampled(min(1.0, float(found.mean())), max(se, 1e-9))
        points *= 2


def _means(intervals: Sequence[Interval], ends: Sequence[Sequence[Sum]], shifts: Floats, points: int) -> Floats:
    """Mean of the product of chances over one lattice, for each of its shifts; shape (shifts,)."""
    place = np.arange(1, points + 1)
    size = len(shifts) * points
    weight = np.ones(size)
    drawn: list[Floats] = []
    for k, interval in enumerate(intervals):
        lo, hi = np.full(size, -np.inf), np.full(size, np.inf)
        for s in ends[k]:
            _narrow(lo, hi, s, k, drawn)
        # The tent 1 − |2u − 1| makes the integrand agree at both ends of the unit interval.
        u = (place * _ROOTS[k] + shifts[:, k, None]).ravel()
        chance, value = _cut(interval, lo, hi, 1.0 - np.abs(2.0 * (u % 1.0) - 1.0))
        weight *= chance
        drawn.append(value)
    means: Floats = weight.reshape(len(shifts), points).mean(axis=1)
    return means


def _narrow(lo: Floats, hi: Floats, s: Sum, k: int, drawn: Sequence[Floats]) -> None:
    """Narrow interval k, the last of a sum, by what the others of it came to; in place."""
    rest = np.zeros(len(lo))
    for i in s.plus:
        if i != k:
            rest += drawn[i]
    for i in s.minus:
        if i != k:
            rest -= drawn[i]
    if k in s.plus:
        np.maximum(lo, s.lo - rest, out=lo)
        np.minimum(hi, s.hi - rest, out=hi)
    else:
        np.maximum(lo, rest - s.hi, out=lo)
        np.minimum(hi, rest - s.lo, out=hi)


def _cut(interval: Interval, lo: Floats, hi: Floats, u: Floats) -> tuple[Floats, Floats]:
    """Chance of an interval to lie in lo..hi, and a value from there for each u of the unit interval [s]."""
    if interval.even is not None:
        least, most = interval.even
        lo, hi = np.maximum(lo, least), np.minimum(hi, most)
        room = np.maximum(hi - lo, 0.0)
        return room / (most - least), lo + u * room
    if interval.forward:  # what would be negative comes out as 0
        none = hi < 0
        lo = np.where(lo <= 0, -np.inf, lo)
        hi = np.where(none, -np.inf, hi)
    chance, value = _normal(interval, lo, hi, u)
    return chance, np.maximum(value, 0.0) if interval.forward else value


def _normal(interval: Interval, lo: Floats, hi: Floats, u: Floats) -> tuple[Floats, Floats]:
    """As ``_cut`` for a normal interval, lapses and all."""
    hi = np.maximum(lo, hi)
    sds = [interval.sd] if interval.lapse == 0 else [interval.sd, interval.sd * interval.lapse_widens]
    shares = [1.0] if interval.lapse == 0 else [1 - interval.lapse, interval.lapse]
    cuts = [_Cut(interval.mean, sd, lo, hi) for sd in sds]
    masses = [share * cut.mass for share, cut in zip(shares, cuts, strict=True)]
    if len(cuts) == 1:
        return masses[0], cuts[0].at(u)
    chance = masses[0] + masses[1]
    usual = u * chance < masses[0]
    inner = np.where(usual, u * chance, u * chance - masses[0]) / np.maximum(np.where(usual, *masses), _TINY)
    return chance, np.where(usual, cuts[0].at(np.minimum(inner, 1.0)), cuts[1].at(np.minimum(inner, 1.0)))


class _Cut:
    """A normal distribution cut to lo..hi, right in both tails: the upper one is turned into the lower one."""

    def __init__(self, mean: float, sd: float, lo: Floats, hi: Floats) -> None:
        self.mean, self.sd, self.lo, self.hi = mean, sd, lo, hi
        below, above = (lo - mean) / sd, (hi - mean) / sd
        self.flip = below > 0
        self.from_ = ndtr(np.where(self.flip, -above, below))
        self.mass: Floats = ndtr(np.where(self.flip, -below, above)) - self.from_

    def at(self, u: Floats) -> Floats:
        """The value below which the share u of it lies; the middle of the uncut one where nothing is left [s]."""
        z = ndtri(np.clip(self.from_ + u * self.mass, _TINY, 1 - 1e-16))
        value = self.mean + self.sd * np.where(self.flip, -z, z)
        value = np.minimum(np.maximum(value, self.lo), self.hi)
        return np.where(np.isfinite(value) & (self.mass > 0), value, self.mean)


def _primes(count: int) -> list[int]:
    found: list[int] = []
    n = 2
    while len(found) < count:
        if all(n % p for p in found):
            found.append(n)
        n += 1
    return found


_ROOTS = np.sqrt(np.array(_primes(MOST_INTERVALS), dtype=float))
"""The lattice of Richtmyer: multiples of the square roots of the primes."""
