"""The shape every other file here works on: events, bounds between them, answers that the world gives, counted time."""

from __future__ import annotations

import math
from dataclasses import dataclass

from tickover.errors import TimingError


@dataclass(frozen=True, slots=True)
class Constraint:
    """``lo ≤ t(b) − t(a) ≤ hi``.

    Attributes:
        a, b: names of events.
        lo, hi: bounds [s]; ``-inf`` and ``inf`` leave a side open.
        label: what a person would call it, e.g. “presses: gap 3”.
        group: the step it belongs to.
    """

    a: str
    b: str
    lo: float
    hi: float
    label: str = ""
    group: str = ""


@dataclass(frozen=True, slots=True)
class Answer:
    """An event that the world gives: it comes somewhere in ``lo..hi`` after ``after``; nobody chooses when.

    Attributes:
        event: its name.
        after: the event it is counted from.
        lo, hi: the window in which it may come [s], finite.
        label, group: as in Constraint.
    """

    event: str
    after: str
    lo: float
    hi: float
    label: str = ""
    group: str = ""


@dataclass(frozen=True, slots=True)
class Counter:
    """Time that counts only while a condition holds: ``event`` may come at ``lo..hi`` of counted time since ``start``.

    Attributes:
        event: the event that ends the count.
        start: the event that begins it.
        condition: name of the condition; while it is false the count stands.
        lo, hi: bounds on the counted time [s].
        label, group: as in Constraint.
    """

    event: str
    start: str
    condition: str
    lo: float
    hi: float
    label: str = ""
    group: str = ""


@dataclass(frozen=True)
class Plan:
    """Timed events under bounds.

    Args:
        events: every event, the origin first.
        constraints: bounds between them.
        answers: which of the events are given by the world, and when they may come.
        counters: counted time that may pause.
    Raises: TimingError if an event is named twice or not at all, a bound is upside down, an answer's window is open
        or negative, or an event has two answers.
    """

    events: tuple[str, ...]
    constraints: tuple[Constraint, ...] = ()
    answers: tuple[Answer, ...] = ()
    counters: tuple[Counter, ...] = ()

    def __post_init__(self) -> None:
        known = set(self.events)
        if len(known) != len(self.events) or not self.events:
            raise TimingError("a plan names each event once, and has at least one")
        used = {e for c in self.constraints for e in (c.a, c.b)}
        used |= {e for w in self.answers for e in (w.event, w.after)}
        used |= {e for k in self.counters for e in (k.event, k.start)}
        if used - known:
            raise TimingError(f"bounds name events that the plan does not have: {', '.join(sorted(used - known))}")
        for c in self.constraints:
            if c.lo > c.hi or math.isnan(c.lo) or math.isnan(c.hi):
                raise TimingError(f"bound “{c.label}” is upside down: {c.lo:g} to {c.hi:g}")
        for k in self.counters:
            if not 0 <= k.lo <= k.hi:
                raise TimingError(f"counter “{k.label}” is upside down or negative: {k.lo:g} to {k.hi:g}")
        for w in self.answers:
            if not 0 <= w.lo <= w.hi < math.inf:
                raise TimingError(f"the window of “{w.event}” must be finite and not negative: {w.lo:g} to {w.hi:g}")
        if len({w.event for w in self.answers}) != len(self.answers):
            raise TimingError("an event has two answers")

    @property
    def origin(self) -> str:
        """The event at time 0."""
        return self.events[0]

    @property
    def acts(self) -> tuple[str, ...]:
        """Events that the performer chooses."""
        given = {w.event for w in self.answers}
        return tuple(e for e in self.events if e not in given)
