"""Chance that a person hits every bound of a plan, which step is weak, and what a cue would gain.

The way is chosen by the shape of the bounds. Where they fall into chains whose spans nest, the chance is a product
with convolutions (`chain`), without error. Where spans cross, bounds lie between branches, or acts cued by a schedule
stand in a span, sums are integrated over a lattice (`genz`), and the error is told. Where an act cued by a schedule may
overtake the act before it the sums themselves are wrong, and attempts are drawn and counted.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Literal, NamedTuple

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray
from scipy.special import ndtri

from tickover.errors import TimingError
from tickover.timing.aim import Aim
from tickover.timing.chain import CELLS, Span, chain_odds, nested
from tickover.timing.genz import MOST_INTERVALS, Sampled, Sum, genz
from tickover.timing.network import TOLERANCE, Bound, ends_of, label_of
from tickover.timing.person import CueFrom, Person, simulate_many
from tickover.timing.plan import Plan
from tickover.timing.tree import Path, Tree, tree_of

DOUBT = 0.25
"""How far a person's spread may be off, as a share of it; the range of the odds comes from that. Own choice."""

DRAWS = 20_000
"""Attempts drawn where sampling is needed: standard error at most 0.0036."""

WANTED, ROUGH = 3e-4, 1.5e-3
"""Standard errors asked of a lattice: of the chance itself, and of what is told beside it. Own choice."""

COARSE = 1 << 12
"""Cells of the lattice of a span where a rough answer will do: off by 1e-5."""

Method = Literal["product", "Genz", "sampling"]


@dataclass(frozen=True, slots=True)
class Odds:
    """Chance of hitting every bound.

    Attributes:
        p: the chance.
        lo, hi: its range, and two standard errors more; of ``odds`` for a spread ``DOUBT`` smaller or larger, of
            ``odds_for_people`` the middle ``level`` of the people.
        per_group: the chance of hitting the bounds of each group alone, in the plan's order.
        method: how ``p`` was found.
        why: what made another way than the product necessary; empty if nothing did.
        se: standard error of ``p``; 0 by product.
        weak_group: the group with the lowest chance; None if the plan bounds nothing.
        p_if_cued: the chance if only the acts of the weak group were done to a cue (on top of those already cued).
        p_if_all_cued: the chance if every act were.
        if_cued: for each group, the chance of the whole if the acts of that group were done to a cue too.
    """

    p: float
    lo: float
    hi: float
    per_group: dict[str, float]
    method: Method
    why: str
    se: float
    weak_group: str | None
    p_if_cued: float
    p_if_all_cued: float
    if_cued: dict[str, float] = field(default_factory=dict)


class Chance(NamedTuple):
    """A chance, its standard error, how it was found, and why not by product."""

    p: float
    se: float
    method: Method
    why: str


def odds(
    plan: Plan,
    person: Person,
    aims: Mapping[str, Aim],
    cued: Collection[str] = frozenset(),
    *,
    happened: Mapping[str, float] | None = None,
    rng: Generator | None = None,
    draws: int = DRAWS,
    cue_from: CueFrom = "schedule",
) -> Odds:
    """Chance that a person who aims as told hits every bound still open, aims not corrected on the way.

    Args:
        plan: the plan.
        person: who performs it.
        aims: an aim for every act, from ``aims`` or ``best_aims``.
        cued: acts done to a cue.
        happened: what has happened and when, from ``Run.happened`` [s since the origin]; bounds that lie wholly in it
            are left out.
        rng: for lattice and drawing, where needed; seeded with 0 if not given, so the same question has one answer.
        draws: attempts drawn where that is needed.
        cue_from: what cues are counted from. By a schedule a cued act stands where it was planned, and the errors of
            the acts before it are in the distance to them; from the last act they are not.
    Returns: the chance with its range, group by group.
    Raises: TimingError if an act has no aim.
    Valid for: answers that come evenly in their windows, and conditions that hold all the while; both own choices. It
        says nothing about the answers themselves: they are taken to come as the plan says.
    """
    rng = np.random.default_rng(0) if rng is None else rng
    ask = _Question(plan, aims, happened or {plan.origin: 0.0}, rng, draws, cue_from)
    cues = frozenset(cued)
    main = ask.chance(person, cues)
    around = [ask.chance(_spread_by(person, f), cues, wanted=ROUGH) for f in (1 - DOUBT, 1 + DOUBT)]
    found = [main, *around]
    beside = _beside(ask, [person], cues, main.p)
    return replace(
        beside,
        p=main.p,
        lo=max(0.0, min(c.p - 2 * c.se for c in found)),
        hi=min(1.0, max(c.p + 2 * c.se for c in found)),
        method=main.method,
        why=main.why,
        se=main.se,
    )


