"""Many attempts at one plan judged at once, and many networks closed at once: the same answers as one at a time."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tickover.errors import TimingError
from tickover.timing.judge import Verdict
from tickover.timing.network import (
    TOLERANCE,
    Matrix,
    as_constraint,
    bounds_of,
    ends_of,
    shortest_negative_cycle,
)
from tickover.timing.plan import Counter, Plan

Floats = NDArray[np.float64]
Codes = NDArray[np.int8]
Flags = NDArray[np.bool_]

HIT, UNDECIDED, MISSED = 1, 0, -1
VERDICTS: dict[int, Verdict] = {HIT: "hit", UNDECIDED: "undecided", MISSED: "missed"}

AT_ONCE = 2048
"""Attempts that are closed together; measured: fewer are slower, 6 MB for a plan of 18 events. Own choice."""

CLOSED_AT_ONCE = 256
"""Networks that are closed together, so that turning their matrices about stays in the cache; measured."""

_NO_ARC = 2.0**60
_SURELY = 1e-3
"""A cycle this negative is a contradiction beyond doubt, whatever rounding did [s]; a smaller one is walked."""


@dataclass(frozen=True, eq=False)
class Sightings:
    """What was seen of many attempts, each on one clock of its own; rows are attempts, columns the plan's events.

    Attributes:
        t_lo, t_hi: bracket of each event on the attempt's clock, attempts × events, nan where it was not seen [s].
        order: place of each event in what the clock recorded, attempts × events; ``None``: by ``t_lo``, then by the
            plan. As for ``judge`` the order is taken as a fact.
        offset: range of attempt time minus clock time, attempts × 2 [s]; ``None``: 0.
        horizon: attempt time until which the watch went on, shape (attempts,), nan where it is not known [s].
        counted: for counters, by the event that ends them, the range of the counted time, attempts × 2, nan where it
            was not recorded [s].
    """

    t_lo: Floats
    t_hi: Floats
    order: NDArray[np.int64] | None = None
    offset: Floats | None = None
    horizon: Floats | None = None
    counted: Mapping[str, Floats] = field(default_factory=dict)


@dataclass(frozen=True, eq=False)
class ManyJudged:
    """What ``judge`` would say of each attempt, as codes ``HIT``, ``UNDECIDED``, ``MISSED``.

    Attributes:
        verdict, joint: as in ``Judgement``, shape (attempts,).
        bounds: of each bound in the plan's order, attempts × bounds.
        lo, hi: exact range of what each bounds, attempts × bounds [s].
        at_odds: whether the observations of the attempt contradict one another, shape (attempts,).
    """

    verdict: Codes
    joint: Codes
    bounds: Codes
    lo: Floats
    hi: Floats
    at_odds: Flags


def minimal_networks(lengths: Floats) -> tuple[Floats, Flags]:
    """Close many networks of one size at once.

    Args:
        lengths: arcs of each network as for ``network.close``, networks × n × n, ``inf`` where there is none [s].
    Returns: shortest paths, same shape, the numbers that ``close`` returns; and which of them hold no contradiction.
    Raises: TimingError for another shape.
    Example: ``minimal_networks(np.stack([a.lengths, b.lengths]))``.
    """
    if lengths.ndim != 3 or lengths.shape[1] != lengths.shape[2]:
        raise TimingError(f"networks are one matrix each, n × n; this is of shape {lengths.shape}")
    out = np.empty_like(lengths, dtype=float)
    for k in range(0, len(lengths), CLOSED_AT_ONCE):
        part = slice(k, k + CLOSED_AT_ONCE)
        out[part] = np.moveaxis(_close(np.moveaxis(lengths[part], 0, 2)), 2, 0)
    worst = np.diagonal(out, axis1=1, axis2=2).min(axis=1) if lengths.shape[1] else np.zeros(len(lengths))
    return out, worst >= -TOLERANCE


def _close(lengths: Floats) -> Floats:
    """Floyd–Warshall on n × n × networks, a new array."""
    out = np.ascontiguousarray(np.minimum(lengths, _NO_ARC))
    through = np.empty_like(out)
    for p in range(len(out)):
        np.add(out[:, p, None, :], out[None, p, :, :], out=through)
        np.minimum(out, through, out=out)
    out[out >= _NO_ARC / 2] = math.inf
    return out


def judge_many(plan: Plan, seen: Sightings) -> ManyJudged:
    """Judge many attempts at one plan.

    Args:
        plan: its bounds are judged, as by ``judge``.
        seen: the observations.
    Returns: verdicts and ranges, equal to those of ``judge`` on each attempt. Cycles and sentences are not made: ask
        ``judge`` for those of one.
    Raises: TimingError if shapes do not fit the plan, or a bracket or an offset is upside down.
    Valid for: one sighting of an event, on one clock an attempt.
    """
    _check(plan, seen)
    parts = [_judge(plan, seen, slice(k, k + AT_ONCE)) for k in range(0, max(1, len(seen.t_lo)), AT_ONCE)]
    return ManyJudged(
        verdict=np.concatenate([p.verdict for p in parts]),
        joint=np.concatenate([p.joint for p in parts]),
        bounds=np.concatenate([p.bounds for p in parts]),
        lo=np.concatenate([p.lo for p in parts]),
        hi=np.concatenate([p.hi for p in parts]),
        at_odds=np.concatenate([p.at_odds for p in parts]),
    )


def _check(plan: Plan, seen: Sightings) -> None:
    attempts = len(seen.t_lo)
    n = len(plan.events)
    shapes: list[tuple[str, NDArray[Any], int]] = [("t_lo", seen.t_lo, n), ("t_hi", seen.t_hi, n)]
    shapes += [("order", seen.order, n)] if seen.order is not None else []
    shapes += [("offset", seen.offset, 2)] if seen.offset is not None else []
    shapes += [(f"counted “{e}”", c, 2) for e, c in seen.counted.items()]
    for name, values, columns in shapes:
        if values.shape != (attempts, columns):
            raise TimingError(f"{name} is of shape {values.shape}, not {(attempts, columns)}")
    if seen.horizon is not None and seen.horizon.shape != (attempts,):
        raise TimingError(f"horizon is of shape {seen.horizon.shape}, not {(attempts,)}")
    if (np.isnan(seen.t_lo) != np.isnan(seen.t_hi)).any() or (seen.t_lo > seen.t_hi).any():
        raise TimingError("a bracket has one end only, or is upside down")
    if seen.offset is not None and not (seen.offset[:, 0] <= seen.offset[:, 1]).all():
        raise TimingError("the range of a clock's offset is upside down")


def _judge(plan: Plan, seen: Sightings, part: slice) -> ManyJudged:
    """Some of the attempts; inside, attempts are the last axis."""
    there = ~np.isnan(seen.t_lo[part])
    lengths = _facts(seen, part, there)
    closed = _close(lengths)
    at_odds: Flags = np.diagonal(closed).min(axis=1) < -TOLERANCE
    bounds, lo, hi = _each_bound(plan, seen, part, there, closed)
    bounds[at_odds], lo[at_odds], hi[at_odds] = UNDECIDED, -math.inf, math.inf
    any_missed, all_hit = (bounds == MISSED).any(axis=1), (bounds == HIT).all(axis=1)
    broken = _broken_together(plan, lengths, closed) & ~at_odds
    joint = np.where(broken | any_missed, MISSED, np.where(all_hit & ~at_odds, HIT, UNDECIDED))
    everything = all_hit & there.all(axis=1) & ~at_odds
    verdict = np.where(any_missed | broken, MISSED, np.where(everything, HIT, UNDECIDED))
    return ManyJudged(verdict.astype(np.int8), joint.astype(np.int8), bounds, lo, hi, at_odds)


def _facts(seen: Sightings, part: slice, there: Flags) -> Floats:
    """The observations as arcs: node 0 is the zero of attempt time, then the events, then the clock."""
    t_lo, t_hi = seen.t_lo[part], seen.t_hi[part]
    attempts, n = t_lo.shape
    lengths = np.full((n + 2, n + 2, attempts), math.inf)
    lengths[range(n + 2), range(n + 2)] = 0.0
    clock = n + 1
    offset = np.zeros((attempts, 2)) if seen.offset is None else seen.offset[part]
    lengths[0, clock], lengths[clock, 0] = offset[:, 1], -offset[:, 0]
    lengths[clock, 1:clock] = np.where(there, t_hi, math.inf).T
    lengths[1:clock, clock] = np.where(there, -t_lo, math.inf).T
    keys = t_lo if seen.order is None else seen.order[part].astype(float)
    order = np.argsort(np.where(there, keys, math.inf), axis=1, kind="stable")
    rows = np.arange(attempts)
    for k in range(n - 1):  # each that was seen is not before the one recorded before it
        a, b = order[:, k], order[:, k + 1]
        both = there[rows, a] & there[rows, b]
        lengths[b[both] + 1, a[both] + 1, rows[both]] = 0.0
    if seen.horizon is not None:
        horizon = seen.horizon[part][:, None]
        late = ~there & ~np.isnan(horizon)
        lengths[1:clock, 0] = np.where(late, -np.where(np.isnan(horizon), 0.0, horizon), lengths[1:clock, 0].T).T
    return lengths


def _each_bound(plan: Plan, seen: Sightings, part: slice, there: Flags, closed: Floats) -> tuple[Codes, Floats, Floats]:
    """Verdict and exact range of each bound by itself, attempts × bounds."""
    index = {e: i for i, e in enumerate(plan.events)}
    every = bounds_of(plan)
    shape = (closed.shape[2], len(every))
    codes, lows, highs = np.zeros(shape, dtype=np.int8), np.empty(shape), np.empty(shape)
    for k, bound in enumerate(every):
        a, b = (index[e] for e in ends_of(bound))
        lo, hi = 0.0 - closed[b + 1, a + 1], closed[a + 1, b + 1]
        sure = there[:, a] & there[:, b]
        if isinstance(bound, Counter):
            lo, hi, recorded = _counted(bound, seen, part, np.maximum(0.0, hi))
            sure = sure & recorded
        ordered = lo <= hi
        missed = ((hi < bound.lo - TOLERANCE) | (lo > bound.hi + TOLERANCE)) & ordered
        hit = sure & ~missed & (lo >= bound.lo - TOLERANCE) & (hi <= bound.hi + TOLERANCE)
        codes[:, k] = np.where(missed, MISSED, np.where(hit, HIT, UNDECIDED))
        lows[:, k], highs[:, k] = lo, hi
    return codes, lows, highs


def _counted(bound: Counter, seen: Sightings, part: slice, most: Floats) -> tuple[Floats, Floats, Flags]:
    """Range of a counted time, and where it was recorded and can be."""
    nothing = np.full((len(most), 2), math.nan)
    counted = seen.counted[bound.event][part] if bound.event in seen.counted else nothing
    known: Flags = ~np.isnan(counted).any(axis=1) & ~(counted[:, 0] > most + TOLERANCE)
    upper = np.where(known, np.minimum(counted[:, 1], most), most)
    lo = np.where(known, np.minimum(np.maximum(0.0, counted[:, 0]), upper), 0.0)
    return lo, upper, known


def _broken_together(plan: Plan, lengths: Floats, closed: Floats) -> Flags:
    """Whether observations and all bounds contradict one another."""
    index = {e: i + 1 for i, e in enumerate(plan.events)}
    # Laid on the closed facts: the same shortest cycles, fewer steps.
    both = closed.copy()
    bounds: Matrix = np.full(both.shape[:2], math.inf)
    for bound in bounds_of(plan):
        c = as_constraint(bound)
        a, b = index[c.a], index[c.b]
        bounds[a, b], bounds[b, a] = min(bounds[a, b], c.hi), min(bounds[b, a], -c.lo)
    np.minimum(both, bounds[:, :, None], out=both)
    worst = np.diagonal(_close(both)).min(axis=1)
    broken: Flags = worst < -TOLERANCE
    for k in np.flatnonzero(broken & (worst > -_SURELY)):  # rounding may have gone round a cycle more than once
        broken[k] = bool(shortest_negative_cycle(np.minimum(lengths[:, :, k], bounds)))
    return broken
