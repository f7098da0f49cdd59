"""Where a job stands: each of the nine stages done, due, later or not needed, with its one line.

A stage repeats inside itself ("try 2"), never as a new one; a repair leads back to Relearn.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from tickover.jobs import STAGES, Entry, Stage
from tickover.visit.rules import CORRECT_WITHOUT_EFFECT, attempts_of, correct_without_effect

Standing = Literal["done", "due", "later", "not needed"]

CLOSES: dict[Stage, str] = {
    "arrive": "story",
    "before": "reading",
    "set up": "needs",
    "relearn": "attempt",
    "after": "comparison",
    "cause": "causes",
    "drive": "drive",
    "ready": "verdict",
    "hand over": "sheet",
}
"""The kind of entry that can close each stage."""

OPTIONAL: frozenset[Stage] = frozenset({"cause", "drive", "ready"})
"""Stages that may be empty at hand-over; the sheet then leaves them out."""


@dataclass(frozen=True, slots=True)
class StageState:
    """One stage of a job.

    Attributes:
        stage: which.
        standing: done, due, later or not needed.
        line: one line: what was found, or what it waits for.
        tries: attempts made inside it (Relearn only), else 0.
    """

    stage: Stage
    standing: Standing
    line: str
    tries: int = 0


def stages(entries: Sequence[Entry]) -> tuple[StageState, ...]:
    """The nine stages of a job.

    Args:
        entries: the job so far, ``seq`` rising.
    Returns: one state a stage, in order; exactly one is due until the hand-over is done.
    """
    done: dict[Stage, str] = {}
    for stage in STAGES:
        line = _closing_line(entries, stage)
        if line is not None:
            done[stage] = line
    needed = _cause_needed(entries)
    states: list[StageState] = []
    found_due = False
    for stage in STAGES:
        tries = len(attempts_of(entries)) if stage == "relearn" else 0
        if stage in done:
            states.append(StageState(stage, "done", done[stage], tries))
        elif stage == "cause" and needed is False:
            states.append(StageState(stage, "not needed", "not needed: settled"))
        elif stage in OPTIONAL and "hand over" in done:
            states.append(StageState(stage, "not needed", "nothing recorded"))
        elif found_due:
            states.append(StageState(stage, "later", "later", tries))
        else:
            found_due = True
            states.append(StageState(stage, "due", _waits_for(stage, entries), tries))
    return tuple(states)


def next_stage(entries: Sequence[Entry]) -> StageState | None:
    """The stage that is due, or None after the hand-over."""
    return next((s for s in stages(entries) if s.standing == "due"), None)


def _last(entries: Sequence[Entry], stage: Stage, kind: str) -> Entry | None:
    return next((e for e in reversed(entries) if e.stage == stage and e.kind == kind), None)


def _cause_needed(entries: Sequence[Entry]) -> bool | None:
    """True, False, or None while it cannot be known yet."""
    comparison = _last(entries, "after", "comparison")
    if comparison is None:
        return None
    return comparison.data.get("verdict") != "settled"


def _closing_line(entries: Sequence[Entry], stage: Stage) -> str | None:
    """What closed the stage, or None while it is open."""
    closing = _last(entries, stage, CLOSES[stage])
    if closing is None:
        return None
    repair = max((e.seq for e in entries if e.kind == "repair"), default=0)
    if stage in {"relearn", "after"} and closing.seq < repair:
        return None  # a repair leads back to Relearn
    if stage == "relearn" and closing.data.get("verdict") == "missed":
        return None
    if stage == "after" and closing.seq < max((e.seq for e in attempts_of(entries)), default=0):
        return None  # a later attempt wants a new reading
    return str(closing.data.get("sentence") or "done")


def _waits_for(stage: Stage, entries: Sequence[Entry]) -> str:
    tries = len(attempts_of(entries))
    if stage == "relearn" and tries:
        if correct_without_effect(entries) >= CORRECT_WITHOUT_EFFECT:
            return "two correct attempts changed nothing: go to Cause"
        return f"try {tries + 1}"
    waits: dict[Stage, str] = {
        "arrive": "tell the car, the complaint and what happened before",
        "before": "record a minute of warm idle",
        "set up": "warm the engine, shed the loads",
        "relearn": "perform the routine",
        "after": "record the idle again",
        "cause": "find what is acting",
        "drive": "plan the confirmation drive",
        "ready": "read what the car reports",
        "hand over": "print the sheet and sign",
    }
    return waits[stage]