MOST_BESIDE = 9
"""So many people, taken evenly, are asked what is told beside the chance itself. Own choice."""


def odds_for_people(
    plan: Plan,
    people: Sequence[Person],
    aims: Mapping[str, Aim],
    cued: Collection[str] = frozenset(),
    *,
    happened: Mapping[str, float] | None = None,
    rng: Generator | None = None,
    draws: int = DRAWS,
    cue_from: CueFrom = "schedule",
    level: float = 0.9,
) -> Odds:
    """As ``odds`` for somebody who is known only by a number of persons, each as likely: drawn from what was learned.

    Args:
        plan, aims, cued, happened, rng, draws, cue_from: as for ``odds``.
        people: the persons.
        level: share of the people whose chances the range holds.
    Returns: ``p`` is the mean over the people: the chance of one attempt by somebody known no better. ``lo`` and ``hi``
        are quantiles of their chances. What is told group by group is the mean over at most ``MOST_BESIDE`` of them.
    Raises: TimingError if there are no people, an act has no aim, or the level is not a share.
    """
    if not people or not 0 < level < 1:
        raise TimingError("the odds of people need at least one of them, and a level between 0 and 1")
    rng = np.random.default_rng(0) if rng is None else rng
    ask = _Question(plan, aims, happened or {plan.origin: 0.0}, rng, draws, cue_from)
    cues = frozenset(cued)
    each = [ask.chance(p, cues, wanted=ROUGH) for p in people]
    chances: NDArray[np.float64] = np.array([c.p for c in each])
    worst = max(each, key=lambda c: c.se)
    se = math.sqrt(float(np.mean([c.se**2 for c in each])))
    lo, hi = np.quantile(chances, [(1 - level) / 2, (1 + level) / 2])
    places = np.unique(np.linspace(0, len(people) - 1, min(MOST_BESIDE, len(people))).round().astype(int))
    few = sorted(range(len(people)), key=lambda k: chances[k])
    beside = _beside(ask, [people[few[k]] for k in places], cues, float(chances.mean()))
    return replace(
        beside,
        p=float(chances.mean()),
        lo=max(0.0, float(lo) - 2 * worst.se),
        hi=min(1.0, float(hi) + 2 * worst.se),
        method=worst.method,
        why=worst.why,
        se=se / math.sqrt(len(people)),
    )


def chance_of(
    plan: Plan,
    person: Person,
    aims: Mapping[str, Aim],
    cued: Collection[str] = frozenset(),
    *,
    cue_from: CueFrom = "schedule",
    wanted: float = ROUGH,
) -> Chance:
    """As ``odds``, the chance of the whole alone; ``wanted``: standard error asked of a lattice, where it is needed."""
    ask = _Question(plan, aims, {plan.origin: 0.0}, np.random.default_rng(0), DRAWS, cue_from)
    return ask.chance(person, frozenset(cued), wanted=wanted)


def reach(
    plan: Plan,
    person: Person,
    aims: Mapping[str, Aim],
    bounds: Sequence[Bound],
    cued: Collection[str] = frozenset(),
    *,
    cue_from: CueFrom = "schedule",
    level: float = 0.9,
) -> list[tuple[float, float, float]]:
    """What each bound is about, as this person would do it: its mean, and where the middle ``level`` of it lies [s].

    Sums are taken as normal, lapses and all; it is for pictures, not for chances.
    """
    tree = tree_of(plan, aims, person, frozenset(cued), cue_from=cue_from)
    wide = float(ndtri((1 + level) / 2))
    found = []
    for bound in bounds:
        plus, minus = ([tree.interval[e].moments for e in part] for part in tree.between(*ends_of(bound)))
        mean = math.fsum(m for m, _ in plus) - math.fsum(m for m, _ in minus)
        half = wide * math.sqrt(math.fsum(sd**2 for _, sd in (*plus, *minus)))
        found.append((mean, mean - half, mean + half))
    return found


