"""What a shop's own jobs say: how often a routine worked on which kind of car, minutes a stage, relapses.

A pure function of many jobs' entries. What is counted is a *round*: a routine taken up in one job, between two repairs.
It worked where the idle was measured afterwards and settled; where nobody measured, it is not counted either way.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from datetime import datetime
from itertools import pairwise
from typing import Literal

from pydantic import Field

from tickover.arrival.candidates import PRIOR, ShopRate
from tickover.errors import InputError
from tickover.jobs.entries import STAGES, Entry, Stage, current
from tickover.results import CannotTell, Measured, Quantity, Result
from tickover.routines import Routine
from tickover.stats.pooling import Chance, pool_one
from tickover.stats.success import LEVEL, event_rate, median, success
from tickover.visit.rules import known
from tickover.visit.watching import REPAIR, is_back

NOT_KNOWN = "not known"
BREAK_MINUTES = 120.0
"""A longer silence between two entries is a night or another job, and counts for no stage [min]; own choice."""

Ending = Literal["success", "no effect", "relapse", "cannot tell"]


class KindOfCar(Result):
    """What cars are sorted by: how the throttle is moved, how the air is metered, and the story of the memory.

    Displacement, year and make do not enter: they would leave every kind with one car.
    """

    throttle: str = NOT_KNOWN
    metering: str = NOT_KNOWN
    story: str = NOT_KNOWN

    @property
    def words(self) -> str:
        """``electronic throttle, air meter, old memory on a clean bore``, with whatever is known."""
        parts = (
            f"{self.throttle} throttle" if self.throttle != NOT_KNOWN else "",
            self.metering if self.metering != NOT_KNOWN else "",
            self.story if self.story != NOT_KNOWN else "",
        )
        return ", ".join(p for p in parts if p) or "a kind of car that nobody wrote down"


class Outcome(Result):
    """One round of a routine in one job.

    Attributes:
        job: the job's number or mark.
        routine: its id.
        kind_of_car: what the car is sorted by.
        ending: success where it settled and stayed so; no effect where it was missed every time, or was done and did
            not settle the idle; relapse where it settled and came back; cannot tell where nobody measured.
        tries: attempts whose effect is known: every miss, and what was measured afterwards.
        days: how long it was at risk of a relapse: from the settled idle to the relapse, or to the day of counting [d];
            None where it never settled.
        minutes: time in each stage of the job [min]; breaks of more than two hours left out.
    """

    job: str
    routine: str
    kind_of_car: KindOfCar
    ending: Ending
    tries: int = Field(ge=0)
    days: float | None = None
    minutes: dict[Stage, float] = Field(default_factory=dict)


class RoutineRate(Result):
    """How often a routine worked in this shop on one kind of car.

    Attributes:
        routine: its id.
        worked, rounds: on this kind of car.
        worked_anywhere, rounds_anywhere: on all kinds.
        rate: the chance that a round works, other kinds lending as much as they agree; 90 %.
        alone: the same from this kind's own counts.
        counts: what the ladder takes: of tries, not of rounds.
        sentence: all that in words; says how few where they are few.
    """

    routine: str
    worked: int
    rounds: int
    worked_anywhere: int
    rounds_anywhere: int
    rate: Quantity
    alone: Quantity
    counts: ShopRate
    sentence: str


class ShopLearning(Result):
    """All that a shop's jobs say for one kind of car.

    Attributes:
        kind_of_car: which.
        jobs: jobs that were counted.
        routines: by id.
        minutes: median minutes in each stage, over all kinds of car; cannot tell where no job was timed.
        relapses: relapses a settled car and 100 days at risk; cannot tell where none settled.
        sentence: how many jobs, how few.
        rests_on: what the figures rest on.
    """

    kind_of_car: KindOfCar
    jobs: int
    routines: dict[str, RoutineRate]
    minutes: dict[Stage, Measured]
    relapses: Measured
    sentence: str
    rests_on: tuple[str, ...]

    @property
    def rates(self) -> dict[str, ShopRate]:
        """What ``arrival.build_ladder`` and ``arrive`` take as ``rates``."""
        return {name: r.counts for name, r in self.routines.items()}


def kind_of_car(entries: Sequence[Entry]) -> KindOfCar:
    """What a job's car is sorted by, from what Arrive recorded; the questions before the free words of the car."""
    told: dict[str, str] = {}
    for entry in current(entries):
        if entry.stage == "arrive" and entry.kind in {"car", "answers", "story"}:
            for name in ("throttle", "metering", "story"):
                value = entry.data.get(name)
                if isinstance(value, str) and value.strip() and value != NOT_KNOWN:
                    told[name] = value.strip()
    return KindOfCar(**told)


