"""Air and manifold pressure against what an engine of this displacement takes in."""

from __future__ import annotations

import math

import numpy as np

from tickover.idle.results import Expected, IdleState
from tickover.idle.stretches import STANDS, Timeline
from tickover.results import CannotTell, Quantity
from tickover.signals import Recording

R_AIR = 287.05  # [J/(kg K)]
FILLING = (0.60, 0.85)  # volumetric efficiency at idle by manifold conditions; from memory
AIR = (40.0, 20.0)  # air at the inlet valves where no intake temperature was recorded, and its give [°C]; own choice
WARMS = (10.0, 10.0)  # air warms by this on its way past the sensor, and its give [°C]; own choice
PRESSURE = (25.0, 40.0)  # customary manifold pressure at a warm idle near sea level [kPa]; trade practice
UNTHROTTLED = 0.85  # manifold pressure at idle above this share of the air outside: no throttle at work; own choice
SEA_LEVEL = 101.3  # [kPa]


def air_taken(litres: float, pressure: Quantity, speed: Quantity, celsius: tuple[float, float]) -> Quantity:
    """Air that a four-stroke engine takes in at idle, by speed and density.

    Args:
        litres: displacement, positive [l].
        pressure: in the manifold [kPa].
        speed: of the engine [r/min].
        celsius: air at the inlet valves and its give [°C].
    Returns: air flow; its interval joins the filling (0.60 to 0.85), temperature, pressure and speed in squares [g/s].
    Valid for: idle, spark engines.
    Source: m = η V p n / (120 R T) (speed–density, Heywood 1988, from memory).
    Example: 2 l, 35 kPa, 700 r/min, 40 °C and η 0.75 give 3.41 g/s.
    """
    eta = sum(FILLING) / 2
    kelvin = celsius[0] + 273.15
    value = eta * litres * 1e-3 * pressure.value * 1e3 * speed.value / (120 * R_AIR * kelvin) * 1e3
    parts = [
        (FILLING[1] - FILLING[0]) / 2 / eta,
        celsius[1] / kelvin,
        *((q.half_width or 0.0) / q.value for q in (pressure, speed)),
    ]
    half = value * math.hypot(*parts)
    return Quantity(value=value, lo=value - half, hi=value + half, unit="g/s")


def expectations(state: IdleState, recording: Recording, litres: float) -> tuple[Expected, ...]:
    """What can be said of air and manifold pressure.

    Args:
        state: the idle, loads off where known.
        recording: for the intake temperature.
        litres: displacement [l].
    Returns: one or two comparisons; empty where neither pressure nor air flow was recorded.
    Raises: ValueError if the displacement is not between 0.05 and 20 l.
    """
    if not 0.05 <= litres <= 20:
        raise ValueError(f"a displacement of {litres:g} l is not one: write it in litres, like 1.5")
    pressure, flow, speed = state.manifold_pressure, state.air_flow, state.speed
    if isinstance(speed, CannotTell):
        return ()
    out = []
    intake = recording.get("intake_temperature")
    air = AIR if intake is None or not len(intake) else (float(np.median(intake.value)) + WARMS[0], WARMS[1])
    if isinstance(pressure, Quantity):
        out.append(_pressure(pressure, loaded=state.name == "loads on"))
        taken = air_taken(litres, pressure, speed, air)
    else:
        taken = air_taken(litres, Quantity(value=32.5, lo=PRESSURE[0], hi=PRESSURE[1], unit="kPa"), speed, air)
    assert taken.lo is not None
    assert taken.hi is not None
    by = "speed and manifold pressure" if isinstance(pressure, Quantity) else "speed and a customary manifold pressure"
    if isinstance(flow, Quantity):
        lo, hi = flow.lo or flow.value, flow.hi or flow.value
        agrees = lo <= taken.hi and hi >= taken.lo
        verdict = (
            "They agree."
            if agrees
            else "The meter reads less than the cylinders take: air comes in behind it, or it under-reads."
            if hi < taken.lo
            else "The meter reads more than the cylinders can take: it over-reads, or the displacement is another."
        )
        out.append(
            Expected(
                what="air flow",
                measured=flow,
                lo=taken.lo,
                hi=taken.hi,
                agrees=agrees,
                says=f"{litres:g} l at this {by} take {taken.lo:.1f} to {taken.hi:.1f} g/s. {verdict}",
            )
        )
    elif isinstance(pressure, Quantity):
        out.append(
            Expected(
                what="air by speed and density",
                measured=taken,
                lo=taken.lo,
                hi=taken.hi,
                agrees=True,
                says=f"{litres:g} l at this {by} take {taken.lo:.1f} to {taken.hi:.1f} g/s "
                f"({taken.value / litres:.1f} g/s for each litre); no air meter was recorded to hold against it.",
            )
        )
    return tuple(out)


def _pressure(found: Quantity, *, loaded: bool) -> Expected:
    lo, hi = PRESSURE
    agrees = (found.hi or found.value) >= lo and (found.lo or found.value) <= hi
    if agrees:
        says = f"Customary is {lo:.0f} to {hi:.0f} kPa at a warm idle near sea level: it is within."
    elif found.value > hi:
        says = (
            f"Customary is {lo:.0f} to {hi:.0f} kPa without loads: it is higher"
            f"{', with loads on' if loaded else ': a load, a leak, late spark, worn valves or a wrong unit'}."
        )
    else:
        says = (
            f"Customary is {lo:.0f} to {hi:.0f} kPa near sea level: it is lower. High up it falls with the air outside."
        )
    return Expected(what="manifold pressure", measured=found, lo=lo, hi=hi, agrees=agrees, says=says)


def not_throttled(state: IdleState, recording: Recording, line: Timeline) -> CannotTell | None:
    """Why an idle is not one of learned air: the manifold stands near the pressure outside.

    Args:
        state: the idle.
        recording: for the pressure outside, where it was recorded.
        line: for the pressure in the manifold while the engine stood.
    Returns: the refusal; None where the engine is throttled, or no pressure was recorded.
    """
    pressure = state.manifold_pressure
    if isinstance(pressure, CannotTell):
        return None
    outside, how = _outside(recording, line)
    if pressure.value < UNTHROTTLED * outside:
        return None
    return CannotTell(
        reason=f"the manifold stands at {pressure.value:.0f} kPa at idle, {how} {outside:.0f} kPa: no throttle is at "
        "work. A diesel or an engine that meters air by its valves has no idle air of this kind to measure",
        way_out="If it is a throttled petrol engine, check the unit of manifold pressure, or look for a great leak.",
    )


def _outside(recording: Recording, line: Timeline) -> tuple[float, str]:
    """Pressure of the air outside [kPa], and how it is known."""
    barometer = recording.get("barometric_pressure")
    if barometer is not None and len(barometer):
        return float(np.median(barometer.value)), "outside it is"
    held = line.held.get("manifold_pressure")
    if held is not None:
        still = held[(line.code == STANDS) & np.isfinite(held)]
        if len(still) >= 3 and 50 <= float(np.median(still)) <= 110:
            return float(np.median(still)), "with the engine standing at"
    return SEA_LEVEL, "near sea level it is"
