"""The relearn entries of the simulated controller: their windows, as data. The machines that watch are in ``watch``.

The machines see the true edges of ignition, pedal and starter, and answer with the lamp and with what is written. They
know nothing of routine files and share no code with their judges, so that coach and car check each other. What is
promised inside, outside and between is in ``windows``; the entries with the engine running are in ``entry_running``;
all windows stand in one table in ``docs/why/simulated-car.md``.

Source of every window: own reading of common trade practice, no published source; the lamp's windows are invented.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import inf

from tickover.engine.entry_running import DriveIn, FastRunIn, LoadsInTurn, RestAndIdle, RunInIdle
from tickover.engine.windows import GREY, Answer, Edge, Lamp, Window


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


@dataclass(frozen=True)
class SlowPresses:
    """Closed-throttle relearn by slow presses instead of one hold; writes idle air, without any lamp.

    Attributes (all windows [s]):
        first_press: ignition on to the floor, the first time
        presses: number of full presses
        down: each press, floor to release
        gap: release to the next floor
        crank: last release to the starter
    """

    name: str = "slow presses"
    first_press: Window = (2.0, 4.0)
    presses: int = 2
    down: Window = (1.0, 3.0)
    gap: Window = (1.0, 3.0)
    crank: Window = (8.0, 12.0)


@dataclass(frozen=True)
class DoubleHold:
    """Throttle and shift adaptation by two long holds; writes idle air and the air for a drive gear.

    Attributes (all windows [s]):
        press: ignition on to the first press
        hold: length of each hold
        between: release to the second press
        crank: last release to the starter
    """

    name: str = "double hold"
    press: Window = (2.0, 4.0)
    hold: Window = (8.0, 12.0)
    between: Window = (2.0, 8.0)
    crank: Window = (1.0, 3.0)


@dataclass(frozen=True)
class KeyOnRest:
    """Ignition on for long, off, again; pedal untouched, not started: the throttle finds its stop, which is written.

    Attributes:
        on: each ignition on [s]
        off: each ignition off [s]; the last one writes when its least time is reached, by itself
        times: rounds needed
    """

    name: str = "key-on rest"
    on: Window = (26.0, 40.0)
    off: Window = (12.0, 20.0)
    times: int = 3


@dataclass(frozen=True)
class PedalRestLearning:
    """Ignition on and off with the pedal untouched, not started: its rest is written.

    Attributes: as ``KeyOnRest``
    """

    name: str = "pedal-rest learning"
    on: Window = (2.0, inf)
    off: Window = (10.0, inf)
    times: int = 2


@dataclass(frozen=True)
class ThrottleStopLearning:
    """Ignition on, then off while the throttle motor is heard moving; not started: its stop is written.

    Attributes: as ``KeyOnRest``. Needs a learned pedal rest.
    """

    name: str = "throttle-stop learning"
    on: Window = (2.0, inf)
    off: Window = (10.0, inf)
    times: int = 1


Rest = KeyOnRest | PedalRestLearning | ThrottleStopLearning
Entry = (
    PedalCount
    | PedalHold
    | SlowPresses
    | DoubleHold
    | PowerCycle
    | Rest
    | RunInIdle
    | FastRunIn
    | RestAndIdle
    | LoadsInTurn
    | DriveIn
)

PEDAL_COUNT = PedalCount()
PEDAL_HOLD = PedalHold()
POWER_CYCLE = PowerCycle()
SLOW_PRESSES = SlowPresses()
DOUBLE_HOLD = DoubleHold()
KEY_ON_REST = KeyOnRest()
PEDAL_REST_LEARNING = PedalRestLearning()
THROTTLE_STOP_LEARNING = ThrottleStopLearning()
RUN_IN_IDLE = RunInIdle()
FAST_RUN_IN = FastRunIn()
REST_AND_IDLE = RestAndIdle()
LOADS_IN_TURN = LoadsInTurn()
DRIVE_IN = DriveIn()

ENTRIES: dict[str, Entry] = {
    "power-cycle": POWER_CYCLE,
    "pedal-count": PEDAL_COUNT,
    "pedal-hold": PEDAL_HOLD,
    "slow-presses": SLOW_PRESSES,
    "double-hold": DOUBLE_HOLD,
    "key-on-rest": KEY_ON_REST,
    "run-in-idle": RUN_IN_IDLE,
    "fast-run-in": FAST_RUN_IN,
    "rest-and-idle": REST_AND_IDLE,
    "loads-in-turn": LOADS_IN_TURN,
    "drive-in": DRIVE_IN,
    "pedal-rest": PEDAL_REST_LEARNING,
    "throttle-stop": THROTTLE_STOP_LEARNING,
}
"""The thirteen families, one entry each, under short names; a car has one or two of them."""

__all__ = [
    "DOUBLE_HOLD",
    "DRIVE_IN",
    "ENTRIES",
    "FAST_RUN_IN",
    "GREY",
    "KEY_ON_REST",
    "LOADS_IN_TURN",
    "PEDAL_COUNT",
    "PEDAL_HOLD",
    "PEDAL_REST_LEARNING",
    "POWER_CYCLE",
    "REST_AND_IDLE",
    "RUN_IN_IDLE",
    "SLOW_PRESSES",
    "THROTTLE_STOP_LEARNING",
    "Answer",
    "DoubleHold",
    "DriveIn",
    "Edge",
    "Entry",
    "FastRunIn",
    "KeyOnRest",
    "Lamp",
    "LoadsInTurn",
    "PedalCount",
    "PedalHold",
    "PedalRestLearning",
    "PowerCycle",
    "Rest",
    "RestAndIdle",
    "RunInIdle",
    "SlowPresses",
    "ThrottleStopLearning",
    "Window",
]
