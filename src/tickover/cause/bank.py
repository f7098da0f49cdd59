"""Predictions of the engine for every cause, size and displacement, made once and kept.

Cells are one cause at one size; strata are displacements. What else differs between healthy cars enters as factors with
a slope per channel, so that no grid over it is needed.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from tickover.cause.channels import CHANNELS, FACTORS, INDEX
from tickover.cause.hypotheses import HYPOTHESES
from tickover.engine import POINTS, CarArrays, CarSpec, key_on_volts, predict
from tickover.engine import parameters as par

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

STRATA: Floats = np.geomspace(0.6, 6.0, 9)
"""Displacements predicted for [l]; between them, interpolated on a logarithmic scale."""
USUAL_LITRES, LITRES_SPREAD = 1.7, 0.38
"""Of a car whose displacement nobody said: median [l] and spread of its logarithm. Own choice."""
TARGET = 710.0
"""Idle target of a car whose normal nobody said [r/min]; own choice, the middle of 600 to 800."""
ETHANOL = 5.0
"""Its ethanol share [%]. Own choice: between none and a tenth."""
_STALL_SPEED = 480.0
"""Speed put down for an idle that does not stay [r/min]."""


@dataclass(frozen=True)
class Bank:
    """Predictions for one kind of metering.

    Attributes:
        metering: "air" or "pressure".
        cause: index of each cell's cause, shape (cells,).
        size: of each cell, shape (cells,).
        weight: chance of each cell within its cause, shape (cells,).
        means: on each channel's scale, shape (strata, cells, channels).
        unsure: further spread where the idle does not stay or its authority is in doubt, shape as ``means``.
        factors: names of the factors.
        slopes: what one standard deviation of each factor does, shape (strata, factors, channels); target speed is per
            r/min, ethanol per %.
        healthy: index of the healthy cell.
    """

    metering: str
    cause: Ints
    size: Floats
    weight: Floats
    means: Floats
    unsure: Floats
    factors: tuple[str, ...]
    slopes: Floats
    healthy: int


def base_spec(metering: str, litres: float, target: float = TARGET, rubbing: float = 0.92) -> CarSpec:
    """A healthy car, its throttle a little dirty, its trims near 0."""
    return CarSpec(
        displacement_l=litres,
        cylinders=3 if litres < 1.15 else 4 if litres < 2.6 else 6,
        metering="air" if metering == "air" else "pressure",
        bore_extra_area_mm2=-3.0,
        memory_from_bore_mm2=-3.0,
        fuel_scale=1.021,
        ethanol=ETHANOL / 100,
        target_speed=target,
        rubbing=rubbing,
        charge=0.85,
    )


@lru_cache(maxsize=2)
def bank(metering: str) -> Bank:
    """Every prediction for one kind of metering; the first call takes about a second.

    Args:
        metering: "air" or "pressure".
    """
    rows = [
        (k, float(size), float(weight))
        for k, one in enumerate(HYPOTHESES)
        if one.only in (None, metering)
        for size, weight in zip(one.sizes, one.weights, strict=True)
    ]
    cause = np.array([k for k, _, _ in rows], dtype=np.intp)
    size, weight = np.array([s for _, s, _ in rows]), np.array([w for _, _, w in rows])
    bases = [base_spec(metering, float(litres)) for litres in STRATA]
    specs = [HYPOTHESES[k].put(base, s) for base in bases for k, s, _ in rows]
    means, unsure = _channels(CarArrays.of(specs))
    shape = (len(STRATA), len(rows), len(CHANNELS))
    healthy = int(np.flatnonzero(cause == 0)[0])
    means, unsure = means.reshape(shape), unsure.reshape(shape)
    means, unsure = _fill(means, unsure, healthy)
    means[:, :, INDEX["ethanol"]] = ETHANOL
    blends = np.array([HYPOTHESES[k].name == "fuel error" and s > 100 for k, s, _ in rows])
    means[:, blends, INDEX["ethanol"]] = size[blends] - 100
    _roughen(means, unsure, cause, size)
    _amend(means, unsure, cause, size)
    names, slopes = _slopes(metering, means[:, healthy])
    return Bank(metering, cause, size, weight, means, unsure, names, slopes, healthy)


def _channels(cars: CarArrays) -> tuple[Floats, Floats]:
    """What each car would report, on the channels' scales, and how unsure that is beyond the usual."""
    n = cars.shape[0]
    out, unsure = np.full((n, len(CHANNELS)), np.nan), np.zeros((n, len(CHANNELS)))
    for name, point in POINTS.items():
        got = predict(cars, point)
        flow = got.engine_air if not cars.metered_by_air.any() else got.air_flow
        out[:, INDEX[f"trim {name}"]] = got.trim
        out[:, INDEX[f"flow {name}"]] = np.log(np.maximum(flow, 1e-3))
        out[:, INDEX[f"map {name}"]] = got.manifold_pressure
        if name == "idle":
            out[:, INDEX["speed"]] = got.speed
            out[:, INDEX["idle air"]] = np.log(np.maximum(got.idle_air_share, 0.5))
            out[:, INDEX["misfires"]] = np.log1p(got.misfires)
            out[:, INDEX["coolant"]] = got.coolant
            out[:, INDEX["vacuum"]] = par.AMBIENT_PRESSURE / 1e3 - got.manifold_pressure
            absorbed = np.abs(np.nan_to_num(got.idle_correction))
            unsure[:, INDEX["speed"]] = 22.0 * np.minimum(absorbed / 3.0, 3.0)
        else:
            spent = got.out_of_breath
            unsure[:, INDEX[f"trim {name}"]] = np.where(spent, 6.0, 0.0)
    at, rest = np.array(par.REST_VOLTS).T
    out[:, INDEX["volts rest"]] = np.interp(cars.charge, at, rest)
    out[:, INDEX["volts key on"]] = key_on_volts(cars, 60.0)
    out[:, INDEX["volts cranking"]] = key_on_volts(cars, 1.0, cranking=True)
    out[:, INDEX["volts running"]] = cars.regulated_volts
    return out, unsure


