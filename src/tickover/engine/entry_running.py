"""The relearn entries that are performed with the engine running, as data. Times in seconds.

Time is counted in steps of 0.2 s from what the controller sees. A count that needs only a least time completes by
itself when it is reached. Source of every window: own reading of common trade practice, no published source.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import inf

from tickover.engine.windows import Window


@dataclass(frozen=True)
class RunInIdle:
    """Run-in idle after a power loss: idle with loads off, then loads on in turn.

    Attributes:
        idle: from the start to the first load: warm idle, pedal up, all loads off [s]
        turns: loads to be switched on, at least
        each: how long each is on [s]
        pause: from one load off to the next on [s]
        loaded: time with a load on, in all [s]
        warm: idle counts from this coolant on [°C]
    Idle air is written provisionally when the idle is long enough, so that the loads do not stall the engine, and
    withdrawn where the rest fails; at the last load off the air for loads is written too. The short drive that follows
    in the trade teaches the off-idle trim by ordinary means: no window. Fan time counts.
    """

    name: str = "run-in idle"
    idle: Window = (540.0, 720.0)
    turns: int = 2
    each: Window = (20.0, 240.0)
    pause: Window = (0.0, 30.0)
    loaded: Window = (220.0, 420.0)
    warm: float = 75.0


@dataclass(frozen=True)
class FastRunIn:
    """Fast run-in: held engine speed until the fan, then idle; time with the fan running does not count.

    Attributes:
        speed: held without load [r/min]; 50 r/min beyond, nothing counts
        held: at that speed, in all, before the fan comes on or coolant reaches ``hot`` [s]
        hot: coolant that will do instead of the fan [°C]
        idle: after that with the pedal up, loads off and the fan standing; completes by itself [s]
    Writes idle air. A load, or a pedal moved during the idle, ends it.
    """

    name: str = "fast run-in"
    speed: tuple[float, float] = (2500.0, 3500.0)
    held: Window = (10.0, inf)
    hot: float = 90.0
    idle: Window = (285.0, inf)


@dataclass(frozen=True)
class RestAndIdle:
    """Idle, ignition off, idle again.

    Attributes:
        idle: each idle, pedal up and loads off; the second completes by itself [s]
        off: ignition off between them [s]
        start: ignition on to the starter [s]
    Writes idle air, but learned air moves by at most 5 mm²: again if that was not enough. Fan time counts. The second
    idle of one round is the first of the next.
    """

    name: str = "rest and idle"
    idle: Window = (171.0, inf)
    off: Window = (50.0, 80.0)
    start: Window = (0.0, 30.0)


@dataclass(frozen=True)
class LoadsInTurn:
    """Ignition cycles, then a start, then compressor and drive gear in turn.

    Attributes:
        on_first: the first ignition on [s]
        off: both ignition offs [s]
        on: the ignition on between them [s]
        start: third ignition on to the starter [s]
        warm: coolant when the compressor goes on [°C]; what the engine does until then has no window
        to_drive: compressor on to drive gear, brake held [s]
        in_drive: drive gear to compressor off [s]
        to_neutral: compressor off to P or N, brake still held [s]
    Writes idle air, the air for the compressor and for a drive gear, at the ignition off that follows.
    """

    name: str = "loads in turn"
    on_first: Window = (3.0, 8.0)
    off: Window = (12.0, 20.0)
    on: Window = (3.0, 8.0)
    start: Window = (0.0, 30.0)
    warm: float = 84.0
    to_drive: Window = (7.0, 13.0)
    in_drive: Window = (7.0, 13.0)
    to_neutral: Window = (7.0, 13.0)


@dataclass(frozen=True)
class DriveIn:
    """Idle, rest and idle, then a drive.

    Attributes:
        idle, off, start: as in ``RestAndIdle``
        fast: time above ``above``, in all [s]
        above: road speed [km/h]
        coasts: closed-throttle decelerations
        coast: length of each, begun above ``above`` [s]
        stand: long idle of the drive [s]; stop and idle, once
    Writes idle air once all is done. After the second idle nothing has an upper bound, and ignition off does not harm.
    """

    name: str = "drive-in"
    idle: Window = (171.0, inf)
    off: Window = (50.0, 80.0)
    start: Window = (0.0, 30.0)
    fast: Window = (150.0, inf)
    above: float = 70.0
    coasts: int = 3
    coast: Window = (3.0, inf)
    stand: Window = (50.0, inf)
