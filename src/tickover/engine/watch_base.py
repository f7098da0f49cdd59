"""What every machine that watches for a relearn entry has in common."""

from __future__ import annotations

from math import inf

import numpy as np

from tickover.engine.windows import GREY, Answer, Edge, Lamp, State, Window, Writes, margin

KEY_AND_PEDAL: frozenset[Edge] = frozenset({"off", "on", "crank", "press", "release", "running", "stopped"})


class Machine:
    """One entry, watching. Edges must come in order of time.

    Args:
        rng: drives the lamp's instants and the band that promises nothing

    Attributes:
        due: next instant at which the machine acts by itself [s]; infinite where it only waits
        hears: the edges it is told of
        samples: whether it wants to be shown the car's state every 0.2 s
    """

    name = ""
    hears: frozenset[Edge] = KEY_AND_PEDAL
    samples = False

    def __init__(self, rng: np.random.Generator) -> None:
        self.rng = rng
        self.due = inf

    def edge(self, kind: Edge, t: float) -> list[Answer]:
        """Take one edge.

        Args:
            kind: what happened
            t: its true instant [s], not before the last one
        Returns: what the machine answers at once.
        """
        raise NotImplementedError

    def tick(self, t: float) -> list[Answer]:
        """Let time pass to ``t`` [s], before any edge at ``t``; a machine that only waits has nothing to say."""
        del t
        return []

    def sample(self, t: float, seen: State) -> list[Answer]:
        """See the car's state.

        Args:
            t: now [s], not before the last edge
            seen: the state
        Returns: what the machine answers.
        """
        raise NotImplementedError

    def _fits(self, length: float, window: Window) -> bool:
        """Whether the controller takes ``length`` for inside the window [s]."""
        below, above = window[0] - length, length - window[1]
        if below <= 1e-9 and above <= 1e-9:
            return True
        if below >= margin(window[0]) - 1e-9 or above >= margin(window[1]) - 1e-9:
            return False
        return bool(self.rng.random() < 0.5)

    def _least(self, window: Window, slack: float = 0.0) -> float:
        """From when on an open-ended time is taken for long enough [s]: drawn within the band below its bound.

        Args:
            window: its lower bound counts
            slack: by how much the count may fall behind the truth [s]
        """
        wide = max(margin(window[0]), slack + GREY)
        return max(float(self.rng.uniform(window[0] - wide, window[0] - slack)), 0.0)

    def _written(self, t: float, *writes: Writes) -> list[Answer]:
        return [Answer("write", t, entry=self.name, writes=writes), Answer("outcome", t, "written", self.name)]

    def _wrong(self, t: float, why: str) -> list[Answer]:
        return [Answer("outcome", t, f"rejected: {why}", self.name)]

    def _lamp(self, t: float, state: Lamp) -> Answer:
        return Answer("lamp", t, state, self.name)


def spell(what: str, length: float, window: Window) -> str:
    """“press 1.05 s, wanted 0.25 to 0.9 s”."""
    bounds = f"{window[0]:g} s or more" if window[1] == inf else f"{window[0]:g} to {window[1]:g} s"
    return f"{what} {length:.2f} s, wanted {bounds}"


class PedalMachine(Machine):
    """Shared by all pedal entries: the start that writes, and the ways of being closed."""

    writes: tuple[Writes, ...] = ("idle air",)

    def __init__(self, rng: np.random.Generator) -> None:
        super().__init__(rng)
        self.phase = "closed"
        self.mark = 0.0

    def edge(self, kind: Edge, t: float) -> list[Answer]:
        """See ``Machine.edge``."""
        if kind == "on":
            self.phase, self.mark, self.due = "first", t, inf
            return []
        if kind == "off":
            return self._close(t, "ignition switched off")
        if kind in ("running", "stopped"):
            return self._started(kind, t)
        if kind == "crank":
            return self._crank(t)
        return self._pedal(kind, t)

    def _pedal(self, kind: Edge, t: float) -> list[Answer]:
        raise NotImplementedError

    def _crank_window(self) -> Window:
        raise NotImplementedError

    def _close(self, t: float, why: str) -> list[Answer]:
        """Leave the entry; silent where it had not begun."""
        began = self.phase not in ("closed", "first")
        self.phase, self.due = "closed", inf
        return self._wrong(t, why) if began else []

    def _crank(self, t: float) -> list[Answer]:
        if self.phase != "crank":
            return self._close(t, "started too early")
        length = t - self.mark
        if not self._fits(length, self._crank_window()):
            return self._close(t, spell("release to start", length, self._crank_window()))
        self.phase = "start"
        return []

    def _started(self, kind: Edge, t: float) -> list[Answer]:
        if self.phase != "start":
            return self._close(t, "the engine runs")
        if kind == "stopped":
            return self._close(t, "the engine did not start")
        self.phase, self.due = "closed", inf
        return self._written(t, *self.writes)
