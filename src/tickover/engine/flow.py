"""Compressible flow through restrictions: throttle, idle air, leaks. Air as an ideal gas; all SI.

The one law used by the simulated car, by the search for a leak, and by the tests. Areas are geometric, with the
discharge coefficient given beside them.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tickover.errors import SignalRangeError

Floats = NDArray[np.float64]

GAMMA = 1.4
"""Ratio of specific heats of air near room temperature [1]."""
GAS_CONSTANT = 287.05
"""Specific gas constant of dry air [J/(kg K)]."""
STANDARD_PRESSURE = 101_325.0
"""Standard atmosphere [Pa]."""
ROOM_TEMPERATURE = 298.15
"""25 °C [K]."""
LINEAR_ABOVE = 0.98
"""Pressure ratio above which the model's flow falls on a straight line to zero [1]. Own choice."""


def critical_ratio(gamma: float = GAMMA) -> float:
    """Pressure ratio (down over up) below which a restriction is choked.

    Args:
        gamma: ratio of specific heats [1], above 1.
    Returns: ratio [1].
    Source: Heywood, Internal Combustion Engine Fundamentals, 1988, appendix C. From memory.
    Example: ``critical_ratio()`` is 0.528282.
    """
    return float((2 / (gamma + 1)) ** (gamma / (gamma - 1)))


def flow_number(gamma: float = GAMMA) -> float:
    """Choked mass flow as a multiple of ``area · pressure / √(R T)`` [1].

    Args:
        gamma: ratio of specific heats [1], above 1.
    Source: Heywood 1988, equation C.9. From memory.
    Example: ``flow_number()`` is 0.684731.
    """
    return float(np.sqrt(gamma) * (2 / (gamma + 1)) ** ((gamma + 1) / (2 * (gamma - 1))))


def _subsonic(ratio: Floats, gamma: float) -> Floats:
    """Subsonic over choked flow; equation C.8 over C.9."""
    rise = np.maximum(1 - ratio ** ((gamma - 1) / gamma), 0.0)
    law: Floats = ratio ** (1 / gamma) * np.sqrt(2 * gamma / (gamma - 1) * rise) / flow_number(gamma)
    return law


_CRITICAL = critical_ratio()
_AT_LINE = float(_subsonic(np.array([LINEAR_ABOVE]), GAMMA)[0])


def relative_flow(ratio: ArrayLike, gamma: float = GAMMA, *, linear_above: float = 1.0) -> Floats:
    """Flow relative to choked flow at the same pressure and temperature before the restriction.

    Args:
        ratio: absolute pressure behind over before, any shape [1], 0 or more.
        gamma: ratio of specific heats [1].
        linear_above: ratio from which a straight line replaces the law [1]. The law has an infinite slope at 1, which
            no fixed step can follow; the line goes on through 1 to equally small reverse flow.
    Returns: same shape [1]: 1 where choked, 0 at ratio 1. Above 1 the exact law gives 0, the line a negative flow, held
        at its value as far above 1 as the line begins below.
    Source: Heywood 1988, equations C.8 and C.9 (from memory); the line is our own choice.
    Example: at 60 over 101.325 kPa it is 0.9910.
    """
    r = np.asarray(ratio, dtype=np.float64)
    law = np.where(r <= critical_ratio(gamma), 1.0, _subsonic(np.clip(r, critical_ratio(gamma), 1.0), gamma))
    if linear_above < 1:
        start = float(_subsonic(np.array([linear_above]), gamma)[0])
        line = np.maximum(start * (1 - r) / (1 - linear_above), -start)
        law = np.where(r > linear_above, line, law)
    return law


def model_flow(ratio: Floats) -> Floats:
    """``relative_flow`` with the model's straight line, as fast as it goes.

    Args:
        ratio: pressure behind over before, shape (n,) [1].
    Returns: shape (n,) [1].
    """
    if ratio.max() <= _CRITICAL:
        return np.ones_like(ratio)
    law = np.where(ratio <= _CRITICAL, 1.0, _subsonic(np.clip(ratio, _CRITICAL, LINEAR_ABOVE), GAMMA))
    return np.where(ratio > LINEAR_ABOVE, _AT_LINE * (1 - ratio) / (1 - LINEAR_ABOVE), law)


