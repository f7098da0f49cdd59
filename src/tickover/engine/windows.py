"""What every relearn entry is described with: windows, their margins, and what passes between car and machine.

A controller accepts everything inside its windows, rejects what is a margin or more outside, and promises nothing
between: there a seeded coin decides.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Window = tuple[float, float]
"""Shortest and longest time [s]."""

GREY = 0.1
"""Width of the band outside a window in which nothing is promised [s]. The design fixes it."""
LONG = 60.0
"""From this bound on the band is a share of it [s]. Own choice: nobody is a tenth of a second out after ten minutes."""
GREY_SHARE = 0.01
"""That share [1]: 1.8 s at three minutes, 6 s at ten. Own choice."""


def margin(bound: float) -> float:
    """Width of the band outside a bound in which nothing is promised.

    Args:
        bound: the bound [s]
    Returns: [s]
    Example: 0.1 s at 12 s, 6 s at 600 s.
    """
    return GREY if bound < LONG else GREY_SHARE * bound


Edge = Literal[
    "off",
    "on",
    "crank",
    "press",
    "release",
    "running",
    "stopped",
    "brake press",
    "brake release",
    "gear drive",
    "gear neutral",
    "load on",
    "load off",
    "compressor on",
    "compressor off",
    "fan on",
    "fan off",
]
"""What a machine is told at its true instant; the compressor apart from other loads, because the controller sees it."""
Lamp = Literal["off", "lit", "flashing"]


@dataclass(frozen=True, slots=True)
class State:
    """What a machine that counts time is shown every 0.2 s.

    Attributes:
        running: the engine runs by itself
        shut: the controller takes the pedal for up
        speed: of the crank [r/min]
        coolant: [°C]
        fan: the radiator fan runs
        loaded: a load is on, of whatever kind
        geared: a drive gear is in
        road: road speed [km/h]
    """

    running: bool
    shut: bool
    speed: float
    coolant: float
    fan: bool
    loaded: bool
    geared: bool
    road: float


Writes = Literal["idle air", "half", "loads", "drag", "pedal rest", "throttle stop"]
"""What a machine may write: "idle air" is learned air, floor and the idle cell's long trim; "half" the same, but
learned air moves by at most ``STEP_MOST``; "loads" and "drag" are the air set aside for compressor and drive gear."""


@dataclass(frozen=True)
class Answer:
    """What a machine has to say, and when.

    Attributes:
        what: "lamp" with ``text`` a lamp state; "write" with ``writes``; "reset" the volatile short-term state;
            "restore" what was stored before this entry's provisional writes; "outcome" with ``text`` "written" or
            "rejected: …"
        t: instant [s]
        text: see above
        entry: name of the entry
        writes: what is written
    """

    what: Literal["lamp", "write", "reset", "restore", "outcome"]
    t: float
    text: str = ""
    entry: str = ""
    writes: tuple[Writes, ...] = ("idle air",)