def outcomes(
    jobs: Mapping[str, Sequence[Entry]],
    until: datetime,
    *,
    preparing: Collection[str] = (),
    simulated: bool = False,
) -> list[Outcome]:
    """What came of every round of every job.

    Args:
        jobs: mark or number of a job to its entries, ``seq`` rising.
        until: the day of counting, with its offset; later entries are not looked at.
        preparing: routines that only prepare for another; nothing is measured after them, so they are not counted.
        simulated: count jobs on invented cars; else they are left out.
    Returns: outcomes, job by job, in the order of the rounds.
    Raises: InputError for a time that has no offset.
    """
    if until.tzinfo is None:
        raise InputError("the day of counting has no offset", way_out="Give a time with its offset from UTC.")
    standing = {job: [e for e in current(entries) if _at(e) <= until] for job, entries in jobs.items()}
    back = _relapses(standing)
    found: list[Outcome] = []
    for job, entries in standing.items():
        if not entries or (not simulated and any(e.simulated for e in entries)):
            continue
        minutes = minutes_by_stage(entries)
        kind = kind_of_car(entries)
        rounds = [r for part in _between_repairs(entries) for r in _rounds(part, preparing)]
        for number, (routine, tries, settled) in enumerate(rounds):
            days, ending = None, _ending(tries, settled)
            if settled is not None:
                relapse = min((t for t in back.get(job, ()) if t > _at(settled)), default=None)
                ending = "relapse" if relapse is not None else "success"
                days = ((relapse or until) - _at(settled)).total_seconds() / 86_400
            known_tries = sum(worked is not None for worked in tries)
            timed = minutes if number == len(rounds) - 1 else {}  # a job's minutes are counted once
            found.append(Outcome(job=job, routine=routine, kind_of_car=kind, ending=ending, tries=known_tries,
                                 days=days, minutes=timed))  # fmt: skip
    return found


def minutes_by_stage(entries: Sequence[Entry]) -> dict[Stage, float]:
    """Minutes that a job spent in each stage: from the entry before to the stage's own, breaks left out.

    Args:
        entries: of one job, ``seq`` rising.
    Returns: stages that took any time [min]. The first entry has no time before it.
    """
    spent: dict[Stage, float] = {}
    for before, entry in pairwise(entries):
        gap = (_at(entry) - _at(before)).total_seconds() / 60
        if 0 <= gap <= BREAK_MINUTES:
            spent[entry.stage] = spent.get(entry.stage, 0.0) + gap
    return spent


def learn(found: Sequence[Outcome], kind: KindOfCar, library: Mapping[str, Routine]) -> ShopLearning:
    """What the outcomes say for a car of one kind.

    Args:
        found: of ``outcomes``; none is allowed, and gives the wide prior.
        kind: the car at hand.
        library: routines by id; others in the outcomes do not matter.
    Returns: rates with intervals, minutes, relapses.
    Source: partial pooling as ``stats.pool``; counting of rounds and tries, own choice (docs/why/shop-rates.md).
    """
    jobs = len({o.job for o in found})
    prepares = known(library).preparing
    routines = {
        name: _rate(name, [o for o in found if o.routine == name], kind, PRIOR[r.basis.kind])
        for name, r in library.items()
        if name not in prepares
    }
    few = "No job of this shop is counted yet" if not jobs else f"{jobs} job{'s' if jobs != 1 else ''} of this shop"
    return ShopLearning(
        kind_of_car=kind,
        jobs=jobs,
        routines=routines,
        minutes={stage: _minutes(stage, found) for stage in STAGES},
        relapses=_relapse_rate(found),
        sentence=f"{few}{'' if jobs >= 20 else ': the intervals are wide, and mostly what was held beforehand'}.",
        rests_on=(
            "The shop's own jobs; invented cars are left out.",
            "Worked: the idle was measured afterwards and settled, and no relapse was written down or watched since.",
            "A customer who did not come back is taken not to have had a relapse.",
        ),
    )


def _rate(name: str, mine: Sequence[Outcome], kind: KindOfCar, prior: tuple[float, float]) -> RoutineRate:
    told = [o for o in mine if o.ending != "cannot tell"]
    kinds = list(dict.fromkeys([kind, *(o.kind_of_car for o in told)], ))  # fmt: skip
    groups = [[o for o in told if o.kind_of_car == k] for k in kinds]
    worked = [sum(o.ending == "success" for o in g) for g in groups]
    rounds = [len(g) for g in groups]
    tries = [max(sum(o.tries for o in g), w) for g, w in zip(groups, worked, strict=True)]
    rate = pool_one(worked, rounds, 0, mean=prior).rate
    sentence = _sentence(worked, rounds, rate)
    counts = _counts(pool_one(worked, tries, 0, mean=prior), prior) if sum(rounds) else (0.0, 0.0)
    return RoutineRate(
        routine=name,
        worked=worked[0],
        rounds=rounds[0],
        worked_anywhere=sum(worked),
        rounds_anywhere=sum(rounds),
        rate=rate,
        alone=success(worked[0], rounds[0], prior, LEVEL),
        counts=ShopRate(successes=counts[0], tries=counts[1], jobs=sum(rounds), said=sentence),
        sentence=sentence,
    )


