"""What a recorded attempt proves: each bound hit, missed or undecided, when every instant is only known to a bracket.

The observations alone make a network (events, clocks and the zero of the attempt's time). Its minimal form gives the
exact range of ``t(b) − t(a)``: a bound that holds all of it is hit, one that holds none of it is missed, any other is
undecided. Then all bounds are laid on top: observations and bounds may contradict each other although no bound does so
alone, and that is a miss too.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from tickover.errors import TimingError
from tickover.timing.network import (
    TOLERANCE,
    Arcs,
    Bound,
    Matrix,
    as_constraint,
    bounds_of,
    close,
    ends_of,
    has_contradiction,
    label_of,
)
from tickover.timing.plan import Answer, Counter, Plan

Verdict = Literal["hit", "missed", "undecided"]
Range = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Observation:
    """An event was seen: it happened in ``t_lo..t_hi`` on ``clock`` [s]."""

    event: str
    t_lo: float
    t_hi: float
    clock: str = "main"


@dataclass(frozen=True, slots=True)
class BoundJudgement:
    """What the observations say of one bound.

    Attributes:
        bound: the constraint, answer or counter.
        label: what a person would call it.
        verdict: hit, missed or undecided.
        lo, hi: exact range of what it bounds, ``t(b) − t(a)`` or the counted time [s].
        early_by, late_by: range of how much too early or too late, where it is missed so [s].
        reason: why it is undecided, or what is odd about it; empty where the range says it all.
    """

    bound: Bound
    label: str
    verdict: Verdict
    lo: float
    hi: float
    early_by: Range | None = None
    late_by: Range | None = None
    reason: str = ""


@dataclass(frozen=True, slots=True)
class Judgement:
    """What the observations say of a whole attempt.

    Attributes:
        verdict: hit if every bound is hit, missed if one is or if they cannot all have been hit together.
        bounds: each bound by itself, in the plan's order.
        joint: whether all bounds can have been hit together: hit, missed (no), undecided (some of the time).
        cycle: labels of bounds and observations that contradict one another, where ``joint`` is missed.
        short_by: by how much they miss each other [s].
        reason: one sentence.
    """

    verdict: Verdict
    bounds: tuple[BoundJudgement, ...]
    joint: Verdict
    cycle: tuple[str, ...]
    short_by: float
    reason: str


def judge(
    plan: Plan,
    observations: Sequence[Observation],
    clocks: Mapping[str, Range] | None = None,
    horizon: float | None = None,
    counted: Mapping[str, Range] | None = None,
) -> Judgement:
    """Judge a recorded attempt.

    Args:
        plan: its bounds are judged, the answers' windows too: a world that answered outside its window has spoilt the
            attempt.
        observations: in the order in which each clock recorded them; that order is taken as a fact. An event may be
            seen by several clocks.
        clocks: for each clock the range of its offset: attempt time is clock time plus offset [s]; ``main`` is exact
            if not given.
        horizon: attempt time until which the watch went on [s]; what it did not see happened later or not at all.
        counted: for counters, by the event that ends them, the range of the counted time [s].
    Returns: the judgement. Observations that contradict one another leave everything undecided, and ``reason`` says so.
    Raises: TimingError for an unknown event or clock, or a bracket upside down.
    Source: own choice, on Dechter, Meiri & Pearl 1991 as in `network`. Times exactly on a bound are hit; 1e-9 s more
        are forgiven as rounding.
    """
    clocks = {"main": (0.0, 0.0), **(clocks or {})}
    facts = _Facts(plan, observations, clocks, horizon)
    if has_contradiction(facts.closed):
        return _at_odds(plan, facts)
    seen = {o.event for o in observations}
    single = tuple(_judge_bound(b, facts, seen, dict(counted or {})) for b in bounds_of(plan))
    found = facts.with_bounds(plan).contradiction()
    joint: Verdict = "undecided"
    cycle: tuple[str, ...] = ()
    short_by = 0.0
    if found is not None:
        joint, short_by = "missed", found[1]
        cycle = tuple(facts.names[a.bound] for a in found[0])
    elif any(b.verdict == "missed" for b in single):  # a counter: counted time is not in the network
        joint = "missed"
    elif all(b.verdict == "hit" for b in single):
        joint = "hit"
    verdict, reason = _overall(plan, single, joint, seen)
    return Judgement(verdict, single, joint, cycle, short_by, reason)


class _Facts:
    """The observations as arcs: node 0 is the zero of attempt time, then the plan's events, then the clocks.

    ``names`` labels every fact and, after them, every bound laid on top.
    """

    def __init__(
        self, plan: Plan, observations: Sequence[Observation], clocks: Mapping[str, Range], horizon: float | None
    ) -> None:
        self.index = {e: i + 1 for i, e in enumerate(plan.events)}
        clock = {c: len(self.index) + 1 + k for k, c in enumerate(clocks)}
        self.arcs = Arcs(1 + len(self.index) + len(clock))
        self.names: list[str] = []
        for c, (lo, hi) in clocks.items():
            self._fact(0, clock[c], lo, hi, f"clock “{c}” is {lo:g} to {hi:g} s ahead")
        last: dict[str, Observation] = {}
        for o in observations:
            if o.event not in self.index:
                raise TimingError(f"“{o.event}” was seen, but the plan has no such event")
            if o.clock not in clock:
                raise TimingError(f"“{o.event}” was seen on clock “{o.clock}”, which is not given")
            self._fact(clock[o.clock], self.index[o.event], o.t_lo, o.t_hi, _seen(o))
            before = last.get(o.clock)
            if before is not None and before.event != o.event:
                order = f"“{o.event}” was seen after “{before.event}”"
                self._fact(self.index[before.event], self.index[o.event], 0.0, math.inf, order)
            last[o.clock] = o
        if horizon is not None:
            for e in set(self.index) - {o.event for o in observations}:
                self._fact(0, self.index[e], horizon, math.inf, f"“{e}” was not seen up to {horizon:g} s")
        self.closed: Matrix = close(self.arcs.lengths)

    def _fact(self, a: int, b: int, lo: float, hi: float, name: str) -> None:
        if not lo <= hi:
            raise TimingError(f"{name}: that is upside down")
        self.arcs.between(a, b, lo, hi, len(self.names))
        self.names.append(name)

    def apart(self, a: str, b: str) -> Range:
        """Exact range of t(b) − t(a) [s]."""
        i, j = self.index[a], self.index[b]
        return 0.0 - float(self.closed[j, i]), float(self.closed[i, j])

    def with_bounds(self, plan: Plan) -> Arcs:
        """Observations and bounds together."""
        for bound in bounds_of(plan):
            c = as_constraint(bound)
            self.arcs.between(self.index[c.a], self.index[c.b], c.lo, c.hi, len(self.names))
            self.names.append(label_of(bound))
        return self.arcs


def _seen(o: Observation) -> str:
    when = f"at {o.t_lo:g} s" if o.t_lo == o.t_hi else f"between {o.t_lo:g} and {o.t_hi:g} s"
    return f"“{o.event}” was seen {when}" + ("" if o.clock == "main" else f" on clock “{o.clock}”")


def _judge_bound(bound: Bound, facts: _Facts, seen: set[str], counted: dict[str, Range]) -> BoundJudgement:
    lo, hi, doubt = _measured(bound, facts, counted)
    unseen = [f"“{e}”" for e in ends_of(bound) if e not in seen]
    if unseen:
        doubt = f"{' and '.join(unseen)} {'was' if len(unseen) == 1 else 'were'} not seen"
    early_by = late_by = None
    verdict: Verdict = "undecided"
    if hi < bound.lo - TOLERANCE and lo <= hi:
        verdict, early_by = "missed", (bound.lo - hi, bound.lo - lo)
    elif lo > bound.hi + TOLERANCE and lo <= hi:
        verdict, late_by = "missed", (lo - bound.hi, hi - bound.hi)
    elif not doubt and lo >= bound.lo - TOLERANCE and hi <= bound.hi + TOLERANCE:
        verdict = "hit"
    reason = doubt if unseen or verdict == "undecided" else ""
    if verdict == "missed" and isinstance(bound, Answer) and not unseen:
        reason = "the answer came outside its window"
    if verdict == "undecided" and not reason:
        reason = f"known only to lie between {lo:.3g} and {hi:.3g} s"
    return BoundJudgement(bound, label_of(bound), verdict, lo, hi, early_by, late_by, reason)


def _measured(bound: Bound, facts: _Facts, counted: dict[str, Range]) -> tuple[float, float, str]:
    """Exact range of what a bound is about [s], and what keeps that from settling it."""
    a, b = ends_of(bound)
    lo, hi = facts.apart(a, b)
    if not isinstance(bound, Counter):
        return lo, hi, ""
    most = max(0.0, hi)  # no more can have been counted than passed
    if b not in counted:
        return 0.0, most, f"how long “{bound.condition}” held was not recorded"
    least, counted_most = counted[b]
    if least > most + TOLERANCE:
        return 0.0, most, "more time was counted than passed"
    upper = min(counted_most, most)
    return min(max(0.0, least), upper), upper, ""


def _overall(plan: Plan, single: tuple[BoundJudgement, ...], joint: Verdict, seen: set[str]) -> tuple[Verdict, str]:
    missed = [b for b in single if b.verdict == "missed"]
    if missed:
        return "missed", f"missed: {'; '.join(b.label for b in missed)}"
    if joint == "missed":
        return "missed", "each bound may have been hit, but not all of them in one and the same attempt"
    unclear = [b for b in single if b.verdict == "undecided"]
    if unclear:
        return "undecided", f"cannot tell: {'; '.join(f'{b.label} ({b.reason})' for b in unclear)}"
    unseen = [e for e in plan.events if e not in seen]
    if unseen:
        return "undecided", f"cannot tell: {', '.join(f'“{e}”' for e in unseen)} not seen"
    return "hit", "every bound was hit"


def _at_odds(plan: Plan, facts: _Facts) -> Judgement:
    """Observations that contradict one another prove nothing."""
    found = facts.arcs.contradiction()
    arcs, short_by = found if found is not None else ([], 0.0)
    cycle = tuple(facts.names[a.bound] for a in arcs)
    reason = "the observations contradict one another"
    bounds = tuple(
        BoundJudgement(b, label_of(b), "undecided", -math.inf, math.inf, reason=reason) for b in bounds_of(plan)
    )
    return Judgement("undecided", bounds, "undecided", cycle, short_by, f"{reason}: {'; '.join(cycle)}")
