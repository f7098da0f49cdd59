"""Many cars as one set of arrays: what the moving model and the steady prediction both take their numbers from."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tickover.engine import parameters as par
from tickover.engine.entry import KeyOnRest, PedalRestLearning, ThrottleStopLearning
from tickover.engine.spec import RANGES, CarSpec, has_entry
from tickover.errors import SignalRangeError

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]


@dataclass(frozen=True)
class CarArrays:
    """Specs of many cars, side by side. Numbers carry the names and units of ``CarSpec``; all have one shape.

    Args:
        metered_by_air: True for an air meter
        rest_unlearned, stop_unlearned: pedal rest or throttle stop is not learned, and the car does not find it itself

    The SI views that the equations use are properties.
    """

    metered_by_air: Bools
    rest_unlearned: Bools
    stop_unlearned: Bools
    loads_learned: Bools
    cylinders: Floats
    displacement_l: Floats
    bore_extra_area_mm2: Floats
    memory_bore_mm2: Floats
    leak_mm: Floats
    fuel_scale: Floats
    misfire_guard: Floats
    long_trim_idle: Floats
    target_speed: Floats
    coolant_start: Floats
    charge: Floats
    rest_error: Floats
    stop_error_mm2: Floats
    meter_scale: Floats
    pump_loss: Floats
    injector_dead_ms: Floats
    ethanol: Floats
    misfire_rate: Floats
    misfire_cylinder: Floats
    battery_wear: Floats
    regulated_volts: Floats
    thermostat_least: Floats
    thermostat_most: Floats
    coolant_sensor_ohms: Floats
    coolant_sensor_bad: Floats
    rubbing: Floats

    @classmethod
    def of(cls, specs: Sequence[CarSpec]) -> CarArrays:
        """Specs as arrays.

        Args:
            specs: one or more
        Returns: arrays of shape (n,)
        Raises: SignalRangeError for none.
        """
        if not specs:
            raise SignalRangeError("number of cars", 0, 1, np.inf)
        made: dict[str, Any] = {
            "metered_by_air": np.array([s.metering == "air" for s in specs]),
            "rest_unlearned": np.array([not s.rest_learned and has_entry(s, PedalRestLearning) for s in specs]),
            "stop_unlearned": np.array(
                [not s.stop_learned and has_entry(s, KeyOnRest, ThrottleStopLearning) for s in specs]
            ),
            "loads_learned": np.array([s.loads_learned for s in specs]),
        }
        for one in fields(cls):
            if one.name not in made:
                made[one.name] = np.array([float(getattr(s, one.name)) for s in specs])
        return cls(**made)

    @classmethod
    def grid(cls, spec: CarSpec, **varied: ArrayLike) -> CarArrays:
        """One car, with some of its numbers varied: hypotheses side by side.

        Args:
            spec: everything that does not vary
            varied: fields of this class, in the units of ``CarSpec``, of any shapes that broadcast
        Returns: arrays of the broadcast shape
        Raises: SignalRangeError for a value outside its range, with its index; TypeError for an unknown field.
        Example: ``CarArrays.grid(CarSpec(metering="air"), leak_mm=[0, 1, 2, 3])`` is four cars.
        """
        single = cls.of([spec])
        known = {one.name for one in fields(cls)}
        for name, value in varied.items():
            if name not in known:
                raise TypeError(f"no field of a car is called {name!r}; there are {', '.join(sorted(known))}")
            _check(name, np.asarray(value))
        shape = np.broadcast_shapes(*(np.shape(v) for v in varied.values()))
        made: dict[str, Any] = {}
        for one in fields(cls):
            plain = getattr(single, one.name)
            value = np.asarray(varied.get(one.name, plain[0]), dtype=plain.dtype)
            made[one.name] = np.broadcast_to(value, shape)
        if "bore_extra_area_mm2" in varied and "memory_bore_mm2" not in varied and spec.memory_from_bore_mm2 is None:
            made["memory_bore_mm2"] = made["bore_extra_area_mm2"]
        return cls(**made)

    @property
    def shape(self) -> tuple[int, ...]:
        """Shape of every array."""
        return self.displacement_l.shape

    @cached_property
    def displacement(self) -> Floats:
        """All cylinders [m³]."""
        return np.asarray(self.displacement_l * 1e-3)

    @cached_property
    def extra(self) -> Floats:
        """What the bore passes beyond a new one [m²]."""
        return np.asarray(self.bore_extra_area_mm2 * par.MM2)

    @cached_property
    def leak(self) -> Floats:
        """Area of the leak [m²]."""
        return np.asarray(np.pi / 4 * (self.leak_mm * 1e-3) ** 2)

    @cached_property
    def target(self) -> Floats:
        """Warm idle target [rad/s]."""
        return np.asarray(self.target_speed * par.RPM)

    @cached_property
    def dead(self) -> Floats:
        """Unknown opening delay of the injectors [s]."""
        return np.asarray(self.injector_dead_ms * 1e-3)

    @cached_property
    def missed(self) -> Floats:
        """Share of all firings that are missed [1]."""
        return np.asarray(self.misfire_rate / self.cylinders)


def _check(name: str, value: NDArray[Any]) -> None:
    """Refuse what ``CarSpec`` would refuse."""
    lo, hi = RANGES.get("bore_extra_area_mm2" if name == "memory_bore_mm2" else name, (-np.inf, np.inf))
    bad = ~((value >= lo) & (value <= hi))
    if np.any(bad):
        index = int(np.argmax(bad))
        raise SignalRangeError(name, float(value.flat[index]), lo, hi, index)
