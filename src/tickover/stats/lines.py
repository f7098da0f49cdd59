"""A regular swing in a wandering series: how strong it is, and which frequencies would explain it as well."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray
from scipy import optimize

from tickover.stats.spectrum import Periodogram

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

CHUNK = 60.0  # pieces are analysed one by one, so that a swing may lose its step in between [s]
LEAST_SECONDS, LEAST_SAMPLES = 15.0, 12
_MOST_CHUNKS = 16
_FINEST = 0.1  # faster sampling is averaged down to this [s]
_SLOW = 10.0  # what is slower than this is wander and taken out [s]
_DRAWS = 120
_LIKELY = 8.0  # frequencies within this of the best log-likelihood explain the data as well; own choice
_WORTH_A_LOOK = 0.05
_REACH = 0.5  # the background at a frequency is the median within this of it [Hz]


@dataclass(frozen=True)
class Candidate:
    """A frequency that explains the data, with the range around it that does so too [Hz]."""

    frequency: float
    lo: float
    hi: float


@dataclass(frozen=True)
class Line:
    """The strongest regular swing.

    Attributes:
        share: part of the variance that it takes away, once slow wander is out, 0 to 1.
        chance: odds that wander alone shows as strong a swing anywhere in the band.
        candidates: the frequencies that explain it as well as the best, rising; more than one are aliases. None where
            wander alone shows as much in one case of twenty.
        seen_from: share from which a swing anywhere in the band would have been told from wander.
        spread: standard deviation without slow wander, in the unit of the values.
        samples: how many were used.
    """

    share: float
    chance: float
    candidates: tuple[Candidate, ...]
    seen_from: float
    spread: float
    samples: int


def strongest_line(
    t: Floats, x: Floats, groups: Ints, rng: Generator, *, band: tuple[float, float], grain: float = 0.0
) -> Line | None:
    """Look for one regular swing in a band of frequencies.

    The spectrum is compared with that of wander of the same spread and memory (a first-order process fitted to the
    values, drawn at the same instants), and with its own median nearby, so a rough engine is not a regular one.

    Args:
        t: instants, rising, shape (n,) [s].
        x: values, shape (n,).
        groups: number of the unbroken stretch of each.
        rng: seeded generator.
        band: frequencies looked at [Hz].
        grain: how coarsely the instants are known [s].
    Returns: the strongest swing; None where no stretch of 15 s with 12 samples is there, or nothing varies.
    Valid for: swings that keep their frequency for some ten periods.
    Source: own choice; the fit of a first-order process to uneven samples is the textbook one. Rates measured in
        ``docs/why/hunting.md``.
    """
    chunks = _chunks(t, x, groups)
    if not chunks:
        return None
    frequency = np.arange(band[0], band[1], 1 / (5 * CHUNK))
    memory = _memory(chunks)
    found = np.zeros(len(frequency))
    drawn = np.zeros((len(frequency), _DRAWS))
    squares, count = 0.0, 0
    for times, values in chunks:
        spectrum = Periodogram(times, frequency)
        n = len(values)
        found += n * spectrum.power(values)
        drawn += n * spectrum.power(_flat(times, _wander(times, memory, rng)))
        squares += float(np.sum(values**2))
        count += n
    share, noise = found / count, drawn / count
    level = noise.mean(axis=1)
    level = np.maximum(level, 0.02 * float(np.median(level)))  # nothing is left where a swing keeps step with the polls
    nearby = _nearby((share / level)[:, None], frequency)[:, 0]
    height = share / level / nearby
    ratio = noise / level[:, None]
    others = (ratio / _nearby(ratio, frequency)).max(axis=0)
    scale = max(float(others.std()) * math.sqrt(6) / math.pi, 1e-9)
    place = float(others.mean()) - 0.5772 * scale
    best = int(np.argmax(height))
    needed = place - scale * math.log(-math.log1p(-0.002))
    chance = float(-np.expm1(-np.exp(-(height[best] - place) / scale)))
    return Line(
        share=float(share[best]),
        chance=chance,
        candidates=_candidates(chunks, frequency, grain) if chance < _WORTH_A_LOOK else (),
        seen_from=float(min(1.0, np.max(level * needed * nearby))),
        spread=math.sqrt(squares / count),
        samples=count,
    )


def _chunks(t: Floats, x: Floats, groups: Ints) -> list[tuple[Floats, Floats]]:
    """Pieces of at most a minute, averaged down where faster than needed, slow wander taken out.

    Of a long series sixteen are taken, spread evenly.
    """
    pieces = []
    for piece in np.split(np.arange(len(t)), np.flatnonzero(np.diff(groups)) + 1):
        if len(piece) < LEAST_SAMPLES:
            continue
        first, last = float(t[piece[0]]), float(t[piece[-1]])
        inner = np.linspace(first, last, max(1, math.ceil((last - first) / CHUNK)) + 1)[1:-1]
        parts = np.split(piece, np.searchsorted(t[piece], inner))
        pieces += [p for p in parts if len(p) >= LEAST_SAMPLES and t[p[-1]] - t[p[0]] >= LEAST_SECONDS]
    if len(pieces) > _MOST_CHUNKS:
        pieces = [pieces[i] for i in np.linspace(0, len(pieces) - 1, _MOST_CHUNKS).astype(int)]
    out = []
    for piece in pieces:
        times, values = _average(t[piece], x[piece])
        values = _flat(times, values[:, None])[:, 0]
        if len(times) >= LEAST_SAMPLES and float(np.ptp(values)) > 0:
            out.append((times, values))
    return out


def _average(t: Floats, x: Floats) -> tuple[Floats, Floats]:
    if len(t) < 2 or (t[-1] - t[0]) / (len(t) - 1) >= 0.8 * _FINEST:
        return t, x
    cell = np.floor((t - t[0]) / _FINEST).astype(np.int64)
    count = np.bincount(cell)
    has = count > 0
    return np.bincount(cell, t)[has] / count[has], np.bincount(cell, x)[has] / count[has]


def _flat(t: Floats, x: Floats) -> Floats:
    """Values without their moving average over ``_SLOW``, shape (n, series)."""
    total = np.concatenate([np.zeros((1, x.shape[1])), np.cumsum(x, axis=0)])
    a = np.searchsorted(t, t - _SLOW / 2, side="left")
    b = np.searchsorted(t, t + _SLOW / 2, side="right")
    return np.asarray(x - (total[b] - total[a]) / (b - a)[:, None])


def _memory(chunks: list[tuple[Floats, Floats]]) -> float:
    """Time constant of the first-order process that fits best [s]; its spread does not matter to shares."""
    steps = [np.diff(t) for t, _ in chunks]
    middle = float(np.median(np.concatenate(steps)))

    def misfit(log_tau: float) -> float:
        squares, logs, n = 0.0, 0.0, 0
        for (_, x), dt in zip(chunks, steps, strict=True):
            r = np.exp(-dt / math.exp(log_tau))
            left = np.maximum(1 - r * r, 1e-12)
            squares += float(x[0] ** 2 + np.sum((x[1:] - r * x[:-1]) ** 2 / left))
            logs += float(np.log(left).sum())
            n += len(x)
        return n * math.log(max(squares, 1e-300) / n) + logs

    found = optimize.minimize_scalar(misfit, bounds=(math.log(middle / 20), math.log(60.0)), method="bounded")
    return math.exp(float(found.x))


def _wander(t: Floats, memory: float, rng: Generator) -> Floats:
    """First-order processes of unit spread at these instants, shape (n, draws)."""
    out = rng.normal(size=(len(t), _DRAWS))
    r = np.exp(-np.diff(t) / memory)
    new = np.sqrt(1 - r * r)
    for i in range(1, len(t)):
        out[i] = r[i - 1] * out[i - 1] + new[i - 1] * out[i]
    return out


def _nearby(ratio: Floats, frequency: Floats) -> Floats:
    """Median of spectra near each frequency, shape (f, series): a slope that the model misses is no line."""
    knots = np.linspace(frequency[0], frequency[-1], 12)
    median = np.array([np.median(ratio[np.abs(frequency - k) <= _REACH], axis=0) for k in knots])
    left = np.clip(np.searchsorted(knots, frequency, side="right") - 1, 0, len(knots) - 2)
    part = ((frequency - knots[left]) / (knots[1] - knots[0]))[:, None]
    return np.asarray(np.maximum((1 - part) * median[left] + part * median[left + 1], 0.05))


def _gain(chunks: list[tuple[Floats, Floats]], frequency: Floats, grain: float) -> Floats:
    """Log-likelihood gained by a sine of each frequency; a share above 0.98 is as good as all of it."""
    blur = np.exp((2 * np.pi * frequency * grain) ** 2 / 12)  # instants known no better than this weaken a true swing
    gain = np.zeros(len(frequency))
    for t, x in chunks:
        share = np.minimum(Periodogram(t, frequency).power(x) * blur, 0.98)
        gain -= 0.5 * len(x) * np.log1p(-share)
    return gain


def _candidates(chunks: list[tuple[Floats, Floats]], frequency: Floats, grain: float) -> tuple[Candidate, ...]:
    """Peaks of the log-likelihood that come near the highest, each looked at more closely than the grid."""
    gain = _gain(chunks, frequency, grain)
    padded = np.concatenate([[-np.inf], gain, [-np.inf]])
    peaks = np.flatnonzero((gain >= padded[:-2]) & (gain >= padded[2:]) & (gain > 0.3 * gain.max()))
    step = float(frequency[1] - frequency[0])
    offsets = np.linspace(-1.5, 1.5, 25) * step
    close = (frequency[peaks][:, None] + offsets).ravel()
    fine = _gain(chunks, close, grain).reshape(len(peaks), -1)
    top = float(fine.max())
    out: list[Candidate] = []
    for row in np.argsort(-fine.max(axis=1), kind="stable"):
        high = float(fine[row].max())
        at = float(frequency[peaks[row]] + offsets[int(np.argmax(fine[row]))])
        if high <= top - _LIKELY or any(abs(at - c.frequency) < 1.2 / CHUNK for c in out):
            continue
        near = offsets[fine[row] > high - _LIKELY / 2] + frequency[peaks[row]]
        out.append(Candidate(at, float(near.min()) - step / 8, float(near.max()) + step / 8))
    return tuple(sorted(out, key=lambda c: c.frequency))
