"""Which rung of the job's own ladder comes next: the one that Arrive recorded, and what was tried since."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from tickover.jobs.entries import Entry
from tickover.visit.rules import ROUTINES_PER_VISIT, Known, attempts_of, last, may_try, since_repair

DONE = {"hit", "undecided"}
"""Verdicts after which the idle is measured: undecided is not a failure."""


def ladder_rungs(entries: Sequence[Entry]) -> list[Mapping[str, Any]] | None:
    """The rungs as Arrive recorded them; None where no ladder was recorded."""
    told = last(entries, "arrive", "ladder")
    if told is None:
        return None
    rungs = told.data.get("rungs")
    return [r for r in rungs if isinstance(r, Mapping)] if isinstance(rungs, list | tuple) else []


def offered(entries: Sequence[Entry]) -> bool:
    """Whether any routine is offered; True where no ladder was recorded, for then nobody has said no."""
    rungs = ladder_rungs(entries)
    return rungs is None or any(r.get("sort") == "routine" for r in rungs)


def drive_it(entries: Sequence[Entry]) -> bool:
    """Whether driving is all that the ladder offers."""
    rungs = ladder_rungs(entries)
    return bool(rungs) and not offered(entries) and any(r.get("sort") == "drive" for r in rungs or ())


def next_rung(entries: Sequence[Entry], about: Known) -> Mapping[str, Any] | None:
    """The routine to do next.

    The ladder's order holds. Left out is what the stop rule refuses, what requires another that was not done, what only
    prepares and is done, and, as long as there is something else, what was done correctly and changed nothing.

    Args:
        entries: the job so far, corrections applied.
        about: what is known of routines beyond the ladder.
    Returns: the rung as recorded, or None.
    """
    rungs = [r for r in ladder_rungs(entries) or () if r.get("sort") == "routine" and r.get("routine")]
    about = with_ladder(entries, about)
    tried = attempts_of(since_repair(entries))
    done = {str(e.data.get("routine")) for e in tried if e.data.get("verdict") in DONE}
    if tried and tried[-1].data.get("verdict") == "missed":
        begun = next((r for r in rungs if r["routine"] == tried[-1].data.get("routine")), None)
        if begun is not None and _allowed(entries, begun, about):
            return begun  # a miss is tried again before anything else is begun
    again: Mapping[str, Any] | None = None
    for rung in rungs:
        name = str(rung["routine"])
        if not _allowed(entries, rung, about) or any(r not in done for r in rung.get("requires") or ()):
            continue
        if name not in done:
            return rung
        if name not in about.preparing:
            again = again or rung
    return again


def _allowed(entries: Sequence[Entry], rung: Mapping[str, Any], about: Known) -> bool:
    return may_try(entries, str(rung["routine"]), preparing=about.preparing, erasing=about.erasing).allowed


def may_go_on(entries: Sequence[Entry], about: Known) -> bool:
    """Whether Relearn has anything left to do in this visit.

    Args:
        entries, about: as ``next_rung``.
    """
    if ladder_rungs(entries) is not None:
        return next_rung(entries, about) is not None
    tried = [str(e.data.get("routine")) for e in attempts_of(since_repair(entries))]
    if not tried or may_try(entries, tried[-1], preparing=about.preparing).allowed:
        return True
    others = {t for t in tried if t not in about.preparing}
    return len(others) < ROUTINES_PER_VISIT and may_try(entries, "", preparing=about.preparing).allowed


def prepares_more(entries: Sequence[Entry], about: Known) -> bool:
    """Whether the last attempt only prepared for a rung that comes now."""
    tried = attempts_of(since_repair(entries))
    rung = next_rung(entries, about)
    return bool(tried) and rung is not None and tried[-1].data.get("routine") in (rung.get("requires") or ())


def with_ladder(entries: Sequence[Entry], about: Known) -> Known:
    """What is known of routines, with what the job's own ladder says of its rungs."""
    rungs = [r for r in ladder_rungs(entries) or () if r.get("routine")]
    required = {str(name) for r in rungs for name in r.get("requires") or ()}
    erasing = {str(r["routine"]) for r in rungs if r.get("may_erase")}
    return Known(about.preparing | required, about.erasing | erasing)
