"""A routine as its file says it: checked, but not yet compiled for a switch."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Literal

from tickover.attempts import Kind

BasisKind = Literal["common practice", "service information", "published"]
Family = Literal["power cycle", "relearn", "run-in", "drive"]
BoundKind = Literal["about", "at_least", "at_most", "between"]


@dataclass(frozen=True, slots=True)
class Bound:
    """A bound on a time between two moments, stated in one of four ways.

    Attributes:
        kind: the way it was stated.
        lo, hi: the times it allows [s]; ``hi`` is ``inf`` where it is open.
        aim_by: how far beyond ``lo`` to aim, where the file says so [s].
    """

    kind: BoundKind
    lo: float
    hi: float
    aim_by: float | None = None

    @property
    def words(self) -> str:
        """The bound for people.

        Example: ``Bound("about", 2, 4).words`` is ``"3 s, give or take 1"``.
        """
        if self.kind == "about":
            middle, give = (self.lo + self.hi) / 2, (self.hi - self.lo) / 2
            return f"{clock(middle)}, give or take {clock(give) if middle >= MINUTES_FROM else f'{give:.6g}'}"
        if self.kind == "at_least":
            return f"at least {clock(self.lo)}"
        if self.kind == "at_most":
            return f"within {clock(self.hi)}"
        return f"{clock(self.lo) if self.hi >= MINUTES_FROM else f'{self.lo:.6g}'} to {clock(self.hi)}"


MINUTES_FROM = 120
"""From here on times are said in minutes [s]."""


def clock(seconds: float) -> str:
    """Seconds for people: ``90 s``, and minutes from two on, as in ``5 min``, ``2 min 30 s``.

    Example: ``clock(150)`` is ``"2 min 30 s"``.
    """
    seconds = round(seconds, 6)
    if seconds < MINUTES_FROM or seconds != math.floor(seconds):
        return f"{seconds:.6g} s"
    minutes, rest = divmod(int(seconds), 60)
    return f"{minutes} min {rest} s" if rest else f"{minutes} min"


@dataclass(frozen=True, slots=True)
class Condition:
    """What must hold for time to count.

    Attributes:
        name: for people, unique within a routine, e.g. ``fan off`` or ``vehicle_speed at least 40 km/h``.
        signal: the quantity that shows it, where the file names one.
        lo, hi: its range in the signal's unit; ``None`` on an open side.
    """

    name: str
    signal: str | None = None
    lo: float | None = None
    hi: float | None = None

    @property
    def holds_at_start(self) -> bool:
        """Whether it is taken to hold when a routine begins.

        A fan, loads and a pedal are looked at in the set-up; what a signal shows, and a car that moves, has to be seen.
        """
        return self.signal is None and self.name not in {"fan on", "moving"}


@dataclass(frozen=True, slots=True)
class Need:
    """What must be so before a routine begins.

    Attributes:
        need, why: what, and the reason.
        signal: the quantity that shows it, where the file names one.
        lo, hi: its range in the signal's unit; ``None`` on an open side.
    """

    need: str
    why: str
    signal: str | None = None
    lo: float | None = None
    hi: float | None = None


@dataclass(frozen=True, slots=True)
class Basis:
    """What a routine rests on; ``source`` and ``clause`` say where it is written."""

    kind: BasisKind
    source: str = ""
    clause: str = ""


@dataclass(frozen=True, slots=True)
class Repeat:
    """Presses in a row: how many, and the bounds on each press, each gap, and the whole [s]."""

    times: int
    press: Bound
    gap: Bound
    span: Bound


@dataclass(frozen=True, slots=True)
class Step:
    """One step.

    Attributes:
        id: its name.
        line: where it stands in the file.
        kind: the event it is about.
        answer: true where the car gives it, so that nobody chooses its moment.
        after: the step its bound is counted from; ``None`` for the first.
        bound: when it may happen; ``None`` for the first.
        repeat: for presses in a row.
        load: which load goes on or off.
        speed: engine speed to hold [r/min].
        road_speed: road speed to keep [km/h].
        condition: time counts only while this holds.
        forbidden_until: step before which it is a harm.
        harm: what doing it early does.
        bus_silent: nothing may poll the car until this step.
        if_none: what to do where the answer does not come.
        caution, why, say, title: words of the file; empty where it has none.
    """

    id: str
    line: int
    kind: Kind
    answer: bool = False
    after: str | None = None
    bound: Bound | None = None
    repeat: Repeat | None = None
    load: str = ""
    speed: tuple[float, float] | None = None
    road_speed: tuple[float, float] | None = None
    condition: Condition | None = None
    forbidden_until: str | None = None
    harm: str = ""
    bus_silent: bool = False
    if_none: str = ""
    caution: str = ""
    why: str = ""
    say: str = ""
    title: str = ""


@dataclass(frozen=True, slots=True)
class Cycle:
    """Steps repeated in their order.

    Attributes:
        id, line: its name, and where it stands.
        times: rounds.
        steps: the steps of one round; the first one's bound is counted from the end of the round before.
        after, bound: when the first round begins; ``None`` where the routine begins with it.
        caution, why: words of the file.
    """

    id: str
    line: int
    times: int
    steps: tuple[Step, ...]
    after: str | None = None
    bound: Bound | None = None
    caution: str = ""
    why: str = ""


@dataclass(frozen=True)
class Routine:
    """A routine file, read and checked.

    Attributes:
        id, title: its names.
        kind: power cycle, relearn, run-in or drive.
        throttle: throttle kinds it suits.
        fits: free text on which cars.
        disturbs: 0 nothing … 3 everything learned.
        may_erase: whether codes or readiness may be erased.
        requires: routines to be done first.
        needs, signs, after_miss, cautions, basis: as the file says.
        steps: steps and cycles in their order.
        file: where it was read from.
        lines: line of each key of the head.
    """

    id: str
    title: str
    kind: Family
    disturbs: int
    may_erase: bool
    basis: Basis
    steps: tuple[Step | Cycle, ...]
    throttle: tuple[str, ...] = ("cable", "electronic")
    fits: str = ""
    requires: tuple[str, ...] = ()
    needs: tuple[Need, ...] = ()
    signs: tuple[str, ...] = ()
    after_miss: str = ""
    cautions: tuple[str, ...] = ()
    file: str = field(default="", compare=False)
    lines: dict[str, int] = field(default_factory=dict, compare=False)

    @property
    def flat_steps(self) -> tuple[Step, ...]:
        """All steps as written, those of a cycle once."""
        return tuple(s for item in self.steps for s in (item.steps if isinstance(item, Cycle) else (item,)))
