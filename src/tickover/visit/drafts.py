"""What a stage found, as it goes into the job: one place for every door, so that all records read alike.

A draft is an entry without number, time or author; the store gives those.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Protocol

from tickover.arrival import Arrival, SetUp
from tickover.idle import Comparison, IdleReading, compare
from tickover.jobs import Entry, Stage
from tickover.results import CannotTell
from tickover.routines import CompiledRoutine


@dataclass(frozen=True)
class Draft:
    """An entry to be: its stage, its kind, its data."""

    stage: Stage
    kind: str
    data: dict[str, Any] = field(default_factory=dict)


class Judged(Protocol):
    """What a draft needs of the judgement of an attempt."""

    @property
    def verdict(self) -> str: ...  # noqa: D102 — hit, missed or undecided
    @property
    def sentence(self) -> str: ...  # noqa: D102 — the verdict in one sentence
    @property
    def duration(self) -> float: ...  # noqa: D102 — [s]
    def model_dump(self, *, mode: str) -> dict[str, Any]: ...  # noqa: D102 — plain JSON values


def arrival_drafts(found: Arrival) -> tuple[Draft, ...]:
    """The answers, the story and the ladder of an arrival, in that order."""
    answers = {**found.answers.model_dump(mode="json"), "sentence": _told(found)}
    story = {
        "story": getattr(found.story, "name", ""),
        "sentence": found.sentence,
        "stops": [s.name for s in found.stops],
        "notes": list(found.notes),
        "rests_on": list(found.rests_on),
    }
    ladder = {**found.ladder.model_dump(mode="json"), "sentence": _rungs(found)}
    return Draft("arrive", "answers", answers), Draft("arrive", "story", story), Draft("arrive", "ladder", ladder)


def _told(found: Arrival) -> str:
    complaints = ", ".join(found.answers.complaint or ()) or "no complaint told"
    before = ", ".join(found.answers.before or ()) or "not known"
    return f"told: {complaints}; before: {before}"


def _rungs(found: Arrival) -> str:
    if found.ladder.none is not None:
        return found.ladder.none.reason
    return "in this order: " + ", ".join(r.routine or r.title.lower() for r in found.ladder.rungs)


def set_up_draft(found: SetUp, by_hand: Iterable[str] = ()) -> Draft:
    """The needs of a routine.

    Args:
        found: the set-up.
        by_hand: needs that a person has seen to; they count as met where nothing measures them.
    """
    seen = frozenset(by_hand)
    rows = []
    for need in found.needs:
        met = need.standing == "met" or (need.standing in {"by hand", "cannot tell"} and need.need in seen)
        rows.append(
            {"need": need.need, "value": need.found or need.standing, "met": met, "standing": need.standing}
            | ({"instead": need.instead} if need.instead and not met else {})
        )
    unmet = [row["need"] for row in rows if not row["met"]]
    sentence = "every need met" if not unmet else f"not met or not looked at: {'; '.join(map(str, unmet))}"
    return Draft("set up", "needs", {"routine": found.routine, "needs": rows, "sentence": sentence})


def attempt_draft(routine: CompiledRoutine, judgement: Judged, number: int, *, changed: str = "") -> Draft:
    """An attempt with its judgement.

    Args:
        routine: the routine it was made with.
        judgement: what it was.
        number: which try at this routine, from 1.
        changed: what is known of the car's memory afterwards; empty where nothing is.
    """
    whole = judgement.model_dump(mode="json")
    acts = whole.get("acts", [])
    data = {
        "routine": routine.id,
        "routine_hash": routine.digest,
        "title": routine.title,
        "may_erase": routine.may_erase,
        "basis": routine.basis.words,
        "try": number,
        "verdict": judgement.verdict,
        "sentence": judgement.sentence,
        "advice": whole.get("advice", ""),
        "acts": [a for a in acts if not a["answer"]],
        "answers": [{"kind": a["kind"], "t": a["t_lo"]} for a in acts if a["answer"] and a["t_lo"] is not None],
        "duration": judgement.duration,
    }
    return Draft("relearn", "attempt", data | ({"changed": changed} if changed else {}))


def reading_draft(reading: IdleReading | CannotTell, stage: Stage) -> Draft:
    """An idle reading, or the reason why there is none."""
    data = reading.model_dump(mode="json")
    data["sentence"] = reading_sentence(reading)
    return Draft(stage, "reading" if isinstance(reading, IdleReading) else "no reading", data)


def reading_sentence(reading: IdleReading | CannotTell) -> str:
    """One line for the stage: the first state's speed with its range."""
    if isinstance(reading, CannotTell):
        return f"cannot tell the idle: {reading.reason}"
    state = reading.states[0]
    if isinstance(state.speed, CannotTell):
        return f"cannot tell the idle: {state.speed.reason}"
    half = state.speed.reach
    width = "" if half is None else f" ± {max(half, 1):.0f}"
    return f"idles at {state.speed.value:.0f}{width} r/min, {state.name}"


def comparison_draft(found: Comparison) -> Draft:
    """The idle after against the idle before."""
    return Draft("after", "comparison", found.model_dump(mode="json"))


def reading_stage(entries: Sequence[Entry]) -> Stage:
    """Where a new idle reading belongs: before the first attempt of the visit, or after it.

    Args:
        entries: the job so far, corrections applied.
    Returns: ``before`` until an attempt has been made, then ``after``.
    """
    return "after" if any(e.stage == "relearn" and e.kind == "attempt" for e in entries) else "before"


def reading_before(entries: Sequence[Entry]) -> IdleReading | None:
    """The last idle reading made before any attempt, to compare with; None where there is none."""
    stored: Mapping[str, Any] | None = next(
        (e.data for e in reversed(entries) if e.stage == "before" and e.kind == "reading"), None
    )
    if stored is None:
        return None
    return IdleReading.model_validate({k: v for k, v in stored.items() if k not in {"sentence", "normal"}})


def normal_of(entries: Sequence[Entry]) -> tuple[float, float] | None:
    """The car's normal idle [r/min] as the job has it; None where nobody said."""
    for entry in reversed(entries):
        told = entry.data.get("normal")
        if isinstance(told, list | tuple) and len(told) == 2 and all(isinstance(x, int | float) for x in told):
            return float(told[0]), float(told[1])
    return None


def idle_drafts(
    entries: Sequence[Entry], reading: IdleReading | CannotTell, normal: tuple[float, float] | None = None
) -> tuple[Comparison | None, tuple[Draft, ...]]:
    """A new idle reading of this job, with its comparison where there is one before it.

    Args:
        entries: the job so far, corrections applied.
        reading: what was measured now.
        normal: the car's normal idle [r/min]; taken from the job where it is not given.
    Returns: the comparison, or None; and what goes into the job.
    """
    stage = reading_stage(entries)
    drafts = [reading_draft(reading, stage)]
    normal = normal or normal_of(entries)
    if normal is not None:
        drafts[0].data["normal"] = list(normal)
    before = reading_before(entries)
    if stage == "before" or before is None:
        return None, tuple(drafts)
    found = compare(before, reading, normal=normal)
    return found, (*drafts, comparison_draft(found))
