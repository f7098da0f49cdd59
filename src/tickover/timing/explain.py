"""Why an attempt was missed, what would have passed, and what would have settled an attempt that nobody can tell of."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from scipy.special import ndtr

from tickover.errors import TimingError
from tickover.timing.judge import Judgement, Observation, Range, judge
from tickover.timing.nearest import nearest_hit
from tickover.timing.network import Bound, as_constraint, bounds_of, ends_of, label_of
from tickover.timing.person import Person
from tickover.timing.plan import Constraint, Counter, Plan

FAIRLY_SURE = 0.9
"""An act that comes inside its bound less often than this, aimed at the middle, is one to be cued. Own choice."""

WIDTHS = (0.1, 0.05, 0.02, 0.01, 0.005)
"""How finely an instant may be asked for: half of its bracket, coarse to fine [s]. Own choice."""

ENOUGH = 0.75
"""An observation decides where it does so for this share of what it might have shown. Own choice."""

_TRIALS = 16
_BASES = (2, 3, 5)


@dataclass(frozen=True, slots=True)
class Change:
    """What the nearest attempt does otherwise.

    Attributes:
        act: the act.
        after: the event that came before it.
        by: how much longer it should have been waited, negative for shorter [s].
        was: how long it was waited [s].
        uncertain: whether a person who times it unaided, aimed at the middle of its bound, misses it often: cue it.
    """

    act: str
    after: str
    by: float
    was: float
    uncertain: bool


@dataclass(frozen=True, slots=True)
class Miss:
    """Why an attempt was missed.

    Attributes:
        broken: bounds that cannot all have been hit, given what was seen; without any one of them the others can.
        changes: what the nearest attempt that passes does otherwise, the greatest change first; empty where no act
            need change, because the car or counted time alone broke a bound.
        possible: whether with the car's answers as they came any attempt would have passed.
    """

    broken: tuple[Bound, ...]
    changes: tuple[Change, ...]
    possible: bool


@dataclass(frozen=True, slots=True)
class Decider:
    """Which observation would have settled an attempt.

    Attributes:
        events: to be seen, or to be seen finer, all of them.
        unseen: whether they were not seen at all; else they were, too coarsely.
        within: so finely, give or take [s]; 0 where seeing is enough.
        share: of what they might have shown, the part that settles it.
        conditions: conditions whose changes are to be recorded.
    """

    events: tuple[str, ...]
    unseen: bool = False
    within: float = 0.0
    share: float = 1.0
    conditions: tuple[str, ...] = ()


@dataclass(frozen=True)
class Record:
    """What was seen of an attempt, as ``judge`` takes it."""

    plan: Plan
    observations: tuple[Observation, ...]
    clocks: Mapping[str, Range] | None = None
    horizon: float | None = None
    counted: Mapping[str, Range] | None = None

    def judged(self) -> Judgement:
        """By all its bounds."""
        return judge(self.plan, self.observations, self.clocks, self.horizon, self.counted)

    def possible(self, bounds: Iterable[Bound]) -> bool:
        """Whether some of the bounds can all have been hit, given what was seen."""
        some = Plan(self.plan.events, tuple(as_constraint(b) for b in bounds))
        return judge(some, self.observations, self.clocks, self.horizon).joint != "missed"


def irreducible(record: Record, found: Judgement | None = None) -> tuple[Bound, ...]:
    """Bounds that cannot all have been hit, and none of them could be left out of that.

    Args:
        record: a missed attempt.
        found: its judgement, where there is one already.
    Returns: one bound where one alone was missed, the first that was measured; else those of a negative cycle, as
        many as are needed.
    Raises: TimingError if the attempt was not missed.
    Source: own choice. The shortest negative cycle may hold more than is needed, because the observations are laid
        beside it; what can be left out is left out one by one.
    """
    found = record.judged() if found is None else found
    alone = [b for b in found.bounds if b.verdict == "missed"]
    if alone:
        return (next((b.bound for b in alone if math.isfinite(b.hi)), alone[0].bound),)
    if found.joint != "missed":
        raise TimingError("only a missed attempt has bounds that were broken")
    kept = [b for b in bounds_of(record.plan) if label_of(b) in set(found.cycle)]
    for bound in tuple(kept):
        fewer = [b for b in kept if b is not bound]
        if not record.possible(fewer):
            kept = fewer
    return tuple(kept)


def explain_miss(record: Record, person: Person | None = None, found: Judgement | None = None) -> Miss:
    """Why an attempt was missed, and the nearest one that would have passed.

    Args:
        record: a missed attempt.
        person: who performed it; if not given, somebody with the usual spread.
        found: its judgement, where there is one already.
    Returns: the bounds and the changes.
    Raises: TimingError if the attempt was not missed.
    Valid for: changes are told from the middles of the brackets; acts that were not seen do not come into them.
    """
    broken = irreducible(record, found)
    times = _middles(record)
    nearest = nearest_hit(record.plan, times)
    if nearest is None:
        return Miss(broken, (), possible=False)
    person = person or Person()
    order = sorted((e for e in record.plan.events if e in times), key=lambda e: times[e])
    before = dict(zip(order[1:], order, strict=False))
    changes = [
        Change(e, before[e], by, times[e] - times[before[e]], _uncertain(record.plan, e, person))
        for e, by in nearest.items()
    ]
    return Miss(broken, tuple(sorted(changes, key=lambda c: -abs(c.by))), possible=True)


def _middles(record: Record) -> dict[str, float]:
    """The middle of each event's bracket, on attempt time [s]."""
    clocks = {"main": (0.0, 0.0), **(record.clocks or {})}
    return {o.event: (o.t_lo + o.t_hi + sum(clocks[o.clock])) / 2 for o in reversed(record.observations)}