def odds_by_sampling(
    plan: Plan,
    person: Person,
    aims: Mapping[str, Aim],
    rng: Generator,
    n: int = DRAWS,
    cued: Collection[str] = frozenset(),
    cue_from: CueFrom = "schedule",
) -> Sampled:
    """As ``odds``, by drawing ``n`` attempts and counting those that hit every bound."""
    ask = _Question(plan, aims, {plan.origin: 0.0}, rng, n, cue_from)
    return ask.sampled(person, frozenset(cued), ask.open_bounds())


def group_of(bound: Bound) -> str:
    """A bound's group; its label where it has none."""
    return bound.group or label_of(bound)


def _beside(ask: _Question, people: Sequence[Person], cued: frozenset[str], p: float) -> Odds:
    """What is told beside the chance ``p``: group by group, and what cues would gain; means over people."""

    def mean(cues: frozenset[str], bounds: Sequence[Bound] | None = None) -> float:
        return float(np.mean([ask.chance(one, cues, bounds, wanted=ROUGH).p for one in people]))

    bounds = ask.open_bounds()
    groups = {group_of(b): [x for x in bounds if group_of(x) == group_of(b)] for b in bounds}
    per_group = {g: mean(cued, members) for g, members in groups.items()}
    weak = min(per_group, key=lambda g: per_group[g], default=None)
    acts = frozenset(e for e in ask.aims if e not in ask.happened)
    by_cues: dict[frozenset[str], float] = {cued: p}
    if_cued = {}
    for g, members in groups.items():
        cues = cued | (frozenset(ends_of(b)[1] for b in members) & acts)
        if cues not in by_cues:
            by_cues[cues] = mean(cues)
        if_cued[g] = by_cues[cues]
    every = cued | acts
    everything = by_cues[every] if every in by_cues else mean(every)
    gain = p if weak is None else if_cued[weak]
    return Odds(p, p, p, per_group, "product", "", 0.0, weak, gain, everything, if_cued)


def _spread_by(person: Person, factor: float) -> Person:
    cued = None if person.event_sd is None else person.event_sd * factor
    own = {name: getattr(person, name) * factor for name in ("cv", "motor_sd", "count_sd")}
    return replace(person, event_sd=cued, **own)


@dataclass(frozen=True, slots=True)
class _Question:
    """What the chances of one call have in common."""

    plan: Plan
    aims: Mapping[str, Aim]
    happened: Mapping[str, float]
    rng: Generator
    draws: int
    cue_from: CueFrom

    def open_bounds(self) -> list[Bound]:
        """Constraints and counters of which an end is still to come."""
        every: list[Bound] = [*self.plan.constraints, *self.plan.counters]
        return [b for b in every if any(e not in self.happened for e in ends_of(b))]

    def chance(
        self, person: Person, cued: frozenset[str], bounds: Sequence[Bound] | None = None, wanted: float = WANTED
    ) -> Chance:
        """The chance of all bounds, or of some, in the way that their shape asks for."""
        bounds = self.open_bounds() if bounds is None else bounds
        tree = tree_of(self.plan, self.aims, person, cued, self.happened, self.cue_from)
        late = tree.overtaking()
        if late:
            return Chance(*self.sampled(person, cued, bounds), "sampling", f"“{late}” may overtake the act before it")
        found = _by_shape(tree, [p for p in (tree.path(b) for b in bounds) if not p.sure], self, wanted)
        if found is None:
            why = "too many intervals hang together"
            return Chance(*self.sampled(person, cued, bounds), "sampling", why)
        return found

    def sampled(self, person: Person, cued: frozenset[str], bounds: Sequence[Bound]) -> Sampled:
        """By drawing attempts."""
        n = self.draws
        times = simulate_many(
            self.plan, self.aims, person, self.rng, n, cued=cued, happened=self.happened, cue_from=self.cue_from
        )
        hit = np.ones(n, dtype=bool)
        for bound in bounds:
            a, b = ends_of(bound)
            apart = times[b] - times[a]
            hit &= (apart >= bound.lo - TOLERANCE) & (apart <= bound.hi + TOLERANCE)
        p = float(hit.mean())
        # The square root is kept off 0: none or all of n hit does not mean that the chance is 0 or 1.
        return Sampled(p, math.sqrt(max(p * (1 - p), 1 / n) / n))


