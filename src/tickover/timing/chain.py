"""Chance that a chain of timed intervals keeps every window of its own and every span over several of them.

Intervals are independent. A window on one interval cuts its distribution off; a span cuts off the distribution of a
sum, which is a convolution, done on a fine lattice by FFT. Spans may be nested or side by side. Spans that cross cannot
be done this way: after one of them the intervals are no longer independent.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.fft import irfft, next_fast_len, rfft
from scipy.special import ndtr

from tickover.errors import TimingError

CELLS = 1 << 14
"""Cells of the lattice that the whole of a span is laid on."""

REACH = 9.0
"""Standard deviations either side of the mean that the lattice covers; beyond lies 1e-19."""

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Interval:
    """The distribution of one interval.

    Attributes:
        mean, sd: of a normal distribution [s]; ``sd`` may be 0.
        lapse: share of draws whose error is ``lapse_widens`` times as wide.
        lapse_widens: as above.
        forward: whether what would be negative comes out as 0 (time does not run backwards).
        even: instead of all that, the ends of a window in which every moment is as likely [s].
    """

    mean: float
    sd: float
    lapse: float = 0.0
    lapse_widens: float = 1.0
    forward: bool = False
    even: tuple[float, float] | None = None

    @property
    def moments(self) -> tuple[float, float]:
        """Mean and standard deviation [s], what ``forward`` does left out."""
        if self.even is not None:
            return (self.even[0] + self.even[1]) / 2, (self.even[1] - self.even[0]) / math.sqrt(12)
        return self.mean, self.sd * math.sqrt(1 + self.lapse * (self.lapse_widens**2 - 1))

    @property
    def widest(self) -> float:
        """A standard deviation that holds for the tails too [s]."""
        return self.moments[1] if self.even is not None else self.sd * (self.lapse_widens if self.lapse > 0 else 1.0)

    @property
    def support(self) -> tuple[float, float]:
        """Where all but nothing of it lies [s]."""
        if self.even is not None:
            return self.even
        wide = REACH * self.widest
        lo, hi = self.mean - wide, self.mean + wide
        return (max(0.0, lo), max(0.0, hi)) if self.forward else (lo, hi)

    def below(self, x: Floats) -> Floats:
        """P(interval ≤ x), any shape, what ``forward`` does left out."""
        if self.even is not None:
            lo, hi = self.even
            return np.clip((x - lo) / (hi - lo), 0.0, 1.0) if hi > lo else (x >= lo).astype(float)
        if self.sd == 0:
            return (x >= self.mean).astype(float)
        z = (x - self.mean) / self.sd
        usual = ndtr(z)
        return usual if self.lapse == 0 else (1 - self.lapse) * usual + self.lapse * ndtr(z / self.lapse_widens)

    def inside(self, lo: float, hi: float) -> float:
        """P(lo ≤ interval ≤ hi); both ends belong to it, which counts where the interval cannot vary."""
        if hi < lo or (self.forward and hi < 0):
            return 0.0
        if self.forward and lo <= 0:
            lo = -math.inf
        cut = np.nextafter(lo, -math.inf) if lo > -math.inf else lo
        below = self.below(np.array([cut, hi]))
        return float(below[1] - below[0])


@dataclass(frozen=True, slots=True)
class Span:
    """A bound ``lo..hi`` on the sum of intervals ``first..last`` of a chain, both counted in [s]."""

    first: int
    last: int
    lo: float
    hi: float


@dataclass(frozen=True, slots=True)
class _Lattice:
    """Masses of cells of one width; the first cell begins at ``start`` [s]."""

    start: float
    mass: Floats


def span_odds(
    means: Sequence[float], sds: Sequence[float], windows: Sequence[tuple[float, float]], span: tuple[float, float]
) -> float:
    """Chance that each of several independent normal intervals is in its window, and their sum in the span.

    Args:
        means, sds: of each interval [s].
        windows: lower and upper end for each; may be infinite [s].
        span: lower and upper end of the sum [s].
    Returns: probability, to about 1e-6.
    Raises: TimingError if the lists differ in length or are empty.
    Source: own; the product of the windows' chances with a convolution of the cut-off densities.
    Example: ``span_odds([5, 3], [0.5, 0.3], [(4, 6), (2.5, 3.5)], (7, 9))`` is 0.82878; the product of the three
        chances taken one by one would be 0.86326.
    """
    if not len(means) == len(sds) == len(windows) or not means:
        raise TimingError("every interval needs a mean, a standard deviation and a window")
    intervals = [Interval(m, s) for m, s in zip(means, sds, strict=True)]
    return chain_odds(intervals, windows, [Span(0, len(intervals) - 1, *span)])


def chain_odds(
    intervals: Sequence[Interval], windows: Sequence[tuple[float, float]], spans: Sequence[Span], cells: int = CELLS
) -> float:
    """Chance that a chain keeps all its windows and spans.

    Args:
        intervals: their distributions, in order.
        windows: lower and upper end for each interval; may be infinite [s].
        spans: bounds on sums; of any two, one holds the other or they do not meet.
        cells: fineness of the lattice.
    Returns: probability.
    Raises: TimingError if spans cross.
    """
    if not nested(spans):
        raise TimingError("spans that cross cannot be multiplied", way_out="Use sampling.")
    tops = [s for s in spans if not any(_holds(o, s) and (o.first, o.last) != (s.first, s.last) for o in spans)]
    p, covered = 1.0, set[int]()
    for first, last in sorted({(s.first, s.last) for s in tops}):
        parts = range(first, last + 1)
        width = sum(_cut(intervals[i], windows[i])[1] - _cut(intervals[i], windows[i])[0] for i in parts)
        lattice = _block(intervals, windows, spans, first, last, max(width, 1e-9) / cells)
        p *= float(lattice.mass.sum())
        covered |= set(parts)
    for i in set(range(len(intervals))) - covered:
        p *= intervals[i].inside(*windows[i])
    return min(1.0, p)


def nested(spans: Sequence[Span]) -> bool:
    """Whether of any two spans one holds the other, or they do not meet."""
    return all(
        _holds(a, b) or _holds(b, a) or a.last < b.first or b.last < a.first
        for k, a in enumerate(spans)
        for b in spans[k + 1 :]
    )


def _holds(outer: Span, inner: Span) -> bool:
    return outer.first <= inner.first and inner.last <= outer.last


def _cut(interval: Interval, window: tuple[float, float]) -> tuple[float, float]:
    """The part of an interval's support that its window leaves [s]."""
    lo, hi = interval.support
    return max(lo, window[0]), max(max(lo, window[0]), min(hi, window[1]))


