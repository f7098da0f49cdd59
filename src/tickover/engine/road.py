"""The road: gears, the force it asks for, and the torque that makes at the crank. All SI."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tickover.engine import parameters as par

Floats = NDArray[np.float64]


def crank_at(road: ArrayLike) -> Floats:
    """What the wheels turn the crank to, in the highest gear that still gives 1,600 r/min.

    Args:
        road: road speed [m/s]
    Returns: same shape [rad/s]
    Example: 80 km/h turns it at 2,000 r/min.
    """
    metres = np.asarray(road, dtype=np.float64)
    return np.asarray(metres * 3600.0 / np.array(par.GEARS)[gear_at(metres) - 1] * par.RPM)


def gear_at(road: ArrayLike) -> NDArray[np.intp]:
    """Gear for a road speed, counted from 1; same shape as ``road`` [m/s]."""
    kmh = np.asarray(road, dtype=np.float64)[..., None] * 3.6
    return np.asarray(np.maximum((kmh >= par.SHIFT_AT * np.array(par.GEARS)).sum(axis=-1), 1), dtype=np.intp)


def torque_at(
    road: ArrayLike, displacement: ArrayLike, uphill: ArrayLike = 0.0, acceleration: ArrayLike = 0.0
) -> Floats:
    """Torque at the crank that a calm driver asks for, as far as this engine gives it.

    Args:
        road: road speed [m/s]
        displacement: [m³]
        uphill: 1 on a hill that takes all a calm driver asks for, else 0
        acceleration: [m/s²]
    Returns: broadcast shape [N m]
    Source: rolling resistance and air drag of one middling car, own choice in ``parameters``.
    """
    speed, litres, hill = np.asarray(road), np.asarray(displacement), np.asarray(uphill)
    crank = np.maximum(crank_at(road), 100.0)
    force = par.CAR_MASS * (np.asarray(acceleration) + par.ROLLING) + par.AIR_DRAG * speed**2
    level = np.clip(force * speed / crank / par.DRIVELINE, 0.0, par.ROAD_TORQUE_PER_VOLUME * litres)
    return np.asarray(np.where(hill > 0, par.CLIMB_TORQUE_PER_VOLUME * litres, level))
