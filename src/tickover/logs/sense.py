"""Whether a unit can be right: range, physics, and the steps in which a controller answers.

A suspicion carries its evidence and the likely unit. Nothing is corrected here: the user says so, or it stays.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from tickover.logs.report import Suspicion
from tickover.signals import convert, signal

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

_OTHERS: dict[str, tuple[str, ...]] = {
    "engine_speed": ("r/min", "Hz"),
    "vehicle_speed": ("km/h", "mph", "m/s"),
    "coolant_temperature": ("°C", "°F", "K"),
    "oil_temperature": ("°C", "°F", "K"),
    "intake_temperature": ("°C", "°F", "K"),
    "ambient_temperature": ("°C", "°F", "K"),
    "manifold_pressure": ("kPa", "hPa", "inHg", "psi", "bar", "Pa"),
    "barometric_pressure": ("kPa", "hPa", "inHg", "psi", "bar", "Pa"),
    "air_flow": ("g/s", "kg/h", "lb/min"),
    "module_voltage": ("V", "mV"),
}
# What a warm idle looks like on any car; a unit that puts the median there is likely. Common practice, no source.
_AT_IDLE: dict[str, tuple[float, float]] = {
    "manifold_pressure": (17, 110),
    "air_flow": (0.6, 13),
    "module_voltage": (11, 16),
    "barometric_pressure": (60, 110),
    "coolant_temperature": (-40, 118),
    "oil_temperature": (-40, 140),
    "intake_temperature": (-40, 85),
    "ambient_temperature": (-40, 50),
    "engine_speed": (300, 8000),
}
_LEAST = 20  # rows behind a suspicion
# Steps in which SAE J1979 encodes these quantities: one of the vocabulary's unit. From memory of its appendix B.
_WHOLE = ("vehicle_speed", "coolant_temperature", "intake_temperature", "ambient_temperature", "oil_temperature",
          "manifold_pressure", "barometric_pressure")  # fmt: skip
_GAS = 287.05  # of dry air [J/kg/K]
_ENGINES = (0.35, 7.5)  # volumetric efficiency times displacement of car engines [l]


def suspicions(
    columns: Mapping[str, Floats],
    headers: Mapping[str, tuple[str, str]],
    t: Floats | None = None,
    displacement: float | None = None,
) -> tuple[Suspicion, ...]:
    """Columns whose unit is doubtful.

    Args:
        columns: by standard name, shape (rows,), in the vocabulary's units.
        headers: by standard name, the header and the unit it was taken to be in.
        t: when each row was written [s], for distances.
        displacement: of the engine [l], where the user knows it.
    Returns: one for each doubtful column, in the order of the columns.
    """
    found: dict[str, Suspicion] = {}
    for name in sorted(columns, key=lambda n: n == "air_flow"):  # the air flow is judged by the pressure, so after it
        if name not in _OTHERS or name not in headers:
            continue
        header, unit = headers[name]
        sound_pressure = "manifold_pressure" not in found
        evidence, likely = (
            _by_steps(name, columns[name], unit)
            or _by_range(name, columns, unit)
            or (_by_distance(columns, t, unit) if name == "vehicle_speed" else None)
            or (_by_filling(columns, unit, displacement) if name == "air_flow" and sound_pressure else None)
            or ("", ())
        )
        if evidence:
            found[name] = Suspicion(name=name, header=header, unit=unit, likely=likely, evidence=evidence)
    return tuple(found.values())


def _idle(columns: Mapping[str, Floats]) -> Bools:
    speed = columns.get("engine_speed")
    if speed is None:
        return np.zeros(len(next(iter(columns.values()))), dtype=bool)
    idle = (speed > 400) & (speed < 1100)
    road = columns.get("vehicle_speed")
    return idle if road is None else idle & ~(road > 1)


def _as(name: str, values: Floats, unit: str, other: str) -> Floats:
    """The same numbers in the file, read as ``other`` instead of ``unit``; in the vocabulary's unit."""
    own = signal(name).unit
    return np.asarray(convert(convert(values, own, unit), other, own))


def _same_unit(a: str, b: str) -> bool:
    return {a, b} <= {"hPa", "mbar"} or a == b


def _by_range(name: str, columns: Mapping[str, Floats], unit: str) -> tuple[str, tuple[str, ...]] | None:
    """Median at idle, or while running, against what any car shows there."""
    lo, hi = _AT_IDLE.get(name, (-np.inf, np.inf))
    speed = columns.get("engine_speed")
    where = _idle(columns) if name in {"manifold_pressure", "air_flow"} else None
    if where is None:
        where = speed > 0 if speed is not None else np.ones(len(columns[name]), dtype=bool)
    known = columns[name][where & np.isfinite(columns[name])]
    if len(known) < _LEAST:
        return None
    middle = float(np.median(known))
    if lo <= middle <= hi:
        return None
    likely = []
    for other in _OTHERS[name]:
        if _same_unit(other, unit) or not lo <= float(np.median(_as(name, known, unit, other))) <= hi:
            continue
        if name == "manifold_pressure" and not _rests_at_outside(columns, unit, other):
            continue
        likely.append(other)
    own = signal(name).unit
    said = float(convert(middle, own, unit))
    state = "at idle" if name in {"manifold_pressure", "air_flow"} else "while the engine runs"
    return f"its median {state} is {said:.4g} {unit}, outside {lo:g} to {hi:g} {own}", tuple(likely)


