"""From a routine as written to the compiled form: events, bounds, answers, counted time, and words for a switch."""

from __future__ import annotations

import math
from collections.abc import Sequence

from tickover.routines.compiled import (
    CompiledAnswer,
    CompiledBasis,
    CompiledCondition,
    CompiledConstraint,
    CompiledCounter,
    CompiledEvent,
    CompiledNeed,
    CompiledRoutine,
    CompiledStep,
    Rule,
    Switch,
)
from tickover.routines.grammar import MIN_PRESS
from tickover.routines.model import Bound, Routine
from tickover.routines.phrases import EARLY_IS_HARM, caution_of, detail_of, if_none_words, moment_of, title_of
from tickover.routines.switches import hands_of, needs_of
from tickover.routines.unroll import Turn, unroll


class Judged:
    """What is judged of a routine: events, bounds, answers and counted time.

    Args:
        turns: the routine, cycles written out; every turn but the first has a bound.
    """

    def __init__(self, turns: Sequence[Turn]) -> None:
        self.turns = {turn.id: turn for turn in turns}
        self.events = tuple(
            CompiledEvent(name=m.name, kind=m.kind, step=t.id, number=m.number, of=m.of, answer=t.step.answer)
            for t in turns
            for m in t.moments
        )
        self.constraints: list[CompiledConstraint] = []
        self.answers: list[CompiledAnswer] = []
        self.counters: list[CompiledCounter] = []
        act: Turn | None = None
        press: Turn | None = None
        for turn in turns:
            self._own_bound(turn)
            self._repeat(turn)
            if turn.step.answer:
                continue
            self._order(turn, act)
            if turn.step.kind == "release" and press is not None:
                self._held(turn, press)
            if turn.forbidden_until is not None:
                until = self.turns[turn.forbidden_until]
                self._add(until.last, turn.first, 0.0, math.inf, f"not before {until.id}, else harm", turn, "harm")
            act = turn
            press = turn if turn.step.kind == "press" and turn.step.repeat is None else press

    def _add(self, a: str, b: str, lo: float, hi: float, label: str, turn: Turn, rule: Rule) -> None:
        self.constraints.append(
            CompiledConstraint(
                a=a,
                b=b,
                lo=lo,
                hi=None if math.isinf(hi) else hi,
                label=f"{turn.id}: {label}",
                group=turn.id,
                rule=rule,
            )
        )

    def _own_bound(self, turn: Turn) -> None:
        if turn.bound is None or turn.after is None:
            return
        start, b = self.turns[turn.after], turn.bound
        hi = None if math.isinf(b.hi) else b.hi
        if turn.step.answer:
            label = f"{turn.id}: may come {b.words} after {start.id}"
            self.answers.append(
                CompiledAnswer(event=turn.first, after=start.last, lo=b.lo, hi=b.hi, label=label, group=turn.id)
            )
        elif turn.step.condition is not None:
            name = turn.step.condition.name
            label = f"{turn.id}: counted time after {start.id}, only while {name}"
            self.counters.append(
                CompiledCounter(
                    event=turn.first, start=start.last, condition=name, lo=b.lo, hi=hi, label=label, group=turn.id
                )
            )
        else:
            held = start.step.kind == "press" and start.step.repeat is None and turn.step.kind == "release"
            what = "hold" if held else "wait"
            self._add(start.last, turn.first, b.lo, b.hi, f"{what} after {start.id}", turn, "bound")

    def _repeat(self, turn: Turn) -> None:
        repeat = turn.step.repeat
        if repeat is None:
            return
        names = [m.name for m in turn.moments]
        for n in range(repeat.times):
            down, up = names[2 * n], names[2 * n + 1]
            self._add(down, up, repeat.press.lo, repeat.press.hi, f"press {n + 1}, held", turn, "press")
            if n + 1 < repeat.times:
                self._add(up, names[2 * n + 2], repeat.gap.lo, repeat.gap.hi, f"gap {n + 1}", turn, "gap")
        self._add(names[0], names[-1], repeat.span.lo, repeat.span.hi, "all of them", turn, "span")

    def _order(self, turn: Turn, act: Turn | None) -> None:
        """Acts happen in the order of the file; a bound counted from the act before says so already."""
        if act is not None and (turn.after != act.id or turn.step.condition is not None):
            self._add(act.last, turn.first, 0.0, math.inf, f"not before {act.id}", turn, "order")

    def _held(self, turn: Turn, press: Turn) -> None:
        """A press that is let up too soon is none."""
        own = turn.after == press.id and turn.bound is not None and turn.step.condition is None
        if not (own and turn.bound is not None and turn.bound.lo >= MIN_PRESS):
            self._add(press.last, turn.first, MIN_PRESS, math.inf, f"{press.id} held long enough", turn, "held")


