"""What the car and the foot allow, whatever the times: a pedal that is down cannot be pressed.

Source: common practice (FACTS: safety customary), no published source.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from tickover.attempts import Kind
from tickover.routines.grammar import MIN_PRESS
from tickover.routines.reading import Faults
from tickover.routines.unroll import Turn


@dataclass
class Car:
    """What is known of the car between two steps.

    Attributes:
        ignition: off, accessory or on.
        engine: stopped, running, or ``unsure``: switched off, but not yet confirmed to stand.
        pedal, brake: up or down.
        gear: neutral (P or N) or drive.
        revs: whether the pedal holds the engine at a speed.
        moves: whether the car moves.
        loads: loads switched on by the routine.
        pressed_by: the step that put the pedal down.
    """

    ignition: str = "off"
    engine: str = "stopped"
    pedal: str = "up"
    brake: str = "up"
    gear: str = "neutral"
    revs: bool = False
    moves: bool = False
    loads: set[str] = field(default_factory=set)
    pressed_by: str = ""


def start_of(kind: Kind) -> Car:
    """The car as it must be for a routine to begin with this act."""
    if kind == "crank":
        return Car(ignition="on")
    if kind == "ignition off":
        return Car(ignition="on", engine="unsure")
    if kind in {"load on", "load off", "gear drive", "gear neutral", "brake press", "hold speed", "drive"}:
        return Car(ignition="on", engine="running")
    return Car()


Complaint = tuple[str, str]
"""What is wrong, and the way out."""


LET_IDLE = "Add a `let idle` step before."
STAND = "Add a `stand` step."


def check_physics(turns: Sequence[Turn], faults: Faults) -> None:
    """Note every step that the car or the foot does not allow where it stands.

    Args:
        turns: the routine, cycles written out.
        faults: where faults go; a fault that comes again in every round is noted once.
    """
    if not turns:
        return
    car = start_of(turns[0].step.kind)
    for turn in turns:
        for what, way_out in _RULES[turn.step.kind](car, turn):
            faults.at(turn.step.line, what, way_out, turn.step.id)
        if car.revs and not turn.step.answer and turn.step.kind not in {"hold speed", "let idle"}:
            faults.at(turn.step.line, "something is done while the engine speed is held", LET_IDLE, turn.step.id)
            car.revs = False  # told once
    last = turns[-1].step
    if car.pedal == "down":
        faults.at(last.line, "the routine ends with the pedal down", "Add a `release` step.", last.id)
    if car.gear == "drive":
        faults.at(last.line, "the routine ends with a drive gear selected", "Add a `gear neutral` step.", last.id)
    if car.revs:
        faults.at(last.line, "the routine ends with the engine speed held", "Add a `let idle` step.", last.id)
    if car.moves:
        faults.at(last.line, "the routine ends while the car moves", STAND, last.id)


def _ignition(car: Car, turn: Turn) -> list[Complaint]:
    state = turn.step.kind.removeprefix("ignition ")
    found: list[Complaint] = []
    if car.ignition == state:
        found.append((f"the ignition is {_at(state)} already", "Leave the step out, or switch it over before."))
    if car.moves:
        found.append(("the ignition is switched while the car moves", STAND))
        car.moves = False  # told once
    if state != "on":
        if car.gear == "drive":
            found.append(("the ignition goes off with a drive gear selected", "Add a `gear neutral` step before."))
        if car.engine == "running":
            car.engine = "unsure"
    car.ignition = state
    return found


def _at(state: str) -> str:
    return "at accessory" if state == "accessory" else state


def _crank(car: Car, _turn: Turn) -> list[Complaint]:
    found: list[Complaint] = []
    if car.pedal == "down":
        found.append(("the pedal is down at the crank", "Add a `release` step before: the engine would race."))
        car.pedal = "up"  # told once
    if car.ignition != "on":
        found.append(("the ignition is not on at the crank", "Add an `ignition on` step before."))
    if car.gear == "drive":
        found.append(("a drive gear is selected at the crank", "Add a `gear neutral` step before."))
    if car.engine == "running":
        found.append(("the engine runs already at the crank", "Add an `ignition off` step before."))
    car.engine, car.ignition = "running", "on"
    return found


def _press(car: Car, turn: Turn) -> list[Complaint]:
    found: list[Complaint] = []
    if car.pedal == "down":
        found.append(("the pedal is down already", "Add a `release` step before."))
    if car.engine == "running":
        found.append(
            ("the pedal goes to the floor with the engine running", "Add `ignition off` and confirm the stop.")
        )
    if car.engine == "unsure":
        found.append(
            (
                "the engine is not confirmed stopped before the pedal goes to the floor",
                'Add a step `car = "stopped"` with a `between` window.',
            )
        )
    if turn.step.repeat is None:
        car.pedal, car.pressed_by = "down", turn.id
        return found
    if car.ignition != "on":
        found.append(("presses are counted with the ignition not on", "Add an `ignition on` step before."))
    car.pedal = "up"
    return found


def _release(car: Car, turn: Turn) -> list[Complaint]:
    if car.pedal == "up":
        return [("the pedal is up already", "Add a `press` step before; a repeat ends with the pedal up.")]
    car.pedal = "up"
    bound = turn.bound
    stated = bound is not None and bound.kind in {"about", "between"} and turn.after == car.pressed_by
    if stated and bound is not None and bound.lo < MIN_PRESS:
        what = f"the pedal may be let up {bound.lo:g} s after it went down, and such a press may not count"
        return [(what, f"A press lasts at least {MIN_PRESS:g} s: raise the lower end.")]
    return []


def _lamp(car: Car, _turn: Turn) -> list[Complaint]:
    if car.ignition != "on":
        return [("the lamp is looked for with the ignition not on", "Add an `ignition on` step before.")]
    return []


def _running(car: Car, _turn: Turn) -> list[Complaint]:
    if car.engine != "running":
        return [("the engine cannot run: nothing started it", "Add a `crank` step before.")]
    return []


def _stopped(car: Car, _turn: Turn) -> list[Complaint]:
    if car.engine == "running":
        return [("the engine is not switched off, so it will not stop", "Add an `ignition off` step before.")]
    car.engine = "stopped"
    return []


def _brake(car: Car, turn: Turn) -> list[Complaint]:
    to = "down" if turn.step.kind == "brake press" else "up"
    if car.brake == to:
        words = "on the brake already" if to == "down" else "off the brake already"
        return [(f"the foot is {words}", "Leave the step out.")]
    car.brake = to
    if to == "up" and car.gear == "drive":
        return [("the brake is let go in a drive gear", "Add a `gear neutral` step before.")]
    return []


def _gear(car: Car, turn: Turn) -> list[Complaint]:
    to = turn.step.kind.removeprefix("gear ")
    found: list[Complaint] = []
    if to == "drive":
        if car.engine != "running":
            found.append(("a drive gear needs the engine running", "Add a `crank` step before."))
        if car.brake != "down":
            found.append(("a drive gear is selected with the foot off the brake", "Add a `brake press` step before."))
    car.gear = to
    return found


def _load(car: Car, turn: Turn) -> list[Complaint]:
    name = turn.step.load
    if turn.step.kind == "load on":
        if name in car.loads:
            return [(f"{name} is on already", "Leave the step out.")]
        car.loads.add(name)
        return []
    car.loads.discard(name)
    return []


def _hold_speed(car: Car, _turn: Turn) -> list[Complaint]:
    found: list[Complaint] = []
    if car.engine != "running":
        found.append(("a held engine speed needs the engine running", "Add a `crank` step before."))
    if car.gear == "drive" or car.moves:
        found.append(("the engine speed is held in gear", "Add a `gear neutral` or `stand` step before."))
    if car.revs:
        found.append(("the engine speed is held already", "Add a `let idle` step before."))
    car.revs = True
    return found


def _let_idle(car: Car, _turn: Turn) -> list[Complaint]:
    held, car.revs = car.revs, False
    return [] if held else [("no engine speed is held that could be let go", "Add a `hold speed` step before.")]


def _road(car: Car, turn: Turn) -> list[Complaint]:
    kind = turn.step.kind
    found: list[Complaint] = []
    if kind == "drive" and car.engine != "running":
        found.append(("driving needs the engine running", "Add a `crank` step before."))
    if kind == "drive" and car.brake == "down":
        found.append(("the car drives with the brake held", "Add a `brake release` step before."))
    if kind != "drive" and not car.moves:
        found.append((f"`{kind}` needs a car that moves", "Add a `drive` step before."))
    car.moves = kind != "stand"
    return found


def _nothing(_car: Car, _turn: Turn) -> list[Complaint]:
    return []


_RULES: dict[Kind, Callable[[Car, Turn], list[Complaint]]] = {
    "ignition off": _ignition,
    "ignition accessory": _ignition,
    "ignition on": _ignition,
    "crank": _crank,
    "press": _press,
    "release": _release,
    "running": _running,
    "stopped": _stopped,
    "lamp lit": _lamp,
    "lamp flashing": _lamp,
    "lamp off": _lamp,
    "fan on": _nothing,
    "fan off": _nothing,
    "brake press": _brake,
    "brake release": _brake,
    "gear drive": _gear,
    "gear neutral": _gear,
    "load on": _load,
    "load off": _load,
    "hold speed": _hold_speed,
    "let idle": _let_idle,
    "drive": _road,
    "coast": _road,
    "stand": _road,
}
