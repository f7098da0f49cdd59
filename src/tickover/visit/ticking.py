"""Needs that were ticked before a routine, as they go into the job; and whether anybody looked at anything."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from typing import Any

import numpy as np

from tickover.arrival import set_up
from tickover.errors import InputError
from tickover.jobs import Entry
from tickover.routines import CompiledRoutine
from tickover.visit.drafts import Draft, set_up_draft


def ticked_draft(entries: Sequence[Entry], routine: CompiledRoutine, seen: Collection[str]) -> Draft | None:
    """The set-up of a routine from what was ticked beside its coach.

    Args:
        entries: the job so far, corrections applied. What an earlier set-up of the same routine found met stays so.
        routine: the routine that is about to be attempted.
        seen: needs that were ticked, in the routine's words; others are left aside.
    Returns: the draft; None where nothing was ticked, or the job says all of it already.
    """
    before = _rows(entries, routine.id)
    draft = set_up_draft(
        set_up(routine, np.random.default_rng(0)), {*seen, *(n for n, r in before.items() if r["met"])}
    )
    rows = [before[r["need"]] if _stays(before.get(r["need"]), r["need"] in seen) else r for r in draft.data["needs"]]
    if not any(r["need"] in seen for r in rows) or rows == list(before.values()):
        return None
    return Draft(draft.stage, draft.kind, {**draft.data, "needs": rows})


def _stays(row: dict[str, Any] | None, ticked: bool) -> bool:
    """Whether an earlier row stays: it was met, or nobody has ticked the need since."""
    return row is not None and (bool(row["met"]) or not ticked)


def _rows(entries: Sequence[Entry], routine: str) -> dict[str, dict[str, Any]]:
    """Needs of the newest set-up of a routine, by their words."""
    held = [e for e in entries if e.stage == "set up" and e.kind == "needs" and e.data.get("routine") == routine]
    rows = held[-1].data.get("needs") if held else None
    found = rows if isinstance(rows, list | tuple) else ()
    return {str(r["need"]): dict(r) for r in found if isinstance(r, dict) and "need" in r and "met" in r}


def looked_at(draft: Draft, way_out: str, *, read: bool = False) -> Draft:
    """The set-up, where anybody looked at anything.

    Args:
        draft: of ``set_up_draft``.
        way_out: how to tell it, at this door.
        read: whether any reading was typed or logged.
    Raises: InputError where no need was read, measured or ticked: nothing would be kept but that nobody looked.
    """
    rows = draft.data["needs"]
    if rows and not read and not any(row["met"] or row["standing"] == "not met" for row in rows):
        raise InputError(f"nothing was looked at, so nothing is kept of the {len(rows)} needs", way_out=way_out)
    return draft