Windows = dict[str, tuple[float, float]]


def _by_shape(tree: Tree, paths: Sequence[Path], ask: _Question, wanted: float) -> Chance | None:
    """The chance as a product over what hangs together; None where too much does for a lattice."""
    windows: Windows = {}
    sums: list[Path] = []
    for path in paths:
        if not path.plus:
            if not path.lo - TOLERANCE <= 0.0 <= path.hi + TOLERANCE:
                return Chance(0.0, 0.0, "product", "")
        elif len(path.plus) == 1 and not path.minus:
            lo, hi = windows.get(path.plus[0], (-math.inf, math.inf))
            windows[path.plus[0]] = (max(lo, path.lo), min(hi, path.hi))
        else:
            sums.append(path)
    p, error, why = 1.0, 0.0, ""
    covered: set[str] = set()
    for family in _families(sums):
        members = {e for path in family for e in (*path.plus, *path.minus)}
        covered |= members
        line = max((path.plus for path in family), key=len)
        reason = _not_nested(family, line)
        if not reason:
            ends = [windows.get(e, (-math.inf, math.inf)) for e in line]
            spans = [_span(path, line) for path in family]
            cells = CELLS if wanted <= WANTED else COARSE
            p *= chain_odds([tree.interval[e] for e in line], ends, spans, cells)
            continue
        if len(members) > MOST_INTERVALS:
            return None
        part = _integrated(tree, [e for e in tree.above if e in members], family, windows, ask, wanted)
        p, error, why = p * part.p, math.hypot(error, part.se / max(part.p, 1e-12)), why or reason
    for event, (lo, hi) in windows.items():
        if event not in covered:
            p *= tree.interval[event].inside(lo, hi)
    return Chance(p, p * error, "Genz" if why else "product", why)


def _span(path: Path, line: Sequence[str]) -> Span:
    return Span(line.index(path.plus[0]), line.index(path.plus[-1]), path.lo, path.hi)


def _not_nested(family: Sequence[Path], line: Sequence[str]) -> str:
    """What keeps the sums of a family from being nested spans of one chain; empty if nothing does."""
    for path in family:
        if path.minus:
            return f"“{path.label}” lies between two branches"
    crossing = f"“{family[0].label}” crosses another span"
    if any(not set(path.plus) <= set(line) for path in family):
        return crossing
    return "" if nested([_span(path, line) for path in family]) else crossing


def _integrated(
    tree: Tree, order: Sequence[str], family: Sequence[Path], windows: Windows, ask: _Question, wanted: float
) -> Sampled:
    """A family of sums and the windows of its intervals, over a lattice."""
    place = {e: k for k, e in enumerate(order)}
    sums = [
        Sum(tuple(place[e] for e in path.plus), tuple(place[e] for e in path.minus), path.lo, path.hi)
        for path in family
    ]
    sums += [Sum((place[e],), (), *windows[e]) for e in order if e in windows]
    return genz([tree.interval[e] for e in order], sums, ask.rng, wanted)


def _families(sums: Sequence[Path]) -> list[list[Path]]:
    """Sums grouped so that different groups share no interval."""
    families: list[tuple[set[str], list[Path]]] = []
    for path in sums:
        joined = ({*path.plus, *path.minus}, [path])
        for family in [f for f in families if f[0] & joined[0]]:
            joined = (joined[0] | family[0], joined[1] + family[1])
            families.remove(family)
        families.append(joined)
    return [paths for _, paths in families]
