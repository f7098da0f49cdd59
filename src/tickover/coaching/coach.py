"""One live attempt as one step function: state, now and what was seen go in; state and cues come out.

No clock, no sleep, no input or output in here. A terminal, a page and a test drive it alike.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from tickover.attempts import ACTS
from tickover.coaching.conditions import condition_words, due_counter, held_at_start, turns_of
from tickover.coaching.match import match
from tickover.coaching.state import CoachState, Cue, Miss, Seen, Turn
from tickover.coaching.words import act_words, late_words, out_of_turn_words, silence_words, so_far_words
from tickover.errors import InputError
from tickover.routines import CompiledEvent, CompiledRoutine
from tickover.routines.aiming import aims_for
from tickover.timing import Miss as Broken
from tickover.timing import Prepared, Run, begin, condition, happen, prepare, windows

LEAD_IN = 5.0
"""From the start of an attempt to its first act [s]; own choice, time to put the hand on the key."""
PIPS = 3
GRACE = 0.3
"""A miss by silence is called this long after the window closed, so that a late report of a timely act counts [s]."""


@dataclass(frozen=True, eq=False)
class Script:
    """A compiled routine with everything the coach works out once.

    Attributes:
        routine: the compiled routine.
        prepared: its plan with the minimal network.
        order: planned acts in their order.
        after: for each of the car's answers, the event it is counted from.
        digest: of the routine; worked out once, for every step asks for it.
    """

    routine: CompiledRoutine
    prepared: Prepared
    order: tuple[CompiledEvent, ...]
    after: dict[str, str]
    digest: str


def script(routine: CompiledRoutine) -> Script:
    """Prepare a routine for coaching.

    Args:
        routine: compiled for the car's switch.
    Returns: the script.
    Raises: ContradictionError or NotControllableError if the plan cannot be run; the routine check says so earlier.
    """
    order = tuple(e for e in routine.events if not e.answer)
    after = {a.event: a.after for a in routine.answers}
    return Script(routine, prepare(routine.plan()), order, after, routine.digest)


def open_attempt(play: Script, now: float = 0.0, lead_in: float = LEAD_IN) -> CoachState:
    """The state before anything happened; the first act is due ``lead_in`` seconds after ``now``."""
    return CoachState(
        digest=play.digest,
        now=now,
        start_at=now + lead_in,
        aim=now + lead_in,
        holding=tuple(sorted(held_at_start(play.routine))),
    )


def step(play: Script, state: CoachState, now: float, seen: Sequence[Seen] = ()) -> tuple[CoachState, tuple[Cue, ...]]:
    """Advance an attempt to ``now``.

    Args:
        play: the script of the routine.
        state: as the last step left it.
        now: time on the attempt's clock [s]; not before ``state.now``.
        seen: what was seen since, in order.
    Returns: the new state, and the cues due between the two times.
    Raises: InputError if the state belongs to another routine or time runs backwards.
    """
    if state.digest != play.digest:
        raise InputError("this attempt was begun with another routine", way_out="Begin it again.")
    if now < state.now:
        raise InputError(f"time runs backwards: {now:g} after {state.now:g} s")
    cues = _count_in(play, state, state.now, now)
    for item in seen:
        if state.phase in {"lead in", "running"}:
            due = due_act(play, state)
            state, cue = _take(play, state, item)
            cues += cue
            if due_act(play, state) != due:
                cues += _count_in(play, state, (item.t_lo + item.t_hi) / 2, now)
    if state.phase == "running":
        state, cue = _silence(play, state, now)
        cues += cue
    return state.model_copy(update={"now": now}), tuple(cues)


def due_act(play: Script, state: CoachState) -> CompiledEvent | None:
    """The act that comes next, or None when all are done."""
    return next((e for e in play.order if e.name not in state.happened), None)


def due_answers(play: Script, state: CoachState) -> list[CompiledEvent]:
    """The car's answers that may come now: counted from something that has happened, not seen yet."""
    return [
        e
        for e in play.routine.events
        if e.answer and e.name not in state.happened and play.after[e.name] in state.happened
    ]


def replay(play: Script, state: CoachState) -> Run:
    """The temporal run behind a state, from what has happened and which conditions turned."""
    run = begin(play.prepared, holding=held_at_start(play.routine))
    turns = list(state.turns)
    for number, (name, t) in enumerate(state.happened.items()):
        if number:
            run = happen(run, name, t)
        while turns and turns[0].after <= number + 1:
            run = _turned(run, turns.pop(0))
    return run


def _turned(run: Run, turn: Turn) -> Run:
    return condition(run, turn.name, turn.holds, turn.t)


def _take(play: Script, state: CoachState, item: Seen) -> tuple[CoachState, list[Cue]]:
    """One thing seen: lay it on the plan, and say how it came."""
    planned = match(play.routine, state.happened, item.what)
    at = (item.t_lo + item.t_hi) / 2
    known = {**state.happened, planned.name: 0.0} if planned is not None else state.happened
    turned = turns_of(play.routine, known, item.what)
    if planned is None and turned:
        return _condition_news(play, state, turned, at)
    state, cues = _event_news(play, state, item, planned)
    if turned and state.phase in {"lead in", "running"}:
        state, more = _condition_news(play, state, turned, at)
        cues += more
    return state, cues


