"""From fuel asked for to λ: metering, injectors, pump, blend; and what the trims make of it.

Used by the moving model and by the steady prediction alike. Everything broadcasts; all SI.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from tickover.engine import parameters as par
from tickover.engine.arrays import CarArrays

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]


def blend_factor(ethanol: Floats) -> Floats:
    """Stoichiometric air to fuel of a blend over that of petrol without ethanol.

    Args:
        ethanol: share by volume [1]
    Returns: same shape [1]
    Source: masses of the atoms; densities in ``parameters``, from memory.
    Example: 0.9596 for a tenth: 14.01 to 1 instead of 14.6.
    """
    heavy = np.asarray(ethanol) * par.ETHANOL_DENSITY
    share = heavy / (heavy + (1 - np.asarray(ethanol)) * par.BASE_DENSITY)
    return np.asarray((share * par.ETHANOL_STOICHIOMETRIC + (1 - share) * par.STOICHIOMETRIC) / par.STOICHIOMETRIC)


class Metering(NamedTuple):
    """What the controller reckons with, and what is in the cylinders; all of one shape.

    Attributes:
        share: air the controller knows of, over air in the cylinders [1]
        charge: charge pressure, manifold pressure times volumetric efficiency [Pa]
        flow: air into the cylinders [kg/s]
    """

    share: Floats
    charge: Floats
    flow: Floats


def delivered(cars: CarArrays, asked: Floats, metering: Metering) -> Floats:
    """Fuel that arrives over the stoichiometric need of the air in the cylinders.

    Args:
        cars: whose faults
        asked: fuel asked for over the stoichiometric need of the metered air [1]
        metering: see there
    Returns: broadcast shape [1]; its inverse is λ of the cylinders that fire
    Source: own choice of both laws. A late injector loses a fixed time of each pulse; a weak pump loses rail pressure
        with the square of the flow, and flow goes with the root of rail pressure.
    """
    known = asked * metering.share
    pulse = np.maximum(known * metering.charge * par.PULSE, 1e-5)
    opened = np.maximum(1 - cars.dead / pulse, par.PULSE_LEAST)
    drawn = known * metering.flow / par.STOICHIOMETRIC / (cars.displacement * par.PUMP_FLOW)
    rail = np.sqrt(np.maximum(1 - cars.pump_loss * drawn * drawn, par.PUMP_LEAST))
    return np.asarray(known * cars.fuel_scale * blend_factor(cars.ethanol) * opened * rail)


def wanted_lambda(cars: CarArrays) -> Floats:
    """λ in the firing cylinders at which the sensor is content: rich, where missed charges bring oxygen [1]."""
    return np.asarray(1 - par.OXYGEN_SEEN * cars.missed)


class Trimmed(NamedTuple):
    """What the trims settle at; all of one shape.

    Attributes:
        asked: fuel asked for over the stoichiometric need of the metered air: 1 + both trims [1]
        lam: λ in the firing cylinders [1]
        lean, rich: both trims stand at their upper or lower limit and λ is not held
    """

    asked: Floats
    lam: Floats
    lean: Bools
    rich: Bools


_MOST, _LEAST = 1 + 2 * par.TRIM_LIMIT, 1 - 2 * par.TRIM_LIMIT


def settled_lambda(cars: CarArrays, metering: Metering, frozen: Floats | None = None) -> tuple[Floats, Bools, Bools]:
    """λ once the trims have settled, and where they are spent.

    Args:
        cars: which
        metering: see there
        frozen: fuel asked for where the trims do not move, else NaN [1]
    Returns: λ in the firing cylinders [1]; lean and rich, as in ``Trimmed``
    """
    wanted = wanted_lambda(cars)
    top = 1 / delivered(cars, _highest(cars, metering), metering)
    most, least = 1 / delivered(cars, np.asarray(_MOST), metering), 1 / delivered(cars, np.asarray(_LEAST), metering)
    lean, rich = top > wanted, least < wanted
    lam = np.where(lean, most, np.where(rich, least, wanted))
    if frozen is not None:
        still = ~np.isnan(frozen)
        lam = np.where(still, 1 / delivered(cars, np.where(still, frozen, 1.0), metering), lam)
        lean, rich = lean & ~still, rich & ~still
    return np.asarray(lam), np.asarray(lean), np.asarray(rich)


def settle(cars: CarArrays, metering: Metering, frozen: Floats | None = None) -> Trimmed:
    """Where short and long trim together settle, by bisection.

    Args:
        cars, metering, frozen: as ``settled_lambda``
    Returns: see ``Trimmed``
    Example: a car whose fuel scale is 1.015 settles at 0.985, both trims together − 1.5 %.
    """
    lam, lean, rich = settled_lambda(cars, metering, frozen)
    lo, hi = np.full(lam.shape, _LEAST), np.broadcast_to(_highest(cars, metering), lam.shape).copy()
    for _ in range(30):
        mid = (lo + hi) / 2
        short = delivered(cars, mid, metering) * lam < 1
        lo, hi = np.where(short, mid, lo), np.where(short, hi, mid)
    asked = np.where(lean, _MOST, np.where(rich, _LEAST, (lo + hi) / 2))
    if frozen is not None:
        asked = np.where(np.isnan(frozen), asked, frozen)
    return Trimmed(np.asarray(asked), lam, lean, rich)


def _highest(cars: CarArrays, metering: Metering) -> Floats:
    """The largest fuel asked for up to which asking for more delivers more [1]."""
    per = metering.share * metering.flow / par.STOICHIOMETRIC / (cars.displacement * par.PUMP_FLOW)
    peak = np.sqrt(0.5 / np.maximum(cars.pump_loss, 1e-9)) / np.maximum(per, 1e-9)
    return np.asarray(np.clip(peak, _LEAST, _MOST))
