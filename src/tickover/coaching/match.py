"""Which planned event a seen one is. Acts are taken in their order; the car's answers when they may come.

The same rule serves the live coach and the judge of a recorded file, so both see one attempt alike.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

from tickover.attempts import ACTS, Attempt, Event, Kind
from tickover.routines import CompiledEvent, CompiledRoutine
from tickover.timing import Observation


@dataclass(frozen=True, slots=True)
class Extra:
    """An act that the routine did not ask for at that point.

    Attributes:
        kind: what was done.
        t: when, on the attempt's clock [s].
        instead_of: name of the act that was due.
    """

    kind: str
    t: float
    instead_of: str


@dataclass(frozen=True)
class Matched:
    """An attempt laid over its routine.

    Attributes:
        observations: seen events under their planned names, in the order seen.
        extras: acts that were not asked for.
        horizon: until when was watched, on the attempt's clock [s].
    """

    observations: tuple[Observation, ...]
    extras: tuple[Extra, ...]
    horizon: float | None


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
    for event in attempt.events:
        offset = attempt.header.clocks[event.clock]
        horizon = max(horizon if horizon is not None else event.t_hi, event.t_lo + offset.lo)
        planned = match(routine, happened, event.kind)
        if planned is not None:
            happened[planned.name] = event
            observations.append(Observation(planned.name, event.t_lo, event.t_hi, event.clock))
        elif event.kind in ACTS and acts[0] in happened and acts[-1] not in happened:
            due = next(name for name in acts if name not in happened)
            extras.append(Extra(event.kind, (event.t_lo + event.t_hi + offset.lo + offset.hi) / 2, due))
    return Matched(tuple(observations), tuple(extras), horizon)
