"""The stop rule: a filter, not a miracle.

At most three attempts at a routine and two routines a visit; two correct attempts without effect lead to Cause, not to
a fourth try. Where Cause advised against a relearn, none is begun until something was mended. A repair changes the car,
so the count begins anew. A routine that may erase waits until the codes have been read, unless the lamp was seen dark.
Own choice, after the trade's rule that an unchanged idle after a correct attempt is a finding too.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from tickover.jobs.entries import Entry, current
from tickover.routines import Routine
from tickover.visit.watching import REPAIR, forbidden

TRIES_PER_ROUTINE = 3
ROUTINES_PER_VISIT = 2
CORRECT_WITHOUT_EFFECT = 2
EFFECTIVE = {"settled", "better"}


@dataclass(frozen=True, slots=True)
class MayTry:
    """Whether another attempt may be made.

    Attributes:
        allowed: yes or no.
        number: which try at this routine it would be, from 1; after a repair from 1 again.
        why: one sentence; says what to do instead where it is not allowed.
    """

    allowed: bool
    number: int
    why: str


@dataclass(frozen=True, slots=True)
class Known:
    """What the stop rule has to know of routines.

    Attributes:
        preparing: ids of routines that only prepare for another, such as the rests of pedal and throttle.
        erasing: ids of routines that may erase codes or readiness.
    """

    preparing: frozenset[str] = frozenset()
    erasing: frozenset[str] = frozenset()


def known(library: Mapping[str, Routine]) -> Known:
    """What a library says of its routines: what another one requires prepares for it.

    Args:
        library: as ``load_library`` gives it.
    """
    return Known(
        preparing=frozenset(required for r in library.values() for required in r.requires),
        erasing=frozenset(name for name, r in library.items() if r.may_erase),
    )


def attempts_of(entries: Sequence[Entry]) -> list[Entry]:
    """The attempts among the entries, in order."""
    return [e for e in entries if e.stage == "relearn" and e.kind == "attempt"]


def last(entries: Sequence[Entry], stage: str, *kinds: str) -> Entry | None:
    """The last entry of a stage that is of one of these kinds."""
    return next((e for e in reversed(entries) if e.stage == stage and e.kind in kinds), None)


def since_repair(entries: Sequence[Entry]) -> list[Entry]:
    """The entries after the last repair; all of them where there was none."""
    repaired = max((e.seq for e in entries if e.kind == REPAIR), default=0)
    return [e for e in entries if e.seq > repaired]


def stop_signs(entries: Sequence[Entry]) -> tuple[str, ...]:
    """Stop signs and faults that the last arrival named."""
    told = last(entries, "arrive", "story")
    found = told.data.get("stops") if told is not None else None
    return tuple(str(name) for name in found) if isinstance(found, list | tuple) else ()


def correct_without_effect(entries: Sequence[Entry], preparing: Collection[str] = ()) -> int:
    """How many correct attempts since the last repair were measured afterwards and changed nothing.

    Routines that only prepare are not meant to change the idle, and are not counted.
    """
    count = 0
    waiting = 0
    for entry in since_repair(entries):
        if entry.stage == "relearn" and entry.kind == "attempt":
            waiting += entry.data.get("verdict") == "hit" and entry.data.get("routine") not in preparing
        elif entry.stage == "after" and entry.kind == "comparison":
            if entry.data.get("verdict") in EFFECTIVE | {"cannot tell"}:
                count = 0 if entry.data.get("verdict") in EFFECTIVE else count
            else:
                count += waiting
            waiting = 0
    return count


def codes_were_read(entries: Sequence[Entry]) -> bool:
    """Whether the codes were read: at Ready, or told at Arrive."""
    return last(entries, "ready", "codes") is not None or _answers(entries).get("codes") is not None


def may_try(
    entries: Sequence[Entry], routine: str, *, preparing: Collection[str] = (), erasing: Collection[str] = ()
) -> MayTry:
    """Whether another attempt at a routine may be made in this visit.

    Args:
        entries: the job so far; corrections are applied here.
        routine: the routine's id.
        preparing: routines that only prepare for another (pedal rest, throttle stop); they are not counted among the
            two of a visit. ``known(library)`` names them.
        erasing: routines that may erase; refused until the codes have been read, unless the lamp was seen dark.
    Returns: the answer with its reason.
    """
    now = current(entries)
    tried = [str(e.data.get("routine")) for e in attempts_of(since_repair(now))]
    number = tried.count(routine) + 1
    stops = stop_signs(now)
    if stops:
        return MayTry(False, number, f"Stop sign: {'; '.join(stops)}. Mend it and arrive again; no routine before.")
    against = forbidden(now)
    if against:
        return MayTry(False, number, against)
    if routine in erasing and not codes_were_read(now) and _answers(now).get("lamp") != "dark":
        return MayTry(
            False, number, "It may erase codes, and nobody has read them. Read and note them first, with the lamp."
        )
    if correct_without_effect(now, preparing) >= CORRECT_WITHOUT_EFFECT:
        return MayTry(
            False, number, "Two correct attempts changed nothing: that is a finding. Go to Cause, not to another try."
        )
    if number > TRIES_PER_ROUTINE:
        return MayTry(False, number, "Three attempts at this routine are enough. Take another routine, or go to Cause.")
    others = dict.fromkeys(t for t in tried if t not in preparing)
    if routine not in {*others, *preparing} and len(others) >= ROUTINES_PER_VISIT:
        return MayTry(False, number, "Two routines were tried in this visit. Go to Cause.")
    return MayTry(True, number, f"Try {number} of at most {TRIES_PER_ROUTINE}.")


def _answers(entries: Sequence[Entry]) -> dict[str, Any]:
    told = last(entries, "arrive", "answers")
    return told.data if told is not None else {}
