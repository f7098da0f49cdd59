"""The compiled routine: versioned, plain JSON. What coach, judge, cards and phones work from."""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Sequence
from typing import Any, Literal

from pydantic import Field

from tickover.attempts import Kind
from tickover.results import Result
from tickover.routines.model import BasisKind, Family
from tickover.timing import Answer, Constraint, Counter, Plan

COMPILED_VERSION = 1

Switch = Literal["key", "button"]
Rule = Literal["bound", "press", "gap", "span", "order", "held", "harm"]


class CompiledStep(Result):
    """One step in one round, with its words.

    Attributes:
        id: its name; within a cycle with the round behind it, as in ``off.3``.
        written: its name in the file.
        kind: what it is about (for a repeat, ``press``).
        answer: true where the car gives it.
        title: what to do, short and imperative.
        detail: one sentence more.
        bound: when, in words, e.g. “3 s, give or take 1”; empty for the first step.
        counted_from: from what the bound is counted, in words; empty for the first step.
        caution: to be said before the step; empty where there is none.
        harm: what doing it early does, where that is worse than a miss.
        forbidden_until: step before which it is a harm.
        if_none: what to do where the answer does not come.
        bus_silent: nothing may poll the car until this step.
        why: why the step is there; say: what to speak instead of the title.
        load: which load goes on or off.
        speed: engine speed to hold [r/min]; road_speed: road speed to keep [km/h]. Said, not judged: taps show neither.
        events: names of its events in order.
        round, rounds: which round of how many.
    """

    id: str
    written: str
    kind: Kind
    answer: bool = False
    title: str
    detail: str = ""
    bound: str = ""
    counted_from: str = ""
    caution: str = ""
    harm: str = ""
    forbidden_until: str | None = None
    if_none: str = ""
    bus_silent: bool = False
    why: str = ""
    say: str = ""
    load: str = ""
    speed: tuple[float, float] | None = None
    road_speed: tuple[float, float] | None = None
    events: tuple[str, ...]
    round: int = 1
    rounds: int = 1


class CompiledEvent(Result):
    """One event.

    Attributes:
        name: unique, e.g. ``presses.3.press``.
        kind: kind of event, as attempts write it.
        step: id of its step.
        number, of: which press of how many, from 1.
        answer: true where the car gives it.
    """

    name: str
    kind: Kind
    step: str
    number: int = 1
    of: int = 1
    answer: bool = False


class CompiledConstraint(Result):
    """A bound between two events [s]; ``None`` leaves a side open.

    Attributes:
        a, b, lo, hi, label, group: as in ``timing.Constraint``; the group is the step.
        rule: where it comes from: the step's own ``bound``; a ``press``, ``gap`` or ``span`` of a repeat; the ``order``
            of acts; a press ``held`` long enough to count; a ``harm``, where too early is worse than a miss.
    """

    a: str
    b: str
    lo: float | None
    hi: float | None
    label: str
    group: str
    rule: Rule = "bound"


class CompiledAnswer(Result):
    """When the car's answer may come [s]; as in ``timing.Answer``."""

    event: str
    after: str
    lo: float
    hi: float
    label: str
    group: str


class CompiledCounter(Result):
    """Counted time that may pause [s]; as in ``timing.Counter``; ``hi`` is ``None`` where it is open."""

    event: str
    start: str
    condition: str
    lo: float
    hi: float | None
    label: str
    group: str


class CompiledCondition(Result):
    """What must hold for time to count; ``signal`` with ``lo`` and ``hi`` in its unit, where the file names one.

    ``holds_at_start``: whether it is taken to hold until something else is seen.
    """

    name: str
    signal: str | None = None
    lo: float | None = None
    hi: float | None = None
    holds_at_start: bool = True


class CompiledNeed(Result):
    """What must be so before it begins, and why; ``signal`` with ``lo`` and ``hi``, where the file names one."""

    need: str
    why: str
    signal: str | None = None
    lo: float | None = None
    hi: float | None = None


class CompiledBasis(Result):
    """What the routine rests on."""

    kind: BasisKind
    source: str = ""
    clause: str = ""

    @property
    def words(self) -> str:
        """One sentence for pages and prints."""
        wins = "The car's own service information wins."
        if self.kind == "common practice":
            if self.source:
                return f"Common practice, after {self.source}; no source that can be looked up. {wins}"
            return f"Common practice, no published source. {wins}"
        where = ", ".join(p for p in (self.source, self.clause) if p)
        if self.kind == "published":
            return f"Published: {where}. {wins}"
        return f"The car's own service information{f': {where}' if where else ''}."