def _fill(means: Floats, unsure: Floats, healthy: int) -> tuple[Floats, Floats]:
    """Where an idle does not stay there is no prediction: as a healthy car's, with a wide spread."""
    nowhere = np.isnan(means)
    broad = np.array([c.broad for c in CHANNELS])
    means = np.where(nowhere, np.nan_to_num(means[:, [healthy]]), means)
    unsure = np.where(nowhere, 0.4 * broad, unsure)
    speed = INDEX["speed"]
    means[..., speed] = np.where(nowhere[..., speed], _STALL_SPEED, means[..., speed])
    unsure[..., speed] = np.where(nowhere[..., speed], 130.0, unsure[..., speed])
    return means, unsure


def _roughen(means: Floats, unsure: Floats, cause: Ints, size: Floats) -> None:
    """Spread of the idle by cause; own choice around 6 to 9 r/min of recorded sound idles; the engine has none.

    A cause of middle size or more has its whole spread, a smaller one the less of it.
    """
    by = {"leak": 1.4, "lost memory": 1.8, "old memory": 1.3, "fuel error": 1.2, "injector dead time": 1.4}
    at = INDEX["roughness"]
    times = np.ones(len(size))
    for k, one in enumerate(HYPOTHESES):
        here = cause == k
        if one.name == "dead coil":
            times[here] = 1 + 5 * size[here]
        elif one.name in by:
            much = np.abs(size[here] - np.where(size[here] > 100, 100, 0))
            times[here] = 1 + (by[one.name] - 1) * np.minimum(much / np.median(much), 1.0)
    means[..., at] = np.log(8.0 * times)
    unsure[..., at] = 0.3 * (times != 1.0)


def _amend(means: Floats, unsure: Floats, cause: Ints, size: Floats) -> None:
    """What the engine leaves out, by own choice and with a wide spread.

    An open thermostat: the engine's coolant is that of a long idle on a mild day; on the road or in the cold it settles
    8 to 28 K lower, and warm-up fuel lingers. A sensor that reads cold asks for warm-up fuel; the trims take it back.
    A stale memory: whether its idle air is called high or low depends on what is called normal, before or after the
    bore was cleaned. A tired battery: takes charging current, and seldom cranks below 6 V and starts.
    """

    def of(name: str) -> NDArray[np.bool_]:
        return np.asarray(cause == next(k for k, h in enumerate(HYPOTHESES) if h.name == name))

    trims = [k for c, k in INDEX.items() if c.startswith("trim")]
    open_, cold, old, lost, tired = map(
        of, ("stuck thermostat", "coolant sensor", "old memory", "lost memory", "tired battery")
    )
    coolant, air = INDEX["coolant"], INDEX["idle air"]
    means[:, open_, coolant] -= 28.0 * size[open_]
    unsure[:, open_, coolant] = 5.0
    share = np.log(size[cold] / size[cold].min()) / np.log(size[cold].max() / size[cold].min())
    for k in trims:
        means[:, cold, k] -= 2.0 + 9.0 * share
        unsure[:, cold, k] = np.maximum(unsure[:, cold, k], 5.0)
        unsure[:, open_, k] = np.maximum(unsure[:, open_, k], 2.0)
    means[:, old, air] = means[:, [int(np.flatnonzero(cause == 0)[0])], air] - 0.12
    means[:, lost, air] = means[:, [int(np.flatnonzero(cause == 0)[0])], air] + 0.2
    unsure[:, old, air], unsure[:, lost, air] = 0.3, 0.25
    crank = INDEX["volts cranking"]
    means[:, tired, crank] = np.maximum(means[:, tired, crank], 6.5)
    unsure[:, tired, crank] = 1.0
    for name, off in (("volts rest", 0.15), ("volts key on", 0.4), ("volts running", 0.35)):
        unsure[:, tired, INDEX[name]] = off
    unsure[:, tired, INDEX["map idle"]], unsure[:, tired, INDEX["vacuum"]] = 3.0, 3.0


def _slopes(metering: str, healthy: Floats) -> tuple[tuple[str, ...], Floats]:
    """What each factor does to a healthy car's channels."""
    friction = [base_spec(metering, float(v), rubbing=0.92 + 0.08) for v in STRATA]
    target = [base_spec(metering, float(v), target=TARGET + 40) for v in STRATA]
    blend = [replace(base_spec(metering, float(v)), ethanol=(ETHANOL + 10) / 100) for v in STRATA]
    engine = ("friction", "target", "ethanol", "litres")
    names = (*engine, *FACTORS)
    slopes = np.zeros((len(STRATA), len(names), len(CHANNELS)))
    plain = np.nan_to_num(_channels(CarArrays.of([base_spec(metering, float(v)) for v in STRATA]))[0])
    for k, (specs, per) in enumerate(((friction, 1.0), (target, 40.0), (blend, 10.0))):
        slopes[:, k] = (np.nan_to_num(_channels(CarArrays.of(specs))[0]) - plain) / per
    slopes[:, 2, INDEX["ethanol"]] = 1.0
    slopes[:, 3] = np.gradient(healthy, np.log(STRATA), axis=0)
    for k, loads in enumerate(FACTORS.values(), start=len(engine)):
        for channel, by in loads.items():
            slopes[:, k, INDEX[channel]] = by
    return names, slopes
