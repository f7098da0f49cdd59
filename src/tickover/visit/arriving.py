"""Arrive and Set up within a job: what the job knows, the shop's own rates, the needs of the routine that is due.

Shared by every door: what the command does for a stage, the page does by the same functions.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime

from numpy.random import Generator

from tickover.arrival import QUESTIONS, Answers, Arrival, SetUp, arrive, set_up
from tickover.arrival.battery import How
from tickover.arrival.candidates import ShopRate
from tickover.arrival.questions import NOT_KNOWN, Question
from tickover.errors import InputError
from tickover.jobs import Entry, Store, current
from tickover.results import Result
from tickover.routines import CompiledRoutine, Routine, compile_routine
from tickover.signals import Recording
from tickover.visit.drafts import Draft, arrival_drafts
from tickover.visit.rules import known
from tickover.visit.rungs import next_rung
from tickover.visit.shop import KindOfCar, kind_of_car, learn, outcomes


def answers_in(entries: Sequence[Entry], job: int) -> Answers:
    """The answers that the job holds.

    Raises: InputError where it holds none.
    """
    found = answers_told(entries)
    if found is None:
        raise InputError(
            f"job {job} has no answers of Arrive yet, so there is nothing to set up for",
            way_out=f"First: tickover arrive --job {job}",
        )
    return found


def answers_told(entries: Sequence[Entry]) -> Answers | None:
    """The answers that the job holds; None where it holds none."""
    told = next((e for e in reversed(entries) if e.stage == "arrive" and e.kind == "answers"), None)
    if told is None:
        return None
    return Answers.model_validate({k: v for k, v in told.data.items() if k in Answers.model_fields})


def shop_rates(
    store: Store, entries: Sequence[Entry], answers: Answers, library: Mapping[str, Routine], until: datetime
) -> dict[str, ShopRate]:
    """What this shop's own jobs say for a car of this kind.

    Args:
        store: all its jobs are read.
        entries: those of the job at hand.
        answers: what was told now, which the job may not hold yet.
        library: routines by id.
        until: the time of counting.
    """
    every = {str(j.job): store.entries(j.job) for j in store.jobs()}
    kind = kind_of_car(entries)
    told = answers.throttle if answers.throttle != "not known" else kind.throttle
    here = KindOfCar(throttle=told, metering=kind.metering, story=kind.story)
    counted = outcomes(every, until, preparing=known(library).preparing)
    return dict(learn(counted, here, library).rates)


def routine_due(entries: Sequence[Entry], found: Arrival, library: Mapping[str, Routine]) -> str | None:
    """Which routine to set up for: the next rung of the ladder as it stands, after what was tried."""
    last = entries[-1] if entries else None
    drafts = arrival_drafts(found)
    at = last.at if last is not None else "1970-01-01T00:00:00+00:00"
    number = last.seq if last is not None else 0
    with_ladder = [*entries, *(_entry(d, number + k, at) for k, d in enumerate(drafts, start=1))]
    rung = next_rung(current(with_ladder), known(library))
    return None if rung is None else str(rung["routine"])


def _entry(draft: Draft, seq: int, at: str) -> Entry:
    return Entry(seq=seq, stage=draft.stage, kind=draft.kind, at=at, data=draft.data)


def compiled_for(routine: Routine, answers: Answers) -> CompiledRoutine:
    """The routine as it is done on a car that is started this way."""
    return compile_routine(routine, "button" if answers.switch == "button" else "key")


def set_up_for(
    routine: Routine,
    answers: Answers,
    rng: Generator,
    readings: Recording | Mapping[str, float] | None = None,
    *,
    volts_how: How | None = None,
    fan_on: float | None = None,
) -> SetUp:
    """The needs of a routine on this car; see ``arrival.set_up`` for readings, errors and how they are judged."""
    return set_up(compiled_for(routine, answers), rng, readings, volts_how=volts_how, fan_on=fan_on)


def routine_named(name: str, found: Arrival, library: Mapping[str, Routine]) -> str:
    """A routine that somebody named instead of taking the one that is due.

    Raises: InputError for one that is not in the library, or that this car's ladder withholds, with the reason.
    """
    if name not in library:
        raise InputError(f"no routine is called “{name}”", way_out="`tickover routine list` names them.")
    if found.ladder.none is not None:
        raise InputError(found.ladder.none.reason.rstrip("."), way_out=found.ladder.none.way_out)
    why = next((w.why for w in found.ladder.withheld if w.routine == name), None)
    if why is not None:
        raise InputError(f"“{name}” is withheld for this car: {why.rstrip('.')}", way_out="Take a rung of the ladder.")
    return name


def to_see_to(found: SetUp) -> tuple[str, ...]:
    """The needs that only a person can see to."""
    return tuple(n.need for n in found.needs if n.standing in {"by hand", "cannot tell"})


class OpenQuestion(Result):
    """What a question that was left open keeps from the ladder.

    Attributes:
        name: of the question.
        opens: titles of routines that one of its answers would offer and that are not offered now.
        closes: titles of routines that one of its answers would take off the ladder.
        stops: stop signs that one of its answers would raise.
    """

    name: str
    opens: tuple[str, ...] = ()
    closes: tuple[str, ...] = ()
    stops: tuple[str, ...] = ()

    @property
    def sentence(self) -> str:
        """That in one sentence."""
        parts = []
        if self.opens:
            parts.append(f"may offer {_list(self.opens)}")
        if self.closes:
            parts.append(f"may rule out {_list(self.closes)}")
        if self.stops:
            parts.append(f"may be a stop sign: {_list(self.stops)}")
        return f"Answered, it {'; it '.join(parts)}." if parts else "Answered, it changes nothing on this ladder."


def open_questions(answers: Answers, library: Mapping[str, Routine]) -> tuple[OpenQuestion, ...]:
    """What each unanswered question withholds, found by answering it each way and arriving again.

    Args:
        answers: what was told.
        library: routines by id.
    Returns: one for each question with options that was left open, in the order of the questions.
    """
    now = arrive(answers, library)
    offered = _routines(now)
    stops = {s.name for s in now.stops}
    out = []
    for question in _left_open(answers):
        opens: dict[str, None] = {}
        closes: dict[str, None] = {}
        raises: dict[str, None] = {}
        for value in question.values:
            told = (value,) if question.form == "several" else value
            then = arrive(Answers.model_validate({**answers.model_dump(), question.name: told}), library)
            raised = [s.name for s in then.stops if s.name not in stops]
            raises.update(dict.fromkeys(raised))
            if raised:
                continue  # a stop sign takes every rung away; that is said as the stop sign
            seen = _routines(then)
            opens.update((title, None) for name, title in seen.items() if name not in offered)
            closes.update((title, None) for name, title in offered.items() if name not in seen)
        out.append(OpenQuestion(name=question.name, opens=tuple(opens), closes=tuple(closes), stops=tuple(raises)))
    return tuple(out)


def _left_open(answers: Answers) -> Iterable[Question]:
    for question in QUESTIONS:
        given = getattr(answers, question.name)
        if question.form in {"one", "several"} and given in (NOT_KNOWN, ()):
            yield question


def _routines(found: Arrival) -> dict[str, str]:
    return {r.routine: r.title for r in found.ladder.rungs if r.routine is not None}


def _list(names: Sequence[str]) -> str:
    few = [n[0].lower() + n[1:] for n in names[:4]]
    more = len(names) - len(few)
    return ", ".join(few) + (f" and {more} more" if more else "")