def _uncertain(plan: Plan, act: str, person: Person) -> bool:
    """Whether a bound that ends in an act is too narrow for somebody who times it unaided."""
    for c in plan.constraints:
        if c.b != act or not math.isfinite(c.lo) or not math.isfinite(c.hi) or c.hi <= 0:
            continue
        sd = person.spread(max((c.lo + c.hi) / 2, 0.0))
        if sd > 0 and 1 - 2 * float(ndtr(-(c.hi - c.lo) / 2 / sd)) < FAIRLY_SURE:
            return True
    return False


def would_decide(record: Record, found: Judgement | None = None) -> Decider | None:
    """Which observation would have settled an attempt that is undecided.

    Args:
        record: an undecided attempt.
        found: its judgement, where there is one already.
    Returns: the events that were not seen, and conditions not recorded, where there are any; else one to three events
        whose brackets must be narrower, and how narrow. None where no observation of an event settles it: then clocks
        disagree, or what was seen contradicts itself.
    Raises: TimingError if the attempt is not undecided.
    Source: own choice. What a finer look might have shown is tried at sixteen places of the brackets.
    """
    found = record.judged() if found is None else found
    if found.verdict != "undecided":
        raise TimingError("only an undecided attempt lacks an observation")
    seen = {o.event for o in record.observations}
    unseen = tuple(e for e in record.plan.events if e not in seen)
    unclear = [b.bound for b in found.bounds if b.verdict == "undecided"]
    known = record.counted or {}
    conditions = tuple(dict.fromkeys(b.condition for b in unclear if isinstance(b, Counter) and b.event not in known))
    if unseen or conditions:
        return Decider(unseen, unseen=True, conditions=conditions)
    if found.cycle:
        return None
    loose = {o.event: o for o in record.observations if o.t_hi > o.t_lo}
    candidates = [e for e in loose if any(e in ends_of(b) for b in unclear)] or list(loose)
    chosen: tuple[str, ...] = ()
    share = 0.0
    while len(chosen) < len(_BASES) and share < ENOUGH:
        tried = {e: _settles(record, loose, (*chosen, e), WIDTHS[-1]) for e in candidates if e not in chosen}
        best = max(tried, key=lambda e: tried[e], default=None)
        if best is None:
            break
        chosen, share = (*chosen, best), tried[best]
    if share < ENOUGH:
        return Decider(chosen, within=WIDTHS[-1], share=share) if share >= 0.5 else None
    chosen = _needed(record, loose, chosen)
    for width in WIDTHS:
        now = _settles(record, loose, chosen, width)
        if now >= ENOUGH and all(2 * width < loose[e].t_hi - loose[e].t_lo for e in chosen):
            return Decider(chosen, within=width, share=now)
    return Decider(chosen, within=WIDTHS[-1], share=share)


def _needed(record: Record, loose: Mapping[str, Observation], chosen: tuple[str, ...]) -> tuple[str, ...]:
    """The chosen events without those that the others make needless."""
    for event in chosen:
        fewer = tuple(e for e in chosen if e != event)
        if fewer and _settles(record, loose, fewer, WIDTHS[-1]) >= ENOUGH:
            chosen = fewer
    return chosen


def _settles(record: Record, loose: Mapping[str, Observation], events: Sequence[str], width: float) -> float:
    """For what share of what might have been seen the attempt is settled, with these events seen that finely."""
    settled = possible = 0
    for trial in range(1, _TRIALS + 1):
        finer = {}
        for base, event in zip(_BASES, events, strict=False):
            o = loose[event]
            t = o.t_lo + _spread_out(trial, base) * (o.t_hi - o.t_lo)
            finer[event] = replace(o, t_lo=max(t - width, o.t_lo), t_hi=min(t + width, o.t_hi))
        seen = tuple(finer[o.event] if o == loose.get(o.event) and o.event in finer else o for o in record.observations)
        found = replace(record, observations=seen).judged()
        if found.verdict == "undecided" and found.cycle:
            continue  # that cannot have been seen: it contradicts the rest
        possible += 1
        settled += found.verdict != "undecided"
    return settled / possible if possible else 0.0


def _spread_out(k: int, base: int) -> float:
    """The k-th place between 0 and 1 of van der Corput's sequence."""
    place, step = 0.0, 1.0
    while k:
        step /= base
        k, digit = divmod(k, base)
        place += digit * step
    return place


def wait_bound(plan: Plan, act: str, after: str) -> Constraint | None:
    """The bound on the wait before an act that is closed on both sides; None where there is none."""
    both = (c for c in plan.constraints if (c.a, c.b) == (after, act))
    return next((c for c in both if math.isfinite(c.lo) and math.isfinite(c.hi)), None)
