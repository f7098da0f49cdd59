"""How often each monitor completes per ignition cycle: from a car's in-use counters, or a wide guess."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from scipy.special import betaincinv

from tickover.readiness.names import COUNTERS

WORTH = 0.4
"""Independent trials that one counted ignition cycle is worth: cycles of one week are alike. Own choice, by panel."""

MOST_WORTH = 100.0
"""A long past is worth no more than this many trials about the coming weeks. Own choice, by panel."""

_GUESS_WORTH = 5.0
"""Trials that a guess is worth: wide, so that a few weeks of counting outweigh it. Own choice, by panel."""

_GUESSES: dict[str, tuple[float, float]] = {
    "misfire": (0.6, _GUESS_WORTH),
    "fuel system": (0.5, _GUESS_WORTH),
    "components": (0.7, _GUESS_WORTH),
    "catalyst": (0.22, _GUESS_WORTH),
    "heated catalyst": (0.22, _GUESS_WORTH),
    "evaporative system": (0.10, _GUESS_WORTH),
    "secondary air": (0.25, _GUESS_WORTH),
    "petrol particulate filter or A/C refrigerant": (0.15, _GUESS_WORTH),
    "oxygen sensor": (0.25, _GUESS_WORTH),
    "oxygen sensor heater": (0.5, _GUESS_WORTH),
    "EGR or valve timing": (0.25, _GUESS_WORTH),
    "NMHC catalyst": (0.12, _GUESS_WORTH),
    "NOx aftertreatment": (0.12, _GUESS_WORTH),
    "PM filter": (0.06, _GUESS_WORTH),
    "exhaust gas sensor": (0.25, _GUESS_WORTH),
    "boost pressure": (0.3, _GUESS_WORTH),
}
"""Mean and weight of the guess before counting. Own choice: the rule's lowest ratios (0.10 to 0.52 per counted trip,
from memory of 13 CCR 1968.2) times the share of ignition cycles that count as a trip, spread wide."""

_OTHER = (0.2, _GUESS_WORTH)


@dataclass(frozen=True, slots=True)
class Pace:
    """Completions per ignition cycle of one monitor, as a beta distribution.

    Attributes:
        monitor: its name.
        a, b: of the beta distribution, both positive.
        counted: whether this car's counters stand behind it.
        basis: in words.
    """

    monitor: str
    a: float
    b: float
    counted: bool
    basis: str

    @property
    def mean(self) -> float:
        """Expected completions per ignition cycle."""
        return self.a / (self.a + self.b)

    def interval(self, level: float = 0.9) -> tuple[float, float]:
        """Where it lies at a level."""
        tail = (1 - level) / 2
        return float(betaincinv(self.a, self.b, tail)), float(betaincinv(self.a, self.b, 1 - tail))


def pace_of(monitor: str, counters: Mapping[str, int]) -> Pace:
    """How often a monitor completes.

    Args:
        monitor: its name.
        counters: in-use counters by the standard's short names; empty where there are none.
    Returns: guess and count together. Where a monitor has several counters, the slowest in use decides.
    Source: completions over ignition cycles; the weights are our own choice, held by a panel of simulated owners.
    """
    mean, weight = _GUESSES.get(monitor, _OTHER)
    cycles = counters.get("IGNCNTR", 0)
    done = _completions(monitor, counters)
    if done is None or cycles <= 0:
        why = "no counter of this car tells" if counters else "no counters"
        return Pace(monitor, mean * weight, (1 - mean) * weight, counted=False, basis=f"a wide guess: {why}")
    name, count = done
    worth = min(cycles * WORTH, MOST_WORTH)
    share = min(1.0, count / cycles)
    return Pace(
        monitor,
        mean * weight + share * worth,
        (1 - mean) * weight + (1 - share) * worth,
        counted=True,
        basis=f"{name} {count} in {cycles} ignition cycles",
    )


def _completions(monitor: str, counters: Mapping[str, int]) -> tuple[str, int] | None:
    """The slowest counter in use: one whose conditions were met at least once, or that counted."""
    used = []
    for name in COUNTERS.get(monitor, ()):
        conditions = counters.get(name.replace("COMP", "COND"), 0)
        count = counters.get(name)
        if count is not None and (count or conditions):
            used.append((count, name))
    if not used:
        return None
    count, name = min(used)
    return name, count


def monitors_counted(counters: Mapping[str, int]) -> tuple[str, ...]:
    """The monitors that this car's counters know and use."""
    return tuple(name for name in COUNTERS if _completions(name, counters) is not None)


def paces(monitors: Iterable[str], counters: Mapping[str, int]) -> tuple[Pace, ...]:
    """``pace_of`` for several."""
    return tuple(pace_of(name, counters) for name in monitors)
