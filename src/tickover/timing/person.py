"""How well a person times: how an interval that is aimed at comes out, and whole attempts drawn from that."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from tickover.errors import TimingError
from tickover.timing.aim import Aim
from tickover.timing.plan import Plan

Floats = NDArray[np.float64]

CueFrom = Literal["schedule", "last act"]
"""What a cue is counted from: a schedule made beforehand, as a sound file plays it; or the event that the act is timed
from, as it happened, by a coach who hears it."""

LAPSE_WIDENS = 5.0
"""A lapse has this many times the usual standard deviation. Own choice."""

CUED_SD = 0.035
"""Standard deviation of an act done to a sounded cue [s], where the person's own is not known. FACTS give 25–60 ms."""


@dataclass(frozen=True, slots=True)
class Person:
    """A person's timing: an interval aimed at d is ``N((1 + scale)·d + bias, (cv·d)² + count_sd²·d + motor_sd²)``.

    Attributes:
        bias: constant error [s]; positive is late.
        scale: pace error, a share of the interval.
        cv: coefficient of variation of a timed interval.
        motor_sd: standard deviation of the movement itself [s].
        event_sd: standard deviation of a cued act about its cue [s]; None takes ``CUED_SD``.
        lapse: share of acts that lapse, which widens their error ``LAPSE_WIDENS`` times.
        count_sd: standard deviation of one counted second [s]; 0 for somebody who does not count. See ``Counting``.
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
    count_sd: float = 0.0

    def __post_init__(self) -> None:
        for name in ("cv", "motor_sd", "event_sd", "count_sd"):
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
        return math.sqrt((self.cv * d) ** 2 + self.count_sd**2 * d + self.motor_sd**2)

    @property
    def cued_sd(self) -> float:
        """Standard deviation of a cued act about its cue [s]."""
        return CUED_SD if self.event_sd is None else self.event_sd


@dataclass(frozen=True, slots=True)
class Counting:
    """Somebody who counts aloud: n counts of ``count`` seconds, each with an error of its own.

    The errors of the counts are independent, so their variance grows with the number of counts and the coefficient of
    variation falls with its root. The pace of the whole differs from one time to the next, which no counting averages
    out: the coefficient of variation never falls below ``pace_sd``.

    Attributes:
        per_count_sd: standard deviation of one count, as a share of it.
        pace_sd: standard deviation of the pace from one interval to the next, as a share.
        count: length of one count [s].
        bias, scale, motor_sd: as for ``Person``.
    Raises: TimingError for a negative spread, or a count that is not positive.
    Valid for: intervals of one count and more.
    Source: variance in proportion to the number of counts, after Hinton & Rao, Psychonomic Bulletin & Review 11 (2004)
        24–30; from memory. 5 % a count and the floor of 2 % are own choice.
    Example: ``Counting().spread(16.0)`` is 0.378 s; without counting it would be 1.6 s.
    """

    per_count_sd: float = 0.05
    pace_sd: float = 0.02
    count: float = 1.0
    bias: float = 0.0
    scale: float = 0.0
    motor_sd: float = 0.025

    def __post_init__(self) -> None:
        if not 0 < self.count < math.inf or not 0 <= self.per_count_sd < math.inf:
            raise TimingError(f"somebody cannot count {self.count:g} s with a spread of {self.per_count_sd:g}")
        self.person()

    def mean(self, d: float) -> float:
        """Mean of an interval aimed at ``d`` [s]."""
        return self.person().mean(d)

    def spread(self, d: float) -> float:
        """Standard deviation of an interval aimed at ``d`` [s]."""
        return self.person().spread(d)

    def person(self) -> Person:
        """The same as a person, for odds and aims: n counts of ``count`` seconds are d seconds."""
        return Person(
            bias=self.bias,
            scale=self.scale,
            cv=self.pace_sd,
            motor_sd=self.motor_sd,
            count_sd=self.per_count_sd * math.sqrt(self.count),
        )


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
    cue_from: CueFrom = "schedule",
) -> dict[str, Floats]:
    """As ``simulate``, ``n`` attempts at once: each event's times, shape (n,) [s since the origin].

    ``cue_from``: what cues are counted from; “last act”: each from the event that its act is timed from, as it came.
    """
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
        if event in cued and cue_from == "last act":
            times[event] = before + np.maximum(0.0, aim.delay + person.cued_sd * noise)
        elif event in cued:
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
