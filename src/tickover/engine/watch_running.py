"""The machines that watch the engine run: run-ins, rest and idle, and the drive-in."""

from __future__ import annotations

from math import inf

import numpy as np

from tickover.engine.entry import DriveIn, FastRunIn, RestAndIdle, RunInIdle
from tickover.engine.watch_base import KEY_AND_PEDAL, Machine, spell
from tickover.engine.windows import Answer, Edge, State

SLACK = 0.4
"""By how much a count in steps of 0.2 s may fall behind the truth [s]."""
TRIED = 30.0
"""An idle shorter than this was no try at a run-in, and its end is not worth a word [s]. Own choice."""
_LOAD_ON: frozenset[Edge] = frozenset({"load on", "compressor on"})
_LOAD_OFF: frozenset[Edge] = frozenset({"load off", "compressor off"})
_GEAR: frozenset[Edge] = frozenset({"gear drive"})


class RunInIdleMachine(Machine):
    """Watches for ``RunInIdle``.

    Args:
        windows: its windows
        rng: see ``Machine``
    """

    hears = KEY_AND_PEDAL | _LOAD_ON | _LOAD_OFF | _GEAR
    samples = True

    def __init__(self, windows: RunInIdle, rng: np.random.Generator) -> None:
        super().__init__(rng)
        self.windows = windows
        self.name = windows.name
        self._close_up()

    def _close_up(self) -> None:
        self.phase, self.due = "closed", inf
        self.mark: float | None = None
        self.needed, self.provisional = 0.0, False
        self.turns, self.loaded = 0, 0.0

    def edge(self, kind: Edge, t: float) -> list[Answer]:
        """See ``Machine.edge``."""
        if kind == "running":
            self._close_up()
            self.phase, self.needed = "idle", self._least(self.windows.idle, SLACK)
            return []
        if self.phase == "closed":
            return []
        if kind in _LOAD_ON:
            return self._load_on(t)
        if kind in _LOAD_OFF:
            return self._load_off(t)
        if kind == "off" and self.phase == "pause":
            return self._judge(t)
        return self._close(t, f"{kind} before the run-in was over")

    def tick(self, t: float) -> list[Answer]:
        """See ``Machine.tick``."""
        return self._judge(self.due) if self.due <= t else []

    def sample(self, t: float, seen: State) -> list[Answer]:
        """See ``Machine.sample``."""
        if self.phase == "closed":
            return []
        if not seen.shut:
            return self._close(t, "pedal moved where it should rest")
        if self.phase != "idle":
            return []
        if self.mark is None:
            self.mark = t if seen.coolant >= self.windows.warm else None
        elif not self.provisional and t - self.mark >= self.needed:
            self.provisional = True
            return [Answer("write", t, entry=self.name)]
        return []

    def _load_on(self, t: float) -> list[Answer]:
        if self.phase == "on":
            return self._close(t, "two loads at once")
        began = t if self.mark is None else self.mark
        window, what = (self.windows.idle, "idle lasted") if self.phase == "idle" else (self.windows.pause, "pause")
        long_enough = self.provisional and t - began <= window[1]
        if not (long_enough or self._fits(t - began, window)) or not self.provisional:
            return self._close(t, spell(what, t - began, window))
        self.phase, self.mark, self.due = "on", t, inf
        return []

    def _load_off(self, t: float) -> list[Answer]:
        if self.phase != "on" or self.mark is None:
            return []
        length = t - self.mark
        if not self._fits(length, self.windows.each):
            return self._close(t, spell("load on", length, self.windows.each))
        self.phase, self.mark = "pause", t
        self.turns, self.loaded = self.turns + 1, self.loaded + length
        self.due = t + self.windows.pause[1] + 0.1
        return []

    def _judge(self, t: float) -> list[Answer]:
        """All loads are off for good; whether it was enough."""
        if self.turns < self.windows.turns:
            return self._close(t, f"{self.turns} load switched on in turn, wanted {self.windows.turns} or more")
        if not self._fits(self.loaded, self.windows.loaded):
            return self._close(t, spell("loads on for", self.loaded, self.windows.loaded))
        self._close_up()
        return self._written(t, "idle air", "loads")

    def _close(self, t: float, why: str) -> list[Answer]:
        tried = self.provisional or (self.mark is not None and t - self.mark >= TRIED)
        back = [Answer("restore", t, entry=self.name)] if self.provisional else []
        self._close_up()
        return back + (self._wrong(t, why) if tried else [])


class FastRunInMachine(Machine):
    """Watches for ``FastRunIn``.

    Args:
        windows: its windows
        rng: see ``Machine``
    """

    hears = KEY_AND_PEDAL | _LOAD_ON | _GEAR
    samples = True
    BESIDE = 50.0
    """Engine speed may be this far outside and still count [r/min]."""

    def __init__(self, windows: FastRunIn, rng: np.random.Generator) -> None:
        super().__init__(rng)
        self.windows = windows
        self.name = windows.name
        self.phase = "closed"
        self.last, self.held, self.idled = 0.0, 0.0, 0.0
        self.need_held, self.need_idle = inf, inf

    def edge(self, kind: Edge, t: float) -> list[Answer]:
        """See ``Machine.edge``."""
        if kind == "running":
            self.phase, self.last, self.held, self.idled = "fast", t, 0.0, 0.0
            self.need_held = self._least(self.windows.held, SLACK)
            self.need_idle = self._least(self.windows.idle, SLACK)
            return []
        if kind in ("press", "release") and self.phase != "idle":
            return []
        return self._close(t, f"{kind} before the run-in was over")

    def sample(self, t: float, seen: State) -> list[Answer]:
        """See ``Machine.sample``."""
        if self.phase == "closed":
            return []
        passed, self.last = t - self.last, t
        if seen.loaded or seen.geared or seen.road > 1:
            return self._close(t, "a load, a gear or the road where the engine should run free")
        if self.phase == "idle":
            return self._idle(t, passed, seen)
        lo, hi = self.windows.speed
        self.held += passed * (not seen.shut and lo - self.BESIDE <= seen.speed <= hi + self.BESIDE)
        if self.held >= self.need_held and (seen.fan or seen.coolant >= self.windows.hot):
            self.phase = "hot"
        if self.phase == "hot" and seen.shut:
            self.phase = "idle"
        return []

    def _idle(self, t: float, passed: float, seen: State) -> list[Answer]:
        if not seen.shut:
            return self._close(t, "pedal moved where it should rest")
        self.idled += passed * (not seen.fan)
        if self.idled < self.need_idle:
            return []
        self.phase = "closed"
        return self._written(t, "idle air")

    def _close(self, t: float, why: str) -> list[Answer]:
        tried = self.phase in ("hot", "idle") or (self.phase == "fast" and self.held >= self.need_held)
        self.phase = "closed"
        return self._wrong(t, why) if tried else []


