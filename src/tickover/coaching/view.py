"""What a screen shows at one moment: *now*, *next*, *after*. Plain data; terminal and pages draw it."""

from __future__ import annotations

from collections.abc import Iterator

from tickover.coaching.coach import Script, due_act, due_answers
from tickover.coaching.state import Card, CoachState, View
from tickover.coaching.words import WORDS, event_words
from tickover.routines import CompiledEvent

WAIT_LONGER_THAN = 1.2
"""With more than this to the aim the word is Wait, Hold or Watch, not yet the act [s]; own choice."""


def look(play: Script, state: CoachState, now: float) -> View:
    """The three cards at ``now``.

    Args:
        play: the script.
        state: as the last step left it.
        now: time on the attempt's clock [s].
    Returns: the view; after a miss or at the end *now* says so and the others are empty.
    """
    if state.phase == "missed":
        assert state.miss is not None
        return View(now=Card(word="Missed", detail=state.miss.words), step=state.miss.step)
    if state.phase == "done":
        return View(now=Card(word="Done", detail="All steps done. The judgement comes next."))
    act = due_act(play, state)
    answers = due_answers(play, state)
    upcoming = list(_upcoming(play, state))
    if act is None or (state.aim is None and answers):
        card = _answer_card(play, state, answers[0], now) if answers else Card(word="Wait")
        rest = [e for e in upcoming if not answers or e.name != answers[0].name]
    else:
        left = None if state.aim is None else state.aim - now
        if left is not None and left > WAIT_LONGER_THAN:
            card, rest = _wait_card(play, state, act, now, left), upcoming
        else:
            card, rest = _act_card(state, act, now), upcoming[1:]
    watching = bool(answers) and (act is None or state.aim is None)
    step = answers[0].step if watching else act.step if act is not None else ""
    cards = [_plain(play, state, event, now) for event in rest[:2]]
    caution = _caution(play, step, answers)
    return View(
        now=card,
        next=cards[0] if cards else None,
        after=cards[1] if len(cards) > 1 else None,
        step=step,
        caution=caution,
    )


def _caution(play: Script, step: str, answers: list[CompiledEvent]) -> str:
    """The caution of the step that is on, or of an answer that is awaited."""
    ids = [*(a.step for a in answers), step]
    return next((s.caution for i in ids for s in play.routine.steps if s.id == i and s.caution), "")


def _upcoming(play: Script, state: CoachState) -> Iterator[CompiledEvent]:
    """Events still to come, acts and answers, in the plan's order."""
    return (e for e in play.routine.events if e.name not in state.happened)


def _window(state: CoachState, event: CompiledEvent, now: float) -> tuple[float, float | None] | None:
    window = state.windows.get(event.name)
    if window is None:
        return None
    lo, hi = window
    return lo - now, None if hi is None else hi - now


def _act_card(state: CoachState, act: CompiledEvent, now: float) -> Card:
    return Card(
        word=WORDS[act.kind],
        detail=f"{act.number} of {act.of}" if act.of > 1 else "",
        aim=None if state.aim is None else state.aim - now,
        window=_window(state, act, now),
    )


def _wait_card(play: Script, state: CoachState, act: CompiledEvent, now: float, left: float) -> Card:
    """A wait or a hold: the emptying bar runs to the aim of the act that ends it."""
    last = next((e for e in reversed(play.order) if e.name in state.happened), None)
    word = "Hold" if last is not None and last.kind == "press" else "Wait"
    begun = state.start_at - left if state.origin is None else state.origin + max(state.happened.values())
    length = None if state.origin is None or state.aim is None else state.aim - begun
    return Card(
        word="Ready" if state.origin is None else word,
        detail=f"then: {event_words(act)}",
        aim=left,
        window=_window(state, act, now),
        length=length,
    )


def _answer_card(play: Script, state: CoachState, answer: CompiledEvent, now: float) -> Card:
    held = next((e for e in reversed(play.order) if e.name in state.happened), None)
    doing = "keep holding, " if held is not None and held.kind == "press" else ""
    return Card(word="Watch", detail=f"{doing}wait for: {event_words(answer)}", window=_window(state, answer, now))


def _plain(play: Script, state: CoachState, event: CompiledEvent, now: float) -> Card:
    """A later event: its word and its bound in words."""
    step = next(s for s in play.routine.steps if s.id == event.step)
    first = step.events[0] == event.name
    detail = step.bound if first else f"{event.number} of {event.of}"
    word = WORDS[event.kind] if not event.answer else f"Watch: {WORDS[event.kind].lower()}"
    return Card(word=word, detail=detail, window=_window(state, event, now))
