"""Conversions, in one place. Series carry the vocabulary's units; everything else is for reading and showing."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import overload

import numpy as np
from numpy.typing import NDArray

from tickover.errors import UnitError
from tickover.signals.vocabulary import signal

Floats = NDArray[np.float64]

# unit -> (quantity, factor, offset): value in the quantity's base unit = factor * value + offset.
# Factors are definitions, from memory: SI Brochure 9th ed. (2019); NIST SP 811 (2008) appendix B for mile, pound, inHg
# and mmHg.
_UNITS: dict[str, tuple[str, float, float]] = {
    "r/min": ("rotation", 1.0, 0.0),
    "rpm": ("rotation", 1.0, 0.0),
    "1/min": ("rotation", 1.0, 0.0),
    "1000 r/min": ("rotation", 1000.0, 0.0),
    "Hz": ("rotation", 60.0, 0.0),
    "km/h": ("speed", 1.0, 0.0),
    "mph": ("speed", 1.609344, 0.0),
    "m/s": ("speed", 3.6, 0.0),
    "°C": ("temperature", 1.0, 0.0),
    "°F": ("temperature", 5 / 9, -160 / 9),
    "K": ("temperature", 1.0, -273.15),
    "kPa": ("pressure", 1.0, 0.0),
    "Pa": ("pressure", 1e-3, 0.0),
    "hPa": ("pressure", 0.1, 0.0),
    "mbar": ("pressure", 0.1, 0.0),
    "bar": ("pressure", 100.0, 0.0),
    "inHg": ("pressure", 3.38638, 0.0),
    "mmHg": ("pressure", 0.1333224, 0.0),
    "psi": ("pressure", 6.894757293168361, 0.0),
    "g/s": ("mass flow", 1.0, 0.0),
    "kg/h": ("mass flow", 1 / 3.6, 0.0),
    "lb/min": ("mass flow", 453.59237 / 60, 0.0),
    "s": ("time", 1.0, 0.0),
    "ms": ("time", 1e-3, 0.0),
    "min": ("time", 60.0, 0.0),
    "h": ("time", 3600.0, 0.0),
    "km": ("distance", 1.0, 0.0),
    "m": ("distance", 1e-3, 0.0),
    "mi": ("distance", 1.609344, 0.0),
    "V": ("voltage", 1.0, 0.0),
    "mV": ("voltage", 1e-3, 0.0),
    "%": ("share", 1.0, 0.0),
    "°": ("angle", 1.0, 0.0),
    "λ": ("ratio", 1.0, 0.0),
    "count": ("count", 1.0, 0.0),
    "code": ("code", 1.0, 0.0),
}


@overload
def convert(value: float, unit: str, to: str) -> float: ...
@overload
def convert(value: Floats, unit: str, to: str) -> Floats: ...
def convert(value: float | Floats, unit: str, to: str) -> float | Floats:
    """Turn a value from one unit into another of the same quantity.

    Args:
        value: number or array of any shape, in ``unit``.
        unit: unit it is in.
        to: unit wanted.
    Returns: the same shape, in ``to``. A difference of temperatures is not a temperature: scale it yourself.
    Raises: UnitError if either unit is unknown or they measure different quantities.
    Source: SI Brochure 9th ed. (2019); NIST SP 811 (2008) appendix B; from memory.
    Example: ``convert(60, "mph", "km/h")`` is 96.56064.
    """
    if unit not in _UNITS or to not in _UNITS:
        raise UnitError(unit, to)
    quantity, factor, offset = _UNITS[unit]
    target, factor_to, offset_to = _UNITS[to]
    if quantity != target:
        raise UnitError(unit, to)
    return (value * factor + offset - offset_to) / factor_to


def known_units() -> Mapping[str, str]:
    """Every unit and the quantity it measures."""
    return {unit: quantity for unit, (quantity, _, _) in _UNITS.items()}


@dataclass(frozen=True)
class DisplayUnits:
    """Units to show, set per quantity: mph with °C and mbar is normal in some countries.

    Args:
        chosen: quantity (as in ``known_units``) to unit, e.g. ``{"speed": "mph"}``.
    Raises: UnitError if a unit does not measure the quantity it is chosen for.
    """

    chosen: Mapping[str, str] = field(default_factory=dict)

    def __post_init__(self) -> None:
        for quantity, unit in self.chosen.items():
            if known_units().get(unit) != quantity:
                raise UnitError(unit, quantity)

    def unit_for(self, name: str) -> str:
        """The unit in which signal ``name`` is shown."""
        own = signal(name).unit
        return self.chosen.get(known_units()[own], own)

    def show(self, name: str, value: float) -> float:
        """Value of signal ``name``, from the vocabulary's unit into the one shown."""
        return convert(value, signal(name).unit, self.unit_for(name))