class RestAndIdleMachine(Machine):
    """Watches for ``RestAndIdle``.

    Args:
        windows: its windows
        rng: see ``Machine``
    """

    hears = KEY_AND_PEDAL | _LOAD_ON | _GEAR
    samples = True

    def __init__(self, windows: RestAndIdle | DriveIn, rng: np.random.Generator) -> None:
        super().__init__(rng)
        self.bounds = windows
        self.name = windows.name
        self.phase, self.mark = "closed", 0.0

    def edge(self, kind: Edge, t: float) -> list[Answer]:
        """See ``Machine.edge``."""
        length = t - self.mark
        if kind == "running" and self.phase in ("closed", "start"):
            again = self.phase == "start"
            self.phase, self.mark = "second" if again else "first", t
            self.due = t + self._least(self.bounds.idle) if again else inf
            return []
        if self.phase == "closed" or (kind == "stopped" and self.phase == "off"):
            return []
        for phase, wanted, then, window, what in (
            ("first", "off", "off", self.bounds.idle, "first idle lasted"),
            ("off", "on", "on", self.bounds.off, "ignition was off"),
            ("on", "crank", "start", self.bounds.start, "ignition on to start took"),
        ):
            if (self.phase, kind) == (phase, wanted):
                if not self._fits(length, window):
                    return self._close(t, spell(what, length, window))
                self.phase, self.mark = then, t
                return []
        if self.phase == "second" and kind == "off":
            return self._close(t, spell("second idle lasted", length, self.bounds.idle))
        return self._close(t, f"{kind} where the engine should idle or rest")

    def tick(self, t: float) -> list[Answer]:
        """See ``Machine.tick``."""
        if self.due > t:
            return []
        now, self.due = self.due, inf
        return self._idled(now)

    def sample(self, t: float, seen: State) -> list[Answer]:
        """See ``Machine.sample``."""
        disturbed = not seen.shut or seen.loaded or seen.geared or seen.road > 1
        if self.phase in ("first", "second") and disturbed:
            return self._close(t, "pedal, load, gear or road disturbed the idle")
        return []

    def _idled(self, t: float) -> list[Answer]:
        """The second idle is complete, and the first of a further round goes on from its start."""
        self.phase = "first"
        return self._written(t, "half")

    def _close(self, t: float, why: str) -> list[Answer]:
        tried = self.phase != "first" or t - self.mark >= TRIED
        self.phase, self.due = "closed", inf
        return self._wrong(t, why) if tried else []


class DriveInMachine(RestAndIdleMachine):
    """Watches for ``DriveIn``: the two idles first, then what the drive must hold, in any order.

    Args:
        windows: its windows
        rng: see ``Machine``
    """

    def __init__(self, windows: DriveIn, rng: np.random.Generator) -> None:
        super().__init__(windows, rng)
        self.windows = windows
        self.last, self.fast, self.stood, self.rested, self.coasts = 0.0, 0.0, 0.0, False, 0
        self.coast: float | None = None
        """How long the pedal has been up on this one, −∞ once it is counted; None where none runs [s]."""
        self.need_fast = self.need_stand = self.need_coast = inf

    def edge(self, kind: Edge, t: float) -> list[Answer]:
        """See ``Machine.edge``."""
        return [] if self.phase == "drive" else super().edge(kind, t)

    def sample(self, t: float, seen: State) -> list[Answer]:
        """See ``Machine.sample``."""
        if self.phase != "drive":
            return super().sample(t, seen)
        passed, self.last = t - self.last, t
        w = self.windows
        fast = seen.running and seen.road >= w.above
        self.fast += passed * fast
        self.stood = self.stood + passed if self.fast and seen.running and seen.shut and seen.road < 1 else 0.0
        self.rested |= self.stood >= self.need_stand
        if not (seen.running and seen.shut and seen.road > 1):
            self.coast = None
        elif self.coast is not None:
            self.coast += passed
            if self.coast >= self.need_coast:
                self.coasts, self.coast = self.coasts + 1, -inf
        elif fast:
            self.coast = 0.0
        if self.fast < self.need_fast or self.coasts < w.coasts or not self.rested:
            return []
        self.phase = "closed"
        return self._written(t, "idle air")

    def _begin_drive(self, t: float) -> None:
        w = self.windows
        self.last, self.fast, self.stood, self.rested = t, 0.0, 0.0, False
        self.coasts, self.coast = 0, None
        self.need_fast, self.need_stand = self._least(w.fast, SLACK), self._least(w.stand, SLACK)
        self.need_coast = self._least(w.coast, SLACK)

    def _idled(self, t: float) -> list[Answer]:
        self.phase = "drive"
        self._begin_drive(t)
        return []
