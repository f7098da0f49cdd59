"""A job's entries become the customer's sheet. A pure function: the same entries give the same sheet."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import groupby
from typing import Literal, TypeVar

from tickover.handover import erasing, later, set_up, wording
from tickover.handover.given import (
    AttemptGiven,
    CarGiven,
    ComparisonGiven,
    ReadingGiven,
    StateGiven,
    StoryGiven,
    read,
)
from tickover.handover.sheet import ActDone, AnswerSeen, Row, Sheet, Trace, Try
from tickover.jobs.entries import Entry, current
from tickover.results import CannotTell, Measured, Quantity
from tickover.signals.vin import Show, masked

_G = TypeVar("_G", CarGiven, StoryGiven)
_VERDICT, _DONE_RIGHT = 3, 2
"""Weights of the lines that are cut last: the verdict, then what was done right."""

_CHANGES = frozenset({"attempt", "repair", "relapse"})
"""Kinds of entries after which the idle is no longer the one that was compared; a watch that comes back is another."""


def _changes(entry: Entry) -> bool:
    return entry.kind in _CHANGES or (entry.kind == "watch" and entry.data.get("verdict") == "comes back")


@dataclass(frozen=True)
class _Job:
    """What the sheet needs of the entries, in their order."""

    entries: tuple[Entry, ...]
    attempts: tuple[tuple[Entry, AttemptGiven], ...]
    comparison: tuple[Entry, ComparisonGiven] | None
    before: ReadingGiven | None
    after: ReadingGiven | None
    erased: erasing.Erased | None


def sheet_from_entries(
    entries: Sequence[Entry],
    *,
    on: datetime | None = None,
    vin: Show = "masked",
    personal: Mapping[str, str] | None = None,
    job: str | int | None = None,
) -> Sheet:
    """Compose the customer's sheet.

    Args:
        entries: those of one job, in any order; corrections are applied here, and later ones take the place of earlier
            ones of the same kind.
        on: when it is handed over; the time of the last entry where not given.
        vin: how much of the car's number is shown; its last four unless wanted otherwise.
        personal: what the store keeps outside the chain, by name; only ``vin`` is read.
        job: the job's number in its store; what the car's entry says where not given.
    Returns: the sheet. What no entry tells is left out. A comparison that a later attempt, repair, relapse or
        reading has overtaken gives no verdict.
    Raises: InputError naming the entry and its field if an entry is broken.
    """
    written = sorted(entries, key=lambda e: e.seq)
    held = _job(current(written))
    car = _latest(held.entries, "arrive", "car", CarGiven) or CarGiven()
    verdict = held.comparison[1].verdict if held.comparison else None
    normal = held.comparison[1].normal if held.comparison else None
    was, now = _paired(held)
    before, after = _speed(held, "before", was), _speed(held, "after", now)
    told = bool(held.attempts or held.before or held.after)
    at = on.isoformat() if on is not None else written[-1].at if written else ""
    may_be_erased = held.erased not in (None, "nothing", "read the same")
    driving, drive_caution = later.driving_lines(held.entries)
    return Sheet(
        shop=car.shop,
        job=str(car.job if job is None else job),
        date=wording.day(at),
        at=at,
        car=wording.car_line(car.year, car.fuel, car.displacement_l, car.cylinders),
        vin=vin_words((personal or {}).get("vin") or car.vin, vin),
        invented=any(e.simulated for e in held.entries),
        headline=_headline(held),
        lead=_lead(held, before, after, (_swing(held.before, was), _swing(held.after, now))),
        verdict=verdict,
        normal=normal if normal and normal[0] < normal[1] else None,
        before=before,
        after=after,
        before_trace=_trace(held.before),
        after_trace=_trace(held.after),
        wrong=(*_wrong(held, car), *later.cause_lines(held.entries)),
        done=_done(held),
        watch=wording.watch(verdict) if told else (),
        lamp=later.lamp_lines(held.entries, verdict, tried=bool(held.attempts), may_be_erased=may_be_erased),
        driving=driving,
        drive_caution=drive_caution,
        inspection=later.inspection_lines(held.entries),
        come_back=wording.come_back(verdict, tried=bool(held.attempts), may_be_erased=may_be_erased),
        cannot_tell=(*_cannot_tell(held), *later.skipped_lines(held.entries)),
        caution=wording.CAUTION if told else "",
        rests_on=_rests_on(held),
        basis="; ".join(dict.fromkeys(a.basis for _, a in held.attempts if a.basis.strip())),
        by=next((e.by for e in reversed(held.entries) if e.by), ""),
        tries=tuple(_try(a) for _, a in held.attempts),
    )


def vin_words(number: str, show: Show) -> str:
    """The car's number as a print shows it; empty where there is none or it is left out."""
    number = number.strip()
    return "" if show == "left out" or not number else number if show == "whole" else masked(number)


