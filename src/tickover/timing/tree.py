"""Events as a tree of independent intervals: how a person who aims as told would perform a plan."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from scipy.special import ndtr

from tickover.timing.aim import Aim
from tickover.timing.chain import Interval
from tickover.timing.network import TOLERANCE, Bound, ends_of, label_of
from tickover.timing.person import LAPSE_WIDENS, CueFrom, Person, in_order
from tickover.timing.plan import Plan

SURE = 1e-9
"""A bound that is broken less often than this is left out of the structure."""


@dataclass(frozen=True, slots=True)
class Path:
    """A bound as a sum over intervals: which of them count forwards and backwards, and what the sum comes to [s].

    Attributes:
        label: of the bound.
        plus, minus: the intervals, by the event that ends them.
        lo, hi: what the bound allows.
        mean, sd: of the sum, the spread taken wide.
        least, most: where all but nothing of it lies.
    """

    label: str
    plus: tuple[str, ...]
    minus: tuple[str, ...]
    lo: float
    hi: float
    mean: float
    sd: float
    least: float
    most: float

    @property
    def sure(self) -> bool:
        """Whether breaking it is so unlikely that it may be left out, by a normal sum with wide tails."""
        if self.lo - TOLERANCE <= self.least and self.most <= self.hi + TOLERANCE:
            return True
        if self.sd == 0:
            return self.lo - TOLERANCE <= self.mean <= self.hi + TOLERANCE
        late, early = (self.hi - self.mean) / self.sd, (self.mean - self.lo) / self.sd
        return bool(ndtr(-late) + ndtr(-early) < SURE)


@dataclass(frozen=True, slots=True)
class Tree:
    """Every event hangs on the one that it is timed from, by an interval.

    Attributes:
        above: the event that each but the origin hangs on, in an order in which they can happen.
        interval: how far below it.
        heels: acts cued by a schedule, and the event that they may not come before; what would fall before it is taken
            to happen with it, which no sum of intervals shows.
    """

    above: dict[str, str]
    interval: dict[str, Interval]
    heels: dict[str, str]

    def line(self, event: str) -> list[str]:
        """The event and all that it hangs on, up to the origin."""
        line = [event]
        while line[-1] in self.above:
            line.append(self.above[line[-1]])
        return line

    def between(self, a: str, b: str) -> tuple[list[str], list[str]]:
        """Intervals that ``t(b) − t(a)`` is the sum of: those that count forwards, those that count backwards."""
        up, down = self.line(a), self.line(b)
        common = next(e for e in down if e in up)
        return down[: down.index(common)][::-1], up[: up.index(common)][::-1]

    def _varies(self, event: str) -> bool:
        interval = self.interval[event]
        return interval.sd > 0 or (interval.even is not None and interval.even[1] > interval.even[0])

    def _fixed(self, event: str) -> float:
        return 0.0 if self._varies(event) else self.interval[event].moments[0]

    def path(self, bound: Bound) -> Path:
        """A bound as a sum over the intervals between its ends."""
        return self.sum_of(*ends_of(bound), bound.lo, bound.hi, label_of(bound))

    def sum_of(self, a: str, b: str, lo: float, hi: float, label: str = "") -> Path:
        """``lo ≤ t(b) − t(a) ≤ hi`` [s] as a sum over the intervals between them."""
        plus, minus = self.between(a, b)
        gone = math.fsum(self._fixed(e) for e in plus) - math.fsum(self._fixed(e) for e in minus)
        lo, hi = lo - gone, hi - gone
        plus, minus = ([e for e in part if self._varies(e)] for part in (plus, minus))
        if minus and not plus:
            plus, minus, lo, hi = minus, plus, -hi, -lo
        forth, back = ([self.interval[e] for e in part] for part in (plus, minus))
        return Path(
            label,
            tuple(plus),
            tuple(minus),
            lo,
            hi,
            mean=math.fsum(x.moments[0] for x in forth) - math.fsum(x.moments[0] for x in back),
            sd=math.sqrt(math.fsum(x.widest**2 for x in (*forth, *back))),
            least=math.fsum(x.support[0] for x in forth) - math.fsum(x.support[1] for x in back),
            most=math.fsum(x.support[1] for x in forth) - math.fsum(x.support[0] for x in back),
        )

    def overtaking(self) -> str:
        """A cued act that could well come before the event it is timed from; empty if none could."""
        for event, before in self.heels.items():
            path = self.sum_of(before, event, 0.0, math.inf)
            # The sum may have been turned about; either way it stays inside its bound or the act has overtaken.
            if not path.sure and not _likely(path):
                return event
        return ""


RARELY = 1e-5
"""An act that would overtake the event before it less often than this is taken never to. Own choice."""


def _likely(path: Path) -> bool:
    if path.sd == 0:
        return path.sure
    late, early = (path.hi - path.mean) / path.sd, (path.mean - path.lo) / path.sd
    return bool(ndtr(-late) + ndtr(-early) < RARELY)


def tree_of(
    plan: Plan,
    aims: Mapping[str, Aim],
    person: Person,
    cued: frozenset[str] = frozenset(),
    happened: Mapping[str, float] | None = None,
    cue_from: CueFrom = "schedule",
) -> Tree:
    """Intervals of a plan as a person would perform it.

    An act cued by a schedule hangs on the origin, or on the answer it waits for, at its scheduled distance; one cued
    from the last act hangs on the event that it is timed from. What has happened hangs on the origin, without spread.
    """
    happened = happened or {}
    above: dict[str, str] = {}
    interval: dict[str, Interval] = {}
    heels: dict[str, str] = {}
    anchor = {plan.origin: (plan.origin, 0.0)}
    answers = {w.event: w for w in plan.answers}
    for event in in_order(plan, aims, happened):
        if event in happened:
            above[event], interval[event] = plan.origin, Interval(happened[event], 0.0)
            anchor[event] = (plan.origin, happened[event])
            continue
        if event in answers:
            w = answers[event]
            above[event], interval[event] = w.after, Interval(0.0, 0.0, even=(w.lo, w.hi))
            anchor[event] = (event, 0.0)
            continue
        aim = aims[event]
        root, offset = anchor[aim.after]
        anchor[event] = (root, offset + aim.delay)
        if event in cued and cue_from == "schedule":
            above[event] = root
            interval[event] = Interval(offset + aim.delay, person.cued_sd, person.lapse, LAPSE_WIDENS)
            heels[event] = aim.after
        else:
            mean, sd = (
                (aim.delay, person.cued_sd) if event in cued else (person.mean(aim.delay), person.spread(aim.delay))
            )
            above[event] = aim.after
            interval[event] = Interval(mean, sd, person.lapse, LAPSE_WIDENS, forward=True)
    return Tree(above, interval, heels)
