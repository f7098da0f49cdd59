"""The judgement of a whole attempt, in words a person can act on. Live coach, file and record share it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Literal

from tickover.attempts import Attempt
from tickover.coaching.explaining import MissWords, Namer, deciding_words, record_of
from tickover.coaching.match import Extra, lay_over
from tickover.coaching.words import WORDS, event_words
from tickover.errors import InputError
from tickover.results import Result
from tickover.routines import CompiledEvent, CompiledRoutine
from tickover.timing import Answer, BoundJudgement, Constraint, Judgement, Observation, Person

Verdict = Literal["hit", "missed", "undecided"]


class BoundLine(Result):
    """One bound: what was allowed and what was found.

    Attributes:
        label: the bound for people, without its seconds, such as “let up after press”.
        step: its step.
        event: the event it ends in.
        verdict: hit, missed or undecided.
        allowed: the bound [s]; None on an open side.
        found: range in which the time lies [s]; None where it was not seen.
        early, late: by how much at least and at most [s]; None where not so.
    """

    label: str
    step: str
    event: str
    verdict: Verdict
    allowed: tuple[float | None, float | None]
    found: tuple[float, float] | None = None
    early: tuple[float, float] | None = None
    late: tuple[float, float] | None = None


class ActLine(Result):
    """One event on the attempt's time axis, for pictures and lists.

    Attributes:
        event, step, kind, label: which.
        answer: true where the car gave it.
        t_lo, t_hi: bracket of its instant, seconds since the first act; None where it was not seen.
        window: when it could have come, given what happened before it, seconds since the first act; None sides open.
        verdict: the worst of the bounds that end in it.
    """

    event: str
    step: str
    kind: str
    label: str
    answer: bool
    t_lo: float | None
    t_hi: float | None
    window: tuple[float | None, float | None] | None
    verdict: Verdict


class AttemptJudgement(Result):
    """What an attempt was.

    Attributes:
        routine, title: which routine.
        verdict: hit, missed or undecided; of the attempt as a whole, joint check included.
        sentence: the verdict in one sentence.
        advice: the one thing to change; empty where nothing is.
        recovery: of a missed attempt, what the routine says to do before another one; empty else.
        broken: of a missed attempt, bounds that cannot all have been hit, none of which could be left out of that.
        nearest: of a missed attempt, what the nearest one that passes does otherwise, the greatest change first.
        deciding: of an undecided attempt, which observation would have settled it.
        acts: every event of the routine, in order.
        bounds: every bound of the routine, in its order.
        joint: why bounds that each may be kept cannot all have been; empty else.
        extras: acts nobody asked for.
        duration: seconds from the first to the last event seen.
        torn: whether the file's last line was cut off.
        simulated: whether car or person were.
    """

    routine: str
    title: str
    verdict: Verdict
    sentence: str
    advice: str
    acts: tuple[ActLine, ...]
    bounds: tuple[BoundLine, ...]
    broken: tuple[str, ...] = ()
    nearest: tuple[str, ...] = ()
    deciding: str = ""
    joint: str = ""
    extras: tuple[str, ...] = ()
    duration: float
    torn: bool
    simulated: bool
    recovery: str = ""


def judge_attempt(routine: CompiledRoutine, attempt: Attempt, person: Person | None = None) -> AttemptJudgement:
    """Judge an attempt.

    Args:
        routine: compiled; its digest must be the attempt's.
        attempt: as recorded; exact or interval times, one or several clocks.
        person: who performed it, for the advice to have an act cued; if not given, somebody with the usual spread.
    Returns: the judgement.
    Raises: InputError if the attempt was made with another routine, or another version of it.
    """
    if attempt.header.routine_hash != routine.digest:
        raise InputError(
            f"this attempt was made with another “{attempt.header.routine}” than the “{routine.id}” given",
            way_out="Judge it by the routine file it was made with.",
        )
    laid = lay_over(routine, attempt)
    clocks = {name: (c.lo, c.hi) for name, c in attempt.header.clocks.items()}
    record = record_of(routine, laid, clocks)
    found = record.judged()
    verdict: Verdict = "missed" if laid.extras else found.verdict
    acts = _acts(routine, laid.observations, clocks, found)
    names = Namer(routine)
    bounds = tuple(_line(b, names) for b in found.bounds)
    times = [t for a in acts if (t := a.t_hi) is not None]
    why = None
    if found.verdict == "missed" and not laid.extras:
        why = MissWords(routine, record, found, person, cued=attempt.header.cued is True)
    deciding = deciding_words(routine, record, found) if verdict == "undecided" else ""
    return AttemptJudgement(
        routine=routine.id,
        title=routine.title,
        verdict=verdict,
        sentence=_sentence(verdict, bounds, laid.extras, found, names),
        advice=_advice(laid.extras, why, deciding),
        acts=acts,
        bounds=bounds,
        broken=why.broken if why is not None else (),
        nearest=why.nearest if why is not None else (),
        deciding=deciding,
        joint=found.reason if found.joint == "missed" and not any(b.verdict == "missed" for b in bounds) else "",
        extras=tuple(f"{WORDS[x.kind].lower()} when {names.event(x.instead_of)} was due" for x in laid.extras),
        duration=max(times, default=0.0),
        torn=attempt.torn is not None,
        simulated=attempt.header.simulated,
        recovery=routine.after_miss if verdict == "missed" else "",
    )


def _line(b: BoundJudgement, names: Namer) -> BoundLine:
    found = None if math.isinf(b.lo) or math.isinf(b.hi) else (b.lo, b.hi)
    event = b.bound.b if isinstance(b.bound, Constraint) else b.bound.event
    return BoundLine(
        label=names.between(b.bound),
        step=b.bound.group,
        event=event,
        verdict=b.verdict,
        allowed=(_finite(b.bound.lo), _finite(b.bound.hi)),
        found=found,
        early=_finite_range(b.early_by),
        late=_finite_range(b.late_by) if found is not None else None,
    )


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None


def _finite_range(pair: tuple[float, float] | None) -> tuple[float, float] | None:
    """A range whose far end may be open: what was not seen by the end of the watch is late by at least so much."""
    if pair is None or not math.isfinite(pair[0]):
        return None
    return pair if math.isfinite(pair[1]) else (pair[0], pair[0])


_WORST: dict[Verdict, int] = {"hit": 0, "undecided": 1, "missed": 2}


def _acts(
    routine: CompiledRoutine,
    seen: Sequence[Observation],
    clocks: dict[str, tuple[float, float]],
    found: Judgement,
) -> tuple[ActLine, ...]:
    """Every event on one time axis that begins with the first act."""
    at = {o.event: (o.t_lo + clocks[o.clock][0], o.t_hi + clocks[o.clock][1]) for o in reversed(seen)}
    origin = at.get(routine.events[0].name)
    zero = 0.0 if origin is None else sum(origin) / 2
    since = {name: (lo - zero, hi - zero) for name, (lo, hi) in at.items()}
    return tuple(_act(event, since, found) for event in routine.events)


def _act(event: CompiledEvent, since: dict[str, tuple[float, float]], found: Judgement) -> ActLine:
    lo, hi = -math.inf, math.inf
    worst: Verdict = "hit" if event.name in since else "undecided"
    for b in found.bounds:
        bound = b.bound
        if isinstance(bound, Constraint):
            start, end = bound.a, bound.b
        else:
            start, end = (bound.after if isinstance(bound, Answer) else bound.start), bound.event
        if end != event.name:
            continue
        worst = max(worst, b.verdict, key=lambda v: _WORST[v])
        if start in since:
            middle = sum(since[start]) / 2
            lo, hi = max(lo, middle + bound.lo), min(hi, middle + bound.hi)
    bracket = since.get(event.name)
    open_ = math.isinf(lo) and math.isinf(hi)
    return ActLine(
        event=event.name,
        step=event.step,
        kind=event.kind,
        label=event_words(event),
        answer=event.answer,
        t_lo=None if bracket is None else bracket[0],
        t_hi=None if bracket is None else bracket[1],
        window=None if open_ or lo > hi else (_finite(lo), _finite(hi)),
        verdict=worst,
    )


def _worst_miss(bounds: Sequence[BoundLine]) -> BoundLine | None:
    """The first bound missed by a time that was measured, else the first missed at all: later ones often follow."""
    missed = [b for b in bounds if b.verdict == "missed"]
    return next((b for b in missed if b.found is not None), missed[0] if missed else None)


def seconds(pair: tuple[float, float]) -> str:
    """A range of seconds in words; one figure where it is as good as one."""
    lo, hi = pair
    return f"{lo:.2f} s" if hi - lo < 0.01 else f"{lo:.2f} to {hi:.2f} s"


def _sentence(
    verdict: Verdict, bounds: Sequence[BoundLine], extras: Sequence[Extra], found: Judgement, names: Namer
) -> str:
    if verdict == "hit":
        return "Every step a hit."
    if extras:
        x = extras[0]
        due = names.event(x.instead_of)
        return f"Missed: {WORDS[x.kind].lower()} came {x.since:.1f} s after the start when “{due}” was due."
    worst = _worst_miss(bounds)
    if worst is None:
        undecided = [b for b in bounds if b.verdict == "undecided"]
        if verdict == "missed" or not undecided:
            told = [names.bound(b.bound) for b in found.bounds if b.verdict == "missed"]
            return f"{verdict.capitalize()}: {'; '.join(told) or names.in_words(found.reason)}"
        done = "Done" if all(b.found is not None for b in bounds) else "Not finished"
        first = undecided[0].label
        return f"{done}, cannot tell: {len(undecided)} of {len(bounds)} windows undecided, first “{first}”."
    words = names.event(worst.event)
    asked = f"{worst.label}: {_allowed(worst.allowed)}"
    if worst.early is not None:
        return f"Missed: {words} came {seconds(worst.early)} too early ({asked})."
    if worst.late is not None and worst.found is not None:
        return f"Missed: {words} came {seconds(worst.late)} too late ({asked})."
    return f"Missed: {words} did not come in its window ({asked})."


def _allowed(bound: tuple[float | None, float | None]) -> str:
    lo, hi = bound
    if hi is None:
        return f"at least {lo or 0:g} s"
    return f"within {hi:g} s" if lo is None else f"{lo:g} to {hi:g} s"


def _advice(extras: Sequence[Extra], why: MissWords | None, deciding: str) -> str:
    """The one thing to change next time."""
    if extras:
        return "Do only what *now* says; take the other foot and hand away."
    return why.advice if why is not None else deciding
