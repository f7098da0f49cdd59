"""How well a person times: how an interval that is aimed at comes out, and whole attempts drawn from that."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from tickover.errors import TimingError
from tickover.timing.aim import Aim
from tickover.timing.plan import Plan

Floats = NDArray[np.float64]

LAPSE_WIDENS = 5.0
"""A lapse has this many times the usual standard deviation. Own choice."""

CUED_SD = 0.035
"""Standard deviation of an act done to a sounded cue [s], where the person's own is not known. FACTS give 25–60 ms."""


@dataclass(frozen=True, slots=True)
class Person:
    """A person's timing: an interval aimed at d comes out ``N((1 + scale)·d + bias, (cv·d)² + motor_sd²)``.

    Attributes:
        bias: constant error [s]; positive is late.
        scale: pace error, a share of the interval.
        cv: coefficient of variation of a timed interval.
        motor_sd: standard deviation of the movement itself [s].
        event_sd: standard deviation of a cued act about its cue [s]; None takes ``CUED_SD``.
        lapse: share of acts that lapse, which widens their error ``LAPSE_WIDENS`` times.
    Raises: TimingError for a negative spread, or a lapse outside 0 to 1.
    Valid for: about 0.1 to 60 s without a clock to look at.
    Source: scalar timing, after Gibbon, Psychological Review 84 (1977) 279–325; from memory. The default cv is the
        low end of 0.10–0.16 found with counting prevented; from memory.
    Example: ``Person().spread(5.0)`` is 0.5006 s.
    """

    bias: float = 0.0
    scale: float = 0.0
    cv: float = 0.10
    motor_sd: float = 0.025
    event_sd: float | None = None
    lapse: float = 0.0

    def __post_init__(self) -> None:
        for name in ("cv", "motor_sd", "event_sd"):
            value = getattr(self, name)
            if value is not None and not 0 <= value < math.inf:
                raise TimingError(f"a person's {name} cannot be {value:g}")
        if not 0 <= self.lapse <= 1:
            raise TimingError(f"a share of lapses is between 0 and 1, not {self.lapse:g}")

    def mean(self, d: float) -> float:
        """Mean of an interval aimed at ``d`` [s]."""
        return (1.0 + self.scale) * d + self.bias

    def spread(self, d: float) -> float:
        """Standard deviation of an interval aimed at ``d`` [s], lapses left out."""
        return math.hypot(self.cv * d, self.motor_sd)

    @property
    def cued_sd(self) -> float:
        """Standard deviation of a cued act about its cue [s]."""
        return CUED_SD if self.event_sd is None else self.event_sd


def simulate(
    plan: Plan,
    aims: Mapping[str, Aim],
    person: Person,
    rng: Generator,
    *,
    answers: Mapping[str, float] | None = None,
    cued: frozenset[str] = frozenset(),
    happened: Mapping[str, float] | None = None,
) -> dict[str, float]:
    """One attempt: when each event happens.

    Args:
        plan: the plan.
        aims: from ``aims``; an event without one must have happened at the origin or be an answer.
        person: who performs it.
        rng: randomness; the same state gives the same attempt.
        answers: how long each answer takes [s]; drawn evenly from its window where not given (own choice).
        cued: acts done to a cue. They fall about the aimed schedule itself, counted from the origin or from the answer
            that they wait for, so errors before them do not add up.
        happened: what has happened and when [s since the origin].
    Returns: time of every event [s since the origin]. Nothing is cut off at a window; only an act never comes before
        the event that it is timed from.
    Raises: TimingError if an act to come has no aim.
    """
    many = {e: np.array([t]) for e, t in (answers or {}).items()}
    drawn = simulate_many(plan, aims, person, rng, 1, answers=many, cued=cued, happened=happened)
    return {e: float(t[0]) for e, t in drawn.items()}


def simulate_many(
    plan: Plan,
    aims: Mapping[str, Aim],
    person: Person,
    rng: Generator,
    n: int,
    *,
    answers: Mapping[str, Floats] | None = None,
    cued: frozenset[str] = frozenset(),
    happened: Mapping[str, float] | None = None,
) -> dict[str, Floats]:
    """As ``simulate``, ``n`` attempts at once: each event's times, shape (n,) [s since the origin]."""
    happened = {plan.origin: 0.0, **(happened or {})}
    times = {e: np.full(n, t) for e, t in happened.items()}
    due = dict(times)  # the schedule that cues would follow
    windows = {w.event: w for w in plan.answers}
    for event in in_order(plan, aims, happened):
        if event in happened:
            continue
        if event in windows:
            w = windows[event]
            took = (answers or {}).get(event)
            took = rng.uniform(w.lo, w.hi, n) if took is None else np.broadcast_to(took, n)
            times[event] = due[event] = times[w.after] + took
            continue
        aim = aims[event]
        due[event] = due[aim.after] + aim.delay
        noise = rng.standard_normal(n)
        if person.lapse > 0:
            noise = np.where(rng.random(n) < person.lapse, LAPSE_WIDENS * noise, noise)
        before = times[aim.after]
        if event in cued:
            times[event] = np.maximum(before, due[event] + person.cued_sd * noise)
        else:
            times[event] = before + np.maximum(0.0, person.mean(aim.delay) + person.spread(aim.delay) * noise)
    return times


def in_order(plan: Plan, aims: Mapping[str, Aim], happened: Mapping[str, float]) -> list[str]:
    """Events but the origin, each after the one it is timed or counted from.

    Raises: TimingError if an act to come has no aim.
    """
    after = {w.event: w.after for w in plan.answers} | {e: a.after for e, a in aims.items()}
    after |= {e: plan.origin for e in happened}
    order = [plan.origin]
    todo = [e for e in plan.events if e != plan.origin]
    while todo:
        ready = [e for e in todo if after.get(e) in order]
        if not ready:
            raise TimingError(f"there is no aim for {', '.join(f'“{e}”' for e in todo)}")
        order += ready
        todo = [e for e in todo if e not in ready]
    return order[1:]
