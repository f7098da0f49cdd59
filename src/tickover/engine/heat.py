"""Coolant: what its sensor reads, how far the thermostat opens, where it settles. All SI; everything broadcasts."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tickover.engine import parameters as par
from tickover.engine.arrays import CarArrays

Floats = NDArray[np.float64]

_MIDDLE = (par.FAN_ON + par.FAN_OFF) / 2
"""Coolant, on average, while the fan comes and goes [K]."""


def coolant_read(coolant: ArrayLike, ohms: ArrayLike) -> Floats:
    """What a coolant sensor with a bad contact reads: too cold, and the more so the hotter it is.

    Args:
        coolant: true temperature [K]
        ohms: resistance of the contact [Ω]
    Returns: broadcast shape [K]
    Source: law of a negative-coefficient resistor, R = R₂₅ exp(β (1/T − 1/298.15)); its numbers are our own choice.
    Example: at 92 °C 200 Ω more read as 69.8 °C.
    """
    t = np.asarray(coolant, dtype=np.float64)
    shift = np.log1p(np.asarray(ohms) / _resistance(t)) / par.SENSOR_BETA
    return np.asarray(1 / (1 / t + shift))


def _resistance(coolant: Floats) -> Floats:
    return np.asarray(par.SENSOR_OHMS * np.exp(par.SENSOR_BETA * (1 / coolant - 1 / 298.15)))


def thermostat(coolant: Floats, least: ArrayLike = 0.0, most: ArrayLike = 1.0) -> Floats:
    """How far the thermostat is open [1].

    Args:
        coolant: [K]
        least, most: what it can do; 1 and 1 is stuck open, 0 and 0 stuck shut
    """
    start, full = par.THERMOSTAT
    opened = (coolant - start) / (full - start)
    return np.asarray(np.minimum(np.maximum(opened, least), most))


def heat_to_coolant(displacement: Floats, fuel: Floats) -> Floats:
    """Heat that reaches the coolant [W].

    Args:
        displacement: [m³]
        fuel: burnt [kg/s]
    Source: a share of the fuel's energy at idle, less than in proportion above (see ``parameters.HEAT_EXPONENT``).
    """
    usual = par.IDLE_FUEL_PER_VOLUME * displacement
    counted = np.where(fuel > usual, usual * (fuel / usual) ** par.HEAT_EXPONENT, fuel)
    return np.asarray(par.HEAT_SHARE * par.HEATING_VALUE * counted)


def conductance(opened: Floats, speed: Floats, fan: ArrayLike, road: ArrayLike) -> Floats:
    """Heat lost to outside air, engine running.

    Args:
        opened: thermostat [1]
        speed: of the crank [rad/s]
        fan: radiator fan, 0 or 1
        road: road speed [m/s]
    Returns: [W/K]
    """
    pump = np.maximum(speed / par.PUMP_SPEED, 1.0) ** par.PUMP_EXPONENT
    radiator = (par.RADIATOR + par.RADIATOR_FAN * np.asarray(fan)) * pump + par.RAM_AIR * np.asarray(road)
    return np.asarray(par.LOSS + opened * radiator)


def settled_coolant(cars: CarArrays, speed: Floats, flow: Floats, road: float) -> Floats:
    """True coolant after long enough at one operating point; with a fan that comes and goes, its mean.

    Args:
        cars: whose thermostats
        speed: of the crank [rad/s]
        flow: air into the engine [kg/s]
        road: road speed [m/s]
    Returns: shape of ``speed``, at most ``BOIL`` [K]
    """
    gained = heat_to_coolant(cars.displacement, flow / par.STOICHIOMETRIC)

    def settle(fan: float) -> Floats:
        lo, hi = np.full(gained.shape, par.AMBIENT_TEMPERATURE), np.full(gained.shape, par.BOIL)
        for _ in range(40):
            mid = (lo + hi) / 2
            opened = thermostat(mid, cars.thermostat_least, cars.thermostat_most)
            warms = gained > conductance(opened, speed, fan, road) * (mid - par.AMBIENT_TEMPERATURE)
            lo, hi = np.where(warms, mid, lo), np.where(warms, hi, mid)
        return np.asarray((lo + hi) / 2)

    still, blown = settle(0.0), settle(1.0)
    return np.asarray(np.where(still < par.FAN_ON, still, np.maximum(blown, np.minimum(_MIDDLE, still))))
