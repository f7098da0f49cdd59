"""A person's odds on a routine: the whole, each step, and what a cue at each step would gain."""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence

from pydantic import Field

from tickover.errors import InputError
from tickover.results import Result
from tickover.routines.compiled import CompiledConstraint, CompiledRoutine, CompiledStep
from tickover.routines.phrases import event_words
from tickover.timing import (
    Aim,
    Answer,
    Bound,
    Constraint,
    Counter,
    CueFrom,
    Method,
    Odds,
    Person,
    Plan,
    best_aims,
    chance_of,
    odds,
    odds_for_people,
    prepare,
    reach,
)

LEVEL = 0.9
"""Share of a person's intervals that the bars hold, and of the people that a range holds. Own choice."""

_SHOWN = ("bound", "press", "gap", "span")


class BoundReach(Result):
    """One bound of a step beside what the person would do.

    Attributes:
        what: what it bounds, in words, such as “wait after ignition on” or “press 1, held”.
        lo, hi: what is allowed; ``None`` where open [s].
        aim: where the middle of the person's intervals lies [s].
        early, late: where nine in ten of them lie [s].
    """

    what: str
    lo: float | None
    hi: float | None
    aim: float
    early: float
    late: float


class StepOdds(Result):
    """One step's chance of being hit, in all its rounds together.

    Attributes:
        step: its name as written in the file.
        title: what to do.
        rounds: in how many rounds.
        p: the chance, the other steps left aside.
        aim: when to do it after the event ``after``, in the first round that has one [s].
        after_words: that event, for people.
        p_if_cued: the chance of the whole with this step cued too, and aimed for that.
        bounds: what it must keep in the first round, beside what the person would do; acts to the car's answers too.
    """

    step: str
    title: str
    rounds: int
    p: float
    aim: float | None
    after: str
    after_words: str
    p_if_cued: float
    bounds: tuple[BoundReach, ...] = Field(default=())


class RoutineOdds(Result):
    """The chance that a person hits every bound of a routine.

    Attributes:
        id, title: of the routine.
        cv, event_sd: the person: spread of a timed interval as a share of it, spread about a cue [s].
        spread_at_5: the person's spread of an interval of five seconds [s], counting and movement included.
        learned: whether the range is of what was learned of the person; else of a spread a quarter smaller or larger.
        cued: steps done to a cue.
        cue_from: what cues are counted from: the last act, by a coach who hears it, or a schedule made beforehand.
        p: the chance; lo, hi: its range.
        method: how it was found: product, Genz or sampling; why: what made another way than the product necessary.
        se: standard error of ``p``; 0 by product.
        steps: each step's own chance, all its rounds together.
        weak: the step with the lowest, as written; None where nothing can be missed.
        p_if_cued: the chance with that step cued on top, and aimed for that.
        p_all_cued: the chance with every act cued, and aimed for that.
    """

    id: str
    title: str
    cv: float
    event_sd: float
    spread_at_5: float
    learned: bool
    cued: tuple[str, ...]
    cue_from: CueFrom
    p: float
    lo: float
    hi: float
    method: Method
    why: str
    se: float
    steps: tuple[StepOdds, ...]
    weak: str | None
    p_if_cued: float
    p_all_cued: float


def odds_of(
    routine: CompiledRoutine,
    person: Person,
    cued: Collection[str] = (),
    *,
    people: Sequence[Person] = (),
    cue_from: CueFrom = "last act",
) -> RoutineOdds:
    """The chance that a person hits every bound, the weak step, and what cues gain.

    Args:
        routine: compiled.
        person: who performs it, and whom the aims are made for; of somebody learned, the middle.
        cued: ids of steps done to a cue; a name as written in the file stands for all its rounds.
        people: what is known of the person, as persons each as likely; the chance is then the mean over them and its
            range theirs. None: the chance of ``person``, its range for a spread a quarter smaller or larger.
        cue_from: what cues are counted from.
    Returns: the odds. Gains are those of ``person``.
    Raises: InputError for a step that the routine does not have.
    Valid for: answers that come evenly in their windows; see ``timing.odds``.
    """
    known = {s.id for s in routine.steps} | {s.written for s in routine.steps}
    strange = [c for c in cued if c not in known]
    if strange:
        raise InputError(f"no step is called “{strange[0]}”", way_out=f"There are: {', '.join(sorted(known))}.")
    ask = _Asked(routine, person, cue_from)
    by_cue = ask.acts(cued)
    chosen = ask.aims(by_cue)
    found: Odds = (
        odds_for_people(ask.plan, people, chosen, by_cue, cue_from=cue_from, level=LEVEL)
        if people
        else odds(ask.plan, person, chosen, by_cue, cue_from=cue_from)
    )
    steps = _step_odds(ask, found.per_group, by_cue, chosen)
    weak = min(steps, key=lambda s: s.p, default=None)
    return RoutineOdds(
        id=routine.id,
        title=routine.title,
        cv=person.cv,
        event_sd=person.cued_sd,
        spread_at_5=person.spread(5.0),
        learned=bool(people),
        cued=tuple(s.id for s in routine.steps if s.id in cued or s.written in cued),
        cue_from=cue_from,
        p=found.p,
        lo=found.lo,
        hi=found.hi,
        method=found.method,
        why=found.why,
        se=found.se,
        steps=steps,
        weak=weak.step if weak else None,
        p_if_cued=weak.p_if_cued if weak else found.p,
        p_all_cued=ask.whole(frozenset(ask.all_acts)),
    )


