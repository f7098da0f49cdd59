"""What a relearn entry writes into the volatile memory, and what must have been learned before it may."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from tickover.engine import parameters as par
from tickover.engine.balance import needed_area
from tickover.engine.control import PEDAL_REST, THROTTLE_STOP, Controller
from tickover.engine.entry import POWER_CYCLE
from tickover.engine.plant import Plant
from tickover.engine.seat import Seat
from tickover.engine.windows import Answer, Writes

_ORDER = "; pedal rest, then throttle stop, then idle air"


class Writer:
    """Carries the answers of a batch's machines into its memory.

    Args:
        plant, controller, seat: of the batch
    """

    def __init__(self, plant: Plant, controller: Controller, seat: Seat) -> None:
        self.plant, self.controller, self.seat = plant, controller, seat
        self._kept: dict[tuple[int, str], NDArray[np.float64]] = {}

    def take(self, car: int, answer: Answer) -> str:
        """Write, clear or put back what one answer says.

        Args:
            car: index
            answer: "write", "reset" or "restore"
        Returns: why it may not be written; empty where it was.
        """
        key = (car, answer.entry)
        if answer.what == "reset":
            self.controller.reset(car)
        elif answer.what == "restore":
            if key in self._kept:
                self.controller.memory[:, car] = self._kept.pop(key)
        else:
            blocked = "" if answer.entry == POWER_CYCLE.name else self._unlearned(car, answer.writes)
            if blocked:
                return blocked
            self._kept[key] = self.controller.memory[:, car].copy()
            for what in answer.writes:
                self._write(car, what)
        return ""

    def _unlearned(self, car: int, writes: tuple[Writes, ...]) -> str:
        memory = self.controller.memory[:, car]
        if not memory[PEDAL_REST] and writes != ("pedal rest",):
            return f"rejected: pedal rest is not learned; leave the ignition on 2 s, pedal untouched{_ORDER}"
        if not memory[THROTTLE_STOP] and writes not in (("pedal rest",), ("throttle stop",)):
            return f"rejected: throttle stop is not learned; ignition on, then off for 10 s{_ORDER}"
        return ""

    def _write(self, car: int, what: Writes) -> None:
        control = self.controller
        if what in ("idle air", "half"):
            control.relearn(car, self._beyond(car), par.STEP_MOST if what == "half" else np.inf)
        elif what == "loads":
            control.learn_loads(car)
        elif what == "drag":
            control.learn_drag(car)
        else:
            row, value = (PEDAL_REST, par.PEDAL_REST) if what == "pedal rest" else (THROTTLE_STOP, par.BLADE_STOP)
            control.memory[row, car] = value

    def _beyond(self, car: int) -> float:
        """What the bore passes beyond a new one, less what electric loads that are on ask for [m²]."""
        power = par.BASE_LOAD + self.seat.electric[car]
        litres, target = self.plant.displacement[car], self.controller.base_target[car]
        rub = self.plant.cars.rubbing[car]
        more = needed_area(litres, target, electric=power, rubbing=rub) - needed_area(litres, target, rubbing=rub)
        return float(self.plant.extra[car] - more)
