"""Aims that suit one person: the delays with the best odds."""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize
from scipy.special import log_ndtr

from tickover.timing.aim import Aim, as_aims, at_start, interval_windows, share_spans
from tickover.timing.board import Board, lay_out
from tickover.timing.network import Bound, ends_of
from tickover.timing.odds import chance_of
from tickover.timing.person import LAPSE_WIDENS, CueFrom, Person
from tickover.timing.plan import Answer, Plan
from tickover.timing.prepared import Prepared
from tickover.timing.run import Run
from tickover.timing.tree import Tree, tree_of

Floats = NDArray[np.float64]

LOG_ROOT = math.log(math.sqrt(2 * math.pi))
NARROW = 1e-6
"""Added to both ends of a bound, so that one without width has a chance at all [s]."""


def best_aims(
    plan: Plan | Prepared,
    person: Person,
    run: Run | None = None,
    margins: Mapping[str, float] | None = None,
    cued: Collection[str] = frozenset(),
    cue_from: CueFrom = "schedule",
) -> dict[str, Aim]:
    """When to do each act that is still to come, for the best odds of one person.

    Even shares are the start. From there the delays climb the product of the chances of all bounds, sums of intervals
    taken as normal, by truncated Newton steps. An “at least” stays at or below its margin, because waiting longer is
    always surer.

    Args:
        plan, run, margins: as for ``aims``.
        person: who performs it; a person who is always late is told to act earlier.
        cued, cue_from: acts done to a cue, and what cues are counted from, as for ``odds``. A cued act does not spread
            with its delay, so it is aimed where its bounds leave the most room.
    Returns: as ``aims``, and inside the same windows.
    Raises: as ``aims``.
    Source: own choice. Taking sums as normal, and bounds as independent, only steers the aims. From the start of a plan
        the odds themselves then decide between them and even shares; while it runs that steering does. Why not by
        L-BFGS: docs/why/aims.md.
    """
    from_start, margins = run is None, margins or {}
    if run is None:
        run = at_start(plan)
        board = _even_from_start(run.prepared, frozenset(margins.items()))
    else:
        board = _even(run, margins)
    start = as_aims(board)
    chain = list(board.parent)
    lows, highs, wished = interval_windows(board, chain, margins)
    stood = _stood(run)
    more = np.array([stood.get((board.parent[j], j), 0.0) for j in chain])
    lows, highs, wished = np.maximum(lows, 0.0) + more, highs + more, wished + more
    names = [run.prepared.plan.events[j] for j in chain]
    hill = _hill(run, start, person, names, frozenset(cued), cue_from)
    if hill is None:
        return start
    # What even shares need lies in reach too: later than its margin where other bounds ask for it, or after a miss.
    even = np.array([start[e].delay for e in names])
    ends = list(zip(np.minimum(lows, even), np.maximum(np.minimum(highs, wished), even), strict=True))
    found = minimize(hill.fall, even, jac=True, method="TNC", bounds=ends).x
    best = as_aims(lay_out(run, margins, dict(zip(chain, found, strict=True)), board.parent))
    laid = np.array([best[e].delay for e in names])
    if hill.fall(laid)[0] > hill.fall(even)[0]:
        return start
    if from_start:  # the hill takes bounds that share intervals as independent; the odds do not
        by_best, by_even = (chance_of(run.prepared.plan, person, a, cued, cue_from=cue_from).p for a in (best, start))
        return best if by_best >= by_even else start
    return best


def _even(run: Run, margins: Mapping[str, float]) -> Board:
    """Even shares, laid out; not to be changed."""
    board = lay_out(run, margins, {})
    return lay_out(run, margins, share_spans(board, margins), board.parent)


@lru_cache(maxsize=8)
def _even_from_start(prepared: Prepared, margins: frozenset[tuple[str, float]]) -> Board:
    """As ``_even`` from the start of a plan, kept: whoever asks what cues gain asks again and again."""
    return _even(at_start(prepared), dict(margins))


@dataclass(frozen=True, slots=True)
class _Hill:
    """The bounds as sums over the delays: one row a bound, one column an act.

    Attributes:
        pull: what one second more of each delay adds to the mean of each sum, bounds × acts.
        noisy: 1 where the act's own spread, which grows with its delay, is in the sum, bounds × acts.
        lo, hi: range of each sum, what does not depend on the delays taken off [s].
        other: variance of what does not depend on the delays [s²].
        person: whose spread it is.
    """

    pull: Floats
    noisy: Floats
    lo: Floats
    hi: Floats
    other: Floats
    person: Person

    def fall(self, delays: Floats) -> tuple[float, Floats]:
        """−Σ ln P over the bounds, and its slope along each delay."""
        person = self.person
        mean = self.pull @ delays
        wide = _wide(person)
        own = (person.cv * delays) ** 2 + person.count_sd**2 * delays + person.motor_sd**2
        sd = np.sqrt(self.noisy @ (wide * own) + self.other) + 1e-6
        below, above = (self.lo - mean) / sd, (self.hi - mean) / sd
        chance = _log_between(below, above)
        # Density at each end over the chance between them, in logarithms because both may be tiny.
        at_lo, at_hi = (np.exp(np.minimum(-(z**2) / 2 - LOG_ROOT - chance, 600.0)) for z in (below, above))
        by_mean = (at_lo - at_hi) / sd
        by_sd = (_times(below, at_lo) - _times(above, at_hi)) / sd
        slope = by_mean @ self.pull
        slope += (by_sd / sd) @ self.noisy * wide * (person.cv**2 * delays + person.count_sd**2 / 2)
        return -float(chance.sum()), -slope


