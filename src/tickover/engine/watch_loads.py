"""The machine that watches for ignition cycles, then loads in turn."""

from __future__ import annotations

from math import inf

import numpy as np

from tickover.engine.entry import LoadsInTurn
from tickover.engine.watch_base import KEY_AND_PEDAL, Machine, spell
from tickover.engine.windows import Answer, Edge, State, Window

_LOADS: frozenset[Edge] = frozenset(
    {
        "brake press",
        "brake release",
        "gear drive",
        "gear neutral",
        "load on",
        "load off",
        "compressor on",
        "compressor off",
    }
)


class LoadsInTurnMachine(Machine):
    """Watches for ``LoadsInTurn``. Each phase knows the one edge that ends it; the brake goes beside.

    Args:
        windows: its windows
        rng: see ``Machine``
    """

    hears = KEY_AND_PEDAL | _LOADS
    samples = True

    def __init__(self, windows: LoadsInTurn, rng: np.random.Generator) -> None:
        super().__init__(rng)
        self.windows = windows
        self.name = windows.name
        w = windows
        self._steps: tuple[tuple[Edge, Window, str], ...] = (
            ("off", w.on_first, "first ignition on lasted"),
            ("on", w.off, "first ignition off lasted"),
            ("off", w.on, "second ignition on lasted"),
            ("on", w.off, "second ignition off lasted"),
            ("crank", w.start, "ignition on to start took"),
            ("running", (0.0, inf), "start took"),
            ("compressor on", (0.0, inf), "warming took"),
            ("gear drive", w.to_drive, "compressor on to drive gear took"),
            ("compressor off", w.in_drive, "drive gear to compressor off took"),
            ("gear neutral", w.to_neutral, "compressor off to P or N took"),
            ("off", (0.0, inf), "idle took"),
        )
        self._place = -1
        self._mark = 0.0
        self._braked = False
        self._coolant = -inf

    def edge(self, kind: Edge, t: float) -> list[Answer]:
        """See ``Machine.edge``."""
        if kind in ("brake press", "brake release"):
            return self._brake(kind == "brake press", t)
        if self._place < 0:
            return self._begin(kind, t)
        wanted, window, what = self._steps[self._place]
        if kind != wanted:
            return self._close(kind, t, f"{kind} where {wanted} was due")
        if not self._fits(t - self._mark, window):
            return self._close(kind, t, spell(what, t - self._mark, window))
        if kind == "compressor on" and self._coolant < self.windows.warm:
            return self._close(kind, t, f"coolant {self._coolant:.0f} °C, wanted {self.windows.warm:g} °C or more")
        if kind == "gear drive" and not self._braked:
            return self._close(kind, t, "a drive gear without the brake")
        self._place, self._mark = self._place + 1, t
        if self._place < len(self._steps):
            return []
        self._place = -1
        return self._written(t, "idle air", "loads", "drag")

    def sample(self, t: float, seen: State) -> list[Answer]:
        """See ``Machine.sample``."""
        self._coolant = seen.coolant
        warming = self._place >= 0 and self._steps[self._place][0] == "compressor on"
        if self._place > 5 and not warming and not seen.shut:
            return self._close("press", t, "pedal moved where it should rest")
        return []

    def _begin(self, kind: Edge, t: float) -> list[Answer]:
        if kind == "on":
            self._place, self._mark = 0, t
        return []

    def _brake(self, held: bool, t: float) -> list[Answer]:
        self._braked = held
        in_gear = self._place >= 0 and self._steps[self._place][0] in ("compressor off", "gear neutral")
        return [] if held or not in_gear else self._close("brake release", t, "brake let go in a drive gear")

    def _close(self, kind: Edge, t: float, why: str) -> list[Answer]:
        """Leave the entry; silent where a plain start or drive is no try at it. An ignition on begins it anew."""
        tried = self._place > 1
        self._place = -1
        self._begin(kind, t)
        return self._wrong(t, why) if tried else []