def compile_routine(routine: Routine, switch: Switch = "key") -> CompiledRoutine:
    """Compile a routine for a sort of ignition switch.

    Args:
        routine: read and checked.
        switch: key or button.
    Returns: the compiled form; its digest does not depend on the switch.
    Raises: SwitchError where a step cannot be done on this switch.
    """
    turns = unroll(routine.steps)
    judged = Judged(turns)
    hands = hands_of(turns, switch)
    basis = routine.basis
    return CompiledRoutine(
        id=routine.id,
        title=routine.title,
        kind=routine.kind,
        switch=switch,
        throttle=routine.throttle,
        fits=routine.fits,
        disturbs=routine.disturbs,
        may_erase=routine.may_erase,
        requires=routine.requires,
        needs=(
            *(CompiledNeed(need=n.need, why=n.why, signal=n.signal, lo=n.lo, hi=n.hi) for n in routine.needs),
            *needs_of(switch),
        ),
        signs=routine.signs,
        after_miss=routine.after_miss,
        cautions=routine.cautions,
        basis=CompiledBasis(kind=basis.kind, source=basis.source, clause=basis.clause),
        steps=_steps(turns, judged, hands),
        events=judged.events,
        constraints=tuple(judged.constraints),
        answers=tuple(judged.answers),
        counters=tuple(judged.counters),
        conditions=_conditions(turns),
        aim_by={t.id: t.bound.aim_by for t in turns if t.bound is not None and t.bound.aim_by is not None},
    )


def _conditions(turns: Sequence[Turn]) -> tuple[CompiledCondition, ...]:
    found = {t.step.condition.name: t.step.condition for t in turns if t.step.condition is not None}
    return tuple(
        CompiledCondition(name=c.name, signal=c.signal, lo=c.lo, hi=c.hi, holds_at_start=c.holds_at_start)
        for c in found.values()
    )


def _steps(turns: Sequence[Turn], judged: Judged, hands: dict[str, str]) -> tuple[CompiledStep, ...]:
    found: list[CompiledStep] = []
    act: Turn | None = None
    for turn in turns:
        start = judged.turns[turn.after] if turn.after is not None else None
        found.append(_step(turn, act, start, hands.get(turn.id, "")))
        act = act if turn.step.answer else turn
    return tuple(found)


def _step(turn: Turn, act: Turn | None, start: Turn | None, hands: str) -> CompiledStep:
    step = turn.step
    harm = step.harm or (EARLY_IS_HARM if turn.forbidden_until else "")
    counted_from = moment_of(start) if start is not None and turn.bound is not None else ""
    return CompiledStep(
        id=turn.id,
        written=step.id,
        kind=step.kind,
        answer=step.answer,
        title=title_of(step),
        detail=detail_of(turn, hands, counted_from),
        bound=_bound_words(turn.bound),
        counted_from=counted_from,
        caution=caution_of(turn, act),
        harm=harm,
        forbidden_until=turn.forbidden_until,
        if_none=if_none_words(step.if_none) if step.answer else "",
        bus_silent=step.bus_silent and turn.bound is not None,
        why=turn.why,
        say=step.say,
        load=step.load,
        speed=step.speed,
        road_speed=step.road_speed,
        events=tuple(m.name for m in turn.moments),
        round=turn.round,
        rounds=turn.rounds,
    )


def _bound_words(bound: Bound | None) -> str:
    return bound.words if bound is not None else ""
