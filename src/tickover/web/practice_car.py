"""The simulated car of a practice: what was done to it goes in, its answers come out, on the attempt's own time."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from pydantic import Field

from tickover.attempts import ACTS, Kind
from tickover.coaching import CoachState, Script, Seen, begin_act, gauge_news, open_attempt, script, step
from tickover.engine import ENTRIES, SimulatedCar, car_for, old_memory_on_cleaned_bore
from tickover.engine.spec import CarSpec
from tickover.errors import InputError, OutOfOrderError
from tickover.results import Result
from tickover.routines import CompiledRoutine
from tickover.web.coach_live import Turned

LONGEST = 3600.0
"""No practice attempt is longer [s]: simulating costs about a hundredth of the time. Own choice."""
TICK = 0.5
"""The car's gauges are looked at this often [s]."""
MOST = 6
"""Practices that are kept going at a time; another one is worked out anew."""


class Act(Result):
    """An act on the simulated car: what, for which planned event, when [s of the attempt]."""

    kind: Kind
    event: str = Field(default="", max_length=80)
    t: float = Field(ge=0, le=LONGEST)


class Answered(Result):
    """What the car did or showed: the planned event that it is, or “” where it is none, when [s of the attempt]."""

    kind: Kind
    event: str
    t: float


class CarNews(Result):
    """What the simulated car did up to ``now``.

    Attributes:
        now: up to when [s of the attempt].
        answers: its answers.
        turns: conditions of counted time that turned.
        words: what it could not do, in a sentence; empty where it did all.
    """

    now: float
    answers: tuple[Answered, ...]
    turns: tuple[Turned, ...]
    words: str


@dataclass
class CarRun:
    """One attempt on the simulated car."""

    play: Script
    car: SimulatedCar
    state: CoachState = field(init=False)
    acts: list[Act] = field(default_factory=list)
    answers: list[Answered] = field(default_factory=list)
    words: str = ""

    def __post_init__(self) -> None:
        self.state = open_attempt(self.play)

    def to(self, acts: Sequence[Act], now: float) -> CarNews:
        """Do the acts that are new, and let time pass until ``now``."""
        for act in acts[len(self.acts) :]:
            self._pass(act.t)
            self._do(act)
            self.acts.append(act)
        self._pass(now)
        origin = self.state.origin or 0.0
        turns = tuple(Turned(condition=u.name, holds=u.holds, t=origin + u.t) for u in self.state.turns)
        return CarNews(now=self.car.now, answers=tuple(self.answers), turns=turns, words=self.words)

    def _do(self, act: Act) -> None:
        event = next((e for e in self.play.routine.events if e.name == act.event), None)
        try:
            begin_act(self.car, act.kind, None if event is None else self.play.routine.step(event.step))
        except OutOfOrderError as why:
            self.words = f"The simulated car: {why.what}"
        self._see(Seen(what=act.kind, t_lo=act.t, t_hi=act.t))

    def _pass(self, until: float) -> None:
        while until - self.car.now > 1e-9:
            for kind, t in self.car.advance(min(TICK, until - self.car.now)):
                before = set(self.state.happened)
                self._see(Seen(what=kind, t_lo=t, t_hi=t))
                name = next((n for n in self.state.happened if n not in before), "")
                self.answers.append(Answered(kind=kind, event=name, t=t))
            for news in gauge_news(self.play.routine, self.state.happened, self.state.holding, self.car, self.car.now):
                self._see(news)
                self.answers.append(Answered(kind=news.what, event="", t=news.t_hi))

    def _see(self, seen: Seen) -> None:
        # No time passes for the coach but by what is seen: here silence is the page's to judge.
        self.state, _ = step(self.play, self.state, self.state.now, [seen])


class Garage:
    """Simulated cars of practices that go on."""

    def __init__(self, seed: int) -> None:
        self._seed = seed
        self._runs: OrderedDict[tuple[str, str], CarRun] = OrderedDict()
        self._lock = threading.Lock()

    def news(self, run: str, compiled: CompiledRoutine, acts: Sequence[Act], now: float) -> CarNews:
        """What a car did up to ``now``, given all that was done to it.

        Args:
            run: the practice attempt's own name.
            compiled: the routine.
            acts: everything done so far, times rising.
            now: time of the attempt [s].
        Raises: InputError for acts whose times fall, or that are none.
        """
        check(acts, now)
        with self._lock:
            key = (run, compiled.digest)
            found = self._runs.pop(key, None)
            if found is None or not follows(found, acts, now):
                found = fresh(compiled, self._seed)
            news = found.to(acts, now)
            self._runs[key] = found
            while len(self._runs) > MOST:
                self._runs.popitem(last=False)
        return news


def check(acts: Sequence[Act], now: float) -> None:
    """See that acts are acts, and their times rise.

    Raises: InputError.
    """
    last = 0.0
    for act in acts:
        if act.kind not in ACTS:
            raise InputError(f"“{act.kind}” is not done by a person")
        if not last <= act.t <= now:
            raise InputError(f"an act at {act.t:g} s comes after {last:g} s and before {now:g} s, or not at all")
        last = act.t


def follows(run: CarRun, acts: Sequence[Act], now: float) -> bool:
    """Whether a car that went on so far can take these acts: the same ones, and nothing before what it has lived."""
    done = len(run.acts)
    return run.acts == list(acts[:done]) and now >= run.car.now and all(a.t >= run.car.now for a in acts[done:])


def fresh(compiled: CompiledRoutine, seed: int) -> CarRun:
    """A car that needs this routine."""
    return CarRun(script(compiled), SimulatedCar(replace(_spec(compiled.id), switch=compiled.switch), seed))


def _spec(routine: str) -> CarSpec:
    if routine in ENTRIES:
        return car_for(routine)
    return replace(old_memory_on_cleaned_bore(), entries=tuple(ENTRIES.values())[:3])


def outcome(compiled: CompiledRoutine, acts: Sequence[Act], seed: int, settle: float = 40.0) -> str:
    """What the simulated car made of a whole attempt, in words."""
    run = fresh(compiled, seed)
    last = acts[-1].t if acts else 0.0
    run.to(acts, last)
    run.car.advance(settle)
    written = [name for _, name, text in run.car.outcomes if text == "written"]
    took = f"took it ({written[-1]})" if written else f"did not take it: {run.car.entry_outcome or 'no entry seen'}"
    idles = f"it idles at {run.car.engine_speed:.0f} r/min" if run.car.running else "its engine stands"
    return f"The simulated car {took}. {settle:.0f} s later {idles}."
