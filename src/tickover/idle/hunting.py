"""Hunting: a regular swing of the idle, told from wander on the true times. See ``docs/why/hunting.md``."""

from __future__ import annotations

import math

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from tickover.idle.results import Hunting
from tickover.results import CannotTell, Measured, Quantity
from tickover.signals import Recording, Series
from tickover.stats import Line, strongest_line

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

BAND = (0.15, 2.0)  # slower is fan, loads or wander, faster is missed firings [Hz]; own choice
LEAST = 25.0  # a smaller swing is a steady idle [r/min]; trade practice
_LOOK_AT = 5000  # measurements that show how a logger stamps
CHANCE = 0.002  # odds that wander alone shows such a line; own choice
SHARE = 0.3  # a swing that explains less of the movement is not what moves it; own choice
_FASTER = "Log engine speed alone, ten times a second, or at uneven intervals."


def find_hunting(
    recording: Recording, used: NDArray[np.bool_], groups: Ints, swing: Measured, poll: float, rng: Generator
) -> Hunting | CannotTell:
    """Look for hunting in the samples of engine speed that count.

    Args:
        recording: with engine speed.
        used: which of its samples count, shape (n,).
        groups: number of the unbroken piece each lies in, shape (n,).
        swing: √2 · sd of the speed [r/min].
        poll: usual time from one measurement to the next [s].
        rng: seeded generator.
    Returns: what was found; why not where the idle is too short.
    """
    speed = recording["engine_speed"]
    t, x = speed.t_hi[used], speed.value[used]
    rising = np.diff(t, prepend=-np.inf) > 0
    coarse = grain(recording, "engine_speed")
    line = strongest_line(t[rising], x[rising], groups[used][rising], rng, band=BAND, grain=coarse)
    if line is None or isinstance(swing, CannotTell):
        return CannotTell(
            reason="whether it hunts: no 15 s of unbroken idle with a dozen measurements",
            way_out="Let it idle for a minute without touching anything.",
        )
    seen = math.sqrt(2 * line.seen_from) * line.spread
    if not (line.chance < CHANCE and line.share >= SHARE and swing.value >= LEAST):
        return Hunting(
            found=False,
            size=swing,
            frequency=CannotTell(reason="how fast it swings: no regular swing stands out from wander"),
            seen_from=max(seen, LEAST),
            unseen=_in_step(t, poll, coarse),
        )
    return Hunting(
        found=True,
        size=swing,
        frequency=_frequency(line, poll),
        candidates=tuple(round(c.frequency, 3) for c in line.candidates),
        seen_from=max(seen, LEAST),
    )


def _frequency(line: Line, poll: float) -> Measured:
    if len(line.candidates) == 1:
        (one,) = line.candidates
        return Quantity(value=one.frequency, lo=one.lo, hi=one.hi, unit="Hz", n_eff=float(line.samples))
    return CannotTell(
        reason=f"how fast it hunts: {either([c.frequency for c in line.candidates])} Hz, cannot tell at one "
        f"measurement every {poll:.1f} s",
        way_out=_FASTER,
    )


def either(frequencies: list[float]) -> str:
    """``0.3, 0.7, 1.3 or 1.7``: one decimal where that keeps them apart, else two."""
    for places in (1, 2):
        texts = [f"{f:.{places}f}" for f in sorted(frequencies)]
        if len(set(texts)) == len(texts):
            break
    texts = list(dict.fromkeys(texts))
    return texts[0] if len(texts) == 1 else f"{', '.join(texts[:-1])} or {texts[-1]}"


def _in_step(t: Floats, poll: float, coarse: float) -> tuple[float, ...]:
    """Frequencies in the band that keep step with even polling [Hz]; none where the polling is uneven or fast."""
    if len(t) < 2:
        return ()
    steps = np.diff(t)
    usual = steps[steps <= 2 * np.median(steps)]
    if poll <= 0.4 or float(usual.std()) > max(0.1 * poll, 0.6 * coarse):
        return ()
    return tuple(round(k / poll, 2) for k in range(1, 6) if BAND[0] <= k / poll <= BAND[1])


def grain(recording: Recording, name: str) -> float:
    """How coarsely the instants of a signal are known [s].

    A logger that writes rows between two measurements shows a new value up to one row late; one that stamps whole
    seconds knows no better than that.

    Args:
        recording: any recording.
        name: a signal in it.
    Returns: 0 where each instant is exact.
    """
    series = recording[name]
    if len(series) < 3 or np.array_equal(series.t_lo, series.t_hi):
        return 0.0
    return max(_row(recording, series), _stamp(series.t_hi))


def _row(recording: Recording, series: Series) -> float:
    """Usual time from the last row before a measurement to its own row, where there are rows between [s]."""
    own = series.t_hi[:_LOOK_AT]
    times = [recording[n].t_hi for n in recording]
    rows = np.unique(np.concatenate([t[: np.searchsorted(t, own[-1], side="right")] for t in times]))
    at = np.searchsorted(rows, own[1:])
    before = rows[np.maximum(at - 1, 0)]
    between = before > own[:-1]
    if np.count_nonzero(between) < 0.2 * len(between):
        return 0.0
    return float(np.median((own[1:] - before)[between]))


def _stamp(t: Floats) -> float:
    """Coarsest of 1, 0.5 and 0.1 s of which all instants are whole multiples apart [s]."""
    for unit in (1.0, 0.5, 0.1):
        parts = (t - t[0]) / unit
        if np.all(np.abs(parts - np.round(parts)) < 1e-3):
            return unit
    return 0.0
