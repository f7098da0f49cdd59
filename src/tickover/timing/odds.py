"""Chance that a person hits every bound of a plan, and which step is weak.

Where the plan falls into chains with spans that nest, the chance is a product with convolutions (`chain`). Where it
does not (spans that cross, bounds between branches, cued acts in a span) attempts are drawn and counted, and the
result says so.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal, NamedTuple

import numpy as np
from numpy.random import Generator
from scipy.special import ndtr

from tickover.timing.aim import Aim
from tickover.timing.chain import Interval, Span, chain_odds, nested
from tickover.timing.network import TOLERANCE, Bound, ends_of, label_of
from tickover.timing.person import LAPSE_WIDENS, Person, in_order, simulate_many
from tickover.timing.plan import Plan

DOUBT = 0.25
"""How far a person's spread may be off, as a share of it; the range of the odds comes from that. Own choice."""

DRAWS = 20_000
"""Attempts drawn where sampling is needed: standard error at most 0.0036."""

SURE = 1e-9
"""A bound that is broken less often than this is left out of the structure."""


class Sampled(NamedTuple):
    """A chance counted from drawn attempts, and its standard error."""

    p: float
    se: float


@dataclass(frozen=True, slots=True)
class Odds:
    """Chance of hitting every bound.

    Attributes:
        p: the chance.
        lo, hi: its range if the person's spread is ``DOUBT`` smaller or larger, and sampling error of two s.e.
        per_group: the chance of hitting the bounds of each group alone, in the plan's order.
        method: how ``p`` was found.
        why: what made sampling necessary; empty if nothing did.
        se: standard error of ``p``; 0 unless sampled.
        weak_group: the group with the lowest chance; None if the plan bounds nothing.
        p_if_cued: the chance if only the acts of the weak group were done to a cue (on top of those already cued).
    """

    p: float
    lo: float
    hi: float
    per_group: dict[str, float]
    method: Literal["product", "sampling"]
    why: str
    se: float
    weak_group: str | None
    p_if_cued: float


def odds(
    plan: Plan,
    person: Person,
    aims: Mapping[str, Aim],
    cued: Collection[str] = frozenset(),
    *,
    happened: Mapping[str, float] | None = None,
    rng: Generator | None = None,
    draws: int = DRAWS,
) -> Odds:
    """Chance that a person who aims as told hits every bound still open, aims not corrected on the way.

    Args:
        plan: the plan.
        person: who performs it.
        aims: an aim for every act, from ``aims`` or ``best_aims``.
        cued: acts done to a cue.
        happened: what has happened and when, from ``Run.happened`` [s since the origin]; bounds that lie wholly in it
            are left out.
        rng: for sampling, where that is needed; seeded with 0 if not given, so the same question has one answer.
        draws: attempts drawn then.
    Returns: the chance with its range, group by group.
    Raises: TimingError if an act has no aim.
    Valid for: answers that come evenly in their windows, and conditions that hold all the while; both own choices. It
        says nothing about the answers themselves: they are taken to come as the plan says.
    """
    rng = np.random.default_rng(0) if rng is None else rng
    ask = _Question(plan, aims, happened or {plan.origin: 0.0}, rng, draws)
    bounds = ask.open_bounds()
    cues = frozenset(cued)
    main = ask.chance(person, cues, bounds)
    around = [ask.chance(_spread_by(person, f), cues, bounds) for f in (1 - DOUBT, 1 + DOUBT)]
    groups = {group_of(b): [x for x in bounds if group_of(x) == group_of(b)] for b in bounds}
    per_group = {g: ask.chance(person, cues, members).p for g, members in groups.items()}
    weak = min(per_group, key=lambda g: per_group[g], default=None)
    gain = main
    if weak is not None:
        extra = {ends_of(b)[1] for b in groups[weak]} & set(aims)
        gain = ask.chance(person, cues | extra, bounds)
    found = [main, *around]
    return Odds(
        p=main.p,
        lo=max(0.0, min(c.p - 2 * c.se for c in found)),
        hi=min(1.0, max(c.p + 2 * c.se for c in found)),
        per_group=per_group,
        method="sampling" if main.why else "product",
        why=main.why,
        se=main.se,
        weak_group=weak,
        p_if_cued=gain.p,
    )


def odds_by_sampling(
    plan: Plan,
    person: Person,
    aims: Mapping[str, Aim],
    rng: Generator,
    n: int = DRAWS,
    cued: Collection[str] = frozenset(),
) -> Sampled:
    """As ``odds``, by drawing ``n`` attempts and counting those that hit every bound."""
    ask = _Question(plan, aims, {plan.origin: 0.0}, rng, n)
    return ask.sampled(person, frozenset(cued), ask.open_bounds())


def group_of(bound: Bound) -> str:
    """A bound's group; its label where it has none."""
    return bound.group or label_of(bound)


class _Chance(NamedTuple):
    p: float
    se: float
    why: str


def _spread_by(person: Person, factor: float) -> Person:
    cued = None if person.event_sd is None else person.event_sd * factor
    return replace(person, cv=person.cv * factor, motor_sd=person.motor_sd * factor, event_sd=cued)