class CompiledRoutine(Result):
    """A routine compiled for one sort of ignition switch.

    Attributes:
        v: version of this shape.
        id, title, kind, throttle, fits, disturbs, may_erase, requires, needs, signs, after_miss, cautions, basis: as
            in the file.
        switch: key or button; only words depend on it.
        steps: in order of time, cycles written out.
        events: in order, the origin first.
        constraints, answers, counters, conditions: what is judged.
        aim_by: step to margin beyond an ``at_least`` [s].
    """

    v: Literal[1] = 1
    id: str
    title: str
    kind: Family
    switch: Switch
    throttle: tuple[str, ...]
    fits: str
    disturbs: int
    may_erase: bool
    requires: tuple[str, ...]
    needs: tuple[CompiledNeed, ...]
    signs: tuple[str, ...]
    after_miss: str
    cautions: tuple[str, ...]
    basis: CompiledBasis
    steps: tuple[CompiledStep, ...]
    events: tuple[CompiledEvent, ...]
    constraints: tuple[CompiledConstraint, ...]
    answers: tuple[CompiledAnswer, ...]
    counters: tuple[CompiledCounter, ...]
    conditions: tuple[CompiledCondition, ...]
    aim_by: dict[str, float] = Field(default_factory=dict)

    def plan(self) -> Plan:
        """The temporal plan: what the routine asks, without words of cars."""
        return plan_of(self.events, self.constraints, self.answers, self.counters)

    @property
    def digest(self) -> str:
        """SHA-256 over everything that is judged, and nothing else.

        Events with their kinds, bounds, answers' windows, counted time and its conditions, in a stable order. Words,
        needs, cautions, aims and the sort of switch are not in it: an attempt stays judged alike when a sentence is
        mended or the card is printed for a push button.
        """
        text = json.dumps(self._judged(), sort_keys=True, separators=(",", ":"), ensure_ascii=False)
        return hashlib.sha256(text.encode()).hexdigest()

    def _judged(self) -> dict[str, Any]:
        return {
            "v": self.v,
            "events": [[e.name, e.kind, e.answer] for e in self.events],
            "constraints": sorted(
                ([c.a, c.b, c.lo, c.hi, c.rule == "harm"] for c in self.constraints),
                key=lambda row: json.dumps(row),
            ),
            "answers": sorted([w.event, w.after, w.lo, w.hi] for w in self.answers),
            "counters": sorted([k.event, k.start, k.condition, k.lo, k.hi] for k in self.counters),
            "conditions": sorted(([c.name, c.signal, c.lo, c.hi] for c in self.conditions), key=lambda row: str(row)),
        }

    def margins(self) -> dict[str, float]:
        """Step to how far beyond its ``at_least`` to aim [s], for ``timing.aims``; steps that say none are left out."""
        return dict(self.aim_by)

    def step(self, name: str) -> CompiledStep:
        """The step of this id.

        Raises: KeyError if there is none.
        """
        return next((s for s in self.steps if s.id == name), None) or _no_step(name)


def plan_of(
    events: Sequence[CompiledEvent],
    constraints: Sequence[CompiledConstraint],
    answers: Sequence[CompiledAnswer],
    counters: Sequence[CompiledCounter],
) -> Plan:
    """The temporal plan of compiled events and bounds; the first event is the origin."""
    return Plan(
        events=tuple(e.name for e in events),
        constraints=tuple(
            Constraint(c.a, c.b, _or(c.lo, -math.inf), _or(c.hi, math.inf), c.label, c.group) for c in constraints
        ),
        answers=tuple(Answer(w.event, w.after, w.lo, w.hi, w.label, w.group) for w in answers),
        counters=tuple(
            Counter(k.event, k.start, k.condition, k.lo, _or(k.hi, math.inf), k.label, k.group) for k in counters
        ),
    )


def _or(value: float | None, otherwise: float) -> float:
    return otherwise if value is None else value


def _no_step(name: str) -> CompiledStep:
    raise KeyError(name)
