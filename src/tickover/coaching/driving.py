"""Hands and feet of a simulated person in a simulated car: how each act of a routine is done there, and what is seen.

A held engine speed and a stand take a while to come about; such an act is seen when it has.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from typing import Protocol, runtime_checkable

from tickover.attempts import Kind
from tickover.coaching.conditions import due_counter
from tickover.coaching.state import Seen
from tickover.errors import InputError
from tickover.routines import CompiledRoutine, CompiledStep

ROLL_TO = 10.0
"""A coasting car is let roll down to this [km/h]; own choice, above a walking pace, where it would be braked."""
ROAD_SPEED = 50.0
"""Where a step names no road speed [km/h]; own choice."""
STANDS = 0.1
"""Below this a car stands [km/h]."""


class Car(Protocol):
    """What a rehearsal needs of a car; the simulated one has it."""

    now: float

    def do(self, kind: Kind) -> None:
        """Do one thing, now."""

    def advance(self, seconds: float) -> Sequence[tuple[Kind, float]]:
        """Let time pass; answers with their instants on the car's clock."""


@runtime_checkable
class Drivable(Protocol):
    """What a car has on top that can be driven: loads by name, a held engine speed, a road speed, and its gauges."""

    @property
    def ignition(self) -> str:
        """Switch: off, accessory or on."""

    @property
    def engine_speed(self) -> float:
        """Crank speed [r/min]."""

    @property
    def road_speed(self) -> float:
        """[km/h]."""

    @property
    def coolant(self) -> float:
        """[°C]."""

    def do(self, kind: Kind, load: str = "compressor") -> None:
        """Do one thing, now; ``load`` says which goes on or off."""

    def hold_speed(self, speed: float | None) -> None:
        """Hold an engine speed with the pedal [r/min]; None lets go."""

    def drive(self, speed: float) -> None:
        """Make for a road speed [km/h]."""


DRIVEN: frozenset[Kind] = frozenset({"load on", "load off", "hold speed", "let idle", "drive", "coast", "stand"})


def begin_act(car: Car, kind: Kind, step: CompiledStep | None) -> None:
    """Do one act, or begin one that takes a while.

    Args:
        car: the simulated car.
        kind: what is done.
        step: the step that asks for it, for its load and speeds; None where none does.
    Raises: InputError where this car cannot do that; OutOfOrderError where it cannot do it now.
    """
    if kind == "crank" and isinstance(car, Drivable) and car.ignition != "on":
        car.do("ignition on")  # a key passes through it on its way to start
    if kind not in DRIVEN:
        car.do(kind)
        return
    if not isinstance(car, Drivable):
        raise InputError(f"this simulated car knows no “{kind}”", way_out="Rehearse it on one that drives.")
    if kind in {"load on", "load off"}:
        car.do(kind, step.load if step is not None and step.load else "compressor")
    elif kind in {"hold speed", "let idle"}:
        wanted = step.speed if step is not None else None
        car.hold_speed(sum(wanted) / 2 if kind == "hold speed" and wanted is not None else None)
    else:
        wanted = step.road_speed if step is not None else None
        cruise = ROAD_SPEED if wanted is None else sum(wanted) / 2
        car.drive({"drive": cruise, "coast": ROLL_TO}.get(kind, 0.0))


def has_come(car: Car, kind: Kind, step: CompiledStep | None) -> bool:
    """Whether an act that was begun has come about: the engine speed is reached, the car stands.

    Args:
        car: the simulated car.
        kind: what was begun.
        step: the step that asks for it.
    """
    if not isinstance(car, Drivable):
        return True
    if kind == "hold speed" and step is not None and step.speed is not None:
        return step.speed[0] <= car.engine_speed <= step.speed[1]
    return kind != "stand" or car.road_speed < STANDS


def gauge_news(
    routine: CompiledRoutine, happened: Collection[str], holding: Collection[str], car: Car, now: float
) -> list[Seen]:
    """What somebody with an eye on the gauge would tell: the condition of the count under way began or ceased to hold.

    Args:
        routine: compiled.
        happened: planned events that have happened.
        holding: conditions that hold as far as was told.
        car: the simulated car.
        now: time on the attempt's clock [s].
    Returns: one piece of news, or none.
    """
    counter = due_counter(routine, happened)
    condition = next((c for c in routine.conditions if counter is not None and c.name == counter.condition), None)
    if condition is None or condition.signal is None or not isinstance(car, Drivable):
        return []
    shown = {
        "engine_speed": car.engine_speed,
        "vehicle_speed": car.road_speed,
        "coolant_temperature": car.coolant,
    }.get(condition.signal)
    if shown is None:
        return []
    holds = (condition.lo is None or shown >= condition.lo) and (condition.hi is None or shown <= condition.hi)
    if holds == (condition.name in holding):
        return []
    return [Seen(what="time counts" if holds else "time stands", t_lo=now, t_hi=now)]
