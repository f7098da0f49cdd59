"""The machines that watch ignition and pedal with the engine off: repeated presses, and rests with the key."""

from __future__ import annotations

from math import inf
from typing import ClassVar

import numpy as np

from tickover.engine.entry import DoubleHold, KeyOnRest, PedalRestLearning, Rest, SlowPresses, ThrottleStopLearning
from tickover.engine.watch_base import Machine, PedalMachine, spell
from tickover.engine.windows import Answer, Edge, Window, Writes


class _PressesMachine(PedalMachine):
    """So many presses, each of one length, with one gap, then the start."""

    first: Window
    down: Window
    gap: Window
    crank: Window
    presses = 2

    def __init__(self, rng: np.random.Generator) -> None:
        super().__init__(rng)
        self.count = 0

    def _crank_window(self) -> Window:
        return self.crank

    def _pedal(self, kind: Edge, t: float) -> list[Answer]:
        length = t - self.mark
        if kind == "press" and self.phase in ("first", "gap"):
            begins = self.phase == "first"
            self.count = 1 if begins else self.count + 1
            window = self.first if begins else self.gap
            what = "ignition on to press" if begins else f"release to press {self.count}"
            self.phase = "down"
        elif kind == "release" and self.phase == "down":
            window, what = self.down, f"press {self.count} lasted"
            self.phase = "crank" if self.count == self.presses else "gap"
        else:
            return self._close(t, "pedal moved where it should rest")
        self.mark = t
        return [] if self._fits(length, window) else self._close(t, spell(what, length, window))


class SlowPressesMachine(_PressesMachine):
    """Watches for ``SlowPresses``.

    Args:
        windows: its windows
        rng: see ``Machine``
    """

    def __init__(self, windows: SlowPresses, rng: np.random.Generator) -> None:
        super().__init__(rng)
        self.name, self.presses = windows.name, windows.presses
        self.first, self.down, self.gap, self.crank = windows.first_press, windows.down, windows.gap, windows.crank


class DoubleHoldMachine(_PressesMachine):
    """Watches for ``DoubleHold``.

    Args:
        windows: its windows
        rng: see ``Machine``
    """

    writes = ("idle air", "drag")

    def __init__(self, windows: DoubleHold, rng: np.random.Generator) -> None:
        super().__init__(rng)
        self.name = windows.name
        self.first, self.down, self.gap, self.crank = windows.press, windows.hold, windows.between, windows.crank


class RestMachine(Machine):
    """Watches for ``KeyOnRest``, ``PedalRestLearning`` or ``ThrottleStopLearning``: so many ignition ons and offs.

    Args:
        windows: its windows
        rng: see ``Machine``
    """

    _WRITES: ClassVar[dict[type[Rest], Writes]] = {
        KeyOnRest: "throttle stop",
        PedalRestLearning: "pedal rest",
        ThrottleStopLearning: "throttle stop",
    }

    def __init__(self, windows: Rest, rng: np.random.Generator) -> None:
        super().__init__(rng)
        self.windows = windows
        self.name = windows.name
        self.count = 0
        self.on_at: float | None = None
        self.off_at: float | None = None
        self._written_once = False
        """Once written, an ordinary start or a short ignition on is no broken try at another; a first rest done is."""

    def edge(self, kind: Edge, t: float) -> list[Answer]:
        """See ``Machine.edge``."""
        if kind == "on":
            return self._on(t)
        if kind == "off":
            return self._off(t)
        if kind == "stopped" and self.on_at is None:
            return []
        began = self.on_at is not None and kind != "stopped" and self._tries()
        self._begin_anew()
        moved = kind in ("press", "release")
        return self._wrong(t, "pedal moved where it should rest" if moved else "the engine was started") * began

    def tick(self, t: float) -> list[Answer]:
        """See ``Machine.tick``."""
        if self.due > t:
            return []
        now = self.due
        self._begin_anew()
        self._written_once = True
        return self._written(now, self._WRITES[type(self.windows)])

    def _tries(self) -> bool:
        """Whether what has happened so far is a try that can fail."""
        return self.count > 0 or not self._written_once

    def _begin_anew(self) -> None:
        self.count, self.on_at, self.off_at, self.due = 0, None, None, inf

    def _on(self, t: float) -> list[Answer]:
        began, last = self.off_at, self.due < inf
        self.off_at, self.on_at, self.due = None, t, inf
        if began is None:
            return []
        if last or not self._fits(t - began, self.windows.off):
            self.count = 0
            return self._wrong(t, spell("ignition was off", t - began, self.windows.off))
        return []

    def _off(self, t: float) -> list[Answer]:
        began, self.on_at = self.on_at, None
        if began is None:
            return []
        if not self._fits(t - began, self.windows.on):
            tried = self._tries()
            self._begin_anew()
            return self._wrong(t, spell("ignition was on", t - began, self.windows.on)) * tried
        self.count, self.off_at = self.count + 1, t
        if self.count == self.windows.times:
            self.due = t + self._least(self.windows.off)
        return []
