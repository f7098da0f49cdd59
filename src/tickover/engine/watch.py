"""The machines of pedal count, pedal hold and power cycle, and the choice of machine for an entry.

See ``entry`` for the windows. The others are in ``watch_key`` (engine off) and ``watch_running``.
"""

from __future__ import annotations

from collections.abc import Callable
from math import inf
from typing import Any

import numpy as np

from tickover.engine.entry import (
    DoubleHold,
    DriveIn,
    Entry,
    FastRunIn,
    KeyOnRest,
    LoadsInTurn,
    PedalCount,
    PedalHold,
    PedalRestLearning,
    PowerCycle,
    RestAndIdle,
    RunInIdle,
    SlowPresses,
    ThrottleStopLearning,
)
from tickover.engine.watch_base import Machine, PedalMachine, spell
from tickover.engine.watch_key import DoubleHoldMachine, RestMachine, SlowPressesMachine
from tickover.engine.watch_loads import LoadsInTurnMachine
from tickover.engine.watch_running import DriveInMachine, FastRunInMachine, RestAndIdleMachine, RunInIdleMachine
from tickover.engine.windows import GREY, Answer, Edge, Window


class PedalCountMachine(PedalMachine):
    """Watches for ``PedalCount``.

    Args:
        windows: its windows
        rng: see ``Machine``
    """

    def __init__(self, windows: PedalCount, rng: np.random.Generator) -> None:
        super().__init__(rng)
        self.windows = windows
        self.name = windows.name
        self.count = 0
        self.begun = 0.0
        self.lit_at = inf

    def _crank_window(self) -> Window:
        return self.windows.crank

    def _close(self, t: float, why: str) -> list[Answer]:
        lamp = [self._lamp(t, "off")] if self.phase in ("flashing", "lit", "crank", "start") else []
        return lamp + super()._close(t, why)

    def _pedal(self, kind: Edge, t: float) -> list[Answer]:
        if kind == "press":
            return {"first": self._first, "gap": self._again, "rest": self._hold}.get(self.phase, self._stray)(t)
        return {
            "pressed": self._let_go,
            "held": self._too_soon,
            "flashing": self._too_soon,
            "lit": self._released,
        }.get(self.phase, self._stray)(t)

    def _stray(self, t: float) -> list[Answer]:
        return self._close(t, "pedal moved where it should rest")

    def _begin_press(self, t: float) -> list[Answer]:
        self.phase, self.mark = "pressed", t
        return []

    def _first(self, t: float) -> list[Answer]:
        length = t - self.mark
        self.count, self.begun = 0, t
        self._begin_press(t)
        if not self._fits(length, self.windows.first_press):
            return self._close(t, spell("ignition on to first press", length, self.windows.first_press))
        return []

    def _let_go(self, t: float) -> list[Answer]:
        length = t - self.mark
        self.count += 1
        if not self._fits(length, self.windows.press):
            return self._close(t, spell(f"press {self.count} took", length, self.windows.press))
        self.phase, self.mark = "gap", t
        if self.count == self.windows.presses:
            self.phase = "rest"
            if not self._fits(t - self.begun, self.windows.span):
                return self._close(t, spell("all presses took", t - self.begun, self.windows.span))
        return []

    def _again(self, t: float) -> list[Answer]:
        length = t - self.mark
        if not self._fits(length, self.windows.gap):
            return self._close(t, spell(f"gap after press {self.count} was", length, self.windows.gap))
        return self._begin_press(t)

    def _hold(self, t: float) -> list[Answer]:
        length = t - self.mark
        if not self._fits(length, self.windows.hold_after):
            return self._close(t, spell("last release to the held press", length, self.windows.hold_after))
        self.phase, self.mark = "held", t
        self.due = t + float(self.rng.uniform(*self.windows.flashing))
        self.lit_at = t + float(self.rng.uniform(*self.windows.lit))
        return []

    def _too_soon(self, t: float) -> list[Answer]:
        return self._close(t, "pedal released before the lamp stayed lit; nothing was written")

    def _released(self, t: float) -> list[Answer]:
        length = t - self.mark
        if not self._fits(length, self.windows.release):
            return self._close(t, spell("lamp lit to release", length, self.windows.release))
        self.phase, self.mark, self.due = "crank", t, inf
        return []

    def tick(self, t: float) -> list[Answer]:
        """See ``Machine.tick``."""
        said: list[Answer] = []
        while self.due <= t:
            now = self.due
            if self.phase == "held":
                self.phase, self.due = "flashing", self.lit_at
                said.append(self._lamp(now, "flashing"))
            elif self.phase == "flashing":
                self.phase, self.mark = "lit", now
                self.due = now + self.windows.release[1] + GREY
                said.append(self._lamp(now, "lit"))
            else:
                said += self._close(now, "pedal held on after the lamp stayed lit")
        return said


