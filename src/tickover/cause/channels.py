"""The numbers that evidence comes as: their scale, how well each is read, and how far healthy cars differ.

Every spread is one standard deviation and, unless said, our own choice. They are wide on purpose: the engine behind the
predictions is no car in particular, and what it gets wrong must not be taken for evidence.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Scale = Literal["plain", "log", "log1p"]


@dataclass(frozen=True)
class Channel:
    """One number.

    Args:
        name: of the channel.
        says: in words, before its value.
        unit: as shown.
        read: spread of a reading that states none [scale's unit].
        own: what the engine may be off by, each channel for itself [scale's unit].
        part: … and as a share of what a fault changes it by [1].
        broad: how far something else may move it [scale's unit].
        scale: on which its spreads hold.
    """

    name: str
    says: str
    unit: str
    read: float
    own: float
    part: float
    broad: float
    scale: Scale = "plain"


_TRIM_OWN = {"idle": 1.2, "idle with load": 1.5, "2500": 1.5, "cruise": 1.3, "hard load": 1.6}
_MAP_OWN = {"idle": 1.0, "idle with load": 9.0, "2500": 4.0, "cruise": 9.0, "hard load": 12.0}
_FLOW_OWN = {"idle": 0.05, "idle with load": 0.2, "2500": 0.14, "cruise": 0.35, "hard load": 0.4}

CHANNELS: tuple[Channel, ...] = (
    *(Channel(f"trim {p}", f"trim at {p}", "%", 1.5, own, 0.28, 14.0) for p, own in _TRIM_OWN.items()),
    *(Channel(f"flow {p}", f"air flow at {p}", "g/s", 0.05, own, 0.3, 0.35, "log") for p, own in _FLOW_OWN.items()),
    *(Channel(f"map {p}", f"manifold pressure at {p}", "kPa", 1.0, own, 0.35, 10.0) for p, own in _MAP_OWN.items()),
    Channel("vacuum", "gauge vacuum at idle", "kPa", 1.7, 1.0, 0.35, 10.0),
    Channel("speed", "idle speed", "r/min", 15.0, 12.0, 0.4, 220.0),
    Channel("idle air", "commanded idle air", "%", 0.04, 0.05, 0.4, 0.5, "log"),
    Channel("misfires", "missed firings per 1,000 revolutions", "", 0.4, 0.7, 0.2, 2.5, "log1p"),
    Channel("roughness", "spread of the idle speed", "r/min", 0.2, 0.4, 0.4, 0.9, "log"),
    Channel("volts rest", "battery volts at rest", "V", 0.06, 0.12, 0.3, 0.5),
    Channel("volts key on", "volts after a minute of ignition on", "V", 0.06, 0.22, 0.3, 0.6),
    Channel("volts cranking", "volts while cranking", "V", 0.2, 0.5, 0.3, 1.2),
    Channel("volts running", "volts while running", "V", 0.08, 0.4, 0.3, 0.9),
    Channel("coolant", "coolant once warm", "°C", 1.5, 4.0, 0.3, 14.0),
    Channel("ethanol", "ethanol in the fuel", "%", 4.0, 1.0, 0.1, 30.0),
)
INDEX: dict[str, int] = {c.name: k for k, c in enumerate(CHANNELS)}
OWN: Floats = np.array([c.own for c in CHANNELS])
PART: Floats = np.array([c.part for c in CHANNELS])

FACTORS: dict[str, dict[str, float]] = {
    "fuel": {f"trim {p}": 2.5 for p in _TRIM_OWN},
    "tilt": {"trim idle": -0.9, "trim idle with load": -0.6, "trim cruise": 0.5, "trim hard load": 1.2},
    "idle cell": {"trim idle": 1.4, "trim idle with load": 1.1},
    "draught": {f"flow {p}": 0.06 for p in _FLOW_OWN},
    "pressure": {**{f"map {p}": 2.5 for p in _MAP_OWN}, "vacuum": -2.5},
    "air share": {"idle air": 0.12},
}
"""What moves several channels of a healthy car together, and by how much each [scale's unit]: factors beside those that
the engine itself gives (friction, target speed, displacement, blend)."""


MOVED: tuple[tuple[str, ...], ...] = (
    ("trim",),
    ("flow", "map", "vacuum", "idle air", "speed"),
    ("misfires", "roughness", "speed", "trim"),
    ("volts",),
    ("coolant", "trim", "speed"),
    ("",),
)
"""What something else may move, each channel for itself: those that begin so; the last moves all. Own choice."""
PATTERNS: tuple[tuple[float, ...], ...] = (
    (1.0, 1.0, 1.0, 1.0, 1.0),
    (1.0, 0.75, 0.45, 0.3, 0.1),
    (0.0, 0.1, 0.3, 0.5, 1.0),
)
"""How something else may move the trims together, as shares of the most, by point: all alike, most at idle (a little
fuel or air that should not be there), most under load. Own choice."""
PATTERN_SIZES = (-18.0, -12.0, -7.0, 7.0, 12.0, 18.0)
"""… and the most itself [%]. Own choice."""


def moved_by_else() -> tuple[Floats, Floats]:
    """What something else moves in each of its ways.

    Returns: by how much, and how far beside that, shape (ways, channels) each [channel's scale]
    """
    wide = [[c.broad if c.name.startswith(begin) else 0.0 for c in CHANNELS] for begin in MOVED]
    trims = [INDEX[f"trim {p}"] for p in _TRIM_OWN]
    shifts = np.zeros((len(PATTERNS) * len(PATTERN_SIZES), len(CHANNELS)))
    shifts[:, trims] = np.kron(np.array(PATTERNS), np.array(PATTERN_SIZES)[:, None])
    beside = PART * np.abs(shifts)
    return np.concatenate([np.zeros((len(wide), len(CHANNELS))), shifts]), np.concatenate([np.array(wide), beside])


def scaled(channel: Channel, value: float | Floats) -> Floats:
    """A value on its channel's scale."""
    given = np.asarray(value, dtype=np.float64)
    if channel.scale == "log":
        return np.asarray(np.log(np.maximum(given, 1e-3)))
    return np.asarray(np.log1p(np.maximum(given, 0.0)) if channel.scale == "log1p" else given)


def unscaled(channel: Channel, value: float | Floats) -> Floats:
    """Back from the channel's scale."""
    given = np.asarray(value, dtype=np.float64)
    if channel.scale == "log":
        return np.asarray(np.exp(given))
    return np.asarray(np.expm1(given) if channel.scale == "log1p" else given)


def spread_on_scale(channel: Channel, value: float, spread: float) -> float:
    """A spread in the channel's unit, carried to its scale at a value."""
    if channel.scale == "log":
        return spread / max(value, 1e-3)
    return spread / (1 + max(value, 0.0)) if channel.scale == "log1p" else spread