def _condition_news(
    play: Script, state: CoachState, turned: dict[str, bool], at: float
) -> tuple[CoachState, list[Cue]]:
    """Conditions that turned: counted time stands or runs from now on."""
    turned = {name: holds for name, holds in turned.items() if (name in state.holding) != holds}
    if not turned:
        return state, []
    kept = (name for name in state.holding if name not in turned)
    holding = tuple(sorted([*kept, *(name for name, holds in turned.items() if holds)]))
    seen = max(state.happened.values(), default=0.0)
    t = max(at - state.origin, seen) if state.origin is not None else 0.0
    new = [Turn(name=n, holds=h, t=t, after=max(len(state.happened), 1)) for n, h in turned.items()]
    state = state.model_copy(update={"holding": holding, "turns": (*state.turns, *new)})
    if state.origin is None:
        return state, []
    state = _look_ahead(play, state, replay(play, state))
    under_way = due_counter(play.routine, state.happened)
    if under_way is None or under_way.start not in state.happened or under_way.condition not in turned:
        return state, []
    words = condition_words(under_way.condition, turned[under_way.condition])
    return state, [Cue(at=at, sound="count", words=words, event=under_way.event)]


def _event_news(
    play: Script, state: CoachState, item: Seen, planned: CompiledEvent | None
) -> tuple[CoachState, list[Cue]]:
    """An event of the plan, or an act out of turn."""
    at, slack = (item.t_lo + item.t_hi) / 2, (item.t_hi - item.t_lo) / 2
    if planned is None:
        return _out_of_turn(play, state, item, at)
    if state.origin is None:
        state = state.model_copy(
            update={"phase": "running", "origin": at, "slack": slack, "happened": {planned.name: 0.0}}
        )
        return _look_ahead(play, state, replay(play, state)), []
    before, aimed = max(state.happened.values()), state.aim
    known = {m.bound for m in replay(play, state).misses}  # of an earlier event, too near its bound to be sure of
    state = state.model_copy(update={"happened": {**state.happened, planned.name: max(at - state.origin, before)}})
    run = replay(play, state)
    early = {m.label: _early(m, planned.name) for m in run.misses if m.bound not in known}
    surely = {label: by for label, by in early.items() if abs(by) > slack + state.slack}
    if surely:
        label, by = max(surely.items(), key=lambda pair: abs(pair[1]))
        return _missed(state, planned, at, late_words(play.routine, planned, label, by), by)
    state = _look_ahead(play, state, run)
    if len(state.happened) == len(play.routine.events):
        return state.model_copy(update={"phase": "done", "aim": None}), [
            Cue(at=at, sound="done", words="All steps done")
        ]
    return state, [Cue(at=at, sound="so far", words=so_far_words(planned, aimed, at), event=planned.name)]


def _early(miss: Broken, event: str) -> float:
    """How much too early an event came [s], negative for late; a bound it made impossible is told of its other end."""
    by = miss.early_by if miss.early_by > 0 else -miss.late_by
    return by if miss.event == event else -by


def _look_ahead(play: Script, state: CoachState, run: Run) -> CoachState:
    """Windows and aim after news, on the attempt's clock."""
    assert state.origin is not None
    origin = state.origin
    open_ = {
        name: (origin + lo, origin + hi if math.isfinite(hi) else None)
        for name, (lo, hi) in windows(run).items()
        if math.isfinite(lo)
    }
    act = due_act(play, state)
    aim = None
    if act is not None:
        found = aims_for(play.routine, "coach", run=run).get(act.name)
        aim = None if found is None or found.at is None else origin + found.at
    return state.model_copy(update={"windows": open_, "aim": aim})


def _out_of_turn(play: Script, state: CoachState, item: Seen, at: float) -> tuple[CoachState, list[Cue]]:
    """An act the plan did not ask for now; anything else is no news."""
    act = due_act(play, state)
    if item.what not in ACTS or state.origin is None or act is None:
        return state, []
    return _missed(state, act, at, out_of_turn_words(item.what, act), None)


def _missed(
    state: CoachState, event: CompiledEvent, at: float, words: str, early: float | None
) -> tuple[CoachState, list[Cue]]:
    miss = Miss(event=event.name, step=event.step, words=words, early=early)
    state = state.model_copy(update={"phase": "missed", "miss": miss, "aim": None})
    return state, [Cue(at=at, sound="missed", words=words, event=event.name)]


def _silence(play: Script, state: CoachState, now: float) -> tuple[CoachState, list[Cue]]:
    """A window that closed while nothing came."""
    act = due_act(play, state)
    for event in [*due_answers(play, state), *([act] if act is not None else [])]:
        last = state.windows.get(event.name, (0.0, None))[1]
        if last is not None and now > last + GRACE:
            return _missed(state, event, now, silence_words(play.routine, event), None)
    return state, []


def _count_in(play: Script, state: CoachState, since: float, now: float) -> list[Cue]:
    """Pips before the aim of the next act, and the moment itself, where they fall in (since, now]."""
    act = due_act(play, state)
    if act is None or state.aim is None or state.phase not in {"lead in", "running"}:
        return []
    last = state.origin + max(state.happened.values()) if state.origin is not None else -math.inf
    gap = 0.8 if act.of == 1 else min(1.0, max(0.4, state.aim - last))
    cues = [
        Cue(at=state.aim - k * gap, sound="pip", event=act.name)
        for k in range(PIPS, 0, -1)
        if state.aim - k * gap > last
    ]
    cues.append(Cue(at=state.aim, sound="act", words=act_words(play.routine, act), event=act.name))
    return [cue for cue in cues if since < cue.at <= now]