def choked_flux(pressure_up: ArrayLike, temperature_up: ArrayLike) -> Floats:
    """Choked mass flow of air per unit of effective area.

    Args:
        pressure_up: absolute pressure before the restriction [Pa]
        temperature_up: absolute temperature before it [K]
    Returns: broadcast shape [kg/(s m²)].
    Raises: SignalRangeError if either is not positive.
    Source: Heywood 1988, equation C.9. From memory.
    Example: at 101,325 Pa and 298.15 K it is 237.16.
    """
    p = _positive("pressure_up", pressure_up)
    t = _positive("temperature_up", temperature_up)
    return np.asarray(flow_number() * p / np.sqrt(GAS_CONSTANT * t), dtype=np.float64)


def mass_flow(
    area: ArrayLike,
    pressure_up: ArrayLike,
    pressure_down: ArrayLike,
    temperature_up: ArrayLike,
    cd: ArrayLike = 1.0,
    *,
    linear_above: float = LINEAR_ABOVE,
) -> Floats:
    """Air mass flow through a restriction, subsonic or choked.

    Args:
        area: geometric area, array-like [m²]
        pressure_up: absolute pressure before it [Pa]
        pressure_down: absolute pressure behind it, not above ``pressure_up`` [Pa]
        temperature_up: absolute temperature before it [K]
        cd: discharge coefficient [1]; 0.6 for a sharp hole at a small pressure drop, 0.8 to 0.85 for a choked sharp
            hole, 0.9 and more for a rounded one (from memory).
        linear_above: ratio from which the flow falls on a straight line to zero [1]; 1 gives the exact law throughout.
            At ratio 0.987 the line reads a fifth less than the law.
    Returns: mass flow, broadcast shape, never negative [kg/s]
    Raises: SignalRangeError if a pressure or temperature is not positive, an area or coefficient is negative, or the
        pressure behind is the higher one; carries the index.
    Valid for: air as an ideal gas, pressure ratio 0 to 1.
    Source: Heywood, Internal Combustion Engine Fundamentals, 1988, equations C.8 and C.9. From memory.
    Example: a 2 mm hole (3.1416e-6 m²) with cd 0.8 from 101,325 to 35,000 Pa at 298.15 K passes 0.5960e-3 kg/s.
    """
    a = _positive("area", area, zero=True)
    c = _positive("cd", cd, zero=True)
    up = _positive("pressure_up", pressure_up)
    down = _positive("pressure_down", pressure_down)
    ratio = np.asarray(down / up, dtype=np.float64)
    if np.any(ratio > 1):
        index = int(np.argmax(ratio > 1))
        raise SignalRangeError("pressure ratio", float(ratio.flat[index]), 0, 1, index)
    flow = a * c * choked_flux(up, temperature_up) * relative_flow(ratio, linear_above=linear_above)
    return np.asarray(flow, dtype=np.float64)


def leak_flow(
    diameter: ArrayLike,
    pressure_down: ArrayLike = 35_000.0,
    *,
    cd: float = 0.8,
    pressure_up: ArrayLike = STANDARD_PRESSURE,
    temperature_up: ArrayLike = ROOM_TEMPERATURE,
) -> Floats:
    """Air drawn through a round hole into the manifold.

    Args:
        diameter: of the hole [m]
        pressure_down: absolute manifold pressure [Pa]; below 53.5 kPa the flow no longer depends on it.
        cd: discharge coefficient [1]
        pressure_up, temperature_up: outside air [Pa], [K]
    Returns: mass flow, broadcast shape [kg/s]
    Raises: SignalRangeError as ``mass_flow``.
    Source: as ``mass_flow``; cd 0.8 from memory.
    Example: ``leak_flow(0.002)`` is 0.5960e-3.
    """
    d = _positive("diameter", diameter, zero=True)
    return mass_flow(np.pi / 4 * d**2, pressure_up, pressure_down, temperature_up, cd)


