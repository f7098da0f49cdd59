"""Cars with faults, and whole populations of cars: what panels and hypotheses are drawn from.

Each fault is one number put into a ``CarSpec``. Ranges are what a workshop meets, barely felt to plain: own choice.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from tickover.engine.spec import CarSpec
from tickover.errors import SignalRangeError

Metering = Literal["air", "pressure"]


@dataclass(frozen=True)
class Fault:
    """One thing that can be wrong.

    Args:
        name: of the fault
        says: what is wrong, in words, with the severity's meaning
        unit: of the severity
        least, most: severities that occur
        put: gives a spec with it
        only: the metering that it needs; None for either
    """

    name: str
    says: str
    unit: str
    least: float
    most: float
    put: Callable[[CarSpec, float], CarSpec]
    only: Metering | None = None


def _old_memory(spec: CarSpec, beyond: float) -> CarSpec:
    return replace(spec, memory_from_bore_mm2=spec.bore_extra_area_mm2 - beyond)


def _lost_memory(spec: CarSpec, dirt: float) -> CarSpec:
    return replace(spec, bore_extra_area_mm2=-dirt, memory_from_bore_mm2=0.0)


def _coil(spec: CarSpec, rate: float) -> CarSpec:
    return replace(spec, misfire_rate=rate, misfire_cylinder=1 + spec.noise_seed % spec.cylinders)


def _battery(spec: CarSpec, wear: float) -> CarSpec:
    return replace(spec, battery_wear=wear, charge=spec.charge * (1 - 0.4 * wear))


FAULTS: dict[str, Fault] = {
    one.name: one
    for one in (
        Fault("old memory", "bore cleaned: it passes so much more than was learned", "mm²", 5.0, 12.0, _old_memory),
        Fault("lost memory", "memory of a new engine on a bore dirty by so much", "mm²", 4.0, 10.0, _lost_memory),
        Fault("leak", "round hole into the manifold", "mm", 1.0, 5.0, lambda s, x: replace(s, leak_mm=x)),
        Fault(
            "air meter",
            "the air meter under-reads by this share",
            "%",
            8.0,
            35.0,
            lambda s, x: replace(s, meter_scale=1 - x / 100),
            only="air",
        ),
        Fault(
            "fuel error",
            "everywhere so much too little fuel: pressure, injector scale",
            "%",
            8.0,
            30.0,
            lambda s, x: replace(s, fuel_scale=s.fuel_scale * (1 - x / 100)),
        ),
        Fault(
            "weak pump",
            "share of rail pressure lost at a hard load's fuel flow",
            "1",
            0.05,
            0.40,
            lambda s, x: replace(s, pump_loss=x),
        ),
        Fault(
            "injector dead time",
            "injectors open so much later than the controller allows for",
            "ms",
            0.15,
            0.5,
            lambda s, x: replace(s, injector_dead_ms=x),
        ),
        Fault("dead coil", "share of one cylinder's firings that are missed", "1", 0.3, 1.0, _coil),
        Fault("tired battery", "0 new, 1 finished", "1", 0.4, 1.0, _battery),
        Fault(
            "stuck thermostat",
            "stands open at least so far",
            "1",
            0.3,
            1.0,
            lambda s, x: replace(s, thermostat_least=x),
        ),
        Fault(
            "coolant sensor",
            "bad contact in its circuit: it reads too cold",
            "Ω",
            40.0,
            1500.0,
            lambda s, x: replace(s, coolant_sensor_ohms=x),
        ),
        Fault("fuel blend", "share of ethanol by volume", "1", 0.25, 0.85, lambda s, x: replace(s, ethanol=x)),
    )
}
"""Every fault by its name. The memory of the car stays what it was, unless the fault is one of memory."""


def with_fault(name: str, severity: float, spec: CarSpec | None = None) -> CarSpec:
    """A car with one fault.

    Args:
        name: one of ``FAULTS``
        severity: in the fault's unit; may lie outside the range that occurs, as far as ``CarSpec`` allows
        spec: what else the car should be; the default car where None
    Raises: KeyError for another name; SignalRangeError for a severity that a car cannot have, or a fault that needs the
        other metering.
    Example: ``with_fault("air meter", 15, CarSpec(metering="air"))`` reads 15 % too little.
    """
    fault, car = FAULTS[name], spec or CarSpec()
    if fault.only is not None and car.metering != fault.only:
        raise SignalRangeError(f"severity of {name!r}, which needs metering by {fault.only}", severity, 0.0, 0.0)
    return fault.put(car, severity)


_LITRES = (1.0, 1.2, 1.4, 1.6, 1.8, 2.0, 2.4, 3.0, 3.5)
"""Displacements that are drawn [l]. Own choice."""


def random_car(rng: np.random.Generator, metering: Metering | None = None, noise_seed: int = 0) -> CarSpec:
    """A healthy car as a workshop may meet it: no two alike, all within the trade's ranges of a warm idle.

    Args:
        rng: chance
        metering: of this kind; either, evenly, where None
        noise_seed: for its own noise
    Source: own choice: idle target 610 to 780 r/min (small engines from 680), friction spread by 8 %, fuel by 2 %, an
        ethanol share up to a tenth, learned air up to 1 mm² from the bore's need.
    """
    litres = float(rng.choice(_LITRES))
    lowest, highest = (680.0, 780.0) if litres < 1.5 else (610.0, 780.0)
    kinds: tuple[Metering, Metering] = ("air", "pressure")
    bore = float(rng.uniform(-6.0, 0.0))
    return CarSpec(
        displacement_l=litres,
        cylinders=3 if litres < 1.3 else 4 if litres < 2.5 else 6,
        metering=metering or kinds[int(rng.integers(2))],
        switch="key" if rng.random() < 0.5 else "button",
        gearbox="manual" if rng.random() < 0.5 else "automatic",
        bore_extra_area_mm2=bore,
        memory_from_bore_mm2=bore + float(rng.uniform(-1.0, 1.0)),
        fuel_scale=float(np.clip(rng.normal(1.0, 0.02), 0.95, 1.06)),
        ethanol=float(rng.choice((0.0, 0.05, 0.10))),
        target_speed=float(rng.uniform(lowest, highest)),
        rubbing=float(np.clip(rng.normal(0.9, 0.08), 0.7, 1.1)),
        charge=float(rng.uniform(0.7, 1.0)),
        coolant_start=88.0,
        noise_seed=noise_seed,
    )


@dataclass(frozen=True)
class Drawn:
    """One car of a population: its spec, and the truth about it; ``fault`` is None for a healthy one."""

    spec: CarSpec
    fault: str | None
    severity: float


def population(
    n: int,
    rng: np.random.Generator,
    rates: Mapping[str, float] | None = None,
    metering: Metering | None = None,
) -> list[Drawn]:
    """Draw cars, some with one fault each.

    Args:
        n: how many
        rng: chance
        rates: share of each fault in the population; the rest is healthy. A fault of the other metering falls to a
            healthy car. All healthy where None.
        metering: of all; either where None
    Returns: cars in the order drawn, their ``noise_seed`` counting from 0
    Raises: KeyError for an unknown fault; SignalRangeError where the rates are negative or sum to more than 1.
    Example: ``population(100, np.random.default_rng(1), {"leak": 0.2, "old memory": 0.3})``
    """
    shares = {name: float(rate) for name, rate in (rates or {}).items()}
    faults = [FAULTS[name] for name in shares]
    total = sum(shares.values())
    if min(shares.values(), default=0.0) < 0 or total > 1 + 1e-12:
        raise SignalRangeError("rates of faults, in all", total, 0.0, 1.0)
    bounds = np.cumsum(list(shares.values()))
    drawn = []
    for k in range(n):
        spec, at = random_car(rng, metering, noise_seed=k), int(np.searchsorted(bounds, rng.random(), side="right"))
        fault = faults[at] if at < len(faults) else None
        severity = float(rng.uniform(fault.least, fault.most)) if fault is not None else 0.0
        if fault is None or fault.only not in (None, spec.metering):
            drawn.append(Drawn(spec, None, 0.0))
        else:
            drawn.append(Drawn(fault.put(spec, severity), fault.name, severity))
    return drawn