def _job(entries: tuple[Entry, ...]) -> _Job:
    attempts = tuple((e, read(e, AttemptGiven)) for e in _all(entries, "relearn", "attempt"))
    compared = _all(entries, "after", "comparison")
    last = compared[-1] if compared else None
    before = _all(entries, "before", "reading")
    after = _all(entries, "after", "reading")
    changed = max((e.seq for e in entries if _changes(e)), default=0)
    if last is not None and max(changed, max((e.seq for e in after), default=0)) > last.seq:
        last = None
    if last is not None:
        # A verdict speaks of the readings that were there when it was given.
        before = [e for e in before if e.seq < last.seq]
        after = [e for e in after if e.seq < last.seq]
    else:
        # Without a verdict, an idle measured before the last change is not the idle after it.
        after = [e for e in after if e.seq > changed]
    return _Job(
        entries=entries,
        attempts=attempts,
        comparison=(last, read(last, ComparisonGiven)) if last is not None else None,
        before=read(before[-1], ReadingGiven) if before else None,
        after=read(after[-1], ReadingGiven) if after else None,
        erased=erasing.erased(entries),
    )


def _all(entries: Sequence[Entry], stage: str, kind: str) -> list[Entry]:
    return [e for e in entries if e.stage == stage and e.kind == kind]


def _latest(entries: Sequence[Entry], stage: str, kind: str, shape: type[_G]) -> _G | None:
    found = _all(entries, stage, kind)
    return read(found[-1], shape) if found else None


def _paired(job: _Job) -> tuple[StateGiven | None, StateGiven | None]:
    """The load state that was compared; else the one that both readings hold for longest, or the longest of each."""
    was, now = (r.states if r else () for r in (job.before, job.after))
    shared = [(b, a) for b in was for a in now if b.name == a.name]
    compared = [pair for pair in shared if job.comparison and pair[0].name == job.comparison[1].state]
    if compared:
        return compared[0]
    if shared:
        return max(shared, key=lambda pair: min(pair[0].seconds, pair[1].seconds))
    longest = [max(states, key=lambda s: s.seconds) if states else None for states in (was, now)]
    return longest[0], longest[1]


def _speed(job: _Job, when: Literal["before", "after"], state: StateGiven | None) -> Measured | None:
    """The speed that was compared, where the comparison says it; else that of the state; else why there is none."""
    reading = job.before if when == "before" else job.after
    if reading is None:
        return None
    if job.comparison is not None:
        compared = job.comparison[1].before if when == "before" else job.comparison[1].after
        if isinstance(compared, Quantity):
            return compared
    if state is not None:
        return state.speed
    refusal = next((r for r in reading.all_refusals if r.reason.strip()), None)
    if refusal is not None:
        return CannotTell(reason=refusal.reason, way_out=refusal.way_out)
    return CannotTell(reason="no idle was found in what was recorded")


def _swing(reading: ReadingGiven | None, state: StateGiven | None) -> Measured | None:
    """How far it swings: known of a reading's first state only."""
    if reading is None or state is None or state.name != reading.states[0].name:
        return None
    return reading.swing


def _trace(reading: ReadingGiven | None) -> Trace | None:
    if reading is None or reading.trace is None or not reading.trace.t:
        return None
    return Trace(t=reading.trace.t, speed=reading.trace.speed)


def _headline(job: _Job) -> str:
    if job.comparison is not None:
        return wording.HEADLINES[job.comparison[1].verdict]
    if job.after is not None:
        return "Measured again, not compared yet"
    if job.attempts:
        return "Not measured since: no verdict yet"
    return "Measured, nothing done yet" if job.before is not None else "Nothing measured yet"


def _lead(
    job: _Job, before: Measured | None, after: Measured | None, swings: tuple[Measured | None, Measured | None]
) -> str:
    normal = job.comparison[1].normal if job.comparison else None
    told = wording.lead(before, after, swings, normal)
    if not told and job.comparison is not None:
        return wording.sentence(wording.without_verdict(job.comparison[1].sentence))
    return told


def _wrong(job: _Job, car: CarGiven) -> tuple[str, ...]:
    complaint = car.complaint if isinstance(car.complaint, str) else ", ".join(c for c in car.complaint if c.strip())
    story = _latest(job.entries, "arrive", "story", StoryGiven)
    told = (f"You told us: {wording.after_colon(complaint)}" if complaint.strip() else "",)
    return tuple(t for t in (*told, wording.sentence(story.sentence) if story else "") if t)