def _rests_at_outside(columns: Mapping[str, Floats], unit: str, other: str) -> bool:
    """Whether the manifold is at a pressure of the atmosphere while the engine stands; true where it never stands."""
    still = columns["manifold_pressure"][columns["engine_speed"] == 0] if "engine_speed" in columns else np.empty(0)
    still = still[np.isfinite(still)]
    if len(still) < 3:
        return True
    return 60 <= float(np.median(_as("manifold_pressure", still, unit, other))) <= 110


def _by_steps(name: str, values: Floats, unit: str) -> tuple[str, tuple[str, ...]] | None:
    """Numbers that are whole only in another unit were turned into that other one and kept the old name."""
    if name not in _WHOLE:
        return None
    own = signal(name).unit
    raw = np.unique(values[np.isfinite(values)])
    raw = np.asarray(convert(raw, own, unit))
    if not 8 <= len(raw) <= 2000:
        return None
    decimals = next((d for d in range(5) if np.allclose(raw, np.round(raw, d), atol=1e-7, rtol=0)), None)
    if decimals is None or _off(np.asarray(convert(raw, unit, own))) < 0.2:
        return None
    for other in _OTHERS[name]:
        if _same_unit(other, unit):
            continue
        slope = abs(float(convert(1.0, other, own)) - float(convert(0.0, other, own)))
        room = 0.5 * 10.0**-decimals * slope
        if room < 0.1 and _off(np.asarray(convert(raw, other, own))) <= room + 1e-6:
            return (
                f"its {len(raw)} different values are whole {own} if read as {other}, and not if read as {unit}; "
                f"controllers answer in whole {own}",
                (other,),
            )
    return None


def _off(values: Floats) -> float:
    """Farthest from a whole number."""
    return float(np.max(np.abs(values - np.round(values))))


def _by_distance(columns: Mapping[str, Floats], t: Floats | None, unit: str) -> tuple[str, tuple[str, ...]] | None:
    """Road speed summed over time against the car's own distance counter."""
    counter = columns.get("distance_since_clear")
    if counter is None or t is None or np.count_nonzero(np.isfinite(counter)) < _LEAST:
        return None
    speed = columns["vehicle_speed"]
    seen = counter[np.isfinite(counter)]
    counted = float(seen[-1] - seen[0])
    if counted < 10 or np.any(np.diff(seen) < 0):  # whole kilometres: at 10 the counter is good to a tenth
        return None
    filled = np.isfinite(speed)
    steps = np.diff(t[filled])
    driven = float(np.sum(speed[filled][:-1] * steps)) / 3600
    if driven <= 0 or abs(counted - driven) < 1 + 0.12 * driven:
        return None
    likely = tuple(
        other
        for other in _OTHERS["vehicle_speed"]
        if other != unit
        and abs(counted - driven * float(_as("vehicle_speed", np.ones(1), unit, other)[0])) < 1 + 0.12 * counted
    )
    return (f"it makes {driven:.1f} km, the car's own counter {counted:g} km", likely) if likely else None


def _by_filling(
    columns: Mapping[str, Floats], unit: str, displacement: float | None
) -> tuple[str, tuple[str, ...]] | None:
    """Air flow against what the manifold pressure lets through: η V = 120 m R T / (p n).

    Source: the speed-density equation, Heywood 1988, section 2.10; from memory.
    """
    if "manifold_pressure" not in columns or "engine_speed" not in columns:
        return None
    m, p, n = columns["air_flow"], columns["manifold_pressure"], columns["engine_speed"]
    kelvin = columns.get("intake_temperature", np.full(len(m), 40.0)) + 273.15
    with np.errstate(divide="ignore", invalid="ignore"):
        litres = 120 * (m * 1e-3) * _GAS * kelvin / (p * 1e3 * n) * 1e3
    litres = litres[(n > 400) & (p > 15) & np.isfinite(litres)]
    if len(litres) < _LEAST:
        return None
    middle = float(np.median(litres))
    lo, hi = (0.45 * displacement, 1.25 * displacement) if displacement else _ENGINES
    if lo <= middle <= hi:
        return None
    likely = tuple(
        other
        for other in _OTHERS["air_flow"]
        if other != unit and lo <= middle * float(_as("air_flow", np.ones(1), unit, other)[0]) <= hi
    )
    engine = f"the {displacement:g} l engine" if displacement else "any car engine"
    return f"with the manifold pressure it fills {middle:.2f} l, {engine} fills {lo:.2g} to {hi:.2g} l", likely
