"""Recording a simulated car as a logger at its service port would: one question after another, values as encoded."""

from __future__ import annotations

import heapq
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from tickover.engine import parameters as par
from tickover.engine.control import GUARD
from tickover.errors import SignalRangeError, UnknownSignalError
from tickover.signals import Recording, Series

if TYPE_CHECKING:
    from tickover.engine.cars import Cars


@dataclass(frozen=True)
class _Channel:
    """How one signal is read from car ``i`` of a batch, and the step of its encoding."""

    read: Callable[[Cars, int], float]
    grain: float
    lo: float
    hi: float


def fuel_system_status(cars: Cars, car: int) -> float:
    """Code of the service standard: 1 open loop cold, 2 closed, 4 open by overrun, 8 open by fault."""
    control = cars.controller
    if control.closed[car]:
        return 2.0
    if not cars.running[car]:
        return 1.0
    return 8.0 if control.memory[GUARD, car] > 0 else 4.0 if control.cut[car] else 1.0


def throttle(cars: Cars, car: int) -> float:
    """Throttle sensor, as a share of supply [1]."""
    angle = np.arccos(np.clip(1 - cars.plant.area[car] / par.BORE_AREA, 0.0, 1.0))
    return float(par.BLADE_STOP + par.BLADE_SPAN * angle / (np.pi / 2))


CHANNELS: dict[str, _Channel] = {
    "engine_speed": _Channel(lambda c, i: c.plant.speed[i] / par.RPM, 0.25, 0, 16383.75),
    "manifold_pressure": _Channel(lambda c, i: c.plant.pressure[i] / 1e3, 1, 0, 255),
    "coolant_temperature": _Channel(lambda c, i: c.plant.read[i] - 273.15, 1, -40, 215),
    "short_trim_1": _Channel(lambda c, i: 100 * c.controller.short[i], 100 / 128, -100, 99.21875),
    "long_trim_1": _Channel(
        lambda c, i: 100 * c.controller.long(c.pedal <= par.PEDAL_SHUT)[i], 100 / 128, -100, 99.21875
    ),
    "fuel_system_status": _Channel(lambda c, i: fuel_system_status(c, i), 1, 0, 255),
    "throttle_position": _Channel(lambda c, i: 100 * throttle(c, i), 100 / 255, 0, 100),
    "commanded_idle_air": _Channel(lambda c, i: 100 * c.controller.command[i] / par.IDLE_AREA_FULL, 100 / 255, 0, 100),
    "pedal_d": _Channel(lambda c, i: 100 * (par.PEDAL_REST + par.PEDAL_SPAN * c.pedal[i]), 100 / 255, 0, 100),
    "module_voltage": _Channel(lambda c, i: c.plant.volts[i], 0.001, 0, 65.535),
    "vehicle_speed": _Channel(lambda c, i: c.seat.road[i] * 3.6, 1, 0, 255),
    "run_time": _Channel(lambda c, i: np.floor(c.controller.run_time[i]), 1, 0, 65535),
    "air_flow": _Channel(lambda c, i: c.plant.metered[i] * 1e3, 0.01, 0, 655.35),
}
"""Signals a simulated car answers, with the grain and range of their encoding.

Source: SAE J1979 appendix B scaling, as FACTS tabulates it. ``air_flow`` only where the car has an air meter;
``commanded_idle_air`` has no parameter of the standard and is encoded as its percentages are.
"""


def signals_of(metering: str) -> tuple[str, ...]:
    """Names a car of this metering answers."""
    return tuple(name for name in CHANNELS if name != "air_flow" or metering == "air")


@dataclass
class Recorder:
    """Asks one car of a batch for its signals, row after row.

    Args:
        cars, car: whom to ask
        begin: time of the first row [s]
        period: from row to row [s]; within a row the signals are asked one after another
        jitter: spread of each question's lateness on its plan [s]
        names: signals wanted; all the car answers where None
        rng: for the jitter
    Raises: SignalRangeError for a period below the model's step or a negative jitter; UnknownSignalError for a signal
        that this car does not answer.

    Each sample's bracket runs from the previous answer for that signal to this one: the value was measured somewhere
    between. A controller asleep does not answer, and the row stays empty.
    """

    cars: Cars
    car: int
    begin: float
    period: float
    jitter: float
    rng: np.random.Generator
    names: Iterable[str] | None = None
    _heap: list[tuple[float, str]] = field(default_factory=list)
    _plan: dict[str, float] = field(default_factory=dict)
    _samples: dict[str, list[tuple[float, float, float]]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        if self.period < par.STEP:
            raise SignalRangeError("recording period", self.period, par.STEP, np.inf)
        if self.jitter < 0:
            raise SignalRangeError("recording jitter", self.jitter, 0, np.inf)
        answered = signals_of(self.cars.specs[self.car].metering)
        wanted = list(answered if self.names is None else self.names)
        for k, name in enumerate(wanted):
            if name not in answered:
                raise UnknownSignalError(name, answered)
            self._samples[name] = []
            self._ask(name, self.begin + k * self.period / len(wanted))

    def _ask(self, name: str, planned: float) -> None:
        """Plan the next question for a signal at ``planned`` [s]; it may come late, never early."""
        late = abs(float(self.rng.normal(0.0, self.jitter))) if self.jitter else 0.0
        self._plan[name] = planned
        heapq.heappush(self._heap, (planned + late, name))

    def before(self, t: float) -> None:
        """Put all questions due before ``t`` [s]; they see the car as it is now, before its next step."""
        while self._heap[0][0] < t:
            at, name = heapq.heappop(self._heap)
            if self.cars.awake[self.car]:
                self._answer(name, at)
            self._ask(name, self._plan[name] + self.period)

    def _answer(self, name: str, at: float) -> None:
        channel, samples = CHANNELS[name], self._samples[name]
        grains = np.floor(channel.read(self.cars, self.car) / channel.grain + 0.5)
        value = float(np.clip(grains * channel.grain, channel.lo, channel.hi))
        last = samples[-1][1] if samples else at - self.period
        samples.append((min(last, self.cars.now), max(at, last), value))

    def finish(self) -> Recording:
        """What was recorded so far."""
        series = {name: Series.of(*zip(*rows, strict=True)) for name, rows in self._samples.items() if rows}
        return Recording(series, source="simulated car", simulated=True)
