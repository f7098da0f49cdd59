"""The relearn entries of the simulated controller: their windows, as data. The machines that watch are in ``watch``.

The machines see the true edges of ignition, pedal and starter, and answer with the lamp and with what is written. They
know nothing of routine files and share no code with their judges, so that coach and car check each other. A controller
accepts everything inside its windows, rejects what is 0.1 s or more outside, and promises nothing between: there a
seeded coin decides.

Source of every window: own reading of common trade practice, no published source; the lamp's windows are invented.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import inf
from typing import Literal

Window = tuple[float, float]
"""Shortest and longest time [s]."""

GREY = 0.1
"""Width of the band outside a window in which nothing is promised [s]. The design fixes it."""

Edge = Literal["off", "on", "crank", "press", "release", "running", "stopped"]
Lamp = Literal["off", "lit", "flashing"]


@dataclass(frozen=True)
class PedalCount:
    """Idle-air relearn by pedal count, the fuller form.

    Attributes (all windows [s]):
        first_press: ignition on to the first press
        presses: number of full presses
        press, gap: length of each press, and of each gap between two
        span: first press to last release
        hold_after: last release to the press that is held
        flashing, lit: that press to the lamp flashing, and to it staying lit; drawn anew for every attempt
        release: lamp lit to release; letting go before aborts, and nothing is written
        crank: release to the starter
    On the start that follows the controller writes learned air, floor and the idle cell's long trim.
    """

    name: str = "pedal count"
    first_press: Window = (2.0, 4.0)
    presses: int = 5
    press: Window = (0.25, 0.9)
    gap: Window = (0.12, 0.9)
    span: Window = (0.0, 5.0)
    hold_after: Window = (6.0, 8.0)
    flashing: Window = (8.0, 14.0)
    lit: Window = (16.0, 25.0)
    release: Window = (0.0, 3.0)
    crank: Window = (0.3, 3.0)


@dataclass(frozen=True)
class PedalHold:
    """Closed-throttle relearn by one long hold; writes as ``PedalCount``, without any lamp.

    Attributes (all windows [s]):
        press: ignition on to the press
        hold: press to release
        crank: release to the starter
    """

    name: str = "pedal hold"
    press: Window = (2.0, 4.0)
    hold: Window = (27.0, 33.0)
    crank: Window = (1.0, 3.0)


@dataclass(frozen=True)
class PowerCycle:
    """Ignition on and off, pedal untouched, engine not started between.

    Attributes:
        on: length of each ignition on [s]
        off: length of each ignition off, where the controller sleeps at once [s]
        off_after_run: the same where it stays awake for a while (FACTS: "off 15 s or more"); anything shorter than the
            after-run is not an off at all for such a controller [s]
        times: cycles needed, at least; each ends with the next ignition on

    What it heals: the volatile short-term state only. The wound-up idle integrator is emptied, misfire counters are
    cleared (so a raised idle after a cured misfire falls), and the idle cell's long trim goes to 0. Learned air and
    floor stay, so on a car with an old memory on a cleaned bore nothing changes for good.
    """

    name: str = "power cycle"
    on: Window = (8.0, 12.0)
    off: Window = (1.0, 3.0)
    off_after_run: Window = (15.0, inf)
    times: int = 3


Entry = PedalCount | PedalHold | PowerCycle

PEDAL_COUNT = PedalCount()
PEDAL_HOLD = PedalHold()
POWER_CYCLE = PowerCycle()


@dataclass(frozen=True)
class Answer:
    """What a machine has to say, and when.

    Attributes:
        what: "lamp" with ``text`` a lamp state; "write" learned air, floor and idle cell; "reset" the volatile
            short-term state; "outcome" with ``text`` "written" or "rejected: …"
        t: instant [s]
        text: see above
        entry: name of the entry
    """

    what: Literal["lamp", "write", "reset", "outcome"]
    t: float
    text: str = ""
    entry: str = ""