def _done(job: _Job) -> tuple[Row, ...]:
    """What was done, in its order. The verdict, what was mended and what was done right are the last to be cut."""
    rows: list[tuple[float, Row]] = []
    ready = set_up.found(job.entries, job.attempts[-1] if job.attempts else None)
    if ready is not None:
        entry, words = ready
        rows.append((entry.seq - 0.5, Row(text=words, when=wording.clock(entry.at))))
    for tries in _rounds(job):
        entry, attempt = tries[-1]
        weight = _DONE_RIGHT if attempt.verdict != "missed" else 0
        rows.append((entry.seq, Row(text=_tries_words(tries), when=wording.clock(entry.at), weight=weight)))
    for entry, mended in later.repairs(job.entries):
        text = wording.sentence(mended).rstrip(".")
        rows.append((entry.seq, Row(text=text, when=wording.clock(entry.at), weight=_DONE_RIGHT)))
    if job.comparison is not None:
        entry, comparison = job.comparison
        told = f"Idle measured again: {comparison.verdict}"
        rows.append((entry.seq, Row(text=told, when=wording.clock(entry.at), weight=_VERDICT)))
    listed = [row for _, row in sorted(rows, key=lambda pair: pair[0])]
    return (*listed, *([Row(text=erasing.SENTENCES[job.erased], weight=1)] if job.erased is not None else []))


def _rounds(job: _Job) -> list[list[tuple[Entry, AttemptGiven]]]:
    """The attempts, those at one routine together until the idle was compared or something was mended."""
    breaks = sorted(e.seq for e in job.entries if e.kind in {"comparison", "repair"})
    rounds: dict[tuple[str, int], list[tuple[Entry, AttemptGiven]]] = {}
    for entry, attempt in job.attempts:
        part = sum(seq < entry.seq for seq in breaks)
        rounds.setdefault((attempt.routine or attempt.title, part), []).append((entry, attempt))
    return list(rounds.values())


def _tries_words(tries: list[tuple[Entry, AttemptGiven]]) -> str:
    """One or several tries at a routine in a line, the same outcomes counted: missed once, then every step in time."""
    last = tries[-1][1]
    name = last.title or last.routine or "Relearn"
    which = f", {wording.ordinal(last.number)} try" if len(tries) == 1 and last.number > 1 else ""
    told = [
        wording.tries(verdict, len(list(same)), alone=len(tries) == 1)
        for verdict, same in groupby(attempt.verdict for _, attempt in tries)
    ]
    why = wording.without_verdict(last.sentence) if last.verdict == "missed" else ""
    return f"{name}{which}: {', then '.join(told)}" + (f". {wording.sentence(why)}" if why else "")


def _cannot_tell(job: _Job) -> tuple[str, ...]:
    told: list[str] = []
    if job.comparison is not None and job.comparison[1].verdict == "settled":
        told.append(
            "Whether it stays settled. Two weeks of driving will show; if it comes back, we look for the cause."
        )
    if job.comparison is not None and job.comparison[1].verdict == "cannot tell":
        difference = job.comparison[1].difference
        why = difference.reason if isinstance(difference, CannotTell) else job.comparison[1].sentence
        why = wording.after_colon(wording.without_verdict(why)) or "the figures do not say."
        told.append(f"Whether it settled: {why}")
    if job.attempts and job.comparison is None:
        told.append("Whether it settled: the idle was not measured and compared after the last try.")
    if job.erased in ("not read", "read before only"):
        told.append(erasing.UNKNOWN)
    for reading, when in ((job.after, "After"), (job.before, "Before")):
        for refusal in reading.all_refusals if reading else ():
            if refusal.reason.strip():
                told.append(f"{when}: {wording.sentence(refusal.reason)}")
    return tuple(dict.fromkeys(told))


def _rests_on(job: _Job) -> tuple[str, ...]:
    """What the verdict rests on, where it says; else what the readings do."""
    told = list(job.comparison[1].rests_on) if job.comparison else []
    if not told:
        told = [*(job.before.rests_on if job.before else ()), *(job.after.rests_on if job.after else ())]
    return tuple(dict.fromkeys(wording.spelt(r).rstrip(".") for r in told if r.strip(" .")))


def _try(attempt: AttemptGiven) -> Try:
    return Try(
        title=attempt.title or attempt.routine or "Relearn",
        number=attempt.number,
        verdict=attempt.verdict,
        sentence=wording.spelt(attempt.sentence),
        acts=tuple(ActDone.model_validate(a.model_dump()) for a in attempt.acts),
        answers=tuple(AnswerSeen.model_validate(a.model_dump()) for a in attempt.answers),
        duration=attempt.duration,
    )