@dataclass(frozen=True, slots=True)
class _Question:
    """What the chances of one call have in common."""

    plan: Plan
    aims: Mapping[str, Aim]
    happened: Mapping[str, float]
    rng: Generator
    draws: int

    def open_bounds(self) -> list[Bound]:
        """Constraints and counters of which an end is still to come."""
        every: list[Bound] = [*self.plan.constraints, *self.plan.counters]
        return [b for b in every if any(e not in self.happened for e in ends_of(b))]

    def chance(self, person: Person, cued: frozenset[str], bounds: Sequence[Bound]) -> _Chance:
        """By product where the bounds allow it, else by sampling."""
        tree = tree_of(self.plan, self.aims, person, cued, self.happened)
        p, why = _product(tree, [p for p in (tree.path(b) for b in bounds) if not p.sure])
        if not why:
            return _Chance(p, 0.0, "")
        return _Chance(*self.sampled(person, cued, bounds), why)

    def sampled(self, person: Person, cued: frozenset[str], bounds: Sequence[Bound]) -> Sampled:
        """By drawing attempts."""
        n = self.draws
        times = simulate_many(self.plan, self.aims, person, self.rng, n, cued=cued, happened=self.happened)
        hit = np.ones(n, dtype=bool)
        for bound in bounds:
            a, b = ends_of(bound)
            apart = times[b] - times[a]
            hit &= (apart >= bound.lo - TOLERANCE) & (apart <= bound.hi + TOLERANCE)
        p = float(hit.mean())
        # The square root is kept off 0: none or all of n hit does not mean that the chance is 0 or 1.
        return Sampled(p, math.sqrt(max(p * (1 - p), 1 / n) / n))


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
    """Every event hangs on the one that it is timed from, by an interval."""

    above: dict[str, str]
    interval: dict[str, Interval]

    def line(self, event: str) -> list[str]:
        """The event and all that it hangs on, up to the origin."""
        line = [event]
        while line[-1] in self.above:
            line.append(self.above[line[-1]])
        return line

    def _varies(self, event: str) -> bool:
        interval = self.interval[event]
        return interval.sd > 0 or interval.even is not None

    def _fixed(self, event: str) -> float:
        return 0.0 if self._varies(event) else self.interval[event].mean

    def path(self, bound: Bound) -> Path:
        """A bound as a sum over the intervals between its ends."""
        a, b = ends_of(bound)
        up, down = self.line(a), self.line(b)
        common = next(e for e in down if e in up)
        plus, minus = down[: down.index(common)][::-1], up[: up.index(common)][::-1]
        lo, hi = bound.lo, bound.hi
        gone = math.fsum(self._fixed(e) for e in plus) - math.fsum(self._fixed(e) for e in minus)
        lo, hi = lo - gone, hi - gone
        plus, minus = ([e for e in part if self._varies(e)] for part in (plus, minus))
        if minus and not plus:
            plus, minus, lo, hi = minus, plus, -hi, -lo
        forth, back = ([self.interval[e] for e in part] for part in (plus, minus))
        return Path(
            label_of(bound),
            tuple(plus),
            tuple(minus),
            lo,
            hi,
            mean=math.fsum(x.moments[0] for x in forth) - math.fsum(x.moments[0] for x in back),
            sd=math.sqrt(math.fsum(x.widest**2 for x in (*forth, *back))),
            least=math.fsum(x.support[0] for x in forth) - math.fsum(x.support[1] for x in back),
            most=math.fsum(x.support[1] for x in forth) - math.fsum(x.support[0] for x in back),
        )


def tree_of(
    plan: Plan,
    aims: Mapping[str, Aim],
    person: Person,
    cued: frozenset[str] = frozenset(),
    happened: Mapping[str, float] | None = None,
) -> Tree:
    """Intervals of a plan as a person would perform it.

    A cued act hangs on the origin, or on the answer it waits for, at its scheduled distance. What has happened hangs on
    the origin, without spread.
    """
    happened = happened or {}
    above: dict[str, str] = {}
    interval: dict[str, Interval] = {}
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
        if event in cued:
            above[event] = root
            interval[event] = Interval(offset + aim.delay, person.cued_sd, person.lapse, LAPSE_WIDENS)
        else:
            above[event] = aim.after
            interval[event] = Interval(
                person.mean(aim.delay), person.spread(aim.delay), person.lapse, LAPSE_WIDENS, forward=True
            )
    return Tree(above, interval)


def _product(tree: Tree, paths: Sequence[Path]) -> tuple[float, str]:
    """The chance by product, or what stands in the way of it."""
    branched = next((p for p in paths if p.minus), None)
    if branched is not None:
        return 0.0, f"“{branched.label}” lies between two branches"
    windows: dict[str, tuple[float, float]] = {}
    sums: list[Path] = []
    for path in paths:
        if not path.plus:
            if not path.lo - TOLERANCE <= 0.0 <= path.hi + TOLERANCE:
                return 0.0, ""
        elif len(path.plus) == 1:
            lo, hi = windows.get(path.plus[0], (-math.inf, math.inf))
            windows[path.plus[0]] = (max(lo, path.lo), min(hi, path.hi))
        else:
            sums.append(path)
    p = 1.0
    covered: set[str] = set()
    for family in _families(sums):
        line = max((path.plus for path in family), key=len)
        if any(not set(path.plus) <= set(line) for path in family):
            return 0.0, f"“{family[0].label}” crosses another span"
        spans = [Span(line.index(path.plus[0]), line.index(path.plus[-1]), path.lo, path.hi) for path in family]
        if not nested(spans):
            return 0.0, f"“{family[0].label}” crosses another span"
        ends = [windows.get(e, (-math.inf, math.inf)) for e in line]
        p *= chain_odds([tree.interval[e] for e in line], ends, spans)
        covered |= set(line)
    for event, (lo, hi) in windows.items():
        if event not in covered:
            p *= tree.interval[event].inside(lo, hi)
    return p, ""


def _families(sums: Sequence[Path]) -> list[list[Path]]:
    """Spans grouped so that different groups share no interval."""
    families: list[tuple[set[str], list[Path]]] = []
    for path in sums:
        joined = (set(path.plus), [path])
        for family in [f for f in families if f[0] & joined[0]]:
            joined = (joined[0] | family[0], joined[1] + family[1])
            families.remove(family)
        families.append(joined)
    return [paths for _, paths in families]
