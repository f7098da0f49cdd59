"""Which news turns which condition of counted time on or off. Live coach and judge of a file share it."""

from __future__ import annotations

from collections.abc import Collection, Mapping

from tickover.attempts import Kind
from tickover.routines import CompiledCounter, CompiledRoutine

TURNS: Mapping[Kind, Mapping[str, bool]] = {
    "fan on": {"fan off": False, "fan on": True},
    "fan off": {"fan off": True, "fan on": False},
    "press": {"pedal up": False, "idling": False},
    "release": {"pedal up": True, "idling": True},
    "hold speed": {"pedal up": False, "idling": False},
    "let idle": {"pedal up": True, "idling": True},
    "running": {"idling": True},
    "crank": {"idling": True},
    "stopped": {"idling": False},
    "ignition off": {"idling": False},
    "drive": {"moving": True, "idling": False, "pedal up": False},
    "coast": {"moving": True, "idling": False, "pedal up": True},
    "stand": {"moving": False, "idling": True, "pedal up": True},
    "load on": {"loads off": False},
}
"""What each kind of news makes hold (true) or cease (false). A load that goes off frees only if it was the last."""

TOLD: Mapping[Kind, bool] = {"time counts": True, "time stands": False}
"""News by somebody who looks at a gauge: the condition of the count that is under way."""


def turns_of(routine: CompiledRoutine, happened: Collection[str], kind: Kind) -> dict[str, bool]:
    """Conditions of a routine that a piece of news turns.

    Args:
        routine: compiled.
        happened: names of planned events that have happened, this one included where it is one.
        kind: kind of the news.
    Returns: condition to whether it holds from now on; empty where the news turns none.
    """
    known = {c.name for c in routine.conditions}
    if kind in TOLD:
        under_way = due_counter(routine, happened)
        return {under_way.condition: TOLD[kind]} if under_way is not None else {}
    if kind == "load off":
        done = [e.kind for e in routine.events if e.name in happened]
        return {"loads off": True} if "loads off" in known and done.count("load on") <= done.count("load off") else {}
    return {name: holds for name, holds in TURNS.get(kind, {}).items() if name in known}


def due_counter(routine: CompiledRoutine, happened: Collection[str]) -> CompiledCounter | None:
    """The count that is under way, or the next one to begin; None where none is left."""
    return next((k for k in routine.counters if k.event not in happened), None)


def held_at_start(routine: CompiledRoutine) -> frozenset[str]:
    """Conditions taken to hold when an attempt begins."""
    return frozenset(c.name for c in routine.conditions if c.holds_at_start)


def condition_words(name: str, holds: bool) -> str:
    """What to say when a condition turns: whether time counts now, and why.

    Example: ``condition_words("fan off", False)`` is ``"Not counting: fan on"``.
    """
    if holds:
        return f"Counting again: {name}"
    opposite = {"fan off": "fan on", "fan on": "fan off", "loads off": "a load is on", "pedal up": "pedal down"}
    return f"Not counting: {opposite.get(name, f'not {name}')}"
