"""A simulated person, and an attempt performed by one on a simulated car. Seeded, on simulated or real time.

An uncued person counts each interval from the last thing that happened, so errors add along the chain; a cued one goes
by the coach's aim (``event_sd``). A slip is a stated mistake, for demonstrations.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import IO

import numpy as np

from tickover.attempts import AttemptWriter, Header, Kind
from tickover.coaching.coach import Script, due_act, open_attempt, step
from tickover.coaching.driving import Car, begin_act, gauge_news, has_come
from tickover.coaching.state import CoachState, Cue, Seen
from tickover.timing import Person
from tickover.timing.person import LAPSE_WIDENS

TICK = 0.01
"""Simulated time advances by this much a step [s]."""


class Performer:
    """Decides when a simulated person does the next act.

    Args:
        person: how they time.
        rng: seeded generator.
        slips: planned event to seconds by which they are surely late (negative: early).
    """

    def __init__(self, person: Person, rng: np.random.Generator, slips: Mapping[str, float] | None = None) -> None:
        self._person = person
        self._rng = rng
        self._slips = dict(slips or {})
        self._plan: dict[str, float] = {}
        self._aimed: dict[str, float] = {}
        self._begun: set[str] = set()

    def acts_due(self, play: Script, state: CoachState, now: float) -> list[tuple[Kind, str]]:
        """Acts whose moment has come by ``now``: kind and planned event; at most one, each once."""
        act = due_act(play, state)
        if act is None or state.phase not in {"lead in", "running"} or state.aim is None:
            return []
        if act.name not in self._plan:
            self._plan[act.name] = self._moment(state, act.name)
        elif any(k.event == act.name for k in play.routine.counters):  # a pause has moved what is aimed at
            self._plan[act.name] += state.aim - self._aimed[act.name]
        self._aimed[act.name] = state.aim
        return [(act.kind, act.name)] if self._plan[act.name] <= now else []

    def does(self, play: Script, state: CoachState, now: float, car: Car) -> list[Kind]:
        """Do on the car what is due, and tell what has come about by ``now``: at most one act."""
        done: list[Kind] = []
        for kind, name in self.acts_due(play, state, now):
            act = due_act(play, state)
            asked = None if act is None else play.routine.step(act.step)
            if name not in self._begun:
                self._begun.add(name)
                begin_act(car, kind, asked)
            if has_come(car, kind, asked):
                done.append(kind)
        return done

    def _moment(self, state: CoachState, event: str) -> float:
        assert state.aim is not None
        slip = self._slips.get(event, 0.0)
        if self._person.event_sd is not None or state.origin is None:
            return state.aim + slip + float(self._rng.normal(0.0, self._person.event_sd or 0.0))
        last = state.origin + max(state.happened.values())
        return last + slip + self._interval(max(state.aim - last, 0.0))

    def _interval(self, aimed: float) -> float:
        """What an interval aimed at comes out as [s]; lapses widen it as ``Person`` says."""
        widened = LAPSE_WIDENS if self._rng.random() < self._person.lapse else 1.0
        return self._person.mean(aimed) + widened * self._person.spread(aimed) * float(self._rng.normal())


def rehearse(
    play: Script,
    car: Car,
    performer: Performer,
    *,
    record: IO[str],
    by: str = "simulated person",
    watch: Callable[[CoachState, tuple[Cue, ...]], None] | None = None,
    settle: float = 2.0,
    tick: float = TICK,
) -> CoachState:
    """Perform one attempt on a simulated car, on simulated time.

    Args:
        play: the script of the routine.
        car: ignition off, standing.
        performer: the person.
        record: text stream for the attempt file.
        by: name in its header.
        watch: called after each step with the state and its cues.
        settle: how long to watch on after the last step [s].
        tick: simulated time advances by this much a step [s]; routines of many minutes do with a coarser one.
    Returns: the coach's last state; the attempt stands in ``record``.
    """
    watched = tuple(c.name for c in play.routine.conditions)
    header = Header(routine=play.routine.id, routine_hash=play.routine.digest, simulated=True, by=by, watched=watched)
    writer = AttemptWriter(record, header)
    begun = car.now
    state = open_attempt(play)
    until: float | None = None
    now = 0.0
    while until is None or now < until:
        seen = [Seen(what=kind, t_lo=t - begun, t_hi=t - begun) for kind, t in car.advance(tick)]
        now = car.now - begun
        seen += [Seen(what=kind, t_lo=now, t_hi=now) for kind in performer.does(play, state, now, car)]
        seen += gauge_news(play.routine, state.happened, state.holding, car, now)
        for item in seen:
            writer.event(item.what, item.t_lo, item.t_hi, source="simulated")
        state, cues = step(play, state, now, seen)
        if watch is not None:
            watch(state, cues)
        if until is None and state.phase in {"missed", "done"}:
            until = now + settle
    writer.event("end", now, now, source="simulated")
    return state
