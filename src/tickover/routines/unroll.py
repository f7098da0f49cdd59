"""A routine with its cycles written out: every round of every step in order of time, and the names of its events."""

from __future__ import annotations

from dataclasses import dataclass

from tickover.attempts import Kind
from tickover.routines.model import Bound, Cycle, Step


@dataclass(frozen=True, slots=True)
class Moment:
    """One event of a step: its name, its kind, and which of how many it is, from 1."""

    name: str
    kind: Kind
    number: int = 1
    of: int = 1


@dataclass(frozen=True, slots=True)
class Turn:
    """One step in one round.

    Attributes:
        id: the step's name; within a cycle with the round behind it, as in ``off.3``.
        step: the step as written.
        round, rounds: which round of how many; 1 of 1 outside a cycle.
        bound: when it may happen, counted from the last event of ``after``; ``None`` for the first.
        after, forbidden_until: ids of turns.
        caution: of the step, and of its cycle where this begins it.
        why: the same.
    """

    id: str
    step: Step
    round: int = 1
    rounds: int = 1
    bound: Bound | None = None
    after: str | None = None
    forbidden_until: str | None = None
    caution: str = ""
    why: str = ""

    @property
    def moments(self) -> tuple[Moment, ...]:
        """Its events in order: one, or a press and a release for each press of a repeat."""
        repeat = self.step.repeat
        if repeat is None:
            return (Moment(self.id, self.step.kind),)
        edges: tuple[Kind, Kind] = ("press", "release")
        numbers = range(1, repeat.times + 1)
        return tuple(Moment(f"{self.id}.{n}.{edge}", edge, n, repeat.times) for n in numbers for edge in edges)

    @property
    def first(self) -> str:
        """Name of its first event."""
        return self.moments[0].name

    @property
    def last(self) -> str:
        """Name of its last event."""
        return self.moments[-1].name


def unroll(items: tuple[Step | Cycle, ...]) -> tuple[Turn, ...]:
    """Write every cycle out.

    Args:
        items: steps and cycles as read.
    Returns: the turns in order. What is counted from a cycle, or from one of its steps, is counted from the last round.
    """
    turns: list[Turn] = []
    latest: dict[str, str] = {}
    for item in items:
        if isinstance(item, Cycle):
            turns += _rounds(item, latest)
            latest[item.id] = turns[-1].id
        else:
            turns.append(_turn(item, latest, item.id))
            latest[item.id] = item.id
    return tuple(turns)


def _turn(step: Step, latest: dict[str, str], name: str, number: int = 1, rounds: int = 1) -> Turn:
    return Turn(
        id=name,
        step=step,
        round=number,
        rounds=rounds,
        bound=step.bound,
        after=latest[step.after] if step.after else None,
        forbidden_until=latest[step.forbidden_until] if step.forbidden_until else None,
        caution=step.caution,
        why=step.why,
    )


def _rounds(cycle: Cycle, latest: dict[str, str]) -> list[Turn]:
    turns: list[Turn] = []
    for number in range(1, cycle.times + 1):
        for place, step in enumerate(cycle.steps):
            name = f"{step.id}.{number}"
            turn = _turn(step, latest, name, number, cycle.times)
            if place == 0:
                turn = _leading(cycle, step, turn, latest, turns)
            turns.append(turn)
            latest[step.id] = name
    return turns


def _leading(cycle: Cycle, step: Step, turn: Turn, latest: dict[str, str], before: list[Turn]) -> Turn:
    """The first step of a round: counted from the round before, and in round 1 as the cycle says."""
    bound: Bound | None
    after: str | None
    if before:
        bound, after = step.bound, before[-1].id
        caution, why = step.caution, step.why
    else:
        bound, after = cycle.bound, latest[cycle.after] if cycle.after else None
        caution = " ".join(filter(None, (cycle.caution, step.caution)))
        why = " ".join(filter(None, (cycle.why, step.why)))
    return Turn(
        id=turn.id,
        step=step,
        round=turn.round,
        rounds=turn.rounds,
        bound=bound,
        after=after,
        forbidden_until=turn.forbidden_until,
        caution=caution,
        why=why,
    )