class _Asked:
    """What the chances of one routine have in common: the plan is closed once."""

    def __init__(self, routine: CompiledRoutine, person: Person, cue_from: CueFrom) -> None:
        self.routine, self.person, self.cue_from = routine, person, cue_from
        self.plan: Plan = routine.plan()
        self.prepared = prepare(self.plan)
        self.all_acts = frozenset(self.plan.acts) - {self.plan.origin}
        self._known: dict[frozenset[str], float] = {}

    def acts(self, steps: Collection[str]) -> frozenset[str]:
        """Acts of these steps, named by id or as written."""
        named = {e for s in self.routine.steps if s.id in steps or s.written in steps for e in s.events}
        return self.all_acts & named

    def aims(self, cued: frozenset[str]) -> dict[str, Aim]:
        """The best aims with these acts cued."""
        margins = self.routine.margins()
        return best_aims(self.prepared, self.person, margins=margins, cued=cued, cue_from=self.cue_from)

    def whole(self, cued: frozenset[str]) -> float:
        """The chance of the whole with these acts cued, and aimed for that."""
        if cued not in self._known:
            aims = self.aims(cued)
            self._known[cued] = chance_of(self.plan, self.person, aims, cued, cue_from=self.cue_from).p
        return self._known[cued]


def _step_odds(
    ask: _Asked, per_group: Mapping[str, float], cued: frozenset[str], chosen: Mapping[str, Aim]
) -> tuple[StepOdds, ...]:
    """Chances by step as written; the rounds of a cycle are independent, so theirs multiply."""
    rounds: dict[str, list[CompiledStep]] = {}
    for step in ask.routine.steps:
        if step.id in per_group:
            rounds.setdefault(step.written, []).append(step)
    found = []
    for name, turns in rounds.items():
        aim = chosen.get(turns[0].events[0])
        found.append(
            StepOdds(
                step=name,
                title=turns[0].title,
                rounds=len(turns),
                p=math.prod(per_group[t.id] for t in turns),
                aim=_tidy(aim.delay) if aim is not None else None,
                after=aim.after if aim is not None else "",
                after_words=event_words(ask.routine, aim.after) if aim is not None else "",
                p_if_cued=ask.whole(cued | ask.acts({name})),
                bounds=_bounds(ask, turns[0].id, cued, chosen),
            )
        )
    return tuple(found)


def _bounds(ask: _Asked, step: str, cued: frozenset[str], chosen: Mapping[str, Aim]) -> tuple[BoundReach, ...]:
    """The bounds of a step worth showing: its own, one press, one gap, the span; counted time as if it runs on."""
    first: dict[str, CompiledConstraint] = {}
    for c in ask.routine.constraints:
        if c.group == step and c.rule in _SHOWN:
            first.setdefault(c.rule, c)
    bounds: list[Bound] = [
        Constraint(c.a, c.b, -math.inf if c.lo is None else c.lo, math.inf if c.hi is None else c.hi, c.label)
        for c in first.values()
    ]
    bounds += [k for k in ask.plan.counters if k.group == step]
    reached = reach(ask.plan, ask.person, chosen, bounds, cued, cue_from=ask.cue_from, level=LEVEL)
    return tuple(
        BoundReach(
            what=_what(ask.routine, b),
            lo=_open(b.lo),
            hi=_open(b.hi),
            aim=_tidy(mean),
            early=_tidy(max(0.0, lo)),
            late=_tidy(hi),
        )
        for b, (mean, lo, hi) in zip(bounds, reached, strict=True)
        if not isinstance(b, Answer)
    )


def _what(routine: CompiledRoutine, bound: Bound) -> str:
    """What a bound bounds, its label with the step it is counted from in words."""
    label = bound.label.split(": ", 1)[-1].split(", only while ")[0]
    kind, after, _ = label.partition(" after ")
    start = bound.a if isinstance(bound, Constraint) else bound.start if isinstance(bound, Counter) else ""
    return f"{kind} after {event_words(routine, start)}" if after and start else label


def _open(value: float) -> float | None:
    return _tidy(value) if math.isfinite(value) else None


def _tidy(value: float) -> float:
    return round(value, 6) + 0.0
