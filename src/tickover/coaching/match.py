"""Which planned event a seen one is. Acts are taken in their order; the car's answers when they may come.

The same rule serves the live coach and the judge of a recorded file, so both see one attempt alike.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field

from tickover.attempts import ACTS, Attempt, Event, Kind
from tickover.coaching.conditions import held_at_start, turns_of
from tickover.routines import CompiledEvent, CompiledRoutine
from tickover.timing import Observation


@dataclass(frozen=True, slots=True)
class Extra:
    """An act that the routine did not ask for at that point.

    Attributes:
        kind: what was done.
        since: when, counted from the first planned act [s].
        instead_of: name of the act that was due.
    """

    kind: str
    since: float
    instead_of: str


@dataclass(frozen=True)
class Matched:
    """An attempt laid over its routine.

    Attributes:
        observations: seen events under their planned names, in the order seen.
        extras: acts that were not asked for.
        horizon: until when was watched, on the attempt's clock [s].
        counted: counted time at its end, by the event that ends it, as a range [s]; only where the conditions were
            watched.
    """

    observations: tuple[Observation, ...]
    extras: tuple[Extra, ...]
    horizon: float | None
    counted: dict[str, tuple[float, float]] = field(default_factory=dict)


def match(routine: CompiledRoutine, happened: Collection[str], kind: Kind) -> CompiledEvent | None:
    """The planned event that a seen one is.

    Args:
        routine: the compiled routine.
        happened: names of planned events that have happened.
        kind: kind of the event seen now.
    Returns: the planned event; None where nothing planned can be it (an act out of turn, or news of no interest).
    """
    if kind in ACTS:
        due = next((e for e in routine.events if not e.answer and e.name not in happened), None)
        return due if due is not None and due.kind == kind else None
    after = {a.event: a.after for a in routine.answers}
    return next(
        (
            e
            for e in routine.events
            if e.answer and e.kind == kind and e.name not in happened and after[e.name] in happened
        ),
        None,
    )


def lay_over(routine: CompiledRoutine, attempt: Attempt) -> Matched:
    """Lay a recorded attempt over its routine.

    Args:
        routine: the compiled routine.
        attempt: the recorded attempt; events in the order of their numbers.
    Returns: observations, extras and horizon. Acts before the first planned one, and after the last, do not count.
    """
    happened: dict[str, Event] = {}
    observations: list[Observation] = []
    extras: list[Extra] = []
    horizon: float | None = None
    acts = [e.name for e in routine.events if not e.answer]
    turns: dict[str, list[tuple[bool, Range]]] = {c.name: [] for c in routine.conditions}
    for event in attempt.events:
        offset = attempt.header.clocks[event.clock]
        horizon = max(horizon if horizon is not None else event.t_hi, event.t_lo + offset.lo)
        planned = match(routine, happened, event.kind)
        if planned is not None:
            happened[planned.name] = event
            observations.append(Observation(planned.name, event.t_lo, event.t_hi, event.clock))
        elif event.kind in ACTS and acts[0] in happened and acts[-1] not in happened:
            due = next(name for name in acts if name not in happened)
            begun, now = _bracket(attempt, happened[acts[0]]), _bracket(attempt, event)
            extras.append(Extra(event.kind, (sum(now) - sum(begun)) / 2, due))
        for name, holds in turns_of(routine, happened, event.kind).items():
            turns[name].append((holds, (event.t_lo + offset.lo, event.t_hi + offset.hi)))
    return Matched(tuple(observations), tuple(extras), horizon, _counted(routine, attempt, happened, turns))


Range = tuple[float, float]


def _counted(
    routine: CompiledRoutine,
    attempt: Attempt,
    happened: Mapping[str, Event],
    turns: Mapping[str, list[tuple[bool, Range]]],
) -> dict[str, Range]:
    """Counted time of every count that began and ended, where its condition was watched.

    Brackets are taken as if each instant could lie anywhere in its own: never too narrow.
    """
    watched = {name for name, seen in turns.items() if seen} | set(attempt.header.watched)
    found: dict[str, Range] = {}
    for k in routine.counters:
        if k.condition in watched and k.start in happened and k.event in happened:
            begun, ended = (_bracket(attempt, happened[e]) for e in (k.start, k.event))
            held = k.condition in held_at_start(routine)
            found[k.event] = _held_time(turns[k.condition], held, begun, ended)
    return found


def _bracket(attempt: Attempt, event: Event) -> Range:
    offset = attempt.header.clocks[event.clock]
    return event.t_lo + offset.lo, event.t_hi + offset.hi


def _held_time(turns: Sequence[tuple[bool, Range]], held: bool, begun: Range, ended: Range) -> Range:
    """Least and most time within begun..ended in which a condition held [s]."""
    least = most = 0.0
    since = (-math.inf, -math.inf)
    for holds, when in [*turns, (False, (math.inf, math.inf))]:
        if held and not holds:
            least += max(0.0, min(when[0], ended[0]) - max(since[1], begun[1]))
            most += max(0.0, min(when[1], ended[1]) - max(since[0], begun[0]))
        if held != holds:
            since = when
        held = holds
    return least, max(least, most)
