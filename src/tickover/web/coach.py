"""Relearn on the job's sheet: the routine due, why another may not be tried, what was tried."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from tickover.jobs import Entry
from tickover.routines import Switch
from tickover.visit import MayTry, may_try
from tickover.visit.rules import Known, attempts_of, known, last
from tickover.visit.rungs import ladder_rungs, next_rung, with_ladder
from tickover.web.coach_book import runs_now
from tickover.web.views import Seen


@dataclass(frozen=True)
class Offer:
    """A routine that may be coached, or why it may not.

    Attributes:
        routine, title, rests_on: its id, its title, why it stands in the ladder.
        rule: whether it may be tried, which try it would be, and the reason.
        may_erase: whether it may clear codes.
        due: whether it is the one to do next.
    """

    routine: str
    title: str
    rests_on: str
    rule: MayTry
    may_erase: bool
    due: bool


def switch_of(entries: Sequence[Entry]) -> Switch:
    """The car's ignition switch, as Arrive was told; a key where nobody said."""
    told = last(entries, "arrive", "answers")
    return "button" if told is not None and told.data.get("switch") == "button" else "key"


def panel(seen: Seen) -> dict[str, Any]:
    """What runs, what is offered, in the ladder's order, and what was tried."""
    entries = sorted((e for s in seen.view.stages for e in s.entries), key=lambda e: e.seq)
    about = with_ladder(entries, known(seen.library))
    due = next_rung(entries, about)
    told = ladder_rungs(entries)
    names = [str(r["routine"]) for r in told or () if r.get("sort") == "routine" and r.get("routine") in seen.library]
    name_due = str(due["routine"]) if due is not None else ""
    offers = [_offer(seen, entries, about, name, name == name_due) for name in names]
    running = runs_now(seen.site, seen.view.job)
    of = seen.library.get(running.routine) if running is not None else None
    return {
        "running": running,
        "running_title": of.title if of is not None else running.routine if running is not None else "",
        "due": next((o for o in offers if o.due), None),
        "others": [o for o in offers if not o.due],
        "ladder": told is not None,
        "library": {} if names else {name: r.title for name, r in seen.library.items()},
        "tried": [e.data for e in attempts_of(entries)],
        "switch": switch_of(entries),
    }


def _offer(seen: Seen, entries: list[Entry], about: Known, name: str, due: bool) -> Offer:
    routine = seen.library[name]
    erasing = about.erasing | ({name} if routine.may_erase else set())
    rule = may_try(entries, name, preparing=about.preparing, erasing=erasing)
    basis = next((r for r in ladder_rungs(entries) or () if r.get("routine") == name), {}).get("why") or [""]
    return Offer(name, routine.title, str(basis[0]), rule, routine.may_erase, due)
