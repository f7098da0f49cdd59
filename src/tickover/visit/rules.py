"""The stop rule: a filter, not a miracle.

At most three attempts at a routine and two routines a visit; two correct attempts without effect lead to Cause, not to
a fourth try. Own choice, after the trade's rule that an unchanged idle after a correct attempt is a finding too.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

from tickover.jobs import Entry

TRIES_PER_ROUTINE = 3
ROUTINES_PER_VISIT = 2
CORRECT_WITHOUT_EFFECT = 2
EFFECTIVE = {"settled", "better"}


@dataclass(frozen=True, slots=True)
class MayTry:
    """Whether another attempt may be made.

    Attributes:
        allowed: yes or no.
        number: which try at this routine it would be, from 1.
        why: one sentence; says what to do instead where it is not allowed.
    """

    allowed: bool
    number: int
    why: str


def attempts_of(entries: Sequence[Entry]) -> list[Entry]:
    """The attempts among the entries, in order."""
    return [e for e in entries if e.stage == "relearn" and e.kind == "attempt"]


def correct_without_effect(entries: Sequence[Entry]) -> int:
    """How many correct attempts were measured afterwards and changed nothing."""
    count = 0
    waiting = 0
    for entry in entries:
        if entry.stage == "relearn" and entry.kind == "attempt":
            waiting += entry.data.get("verdict") == "hit"
        elif entry.stage == "after" and entry.kind == "comparison":
            if entry.data.get("verdict") in EFFECTIVE | {"cannot tell"}:
                count = 0 if entry.data.get("verdict") in EFFECTIVE else count
            else:
                count += waiting
            waiting = 0
    return count


def may_try(entries: Sequence[Entry], routine: str, *, preparing: Collection[str] = ()) -> MayTry:
    """Whether another attempt at a routine may be made in this visit.

    Args:
        entries: the job so far.
        routine: the routine's id.
        preparing: routines that only prepare for another (pedal rest, throttle stop); they are not counted among the
            two of a visit.
    Returns: the answer with its reason.
    """
    tried = [str(e.data.get("routine")) for e in attempts_of(entries)]
    number = tried.count(routine) + 1
    if correct_without_effect(entries) >= CORRECT_WITHOUT_EFFECT:
        return MayTry(
            False, number, "Two correct attempts changed nothing: that is a finding. Go to Cause, not to another try."
        )
    if number > TRIES_PER_ROUTINE:
        return MayTry(False, number, "Three attempts at this routine are enough. Take another routine, or go to Cause.")
    others = dict.fromkeys(t for t in tried if t not in preparing)
    if routine not in {*others, *preparing} and len(others) >= ROUTINES_PER_VISIT:
        return MayTry(False, number, "Two routines were tried in this visit. Go to Cause.")
    return MayTry(True, number, f"Try {number} of at most {TRIES_PER_ROUTINE}.")