class PedalHoldMachine(PedalMachine):
    """Watches for ``PedalHold``.

    Args:
        windows: its windows
        rng: see ``Machine``
    """

    def __init__(self, windows: PedalHold, rng: np.random.Generator) -> None:
        super().__init__(rng)
        self.windows = windows
        self.name = windows.name

    def _crank_window(self) -> Window:
        return self.windows.crank

    def _pedal(self, kind: Edge, t: float) -> list[Answer]:
        length = t - self.mark
        wanted = ("press", "first") if kind == "press" else ("release", "held")
        if (kind, self.phase) != wanted:
            return self._close(t, "pedal moved where it should rest")
        begun = kind == "press"
        window = self.windows.press if begun else self.windows.hold
        self.phase, self.mark = ("held", t) if begun else ("crank", t)
        if not self._fits(length, window):
            return self._close(t, spell("ignition on to press" if begun else "held", length, window))
        return []


class PowerCycleMachine(Machine):
    """Watches for ``PowerCycle``.

    Args:
        windows: its windows
        after_run: how long the controller stays awake after ignition off [s]
        rng: see ``Machine``
    """

    def __init__(self, windows: PowerCycle, after_run: float, rng: np.random.Generator) -> None:
        super().__init__(rng)
        self.windows = windows
        self.name = windows.name
        self.after_run = after_run
        self.count = 0
        self.on_at: float | None = None
        self.off_at: float | None = None

    def edge(self, kind: Edge, t: float) -> list[Answer]:
        """See ``Machine.edge``."""
        if kind == "on":
            return self._on(t)
        if kind == "off":
            return self._off(t)
        counted, self.count, self.on_at, self.off_at = self.count, 0, None, None
        if not counted:
            return []
        return [] if counted >= self.windows.times else self._wrong(t, f"{kind} after {counted} of the cycles")

    def _off(self, t: float) -> list[Answer]:
        began, self.on_at = self.on_at, None
        if began is None:
            return []
        self.off_at = t
        if not self._fits(t - began, self.windows.on):
            self.count, self.off_at = 0, None
            return self._wrong(t, spell("ignition was on", t - began, self.windows.on))
        return []

    def _on(self, t: float) -> list[Answer]:
        began, self.off_at, self.on_at = self.off_at, None, t
        if began is None:
            return []
        length = t - began
        window = self.windows.off_after_run if self.after_run else self.windows.off
        if length < self.after_run:
            self.count = 0
            return self._wrong(t, f"ignition was off {length:.2f} s, the controller was still awake")
        if not self._fits(length, window):
            self.count = 0
            return self._wrong(t, spell("ignition was off", length, window))
        self.count += 1
        if self.count < self.windows.times:
            return []
        return [Answer("reset", t, entry=self.name), Answer("outcome", t, "written", self.name)]


def machine(entry: Entry, after_run: float, rng: np.random.Generator) -> Machine:
    """The machine that watches for an entry.

    Args:
        entry: its windows
        after_run: how long the controller stays awake after ignition off [s]; matters to the power cycle only
        rng: for the lamp and the band that promises nothing
    """
    if isinstance(entry, PowerCycle):
        return PowerCycleMachine(entry, after_run, rng)
    for kind, watcher in _MACHINES.items():
        if isinstance(entry, kind):
            made: Machine = watcher(entry, rng)
            return made
    raise TypeError(f"no machine watches for {type(entry).__name__}")


_MACHINES: dict[type[Any], Callable[[Any, np.random.Generator], Machine]] = {
    PedalCount: PedalCountMachine,
    PedalHold: PedalHoldMachine,
    SlowPresses: SlowPressesMachine,
    DoubleHold: DoubleHoldMachine,
    KeyOnRest: RestMachine,
    PedalRestLearning: RestMachine,
    ThrottleStopLearning: RestMachine,
    RunInIdle: RunInIdleMachine,
    FastRunIn: FastRunInMachine,
    RestAndIdle: RestAndIdleMachine,
    DriveIn: DriveInMachine,
    LoadsInTurn: LoadsInTurnMachine,
}