def _wide(person: Person) -> float:
    """How many times lapses raise a variance."""
    return 1 + person.lapse * (LAPSE_WIDENS**2 - 1)


def _times(z: Floats, density: Floats) -> Floats:
    """Product of z and density, 0 where z is infinite."""
    product: Floats = np.where(np.isfinite(z), z, 0.0) * density
    return product


def _log_between(below: Floats, above: Floats) -> Floats:
    """ln(Φ(above) − Φ(below)), right in both tails."""
    flip = below > 0
    a, b = np.where(flip, -above, below), np.where(flip, -below, above)
    upper = log_ndtr(b)
    between: Floats = upper + np.log1p(-np.exp(np.minimum(log_ndtr(a) - upper, -1e-15)))
    return between


def _hill(
    run: Run, start: Mapping[str, Aim], person: Person, names: Sequence[str], cued: frozenset[str], cue_from: CueFrom
) -> _Hill | None:
    """The bounds that the delays can still do something about; None if there are none."""
    plan = run.prepared.plan
    # The end of a count that stands has no aim: what follows it hangs on it, what spans it cannot be steered.
    standing = [k for k in plan.counters if k.event not in start and k.event not in run.happened]
    known = replace(plan, answers=(*plan.answers, *(Answer(k.event, k.start, 0.0, 0.0) for k in standing)))
    tree = tree_of(known, start, person, cued, run.happened, cue_from)
    rows = _Rows(tree, start, person, {e: k for k, e in enumerate(names)}, cued, frozenset(k.event for k in standing))
    stood = _stood(run)
    index = run.prepared.index
    later = ((k, stood.get((index[k.start], index[k.event]), 0.0)) for k in plan.counters)
    bounds: list[Bound] = [*plan.constraints, *(replace(k, lo=k.lo + more, hi=k.hi + more) for k, more in later)]
    kept = [row for row in (rows.of(b) for b in bounds) if row is not None]
    if not kept:
        return None
    return _Hill(
        np.array([r.pull for r in kept]),
        np.array([r.noisy for r in kept]),
        np.array([r.lo - NARROW for r in kept]),
        np.array([r.hi + NARROW for r in kept]),
        np.array([r.other for r in kept]),
        person,
    )


def _stood(run: Run) -> dict[tuple[int, int], float]:
    """For each count that runs, by the places of its start and its event, how long it has stood so far [s]."""
    found = {}
    for k, (start, event, *_) in enumerate(run.prepared.counters):
        count, began = run.counts[k], run.times[start]
        if count is not None and count.since is not None and began is not None:
            found[start, event] = max(0.0, run.now - began - count.at(run.now))
    return found


@dataclass(frozen=True, slots=True)
class _Row:
    """One bound of a hill."""

    pull: Floats
    noisy: Floats
    lo: float
    hi: float
    other: float


@dataclass(frozen=True, slots=True)
class _Rows:
    """What turns bounds into rows."""

    tree: Tree
    start: Mapping[str, Aim]
    person: Person
    column: Mapping[str, int]
    cued: frozenset[str]
    standing: frozenset[str]

    def of(self, bound: Bound) -> _Row | None:
        """The row of a bound; None for one that the delays cannot do anything about."""
        pull, noisy = np.zeros(len(self.column)), np.zeros(len(self.column))
        gone, other = 0.0, 0.0
        plus, minus = self.tree.between(*ends_of(bound))
        if self.standing.intersection(plus, minus):
            return None
        for sign, members in ((1.0, plus), (-1.0, minus)):
            for e in members:
                if e not in self.column:  # has happened, or is the world's
                    mean, sd = self.tree.interval[e].moments
                    gone, other = gone + sign * mean, other + sd**2
                elif e in self.cued:
                    for x in self._delays(e):
                        pull[self.column[x]] += sign
                    other += _wide(self.person) * self.person.cued_sd**2
                else:
                    pull[self.column[e]] += sign * (1 + self.person.scale)
                    gone += sign * self.person.bias
                    noisy[self.column[e]] = 1.0
        return _Row(pull, noisy, bound.lo - gone, bound.hi - gone, other) if pull.any() else None

    def _delays(self, event: str) -> list[str]:
        """The acts whose delays add up to where a cued act stands below what it hangs on."""
        found = [event]
        while self.start[found[-1]].after != self.tree.above[event]:
            found.append(self.start[found[-1]].after)
        return found
