"""Evidence from a recording: idle, idle with load, 2,500 r/min, cruise and hard load, each with its stretches shown.

The idle is the one that ``idle`` measures. The other points are found by engine speed, road speed and load, each held
for a while, engine warm and fuel in closed loop.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from tickover.cause.evidence import Evidence, How, Point, Value, VoltsWhen
from tickover.idle import IdleReading, IdleState, read_idle
from tickover.results import CannotTell, Quantity, Result
from tickover.signals import Recording

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

HELD_SPEED = (2200.0, 2900.0)
"""Engine speed that counts as 2,500 held, car standing [r/min]. Own choice."""
CRUISE_FROM, CRUISE_SWING = 45.0, 6.0
"""Road speed of a cruise, and how far it may move within its dwell, either way [km/h]. Own choice."""
CRUISE_LOAD, HARD_LOAD = 0.72, 0.75
"""Manifold over outside pressure below which a cruise is light, and from which a load is hard [1]. Own choice."""
HARD_SHARE = 75.0
"""Calculated load from which a load is hard, where no pressure was recorded [%]. Own choice."""
DWELL: Mapping[Point, float] = {"2500": 6.0, "cruise": 10.0, "hard load": 3.0}
"""Shortest stretch of each point [s]. Own choice."""
SETTLES: Mapping[Point, float] = {"2500": 2.0, "cruise": 3.0, "hard load": 1.0}
"""Left out at the begin of each stretch [s]. Own choice."""
WARM = 75.0
"""Coolant from which a trim counts [°C]. Own choice."""
OPEN_AFTER = 10.0
"""A short trim of exactly 0 for so long is open loop [s]: as ``idle`` has it."""
LEAST_SPREAD, BETWEEN = 1.0, 1.5
"""Least spread of a trim from a log, and of one stretch against another [%]. Own choice."""
ZERO_SECONDS = 120.0
"""A long trim of exactly 0 for so long, idling and driving, is a memory just cleared [s]. Own choice."""
PASSING_ZERO = 20.0
"""A zero at the begin no longer than this is a cell like any other [s]. Own choice."""
FRESH_CLEAR = 180.0
"""Running time since the clear that is worth saying [min]. Own choice."""
PARKED = 60.0
"""Only an idle so long shows its spread; shorter ones are still coming down from the road [s]. Own choice."""
SETTLED_COOLANT = 120.0
"""An idle so long shows where the coolant settles [s]. Own choice."""
_LONGEST_ROW = 5.0


class LogStretch(Result):
    """A piece of a log that evidence comes from.

    Attributes:
        point: which operating point.
        start, stop: when [s on the recording's clock].
        trim: short and long together, mean [%]; None where not recorded.
        says: how it was known for that point.
    """

    point: Point
    start: float
    stop: float
    trim: float | None
    says: str


@dataclass(frozen=True)
class FromLog:
    """What a recording tells.

    Attributes:
        evidence: all of it.
        stretches: where it came from.
        refusals: what it cannot say.
    """

    evidence: Evidence
    stretches: tuple[LogStretch, ...]
    refusals: tuple[CannotTell, ...]


def evidence_from_log(recording: Recording, rng: Generator) -> FromLog:
    """Evidence from one recording.

    Args:
        recording: of one car in one state.
        rng: seeded generator, for the intervals of the idle.
    Returns: see ``FromLog``; empty evidence with the reason where nothing can be used
    """
    if "engine_speed" not in recording or len(recording["engine_speed"]) < 2:
        refused = CannotTell(reason="No engine speed was recorded.", way_out="Log engine speed.")
        return FromLog(Evidence(), (), (refused,))
    found: list[LogStretch] = []
    refusals: list[CannotTell] = []
    given: dict[str, Any] = {}
    reading = read_idle(recording, rng)
    if isinstance(reading, CannotTell):
        refusals.append(CannotTell(reason=f"The idle: {reading.reason}.", way_out=reading.way_out))
    else:
        given = reading_evidence(reading, "log")
        for point, state in _idles(reading):
            found += _idle_stretches(point, state)
    trims: dict[Point, Value] = given.pop("trims", {})
    rows = _Rows.of(recording)
    for one in ("2500", "cruise", "hard load"):
        _off_idle(rows, one, trims, found)
    clear = _since_clear(recording)
    return FromLog(
        Evidence(
            **given,
            trims=trims,
            volts=_volts(rows),
            long_trim_zero=long_trim_zero(rows),
            since_clear=clear if clear is not None and clear < FRESH_CLEAR else None,
        ),
        tuple(sorted(found, key=lambda s: s.start)),
        tuple(refusals),
    )


def reading_evidence(reading: IdleReading, how: How) -> dict[str, Any]:
    """The numbers of an idle reading as evidence.

    Args:
        reading: a measured idle.
        how: how it was got.
    Returns: fields of ``Evidence``, those that the reading has
    """
    given: dict[str, dict[Point, Value]] = {"trims": {}, "manifold": {}, "air_flow": {}}
    single: dict[str, Value] = {}
    for point, state in _idles(reading):
        for into, measured, least in (
            ("trims", state.trim, LEAST_SPREAD),
            ("manifold", state.manifold_pressure, 0.7),
            ("air_flow", state.air_flow, 0.05),
        ):
            if isinstance(measured, Quantity):
                given[into][point] = _value(measured, least, how)
        if point != "idle":
            continue
        if isinstance(state.speed, Quantity):
            single["idle_speed"] = _value(state.speed, 8.0, how)
        parked = max((b - a for a, b in state.dwells), default=0.0) >= PARKED
        if parked and state.spread is not None and state.spread > 0:
            single["roughness"] = Value(value=state.spread, spread=0.2 * state.spread, how=how)
        if state.coolant is not None and state.seconds >= SETTLED_COOLANT:
            single["coolant"] = Value(value=state.coolant[1], spread=3.0, how=how)
    return {**given, **single}


def _idles(reading: IdleReading) -> list[tuple[Point, IdleState]]:
    """The states of an idle by point; a single state counts as one without loads."""
    return [("idle with load" if s.name == "loads on" else "idle", s) for s in reading.states]


def _value(measured: Quantity, least: float, how: How) -> Value:
    half = measured.half_width
    return Value(value=measured.value, spread=max((half or 0.0) / 1.96, least), how=how)


def _idle_stretches(point: Point, state: IdleState) -> list[LogStretch]:
    trim = state.trim.value if isinstance(state.trim, Quantity) else None
    says = "pedal at rest, car standing, warm" + (", load on" if point == "idle with load" else "")
    return [LogStretch(point=point, start=a, stop=b, trim=trim, says=says) for a, b in state.dwells]


@dataclass(frozen=True)
class _Rows:
    """The recording as rows; every array has shape (n,). NaN for what was not recorded."""

    t: Floats
    seconds: Floats
    held: Mapping[str, Floats]

    @classmethod
    def of(cls, recording: Recording) -> _Rows:
        names = [
            n
            for n in (
                "engine_speed",
                "vehicle_speed",
                "coolant_temperature",
                "short_trim_1",
                "long_trim_1",
                "manifold_pressure",
                "barometric_pressure",
                "engine_load",
                "fuel_system_status",
                "module_voltage",
            )
            if n in recording and len(recording[n])
        ]
        wide = recording.wide(names)
        t = wide.pop("t")
        seconds = np.clip(np.diff(t, append=t[-1:]), 0.0, _LONGEST_ROW)
        return cls(t, seconds, wide)

    def get(self, name: str) -> Floats:
        return self.held.get(name, np.full(len(self.t), np.nan))

    @property
    def trim(self) -> Floats:
        return self.get("short_trim_1") + self.get("long_trim_1")

    @property
    def pressure_share(self) -> Floats:
        """Manifold over outside pressure; 100 kPa where none was recorded."""
        outside = np.nan_to_num(self.get("barometric_pressure"), nan=100.0)
        return np.asarray(self.get("manifold_pressure") / outside)

    @property
    def usable(self) -> Bools:
        """Running, warm, closed loop."""
        running = self.get("engine_speed") > 400
        coolant = self.get("coolant_temperature")
        warm = np.isnan(coolant) | (coolant >= WARM)
        status = self.held.get("fuel_system_status")
        closed = np.isin(status, (2.0, 16.0)) if status is not None else ~self._dead_short()
        return np.asarray(running & warm & closed)

    def _dead_short(self) -> Bools:
        """Short trim at exactly 0 for so long that the loop must be open."""
        zero = np.nan_to_num(self.get("short_trim_1"), nan=0.0) == 0.0
        out = np.zeros(len(zero), dtype=bool)
        for a, b in _runs(zero):
            out[a:b] = self.t[b - 1] - self.t[a] >= OPEN_AFTER
        return out


def _runs(holds: Bools) -> list[tuple[int, int]]:
    """Pieces, as first and one past last row, in which a condition holds."""
    flips = np.flatnonzero(np.diff(np.concatenate([[False], holds, [False]]).astype(np.int8)))
    return [(int(a), int(b)) for a, b in zip(flips[::2], flips[1::2], strict=True)]


def _where(rows: _Rows, point: Point) -> tuple[Bools, str]:
    """Rows that belong to a point, and how that is known."""
    road, speed, share = rows.get("vehicle_speed"), rows.get("engine_speed"), rows.pressure_share
    if point == "2500":
        still = np.nan_to_num(road, nan=0.0) < 1
        return still & (speed > HELD_SPEED[0]) & (speed < HELD_SPEED[1]), "held with the car standing"
    load = rows.get("engine_load")
    hard = np.where(np.isnan(share), load >= HARD_SHARE, share >= HARD_LOAD)
    if point == "hard load":
        return (road > 15) & hard, "manifold pressure or load near its most, moving"
    light = np.where(np.isnan(share), load < HARD_SHARE - 10, share < CRUISE_LOAD)
    pulls = np.isnan(share) | (share > 0.25)
    return (road > CRUISE_FROM) & light & pulls, "steady road speed, light load"


def _off_idle(rows: _Rows, point: Point, trims: dict[Point, Value], found: list[LogStretch]) -> None:
    here, says = _where(rows, point)
    here = here & rows.usable & np.isfinite(rows.trim)
    means, weights = [], []
    for a, b in _runs(here):
        for i, j in _steady(rows, a, b) if point == "cruise" else [(a, b)]:
            if rows.t[j - 1] - rows.t[i] < DWELL[point]:
                continue
            keep = np.arange(i, j)[rows.t[i:j] - rows.t[i] >= SETTLES[point]]
            seconds = rows.seconds[keep]
            if seconds.sum() <= 0:
                continue
            mean = float((rows.trim[keep] * seconds).sum() / seconds.sum())
            means.append(mean)
            weights.append(float(seconds.sum()))
            found.append(
                LogStretch(point=point, start=float(rows.t[i]), stop=float(rows.t[j - 1]), trim=mean, says=says)
            )
    if means:
        mean = float(np.average(means, weights=weights))
        scatter = float(np.std(means)) if len(means) > 2 else BETWEEN
        spread = max(LEAST_SPREAD, max(scatter, BETWEEN) / len(means) ** 0.5)
        trims[point] = Value(value=mean, spread=spread, how="log")


def _steady(rows: _Rows, a: int, b: int) -> list[tuple[int, int]]:
    """Cut a piece where road speed has moved too far from where the part began."""
    road, out, begin = rows.get("vehicle_speed"), [], a
    for k in range(a, b):
        if abs(road[k] - road[begin]) > CRUISE_SWING:
            out.append((begin, k))
            begin = k
    return [*out, (begin, b)]


def long_trim_zero(rows: _Rows) -> bool | None:
    """Whether the long trim stood at exactly 0 from the begin on, through idle and road alike.

    A cell may hold 0 by chance, every cell may not; so idle and driving must both have been seen, loop closed.

    Returns: None where the recording does not show it either way.
    """
    long = rows.get("long_trim_1")
    good = rows.usable & np.isfinite(long)
    if not good.any():
        return None
    learned = good & (long != 0.0)
    first = int(np.argmax(learned)) if learned.any() else len(long)
    before = good & (np.arange(len(long)) < first)
    road = np.nan_to_num(rows.get("vehicle_speed"), nan=0.0)
    total, standing, moving = (float((rows.seconds * (before & w)).sum()) for w in (road >= 0, road < 1, road > 15))
    if total < PASSING_ZERO:
        return False
    return True if total >= ZERO_SECONDS and standing > 15 and moving > 30 else None


def _since_clear(recording: Recording) -> float | None:
    one = recording.get("time_since_clear")
    if one is None or not len(one):
        return None
    value = float(one.value[0])
    return value if value > 0 else None


def _volts(rows: _Rows) -> Mapping[VoltsWhen, Value]:
    volts = rows.get("module_voltage")
    running = (rows.get("engine_speed") > 400) & np.isfinite(volts)
    if float((rows.seconds * running).sum()) < 20:
        return {}
    return {"running": Value(value=float(np.median(volts[running])), spread=0.1, how="log")}


def together(parts: Sequence[Evidence]) -> Evidence:
    """Evidence of several sources as one; what comes later replaces what came before, place by place.

    Args:
        parts: in order, each of the same car in the same state.
    """
    merged: dict[str, Any] = {}
    for part in parts:
        for name in part.model_fields_set:
            value = getattr(part, name)
            if isinstance(value, Mapping):
                merged[name] = {**merged.get(name, {}), **value}
            elif value is not None and not (name == "attempts" and value == 0):
                merged[name] = value
    return Evidence.model_validate(merged)
