"""What can be acting: each cause with the sizes it comes in, and the engine that would have it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from tickover.cause.results import Family, Name
from tickover.engine import CarSpec

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Hypothesis:
    """One cause.

    Args:
        name: for scripts.
        says: in words.
        family: sound, stale, fault or else.
        rate: how common it is among cars that get here [1]; they need not sum to 1.
        sizes: in the unit of ``put``; one of 0 where the cause has no size.
        weights: chance of each size; sums to 1.
        put: the engine that would have it, at a size.
        only: metering that it needs; None for either.
        unit: of its size; empty where it is not told.
    """

    name: Name
    says: str
    family: Family
    rate: float
    sizes: Floats
    weights: Floats
    put: Callable[[CarSpec, float], CarSpec]
    only: str | None = None
    unit: str = ""


def _even(least: float, most: float, n: int) -> tuple[Floats, Floats]:
    return np.linspace(least, most, n), np.full(n, 1 / n)


def _log(least: float, most: float, n: int) -> tuple[Floats, Floats]:
    return np.geomspace(least, most, n), np.full(n, 1 / n)


def _ohms_put(spec: CarSpec, ohms: float) -> CarSpec:
    return replace(spec, coolant_sensor_ohms=ohms)


_ONE = (np.zeros(1), np.ones(1))
_FUEL = (
    np.concatenate([np.linspace(4, 32, 13), np.linspace(-24, -4, 8)]),
    np.concatenate([np.full(13, 0.7 / 13), np.full(8, 0.3 / 8)]),
)
_BLEND_SIZES = np.array([25.0, 40.0, 55.0, 70.0, 85.0])


def _fuel_put(spec: CarSpec, lacks: float) -> CarSpec:
    """Too little fuel by so many per cent; above 100 stands for a blend of (that − 100) per cent ethanol."""
    if lacks > 100:
        return replace(spec, ethanol=(lacks - 100) / 100)
    return replace(spec, fuel_scale=spec.fuel_scale * (1 - lacks / 100))


def _battery_put(spec: CarSpec, wear: float) -> CarSpec:
    return replace(spec, battery_wear=wear, charge=spec.charge * (1 - 0.7 * wear))


def _counters_put(spec: CarSpec, long: float) -> CarSpec:
    return replace(spec, misfire_guard=1.0, long_trim_idle=long)


def _old_put(spec: CarSpec, beyond: float) -> CarSpec:
    return replace(spec, memory_from_bore_mm2=spec.bore_extra_area_mm2 - beyond)


def _lost_put(spec: CarSpec, dirt: float) -> CarSpec:
    return replace(spec, bore_extra_area_mm2=-dirt, memory_from_bore_mm2=0.0)


HYPOTHESES: tuple[Hypothesis, ...] = (
    Hypothesis("healthy", "nothing wrong", "sound", 0.15, *_ONE, lambda s, _: s),
    Hypothesis(
        "old memory",
        "an old idle memory on a clean bore",
        "stale",
        0.15,
        *_even(4.5, 12.0, 12),
        _old_put,
    ),
    Hypothesis("lost memory", "a lost idle memory on a dirty bore", "stale", 0.08, *_even(2.0, 10.0, 13), _lost_put),
    Hypothesis(
        "misfire counters",
        "misfire counters still set, though the misfire is cured",
        "stale",
        0.03,
        *_even(-0.04, 0.08, 6),
        _counters_put,
    ),
    Hypothesis("memory cleared", "a memory just cleared", "stale", 0.02, *_ONE, lambda s, _: s),
    Hypothesis(
        "leak",
        "an air leak behind the throttle",
        "fault",
        0.15,
        *_log(0.9, 7.0, 36),
        lambda s, x: replace(s, leak_mm=x),
        unit="mm",
    ),
    Hypothesis(
        "air meter",
        "an air meter that reads too little",
        "fault",
        0.07,
        *_even(4.0, 40.0, 13),
        lambda s, x: replace(s, meter_scale=1 - x / 100),
        "air",
        "%",
    ),
    Hypothesis(
        "fuel error",
        "a fuel error, the same everywhere",
        "fault",
        0.07,
        np.concatenate([_FUEL[0], 100 + _BLEND_SIZES]),
        np.concatenate([0.8 * _FUEL[1], np.full(5, 0.2 / 5)]),
        _fuel_put,
    ),
    Hypothesis(
        "weak pump",
        "a fuel supply that is weak under load",
        "fault",
        0.04,
        *_even(0.06, 0.5, 10),
        lambda s, x: replace(s, pump_loss=x),
    ),
    Hypothesis(
        "injector dead time",
        "injectors that open late",
        "fault",
        0.03,
        *_even(0.06, 0.6, 10),
        lambda s, x: replace(s, injector_dead_ms=x),
        unit="ms",
    ),
    Hypothesis(
        "dead coil",
        "a cylinder that misses fire",
        "fault",
        0.08,
        *_even(0.2, 1.0, 8),
        lambda s, x: replace(s, misfire_rate=x),
    ),
    Hypothesis("tired battery", "a tired battery", "fault", 0.03, *_even(0.35, 1.0, 5), _battery_put),
    Hypothesis(
        "stuck thermostat",
        "a thermostat that stands open",
        "fault",
        0.03,
        *_even(0.3, 1.0, 5),
        lambda s, x: replace(s, thermostat_least=x),
    ),
    Hypothesis(
        "coolant sensor", "a coolant sensor with a bad contact", "fault", 0.03, *_log(60.0, 2000.0, 8), _ohms_put
    ),
    Hypothesis("something else", "something else", "else", 0.22, *_ONE, lambda s, _: s),
)
"""Every cause, in no order of likelihood. Rates and sizes: own choice, what a workshop meets; most begin where they
hide, for a fault too small to show is no sound car."""

BY_NAME: dict[str, Hypothesis] = {h.name: h for h in HYPOTHESES}
ELSE = "something else"


def rates_of(given: Mapping[str, float] | None, metering: str) -> Floats:
    """Chance of each cause before any evidence.

    Args:
        given: rates that replace ours, by name; need not sum to 1.
        metering: "air" or "pressure"; causes that need the other get 0.
    Returns: shape (causes,), sums to 1
    Raises: ValueError for an unknown cause or a negative rate.
    """
    given = given or {}
    for name, rate in given.items():
        if name not in BY_NAME:
            raise ValueError(f"no cause is called {name!r}; there are {', '.join(BY_NAME)}")
        if not rate >= 0:
            raise ValueError(f"the rate of {name!r} is {rate:g}, below 0")
    rates = np.array([given.get(h.name, h.rate) if h.only in (None, metering) else 0.0 for h in HYPOTHESES])
    if rates.sum() <= 0:
        raise ValueError("every rate is 0")
    return np.asarray(rates / rates.sum())
