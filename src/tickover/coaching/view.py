"""What a screen shows at one moment: *now*, *next*, *after*. Plain data; terminal and pages draw it."""

from __future__ import annotations

from collections.abc import Iterator

from tickover.coaching.coach import Script, due_act, due_answers, replay
from tickover.coaching.conditions import condition_words
from tickover.coaching.state import Card, CoachState, View
from tickover.coaching.words import WORDS, act_words, event_words
from tickover.routines import CompiledCounter, CompiledEvent
from tickover.timing import counted

WAIT_LONGER_THAN = 1.2
"""With more than this to the aim the word is Wait, Hold or Watch, not yet the act [s]; own choice."""


_HELD = frozenset({"press", "hold speed"})
"""Acts that go on until the next."""


def look(play: Script, state: CoachState, now: float) -> View:
    """The three cards at ``now``.

    Args:
        play: the script.
        state: as the last step left it.
        now: time on the attempt's clock [s].
    Returns: the view; after a miss *now* says so and *next* how to recover, at the end *now* says so.
    """
    if state.phase == "missed":
        assert state.miss is not None
        missed = Card(word="Missed", detail=state.miss.words)
        recover = Card(word="", detail=play.routine.after_miss or "Pedal up, ignition off.")
        return View(now=missed, next=recover, step=state.miss.step)
    if state.phase == "done":
        return View(now=Card(word="Done", detail="All steps done. The judgement comes next."))
    act = due_act(play, state)
    answers = due_answers(play, state)
    upcoming = list(_upcoming(play, state))
    counter = _under_way(play, state, act)
    if act is not None and counter is not None and state.aim is None and not answers:
        card, rest = _counted_card(play, state, counter, now), upcoming
    elif act is None or (state.aim is None and answers):
        card = _answer_card(play, state, answers[0], now) if answers else Card(word="Wait")
        rest = [e for e in upcoming if not answers or e.name != answers[0].name]
    else:
        left = None if state.aim is None else state.aim - now
        if left is not None and left > WAIT_LONGER_THAN:
            card, rest = _wait_card(play, state, act, now, left), upcoming
        else:
            card, rest = _act_card(play, state, act, now), upcoming[1:]
    watching = bool(answers) and (act is None or state.aim is None)
    step = answers[0].step if watching else act.step if act is not None else ""
    cards = [_plain(play, state, event, now) for event in rest[:2]]
    caution = _caution(play, state, step, answers)
    return View(
        now=card,
        next=cards[0] if cards else None,
        after=cards[1] if len(cards) > 1 else None,
        step=step,
        caution=caution,
    )


def _caution(play: Script, state: CoachState, step: str, answers: list[CompiledEvent]) -> str:
    """The caution of the step that is on, or of an awaited answer; else the harm of the act forbidden as yet."""
    ids = [*(a.step for a in answers), step]
    own = next((s.caution for i in ids for s in play.routine.steps if s.id == i and s.caution), "")
    act = due_act(play, state)
    if own or act is None or not answers:
        return own
    return play.routine.step(act.step).harm


def _upcoming(play: Script, state: CoachState) -> Iterator[CompiledEvent]:
    """Events still to come, acts and answers, in the plan's order."""
    return (e for e in play.routine.events if e.name not in state.happened)


def _window(state: CoachState, event: CompiledEvent, now: float) -> tuple[float, float | None] | None:
    window = state.windows.get(event.name)
    if window is None:
        return None
    lo, hi = window
    return lo - now, None if hi is None else hi - now


def _act_card(play: Script, state: CoachState, act: CompiledEvent, now: float) -> Card:
    detail = f"{act.number} of {act.of}" if act.of > 1 else _ranges(play, act)
    return Card(
        word=act_words(play.routine, act),
        detail=detail,
        aim=None if state.aim is None else state.aim - now,
        window=_window(state, act, now),
    )


def _ranges(play: Script, event: CompiledEvent) -> str:
    """The speed that a step asks for, in words; empty for other steps."""
    step = play.routine.step(event.step)
    if step.speed is not None:
        return f"{step.speed[0]:,.0f} to {step.speed[1]:,.0f} r/min"
    return "" if step.road_speed is None else f"{step.road_speed[0]:.0f} to {step.road_speed[1]:.0f} km/h"


def _under_way(play: Script, state: CoachState, act: CompiledEvent | None) -> CompiledCounter | None:
    """The count that the next act waits for, once it has begun."""
    counters = play.routine.counters if act is not None else ()
    return next((k for k in counters if act is not None and k.event == act.name and k.start in state.happened), None)


def _counted_card(play: Script, state: CoachState, counter: CompiledCounter, now: float) -> Card:
    """Counted time that stands: the figure and the bar stand with it."""
    so_far = _so_far(play, state, counter, now)
    wanted = counter.lo + play.routine.margins().get(counter.group, 0.0)
    return Card(
        word="Wait",
        detail=f"{condition_words(counter.condition, False).lower()}; {so_far:.0f} s of {counter.lo:.0f} s counted",
        aim=max(wanted - so_far, 0.0),
        length=wanted,
        counted=so_far,
        counting=False,
    )


def _so_far(play: Script, state: CoachState, counter: CompiledCounter, now: float) -> float:
    assert state.origin is not None
    return counted(replay(play, state), counter.event, now - state.origin)


def _wait_card(play: Script, state: CoachState, act: CompiledEvent, now: float, left: float) -> Card:
    """A wait or a hold: the emptying bar runs to the aim of the act that ends it."""
    last = next((e for e in reversed(play.order) if e.name in state.happened), None)
    word = "Hold" if last is not None and last.kind in _HELD else "Wait"
    begun = state.start_at - left if state.origin is None else state.origin + max(state.happened.values())
    length = None if state.origin is None or state.aim is None else state.aim - begun
    counter = _under_way(play, state, act)
    so_far = None if counter is None else _so_far(play, state, counter, now)
    if so_far is not None:
        length = left + so_far
    doing = _ranges(play, last) if last is not None and last.kind in {"hold speed", "drive"} else ""
    return Card(
        word="Ready" if state.origin is None else word,
        detail=f"{doing}, then: {event_words(act)}" if doing else f"then: {event_words(act)}",
        aim=left,
        window=_window(state, act, now),
        length=length,
        counted=so_far,
    )


def _answer_card(play: Script, state: CoachState, answer: CompiledEvent, now: float) -> Card:
    held = next((e for e in reversed(play.order) if e.name in state.happened), None)
    doing = "keep holding, " if held is not None and held.kind in _HELD else ""
    return Card(word="Watch", detail=f"{doing}wait for: {event_words(answer)}", window=_window(state, answer, now))


def _plain(play: Script, state: CoachState, event: CompiledEvent, now: float) -> Card:
    """A later event: its word and its bound in words."""
    step = next(s for s in play.routine.steps if s.id == event.step)
    first = step.events[0] == event.name
    detail = step.bound if first else f"{event.number} of {event.of}"
    word = act_words(play.routine, event) if not event.answer else f"Watch: {WORDS[event.kind].lower()}"
    return Card(word=word, detail=detail, window=_window(state, event, now))
