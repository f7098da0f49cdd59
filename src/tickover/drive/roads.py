"""Roads, traffic and the driver, as data for plans."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

Traffic = Literal["light", "heavy"]
FILE = Path(__file__).parent / "roads.toml"
START = "start"


@dataclass(frozen=True, slots=True)
class Road:
    """One sort of road in one sort of traffic.

    Attributes:
        id, title: its names.
        lo, hi: speeds usual there, the legal limit kept [km/h].
        longest: how long one can count on keeping a speed [s].
        factor: how much longer everything takes than with a free road.
    """

    id: str
    title: str
    lo: float
    hi: float
    longest: float
    factor: float


@dataclass(frozen=True, slots=True)
class Person:
    """What a driver can keep, and how an engine warms; meanings in ``roads.toml``."""

    narrowest: float
    spare: float
    spare_coast: float
    moves: float
    pull: float
    warming: float
    warming_idle: float
    warm: float
    soak: float
    hottest: float


@dataclass(frozen=True)
class Roads:
    """Everything a plan knows of the world outside the car; ``ways`` is from one road to another [s]."""

    roads: Mapping[str, Road]
    ways: Mapping[tuple[str, str], float]
    person: Person

    def way(self, a: str, b: str) -> float:
        """From one road to another [s]; 0 where it is the same."""
        return 0.0 if a == b else self.ways[(a, b)]


def road_names() -> tuple[str, ...]:
    """Every sort of road."""
    raw = tomllib.loads(FILE.read_text(encoding="utf-8"))
    return tuple(r["id"] for r in raw["road"])


def load_roads(names: tuple[str, ...] | None = None, *, limit: float = 130.0, traffic: Traffic = "light") -> Roads:
    """The roads at hand.

    Args:
        names: which; all where None.
        limit: no faster than this anywhere [km/h].
        traffic: light or heavy.
    Returns: roads on which one can drive at all under the limit, the ways between them, the driver.
    """
    raw = tomllib.loads(FILE.read_text(encoding="utf-8"))
    found: dict[str, Road] = {}
    for r in raw["road"]:
        lo, hi = r["between"]
        if (names is None or r["id"] in names) and limit > lo:
            found[r["id"]] = Road(r["id"], r["title"], lo, min(hi, limit), r[traffic]["longest"], r[traffic]["factor"])
    ways: dict[tuple[str, str], float] = {}
    for key, seconds in raw["way"].items():
        a, b = key.split("-")
        ways[(a, b)] = ways[(b, a)] = float(seconds)
    return Roads(found, ways, Person(**{k: float(v) for k, v in raw["person"].items()}))