def _block(
    intervals: Sequence[Interval],
    windows: Sequence[tuple[float, float]],
    spans: Sequence[Span],
    first: int,
    last: int,
    step: float,
) -> _Lattice:
    """Distribution of the sum of intervals first..last where all windows and spans among them are kept."""
    inside = [s for s in spans if first <= s.first and s.last <= last and (s.first, s.last) != (first, last)]
    parts = []
    i = first
    while i <= last:
        widest = max((s.last for s in inside if s.first == i), default=None)
        if widest is None:
            parts.append(_lay(intervals[i], windows[i], step))
            i += 1
        else:
            parts.append(_block(intervals, windows, spans, i, widest, step))
            i = widest + 1
    total = _sum(parts, step)
    for s in spans:
        if (s.first, s.last) == (first, last):
            total = _cut_off(total, s.lo, s.hi, step)
    return total


def _lay(interval: Interval, window: tuple[float, float], step: float) -> _Lattice:
    """One interval on the lattice, its window cut out; the first cell begins at the lower end."""
    lo, hi = _cut(interval, window)
    n = max(1, math.ceil((hi - lo) / step - 1e-9))
    edges = np.minimum(lo + step * np.arange(n + 1), hi)
    below = interval.below(edges)
    mass = np.diff(below)
    chance = interval.inside(*window)
    # What lies outside the lattice but inside the window: nothing, or what would have been negative.
    mass[0] += chance - float(mass.sum())
    return _Lattice(lo, np.maximum(mass, 0.0))


def _sum(parts: Sequence[_Lattice], step: float) -> _Lattice:
    """Distribution of a sum; each sum of cells is again one cell about the same middle."""
    if len(parts) == 1:
        return parts[0]
    size = sum(len(p.mass) for p in parts) - len(parts) + 1
    padded = next_fast_len(size, real=True)
    product = rfft(parts[0].mass, padded)
    for p in parts[1:]:
        product = product * rfft(p.mass, padded)
    mass = np.maximum(irfft(product, padded)[:size], 0.0)
    return _Lattice(sum(p.start for p in parts) + (len(parts) - 1) * step / 2, mass)


def _cut_off(lattice: _Lattice, lo: float, hi: float, step: float) -> _Lattice:
    """Only what lies in lo..hi; a cell that is cut keeps its share."""
    left = lattice.start + step * np.arange(len(lattice.mass))
    share = np.clip((np.minimum(left + step, hi) - np.maximum(left, lo)) / step, 0.0, 1.0)
    return _Lattice(lattice.start, lattice.mass * share)
