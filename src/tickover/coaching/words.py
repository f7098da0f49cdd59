"""What the coach says: short, plain, the seconds first."""

from __future__ import annotations

from tickover.attempts import Kind
from tickover.routines import CompiledEvent, CompiledRoutine

WORDS: dict[str, str] = {
    "ignition off": "Ignition off",
    "ignition accessory": "Accessory",
    "ignition on": "Ignition on",
    "crank": "Start",
    "press": "Press",
    "release": "Let up",
    "lamp lit": "Lamp stays lit",
    "lamp flashing": "Lamp flashes",
    "lamp off": "Lamp goes dark",
    "running": "Engine runs",
    "stopped": "Engine stands",
    "brake press": "Brake",
    "brake release": "Off the brake",
    "gear drive": "Into drive",
    "gear neutral": "Out of gear",
    "load on": "Load on",
    "load off": "Load off",
    "fan on": "Fan runs",
    "fan off": "Fan stops",
    "hold speed": "Hold the speed",
    "let idle": "Let it idle",
    "drive": "Drive",
    "coast": "Coast",
    "stand": "Stop and stand",
    "time counts": "Time counts",
    "time stands": "Time stands",
}
"""The coach's word for each kind of event."""


def act_words(routine: CompiledRoutine, event: CompiledEvent) -> str:
    """The coach's word for one event: a load by its name, anything else by its kind.

    Example: ``Compressor on``; ``Press``.
    """
    load = routine.step(event.step).load
    return f"{load[:1].upper()}{load[1:]} {event.kind.removeprefix('load ')}" if load else WORDS[event.kind]


def event_words(event: CompiledEvent) -> str:
    """An event for people: “press 4 of 5”, “let up”, “ignition on”."""
    word = WORDS[event.kind].lower()
    return f"{word} {event.number} of {event.of}" if event.of > 1 else word


def so_far_words(event: CompiledEvent, aimed: float | None, at: float) -> str:
    """A live event that is inside so far, with its distance from the aim [s] where it had one."""
    name = event_words(event).capitalize()
    if aimed is None or event.answer:
        return f"{name}: so far inside"
    side = "after" if at >= aimed else "before"
    return f"{name}: {abs(at - aimed):.2f} s {side} its aim, so far inside"


def late_words(routine: CompiledRoutine, event: CompiledEvent, label: str, early: float) -> str:
    """How an event missed its window, with the seconds.

    Args:
        routine: for the harm that the step names.
        event: what came.
        label: the bound it broke.
        early: by how much too early [s]; negative is late.
    Example: ``Press 4 of 5 came 0.41 s too late (presses: gap 3)``.
    """
    side = "early" if early > 0 else "late"
    sentence = f"{event_words(event).capitalize()} came {abs(early):.2f} s too {side} ({label})"
    harm = next((s.harm for s in routine.steps if s.id == event.step and s.harm), "")
    return f"{sentence}. {harm}" if harm and early > 0 else sentence


def silence_words(routine: CompiledRoutine, event: CompiledEvent) -> str:
    """What to say of a window that closed while nothing came."""
    step = next(s for s in routine.steps if s.id == event.step)
    if not event.answer:
        return f"{event_words(event).capitalize()} did not come in its window ({step.bound})"
    return f"The car did not answer: no “{event_words(event)}” in its window ({step.bound})"


def out_of_turn_words(kind: Kind, due: CompiledEvent) -> str:
    """What to say of an act that was not asked for."""
    return f"“{WORDS[kind]}” came when “{event_words(due)}” was due"
