"""The engine's balance of air and torque: which air holds which speed, and which speed a given air gives.

The simulated car is calibrated with it, and ``steady`` builds on it what a controller would report. Everything
broadcasts; all SI.
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


def engine_flow(displacement: ArrayLike, speed: ArrayLike, pressure: Floats) -> Floats:
    """Air the engine draws from its manifold.

    Args:
        displacement: [m³]
        speed: of the crank [rad/s]
        pressure: in the manifold [Pa]
    Returns: broadcast shape [kg/s]
    Example: 2.0 l at 750 r/min and 31 kPa draw 3.17e-3.
    """
    flow = np.asarray(displacement) * np.asarray(speed) / (4 * np.pi) * charge_pressure(pressure)
    return np.asarray(flow / (GAS_CONSTANT * par.MANIFOLD_TEMPERATURE))


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
    rubbing: ArrayLike = 1.0,
    fires: ArrayLike = 1.0,
) -> Floats:
    """Manifold pressure at which an engine holds a speed.

    Args:
        displacement: [m³]
        speed: of the crank [rad/s]
        coolant: [K]
        lam: λ in the cylinders [1]
        torque: of what else hangs on the crank [N m]
        electric: power drawn from the alternator [W]
        rubbing: friction over that of the default engine [1]
        fires: share of the firings that happen [1]
    Returns: broadcast shape [Pa]
    Source: balance of mean pressures: indicated = friction + exhaust − manifold + alternator.
    """
    w = np.asarray(speed, dtype=np.float64)
    gain = AIR_WORK / (GAS_CONSTANT * par.MANIFOLD_TEMPERATURE) * torque_factor(np.asarray(lam, dtype=np.float64))
    gain = gain * np.asarray(fires)
    hung = 4 * np.pi * (alternator_torque(w, electric) + np.asarray(torque)) / np.asarray(displacement)
    needed = friction(w, coolant) * np.asarray(rubbing) + par.EXHAUST_PRESSURE + hung - gain * par.CHARGE_OFFSET
    return np.asarray(needed / (gain * par.CHARGE_SLOPE + 1))


def needed_area(
    displacement: ArrayLike,
    speed: ArrayLike,
    coolant: ArrayLike = par.WARM,
    lam: ArrayLike = 1.0,
    torque: ArrayLike = 0.0,
    electric: ArrayLike = par.BASE_LOAD,
    rubbing: ArrayLike = 1.0,
    fires: ArrayLike = 1.0,
) -> Floats:
    """Geometric area, throttle and leak together, that holds a speed.

    Args:
        displacement, speed, coolant, lam, torque, electric, rubbing, fires: as ``steady_pressure``.
    Returns: broadcast shape [m²]; infinite where outside pressure is not enough
    Example: the default 2.0 l engine needs 16.9 mm² for 750 r/min.
    """
    p = steady_pressure(displacement, speed, coolant, lam, torque, electric, rubbing, fires)
    flow = engine_flow(displacement, speed, p)
    return area_for(flow, p)


def area_for(flow: Floats, pressure: Floats) -> Floats:
    """Geometric area that passes a flow from outside air.

    Args:
        flow: [kg/s]
        pressure: in the manifold [Pa]
    Returns: broadcast shape [m²]; infinite where there is no pressure drop to drive it
    """
    law = model_flow(np.atleast_1d(pressure / par.AMBIENT_PRESSURE)).reshape(np.shape(pressure))
    drives = law > 1e-6
    return np.asarray(np.where(drives, flow / (_FLUX * np.where(drives, law, 1.0)), np.inf))


def full_pressure(displacement: ArrayLike, speed: ArrayLike, area: ArrayLike) -> Floats:
    """Manifold pressure with so much area open: the inverse of ``area_for`` along the engine's own flow, by bisection.

    Args:
        displacement: [m³]
        speed: of the crank [rad/s]
        area: throttle and leak together [m²]
    Returns: broadcast shape [Pa]
    """
    v, w, a = np.broadcast_arrays(*(np.asarray(q, dtype=np.float64) for q in (displacement, speed, area)))
    lo, hi = np.full(a.shape, 5e3), np.full(a.shape, par.AMBIENT_PRESSURE)
    for _ in range(40):
        mid = (lo + hi) / 2
        below = area_for(engine_flow(v, w, mid), mid) < a
        lo, hi = np.where(below, mid, lo), np.where(below, hi, mid)
    return np.asarray((lo + hi) / 2)


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
