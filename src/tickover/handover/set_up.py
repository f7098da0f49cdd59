"""How the car was set up for the routine that was attempted."""

from __future__ import annotations

from collections.abc import Sequence

from tickover.handover.given import AttemptGiven, NeedsGiven, read
from tickover.jobs.entries import Entry

MOST_NAMED = 2
"""Conditions that were not met are named on the sheet up to this many; the rest is in the record. Own choice."""


def found(entries: Sequence[Entry], last: tuple[Entry, AttemptGiven] | None) -> tuple[Entry, str] | None:
    """The set-up in one line, with the entry that says it.

    Args:
        entries: of the job, corrections applied.
        last: the last attempt; None where none was made.
    Returns: None where nobody set up for the routine that was attempted, or no condition was met: a set-up for another
        routine says nothing of this one. Without an attempt it is the last set-up.
    """
    told = [e for e in entries if e.stage == "set up" and e.kind == "needs"]
    if last is not None:
        attempted, attempt = last
        told = [e for e in told if e.seq < attempted.seq and read(e, NeedsGiven).routine in {attempt.routine, ""}]
    standing = {n.need: n.met is True or n.met == "met" for n in read(told[-1], NeedsGiven).needs} if told else {}
    return (told[-1], words(standing)) if any(standing.values()) else None


def words(standing: dict[str, bool]) -> str:
    """``Car made ready`` only where every condition was met; else how many were, and which were not."""
    met, unmet = sum(standing.values()), [need for need, so in standing.items() if not so]
    if not unmet:
        return f"Car made ready, {f'all {met} conditions' if met > 1 else 'its one condition'} met"
    named = "; ".join(need[:1].lower() + need[1:].rstrip(".") for need in unmet[:MOST_NAMED])
    more = f" and {len(unmet) - MOST_NAMED} more" if len(unmet) > MOST_NAMED else ""
    return f"Set up, {met} of {len(standing)} conditions met; not: {named}{more}"