def equivalent_hole(
    flow: ArrayLike,
    pressure_down: ArrayLike = 35_000.0,
    *,
    cd: float = 0.8,
    pressure_up: ArrayLike = STANDARD_PRESSURE,
    temperature_up: ArrayLike = ROOM_TEMPERATURE,
) -> Floats:
    """Diameter of the round hole that would pass ``flow``: the inverse of ``leak_flow``.

    Args:
        flow: air drawn in [kg/s]
        pressure_down, cd, pressure_up, temperature_up: as ``leak_flow``.
    Returns: diameter, broadcast shape [m]
    Raises: SignalRangeError for a negative flow, or where there is no pressure drop to drive it.
    Example: ``equivalent_hole(0.5960e-3)`` is 0.002.
    """
    m = _positive("flow", flow, zero=True)
    per_area = _positive("flow per area", mass_flow(1.0, pressure_up, pressure_down, temperature_up, cd))
    return np.asarray(np.sqrt(4 / np.pi * m / per_area), dtype=np.float64)


class Isentropic(NamedTuple):
    """Ratios of isentropic flow: static over total, and area over throat area [1]."""

    pressure: Floats
    temperature: Floats
    density: Floats
    area: Floats


def isentropic(mach: ArrayLike, gamma: float = GAMMA) -> Isentropic:
    """Isentropic flow ratios at a Mach number.

    Args:
        mach: Mach number, any shape, above 0 [1]
        gamma: ratio of specific heats [1]
    Returns: p/pt, T/Tt, ρ/ρt and A/A*, each of ``mach``'s shape.
    Raises: SignalRangeError for a Mach number that is not positive (A/A* has no value at 0).
    Source: NACA report 1135 (1953), equations 43 to 45 and 80. From memory.
    Example: at Mach 2 they are 0.1278, 0.5556, 0.2300 and 1.6875.
    """
    m = _positive("mach", mach)
    base = 1 + (gamma - 1) / 2 * m**2
    area = (2 / (gamma + 1) * base) ** ((gamma + 1) / (2 * (gamma - 1))) / m
    return Isentropic(base ** (-gamma / (gamma - 1)), 1 / base, base ** (-1 / (gamma - 1)), area)


def speed_density(
    displacement: ArrayLike, pressure: ArrayLike, temperature: ArrayLike, speed: ArrayLike, efficiency: ArrayLike
) -> Floats:
    """Air a four-stroke engine draws from its manifold.

    Args:
        displacement: of all cylinders [m³]
        pressure, temperature: of the manifold's air, absolute [Pa], [K]
        speed: of the crank [rad/s]
        efficiency: volumetric efficiency against manifold density [1]
    Returns: mass flow, broadcast shape [kg/s]
    Raises: SignalRangeError if pressure or temperature is not positive, or another is negative.
    Source: Heywood 1988, equation 2.27 with two turns a cycle. From memory.
    Example: 2.0 l, 35 kPa, 313.15 K, 700 r/min (73.304 rad/s), 0.75 gives 3.407e-3.
    """
    p = _positive("pressure", pressure)
    t = _positive("temperature", temperature)
    v = _positive("displacement", displacement, zero=True)
    w = _positive("speed", speed, zero=True)
    e = _positive("efficiency", efficiency, zero=True)
    return np.asarray(e * v * p / (GAS_CONSTANT * t) * w / (4 * np.pi), dtype=np.float64)


def _positive(name: str, value: ArrayLike, *, zero: bool = False) -> Floats:
    """The value as an array, or an error that carries the first index that fails."""
    array = np.asarray(value, dtype=np.float64)
    bad = ~((array >= 0) if zero else (array > 0))
    if np.any(bad):
        index = int(np.argmax(bad))
        raise SignalRangeError(name, float(array.flat[index]), 0, np.inf, index if array.ndim else None)
    return array