def _sentence(worked: Sequence[int], rounds: Sequence[int], rate: Quantity) -> str:
    if not sum(rounds):
        return "This shop has not counted it yet; the minutes rest on our own guess of its success."
    here = f"In this shop it worked in {worked[0]} of {rounds[0]} jobs on this kind of car"
    all_kinds = f", and in {sum(worked)} of {sum(rounds)} on all kinds" if len(rounds) > 1 else ""
    few = " Few: the range is wide." if rounds[0] < 10 else ""
    lo, hi = (0 if end is None else end for end in (rate.lo, rate.hi))
    return f"{here}{all_kinds}: taken as {rate.value:.0%} ({lo:.0%} to {hi:.0%}, {rate.level:.0%}).{few}"


def _counts(chance: Chance, prior: tuple[float, float]) -> tuple[float, float]:
    """Successes and tries that carry the ladder's own prior to the pooled beta; never fewer than none."""
    worked, failed = (max(of_beta - held, 0.0) for of_beta, held in zip(chance.beta, prior, strict=True))
    return worked, worked + failed


def _minutes(stage: Stage, found: Sequence[Outcome]) -> Measured:
    spent = [o.minutes[stage] for o in found if stage in o.minutes]
    if not spent:
        return CannotTell(reason=f"no job was timed in {stage}", way_out="It is counted as jobs are recorded.")
    return median(spent, "min")


def _relapse_rate(found: Sequence[Outcome]) -> Measured:
    days = sum(o.days for o in found if o.days is not None)
    if not days > 0:
        return CannotTell(reason="no idle of this shop has settled yet", way_out="It is counted as jobs are recorded.")
    return event_rate(sum(o.ending == "relapse" for o in found), days / 100, "1/(100 d)")


def _ending(tries: Sequence[bool | None], settled: Entry | None) -> Ending:
    if settled is not None:
        return "success"
    return "cannot tell" if not tries or any(worked is None for worked in tries) else "no effect"


def _between_repairs(entries: Sequence[Entry]) -> list[list[Entry]]:
    parts: list[list[Entry]] = [[]]
    for entry in entries:
        if entry.kind == REPAIR:
            parts.append([])
        else:
            parts[-1].append(entry)
    return parts


def _rounds(entries: Sequence[Entry], preparing: Collection[str]) -> list[tuple[str, list[bool | None], Entry | None]]:
    """Each routine's tries, whether each worked (None: nobody knows), and the comparison that found it settled.

    A miss did not work. What was done, correctly or so that nobody can tell, is judged by the comparison that follows
    before any other attempt; a comparison that cannot tell, or none, leaves it open.
    """
    tries: dict[str, list[bool | None]] = {}
    settled: dict[str, Entry] = {}
    waiting: str | None = None
    for entry in entries:
        if entry.stage == "relearn" and entry.kind == "attempt":
            name = str(entry.data.get("routine"))
            if name in preparing:
                continue
            missed = entry.data.get("verdict") == "missed"
            tries.setdefault(name, []).append(False if missed else None)
            waiting = name
        elif entry.stage == "after" and entry.kind == "comparison" and waiting is not None:
            verdict = entry.data.get("verdict")
            if verdict == "settled":
                settled[waiting] = entry
            if verdict != "cannot tell":
                tries[waiting][-1] = verdict == "settled"
    return [(name, told, settled.get(name) if told[-1] else None) for name, told in tries.items()]


def _relapses(jobs: Mapping[str, Sequence[Entry]]) -> dict[str, list[datetime]]:
    """When each job's idle came back: said in the job itself, or in a later one whose entry names it as ``of``."""
    back: dict[str, list[datetime]] = {}
    for job, entries in jobs.items():
        for entry in entries:
            if is_back(entry):
                back.setdefault(str(entry.data.get("of") or job), []).append(_at(entry))
    return back


def _at(entry: Entry) -> datetime:
    try:
        at = datetime.fromisoformat(entry.at)
    except ValueError:
        at = None
    if at is None or at.tzinfo is None:
        raise InputError(
            f"entry {entry.seq} has no time with an offset: “{entry.at}”", way_out="Correct the entry's time."
        )
    return at
