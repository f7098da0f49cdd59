"""The engine's steady equations: which air holds which idle, and which idle a given air gives.

The simulated car is calibrated with them, the tests check the moving model against them, and they hold for any
hypothesis about a car at idle. Everything broadcasts; all SI.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tickover.engine import parameters as par
from tickover.engine.flow import GAS_CONSTANT, choked_flux, model_flow

Floats = NDArray[np.float64]

AIR_WORK = par.IDLE_EFFICIENCY * par.HEATING_VALUE / par.STOICHIOMETRIC
"""Indicated work per mass of air at λ 1 [J/kg]."""
_FLUX = float(choked_flux(par.AMBIENT_PRESSURE, par.AMBIENT_TEMPERATURE)) * par.CD
"""Choked flow through a geometric area from outside air [kg/(s m²)]."""


def charge_pressure(pressure: Floats) -> Floats:
    """Manifold pressure times volumetric efficiency.

    Args:
        pressure: manifold pressure [Pa]
    Returns: same shape, never negative [Pa]
    Source: Hendricks & Sorenson, SAE 900616 (1990), with s and y from memory.
    Example: at 35 kPa it is 26.6 kPa, an efficiency of 0.761.
    """
    return np.asarray(np.maximum(par.CHARGE_SLOPE * pressure + par.CHARGE_OFFSET, 0.0))


def torque_factor(lam: Floats) -> Floats:
    """Torque from the same air at another λ, relative to λ 1.

    Args:
        lam: λ in the cylinder [1]
    Returns: same shape, never negative [1]
    Source: own choice, a parabola about the λ of most torque.
    """
    top = 1 - par.LAMBDA_CURVE * (1 - par.BEST_LAMBDA) ** 2
    return np.asarray(np.maximum(1 - par.LAMBDA_CURVE * (lam - par.BEST_LAMBDA) ** 2, 0.0) / top)


def friction(speed: Floats, coolant: ArrayLike = par.WARM) -> Floats:
    """Rubbing friction as mean effective pressure.

    Args:
        speed: of the crank [rad/s]
        coolant: temperature [K]; colder than ``WARM`` rubs more
    Returns: broadcast shape [Pa]
    Source: own choice, see ``parameters.FRICTION``.
    """
    x = speed / (1000 * par.RPM)
    cold = 1 + par.COLD_FRICTION * np.maximum(par.WARM - np.asarray(coolant), 0.0)
    return np.asarray((par.FRICTION[0] + (par.FRICTION[1] + par.FRICTION[2] * x) * x) * cold)


def alternator_torque(speed: Floats, load: ArrayLike = par.BASE_LOAD) -> Floats:
    """Torque of the alternator at the crank, capped.

    Args:
        speed: of the crank [rad/s]
        load: electric power [W]
    Returns: broadcast shape [N m]
    """
    power = np.asarray(load) / par.ALTERNATOR_EFFICIENCY
    torque = np.minimum(power / np.maximum(speed, par.ALTERNATOR_FROM), par.ALTERNATOR_CAP)
    return np.asarray(np.where(speed < par.ALTERNATOR_FROM, 0.0, torque))


def steady_pressure(
    displacement: ArrayLike,
    speed: ArrayLike,
    coolant: ArrayLike = par.WARM,
    lam: ArrayLike = 1.0,
    torque: ArrayLike = 0.0,
    electric: ArrayLike = par.BASE_LOAD,
) -> Floats:
    """Manifold pressure at which an engine holds a speed.

    Args:
        displacement: [m³]
        speed: of the crank [rad/s]
        coolant: [K]
        lam: λ in the cylinders [1]
        torque: of what else hangs on the crank [N m]
        electric: power drawn from the alternator [W]
    Returns: broadcast shape [Pa]
    Source: balance of mean pressures: indicated = friction + exhaust − manifold + alternator.
    """
    w = np.asarray(speed, dtype=np.float64)
    gain = AIR_WORK / (GAS_CONSTANT * par.MANIFOLD_TEMPERATURE) * torque_factor(np.asarray(lam, dtype=np.float64))
    hung = 4 * np.pi * (alternator_torque(w, electric) + np.asarray(torque)) / np.asarray(displacement)
    needed = friction(w, coolant) + par.EXHAUST_PRESSURE + hung - gain * par.CHARGE_OFFSET
    return np.asarray(needed / (gain * par.CHARGE_SLOPE + 1))


def needed_area(
    displacement: ArrayLike,
    speed: ArrayLike,
    coolant: ArrayLike = par.WARM,
    lam: ArrayLike = 1.0,
    torque: ArrayLike = 0.0,
    electric: ArrayLike = par.BASE_LOAD,
) -> Floats:
    """Geometric area, throttle and leak together, that holds a speed.

    Args:
        displacement, speed, coolant, lam, torque, electric: as ``steady_pressure``.
    Returns: broadcast shape [m²]
    Example: the default 2.0 l engine needs 16.9 mm² for 750 r/min.
    """
    p = steady_pressure(displacement, speed, coolant, lam, torque, electric)
    flow = np.asarray(displacement) * np.asarray(speed) / (4 * np.pi) * charge_pressure(p)
    flow = flow / (GAS_CONSTANT * par.MANIFOLD_TEMPERATURE)
    return np.asarray(flow / (_FLUX * model_flow(np.atleast_1d(p / par.AMBIENT_PRESSURE)).reshape(p.shape)))


def steady_speed(
    displacement: ArrayLike, area: ArrayLike, coolant: ArrayLike = par.WARM, lam: ArrayLike = 1.0
) -> Floats:
    """Speed that a fixed area holds: the inverse of ``needed_area``, by bisection.

    Args:
        displacement: [m³]
        area: geometric area, throttle and leak together [m²]
        coolant, lam: as ``steady_pressure``.
    Returns: broadcast shape [rad/s]; NaN where the engine would stall below 420 r/min or run beyond 3,500.
    """
    v, a, c, x = np.broadcast_arrays(*(np.asarray(q, dtype=np.float64) for q in (displacement, area, coolant, lam)))
    lo, hi = np.full(a.shape, 420 * par.RPM), np.full(a.shape, 3500 * par.RPM)
    outside = (needed_area(v, lo, c, x) > a) | (needed_area(v, hi, c, x) < a)
    for _ in range(50):
        mid = (lo + hi) / 2
        enough = needed_area(v, mid, c, x) < a
        lo, hi = np.where(enough, mid, lo), np.where(enough, hi, mid)
    return np.asarray(np.where(outside, np.nan, (lo + hi) / 2))
