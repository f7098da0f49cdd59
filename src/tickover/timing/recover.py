"""After a miss: which bounds can no longer be kept, and the windows of the rest without them."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from tickover.errors import ContradictionError
from tickover.timing.network import TOLERANCE, Arcs, Bound, as_constraint, bounds_of, ends_of
from tickover.timing.plan import Answer, Constraint, Counter, Plan
from tickover.timing.prepared import Tables, close_plan, tables_of


@dataclass(frozen=True, slots=True)
class Facts:
    """What is known at a moment of a run.

    Attributes:
        times: when each event happened, by place; None while it has not [s].
        now: the moment [s]; what has not happened comes later.
        counts: for each counter, counted time so far [s] and whether it is running; None before its start.
        missed: places of the bounds that are missed for good.
    """

    times: tuple[float | None, ...]
    now: float
    counts: tuple[tuple[float, bool] | None, ...]
    missed: frozenset[int]


@dataclass(frozen=True, slots=True)
class Doomed:
    """A bound that is given up: which, by which event, late or early, by how much at least [s]."""

    bound: int
    event: str
    late: bool
    at_least: float


def recover(plan: Plan, facts: Facts) -> tuple[Tables, list[Doomed]]:
    """Drop the bounds that can no longer be kept, and close the rest again.

    Args:
        plan: the whole plan.
        facts: what has happened.
    Returns: new tables, with every window not empty; and the bounds given up.

    Of the bounds on a contradicting cycle the one that reaches back furthest is given up (own choice): a late fourth
    press costs the span of all five, not the next gap. What the world gives is given up only where no other bound
    is on the cycle: an answer that is overdue.
    """
    kept = {place: bound for place, bound in _still_open(plan, facts).items() if place not in facts.missed}
    doomed: list[Doomed] = []
    while True:
        found = _arcs(plan, facts, kept).contradiction()
        if found is None:
            break
        arcs, short_by = found
        sides = {a.bound: a.upper for a in arcs if a.bound >= 0}
        place = min(sides, key=lambda p: (not isinstance(kept[p], Constraint), _begun(plan, facts, p), p))
        event, late = _who(plan, facts, place, sides[place])
        doomed.append(Doomed(place, event, late, short_by))
        del kept[place]
    return _tables(plan, facts, kept), doomed


def _tables(plan: Plan, facts: Facts, kept: dict[int, Bound]) -> Tables:
    """Tables of what is left of the plan, counters at their old places."""
    offset = len(plan.constraints) + len(plan.answers)
    counters = {k: _count_from_here(plan, facts, k) for k in range(len(plan.counters)) if offset + k in kept}
    gated = {k: c for k, c in counters.items() if c is not None}
    closing = [c for k in counters if k not in gated for c in _closing(plan, facts, k)]
    rest = _rest(plan, facts, kept, tuple(gated.values()), closing)
    try:
        closed = close_plan(rest)
    except ContradictionError:
        # Only if no count ever stands again; that is not certain, so those ends are not offered rather than missed.
        rest = _rest(plan, facts, kept, tuple(gated.values()), [])
        closed = close_plan(rest)
    return tables_of(rest, closed, places=tuple(gated), counters=len(plan.counters))


def _still_open(plan: Plan, facts: Facts) -> dict[int, Bound]:
    """Bounds of which an end is still to come."""
    index = {e: i for i, e in enumerate(plan.events)}
    return {
        place: bound
        for place, bound in enumerate(bounds_of(plan))
        if any(facts.times[index[e]] is None for e in ends_of(bound))
    }


def _begun(plan: Plan, facts: Facts, place: int) -> float:
    """When the earlier end of a bound happened; ``inf`` if none of them has [s]."""
    index = {e: i for i, e in enumerate(plan.events)}
    times = [facts.times[index[e]] for e in ends_of(bounds_of(plan)[place])]
    return min((t for t in times if t is not None), default=math.inf)


def _who(plan: Plan, facts: Facts, place: int, upper: bool) -> tuple[str, bool]:
    """The event of a bound that is to blame, and whether it is late: the end still to come, or the later end."""
    index = {e: i for i, e in enumerate(plan.events)}
    a, b = ends_of(bounds_of(plan)[place])
    if facts.times[index[b]] is not None:  # b is there, a is not: too far apart means a should have come later
        return a, not upper
    return b, upper


def _arcs(plan: Plan, facts: Facts, kept: dict[int, Bound]) -> Arcs:
    """Facts (owner −1) and bounds as arcs."""
    index = {e: i for i, e in enumerate(plan.events)}
    arcs = Arcs(len(plan.events))
    for i, t in enumerate(facts.times):
        if i > 0:
            arcs.between(0, i, *((facts.now, math.inf) if t is None else (t, t)), bound=-1)
    for place, bound in kept.items():
        c = as_constraint(bound)
        lo, hi = c.lo, c.hi
        if isinstance(bound, Counter):
            lo, hi = _real_time(plan, facts, place - len(plan.constraints) - len(plan.answers))
        arcs.between(index[c.a], index[c.b], lo, hi, place)
    return arcs


def _real_time(plan: Plan, facts: Facts, k: int) -> tuple[float, float]:
    """Real time from a counter's start to its event: the least, if the count runs from now on, and the most [s].

    There is no most, because the count may stand; unless more than its upper end is counted already.
    """
    counter = plan.counters[k]
    start = facts.times[plan.events.index(counter.start)]
    state = facts.counts[k]
    if start is None or state is None:
        return counter.lo, math.inf
    elapsed, total = facts.now - start, state[0]
    least = max(0.0, elapsed + counter.lo - total) if total < counter.lo else 0.0
    return least, elapsed + counter.hi - total if total > counter.hi + TOLERANCE else math.inf


def _count_from_here(plan: Plan, facts: Facts, k: int) -> Counter | None:
    """A counter as seen from now, in real time since its start; ``None`` once its lower end has been counted."""
    counter = plan.counters[k]
    state = facts.counts[k]
    if state is None:
        return counter
    if state[0] >= counter.lo - TOLERANCE:
        return None
    least, _ = _real_time(plan, facts, k)
    return replace(counter, lo=least, hi=least + counter.hi - counter.lo)


def _closing(plan: Plan, facts: Facts, k: int) -> list[Constraint]:
    """Upper end of a counter whose lower end has been counted, if it runs on; none while it stands."""
    counter = plan.counters[k]
    state = facts.counts[k]
    if state is None or not state[1]:
        return []
    return [Constraint(plan.origin, counter.event, -math.inf, facts.now + counter.hi - state[0])]


def _rest(
    plan: Plan, facts: Facts, kept: dict[int, Bound], counters: tuple[Counter, ...], closing: list[Constraint]
) -> Plan:
    """What is still to be done, as a plan of its own with what has happened pinned down."""
    index = {e: i for i, e in enumerate(plan.events)}
    given = {w.event for w in plan.answers}
    constraints = [b for b in kept.values() if isinstance(b, Constraint)] + closing
    for e, t in zip(plan.events[1:], facts.times[1:], strict=True):
        if t is not None:
            constraints.append(Constraint(plan.origin, e, t, t))
        elif e not in given:
            constraints.append(Constraint(plan.origin, e, facts.now, math.inf))
    answers = []
    for bound in kept.values():
        if isinstance(bound, Answer):
            since = facts.times[index[bound.after]]
            lo = bound.lo if since is None else min(max(bound.lo, facts.now - since), bound.hi)
            answers.append(replace(bound, lo=lo))
    return Plan(plan.events, tuple(constraints), tuple(answers), counters)
