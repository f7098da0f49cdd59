"""Words for a person at the car: what to do, from what it is counted, what to beware of."""

from __future__ import annotations

from tickover.attempts import Kind
from tickover.routines.compiled import CompiledRoutine
from tickover.routines.model import Step
from tickover.routines.unroll import Turn

TITLES: dict[Kind, str] = {
    "ignition off": "Ignition off",
    "ignition accessory": "Ignition to accessory",
    "ignition on": "Ignition on",
    "crank": "Start the engine",
    "press": "Press and hold",
    "release": "Let up",
    "running": "Check that it runs",
    "stopped": "Check that it has stopped",
    "lamp lit": "Watch the lamp",
    "lamp flashing": "Watch the lamp",
    "lamp off": "Watch the lamp",
    "fan on": "Wait for the fan",
    "fan off": "Wait for the fan to stop",
    "brake press": "Hold the brake",
    "brake release": "Let the brake go",
    "gear drive": "Select drive",
    "gear neutral": "Select P or N",
    "hold speed": "Hold the engine speed",
    "let idle": "Let it idle",
    "drive": "Drive",
    "coast": "Coast",
    "stand": "Stop and stand",
}

MOMENTS: dict[Kind, str] = {
    "ignition off": "ignition off",
    "ignition accessory": "accessory",
    "ignition on": "ignition on",
    "crank": "the start",
    "press": "the press",
    "release": "the let-up",
    "running": "the engine runs",
    "stopped": "the engine stands",
    "lamp lit": "the lamp stays lit",
    "lamp flashing": "the lamp begins to flash",
    "lamp off": "the lamp goes dark",
    "fan on": "the fan starts",
    "fan off": "the fan stops",
    "brake press": "the brake is held",
    "brake release": "the brake is let go",
    "gear drive": "drive is selected",
    "gear neutral": "P or N is selected",
    "hold speed": "the speed is reached",
    "let idle": "the pedal is let go",
    "drive": "the car drives",
    "coast": "the car coasts",
    "stand": "the car stands",
}

ANSWERS: dict[Kind, str] = {
    "running": "The engine runs by itself",
    "stopped": "The engine comes to a stand",
    "lamp lit": "The lamp stays lit",
    "lamp flashing": "The lamp begins to flash",
    "lamp off": "The lamp goes dark",
    "fan on": "The radiator fan starts",
    "fan off": "The radiator fan stops",
}

STOP = "Stop: ignition off, nothing was learned. Begin again from step 1."
"""What ``if_none = "stop"`` says."""

EARLY_IS_HARM = "Doing it early does harm; it is not only a miss."
"""Said where a step is forbidden until another and the file does not say what early does."""

CAUTION_PRESS = "Engine confirmed stopped before the pedal goes to the floor."
CAUTION_CRANK = (
    "Pedal up before the crank. Parking brake on, P or N; a manual gearbox in neutral, clutch for the crank only."
)
CAUTION_RUNNING = "The engine will run: never in a closed space (carbon monoxide)."
CAUTION_GEAR = "Chocks at the wheels, nobody in front or behind; skip this routine if the idle is high."
CAUTION_SPEED = (
    "Outdoors or with extraction, P or N, parking brake on; no dry grass under the car, nobody under the bonnet."
)
CAUTION_ROAD = "A passenger works the coach; the driver never reads or types. Legal limits, no schedule chasing."
CAUTION_OVERRUN = "Overrun slows without brake lights: look behind first."
CAUTION_COAST = "Confirm by eye and ear that the engine stands still."


def title_of(step: Step) -> str:
    """What to do, short and imperative; the file's own words where it has them."""
    if step.title:
        return step.title
    if step.repeat:
        return f"Press {step.repeat.times} times"
    if step.kind in {"load on", "load off"}:
        return f"{step.load[:1].upper()}{step.load[1:]} {step.kind.removeprefix('load ')}"
    return TITLES[step.kind]


def moment_of(turn: Turn) -> str:
    """The last moment of a step, as in “3 s after …”."""
    step = turn.step
    if step.repeat:
        return "the last let-up"
    if step.kind in {"load on", "load off"}:
        return f"{step.load} {step.kind.removeprefix('load ')}"
    return MOMENTS[step.kind]


def event_words(routine: CompiledRoutine, name: str) -> str:
    """One event of a compiled routine, as in “3 s after …”.

    Args:
        routine: compiled.
        name: of the event.
    Returns: its words; within a repeat with the number of the press.
    """
    event = next(e for e in routine.events if e.name == name)
    if event.of > 1:
        last = event.number == event.of and event.kind == "release"
        return "the last let-up" if last else f"{'press' if event.kind == 'press' else 'let-up'} {event.number}"
    step = routine.step(event.step)
    return f"{step.load} {step.kind.removeprefix('load ')}" if step.load else MOMENTS[event.kind]


def detail_of(turn: Turn, hands: str, counted_from: str) -> str:
    """One sentence or two more: how the hands do it, how long each press, the round.

    Args:
        turn: the step.
        hands: how this sort of switch does it; empty where there is nothing to say.
        counted_from: the moment its bound is counted from, in words.
    """
    step = turn.step
    parts = [f"Round {turn.round} of {turn.rounds}."] if turn.rounds > 1 else []
    if hands:
        parts.append(hands)
    if step.repeat:
        r = step.repeat
        parts.append(
            f"Fully down and fully up each time: pressed {r.press.words}, up {r.gap.words}, all of them {r.span.words}."
        )
    elif step.kind == "press":
        parts.append("Fully down, and keep it there.")
    elif step.kind == "release":
        parts.append("Fully up, foot off the pedal.")
    elif step.speed:
        parts.append(f"{step.speed[0]:,.0f} to {step.speed[1]:,.0f} r/min, evenly, until told otherwise.")
    elif step.road_speed:
        parts.append(f"{step.road_speed[0]:.0f} to {step.road_speed[1]:.0f} km/h, as far as limits and traffic allow.")
    elif step.kind == "let idle":
        parts.append("Foot off the pedal, and off it from now on.")
    elif step.kind == "coast":
        parts.append("Pedal fully up in gear; do not touch it until told.")
    if step.answer and turn.bound:
        parts.append(f"{ANSWERS[step.kind]} {turn.bound.words} after {counted_from}.")
    if step.condition:
        parts.append(f"Time counts only while this holds: {step.condition.name}.")
    if step.bus_silent and turn.bound is not None:
        parts.append("Nothing may poll the car meanwhile.")
    return " ".join(parts)


def caution_of(turn: Turn, before: Turn | None) -> str:
    """The file's caution, and those that always hold at such a step.

    Args:
        turn: the step.
        before: the act before it; a press that follows presses needs no second warning.
    Source: common practice (FACTS: safety customary).
    """
    kind = turn.step.kind
    standing = {
        "crank": (CAUTION_CRANK, CAUTION_RUNNING),
        "gear drive": (CAUTION_GEAR,),
        "stopped": (CAUTION_COAST,),
        "hold speed": (CAUTION_SPEED,),
        "drive": (CAUTION_ROAD,),
        "coast": (CAUTION_OVERRUN,),
    }.get(kind, ())
    pedal_before = before is not None and before.step.kind in {"press", "release"}
    if kind == "press" and not pedal_before:
        standing = (CAUTION_PRESS,)
    return " ".join(filter(None, (turn.caution, *standing)))


def if_none_words(text: str) -> str:
    """What to do where an answer does not come."""
    return STOP if text.strip().lower() == "stop" else text
