"""A recording as rows, and which rows belong to which operating point."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tickover.cause.evidence import Point
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
RUNS = 400.0
"""The engine runs above so much; below it the starter turns it [r/min]. Own choice."""
_LONGEST_ROW = 5.0
_READ = (
    "engine_speed",
    "vehicle_speed",
    "coolant_temperature",
    "short_trim_1",
    "long_trim_1",
    "short_trim_2",
    "long_trim_2",
    "manifold_pressure",
    "barometric_pressure",
    "engine_load",
    "fuel_system_status",
)


@dataclass(frozen=True)
class Rows:
    """The recording as rows; every array has shape (n,). NaN for what was not recorded.

    Attributes:
        t: when [s].
        seconds: for how long each row stands [s].
        held: the signals, by standard name.
    """

    t: Floats
    seconds: Floats
    held: Mapping[str, Floats]

    @classmethod
    def of(cls, recording: Recording) -> Rows:
        """The rows of a recording."""
        wide = recording.wide([n for n in _READ if n in recording and len(recording[n])])
        t = wide.pop("t")
        seconds = np.clip(np.diff(t, append=t[-1:]), 0.0, _LONGEST_ROW)
        return cls(t, seconds, wide)

    def get(self, name: str) -> Floats:
        """A signal, shape (n,)."""
        return self.held.get(name, np.full(len(self.t), np.nan))

    def trim(self, bank: int) -> Floats:
        """Short and long trim together, row by row [%]; NaN where either is missing."""
        return self.get(f"short_trim_{bank}") + self.get(f"long_trim_{bank}")

    @property
    def pressure_share(self) -> Floats:
        """Manifold over outside pressure; 100 kPa where none was recorded."""
        outside = np.nan_to_num(self.get("barometric_pressure"), nan=100.0)
        return np.asarray(self.get("manifold_pressure") / outside)

    def usable(self, bank: int) -> Bools:
        """Running, warm, that bank in closed loop."""
        running = self.get("engine_speed") > RUNS
        coolant = self.get("coolant_temperature")
        warm = np.isnan(coolant) | (coolant >= WARM)
        status = self.held.get("fuel_system_status")
        closed = np.isin(status, (2.0, 16.0)) if status is not None else ~self._dead_short(bank)
        return np.asarray(running & warm & closed)

    def _dead_short(self, bank: int) -> Bools:
        """Short trim at exactly 0 for so long that the loop must be open."""
        zero = np.nan_to_num(self.get(f"short_trim_{bank}"), nan=0.0) == 0.0
        out = np.zeros(len(zero), dtype=bool)
        for a, b in runs(zero):
            out[a:b] = self.t[b - 1] - self.t[a] >= OPEN_AFTER
        return out


def runs(holds: Bools) -> list[tuple[int, int]]:
    """Pieces, as first and one past last row, in which a condition holds."""
    flips = np.flatnonzero(np.diff(np.concatenate([[False], holds, [False]]).astype(np.int8)))
    return [(int(a), int(b)) for a, b in zip(flips[::2], flips[1::2], strict=True)]


def pieces(rows: Rows, point: Point, where: Bools) -> list[NDArray[np.intp]]:
    """Stretches of a point that are long enough, as the rows that count; the first seconds of each left out.

    Args:
        rows: of the recording.
        point: off idle: 2500, cruise or hard load.
        where: rows that may count, shape (n,).
    """
    found = []
    for a, b in runs(at_point(rows, point)[0] & where):
        for i, j in _steady(rows, a, b) if point == "cruise" else [(a, b)]:
            keep = np.arange(i, j)[rows.t[i:j] - rows.t[i] >= SETTLES[point]]
            if rows.t[j - 1] - rows.t[i] >= DWELL[point] and rows.seconds[keep].sum() > 0:
                found.append(keep)
    return found


def at_point(rows: Rows, point: Point) -> tuple[Bools, str]:
    """Rows that belong to a point off idle, and how that is known."""
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


def _steady(rows: Rows, a: int, b: int) -> list[tuple[int, int]]:
    """Cut a piece where road speed has moved too far from where the part began."""
    road, out, begin = rows.get("vehicle_speed"), [], a
    for k in range(a, b):
        if abs(road[k] - road[begin]) > CRUISE_SWING:
            out.append((begin, k))
            begin = k
    return [*out, (begin, b)]
