"""Where a job stands: each of the nine stages done, due, later, not needed, skipped or stopped, with its one line.

A stage repeats inside itself ("try 2"), never as a new one; a repair leads back to Relearn. What came back is sent to
Cause, and what is watched to another drive, whatever else is still open before that.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Literal

from tickover.jobs.entries import STAGES, Entry, Stage, current
from tickover.visit.rules import (
    CORRECT_WITHOUT_EFFECT,
    EFFECTIVE,
    Known,
    attempts_of,
    correct_without_effect,
    last,
    since_repair,
    stop_signs,
)
from tickover.visit.rungs import DONE, drive_it, may_go_on, offered, prepares_more, with_ladder
from tickover.visit.watching import (
    RELAPSE,
    REPAIR,
    Ordered,
    came_back,
    forbidden,
    ordered,
    relearn_advised,
    stays_well,
    watched,
)

Standing = Literal["done", "due", "later", "not needed", "skipped", "stopped"]

CLOSES: dict[Stage, str] = {
    "arrive": "story",
    "before": "reading",
    "set up": "needs",
    "relearn": "attempt",
    "after": "comparison",
    "cause": "causes",
    "drive": "check",
    "ready": "verdict",
    "hand over": "sheet",
}
"""The kind of entry that can close each stage."""

SKIPPED = "skipped"
"""The kind of an entry that leaves a stage out; its ``reason`` says why, and without one it counts for nothing."""
ENOUGH_CANNOT_TELL = 2
"""Comparisons in a row that cannot tell, after which After is left; own choice."""


@dataclass(frozen=True, slots=True)
class StageState:
    """One stage of a job.

    Attributes:
        stage: which.
        standing: done, due, later, not needed; skipped by a person, with the reason in the line; stopped by the rule.
        line: one line: what was found, or what it waits for.
        tries: attempts made inside it (Relearn only), else 0.
    """

    stage: Stage
    standing: Standing
    line: str
    tries: int = 0


_Closed = tuple[Standing, str] | None


def stages(entries: Sequence[Entry], about: Known | None = None) -> tuple[StageState, ...]:
    """The nine stages of a job.

    Args:
        entries: the job so far, ``seq`` rising; corrections are applied here.
        about: what the library says of routines; the job's own ladder is read in any case.
    Returns: one state a stage, in order; exactly one is due until the hand-over is done, and none after it.
    """
    now = current(entries)
    job = _Job(now, with_ladder(now, about or Known()))
    over = job.hand_over()
    states: list[StageState] = []
    found_due = False
    past, why = job.sent_past
    for stage in STAGES:
        tries = len(job.attempts) if stage == "relearn" else 0
        closed = over if stage == "hand over" else job.closed(stage)
        if closed is None and stage in past:
            closed = ("not needed", f"not needed: {why}")
        if closed is None and over is not None:
            closed = job.left_open(stage)
        if closed is not None:
            states.append(StageState(stage, *closed, tries))
        elif found_due:
            states.append(StageState(stage, "later", "later", tries))
        else:
            found_due = True
            states.append(StageState(stage, "due", job.waits_for(stage), tries))
    return tuple(states)


def next_stage(entries: Sequence[Entry], about: Known | None = None) -> StageState | None:
    """The stage that is due, or None after the hand-over."""
    return next((s for s in stages(entries, about) if s.standing == "due"), None)


@dataclass(frozen=True)
class _Job:
    """What the stages need of the entries, corrections applied."""

    entries: tuple[Entry, ...]
    about: Known
    recent: list[Entry] = field(init=False)
    attempts: list[Entry] = field(init=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "recent", since_repair(self.entries))
        object.__setattr__(self, "attempts", attempts_of(self.recent))

    @cached_property
    def comparison(self) -> Entry | None:
        """The last comparison, as long as no attempt and no repair has overtaken it."""
        found = last(self.recent, "after", "comparison")
        return found if found is not None and found.seq > self.last_attempt else None

    @cached_property
    def verdict(self) -> str | None:
        """Of that comparison; a relapse since then counts as one that is not settled."""
        if self.comparison is None:
            return None
        return RELAPSE if self.back else str(self.comparison.data.get("verdict"))

    @cached_property
    def back(self) -> int:
        """Number of the entry by which it came back; 0 where none did since the car was last changed or measured."""
        found = came_back(self.entries)
        measured = self.comparison.seq if self.comparison is not None else 0
        return found if found > max(self.repaired, self.last_attempt, measured) else 0

    @cached_property
    def sent_past(self) -> tuple[tuple[Stage, ...], str]:
        """Open stages that a relapse, Cause, the stop rule or a watch sends past, and why; a stop sign goes before."""
        if stop_signs(self.entries):
            return (), ""
        if self.back and self._cause() is None:
            return STAGES[: STAGES.index("cause")], "it came back"
        if self.ordered is not None and self._cause() is None:
            return STAGES[: STAGES.index("cause")], "a test first" if self.ordered.test else "mend it first"
        if self.stop_rule and self._cause() is None:
            return STAGES[: STAGES.index("cause")], "two correct attempts changed nothing"
        if watched(self.entries):
            return STAGES[: STAGES.index("drive")], "it is watched"
        if self.well is not None:
            return STAGES[STAGES.index("set up") : STAGES.index("drive")], "it stays well"
        return (), ""

    @cached_property
    def well(self) -> Entry | None:
        """The watch that decided that it stays well; None where none did, or something came after it."""
        return stays_well(self.entries)

    @cached_property
    def repaired(self) -> int:
        """Number of the last repair, 0 where there was none."""
        return max((e.seq for e in self.entries if e.kind == REPAIR), default=0)

    @cached_property
    def last_attempt(self) -> int:
        return max((e.seq for e in self.attempts), default=0)

    @cached_property
    def against(self) -> bool:
        """Whether Cause advised against a relearn, and nothing was mended since."""
        return bool(forbidden(self.entries))

    @cached_property
    def ordered(self) -> Ordered | None:
        """The test or the mending that Cause puts before everything else."""
        return ordered(self.entries)

    @cached_property
    def stop_rule(self) -> bool:
        """Whether correct attempts changed nothing so often that it goes on at Cause."""
        return correct_without_effect(self.entries, self.about.preparing) >= CORRECT_WITHOUT_EFFECT

    @cached_property
    def goes_on(self) -> bool:
        return may_go_on(self.entries, self.about)

    @cached_property
    def was_done(self) -> bool:
        """Whether a routine was done since the last repair, correctly or so that nobody can tell."""
        return any(e.data.get("verdict") in DONE for e in self.attempts)

    def closed(self, stage: Stage) -> _Closed:
        """How a stage is closed, or None while it is open."""
        ways: dict[Stage, Callable[[], _Closed]] = {
            "arrive": self._arrive,
            "set up": self._set_up,
            "relearn": self._relearn,
            "after": self._after,
            "cause": self._cause,
            "drive": self._drive,
        }
        return ways[stage]() if stage in ways else self._plain(stage)

    def left_open(self, stage: Stage) -> tuple[Standing, str]:
        """How a stage that was open at the hand-over stands after it."""
        return self._plain(stage) or ("not needed", "nothing recorded")

    def hand_over(self) -> _Closed:
        """Done, unless something that matters came after it."""
        sheet = last(self.entries, "hand over", CLOSES["hand over"])
        later = [e.seq for e in self.entries if e.kind in {"attempt", "comparison", REPAIR}]
        if sheet is None or sheet.seq < max([*later, came_back(self.entries)]):
            return None
        return "done", _line(sheet)

    def _plain(self, stage: Stage, since: int = 0) -> _Closed:
        """Closed by its own kind of entry or by a skip, whichever came last."""
        kinds = (CLOSES[stage], *(("drive",) if stage == "drive" else ()))
        closing = last(self.entries, stage, *kinds)
        skipped = next((e for e in reversed(self.entries) if e.stage == stage and _reason(e)), None)
        found = max((e for e in (closing, skipped) if e is not None and e.seq > since),
                    key=lambda e: e.seq, default=None)  # fmt: skip
        if found is None:
            return None
        return ("skipped", f"skipped: {_reason(found)}") if found is skipped else ("done", _line(found))

    def _arrive(self) -> _Closed:
        return None if stop_signs(self.entries) else self._plain("arrive")

    def _set_up(self) -> _Closed:
        plain = self._plain("set up")
        if plain is None and not self.attempts and not offered(self.entries):
            return "not needed", "not needed: no routine is offered"
        if plain is None and self.against:
            return "not needed", "not needed: Cause says do not relearn"
        if plain is None and self.attempts and self._relearn() is not None:
            return "not needed", "not needed: the routine was tried without it"
        return plain

    def _relearn(self) -> _Closed:
        found = self._relearned()
        if self.against and (found is None or found[0] == "stopped"):
            return "stopped", "stopped: Cause says do not relearn; a repair leads back here"
        return found

    def _relearned(self) -> _Closed:
        """As the attempts and the readings after them say, without what Cause advised against."""
        plain = self._plain("relearn", max(self.repaired, relearn_advised(self.entries)))
        if plain is not None and plain[0] == "skipped":
            return plain
        if not self.attempts:
            return None if offered(self.entries) else ("not needed", "not needed: no routine is offered")
        end = self.attempts[-1]
        if end.data.get("verdict") in DONE:
            if self.verdict is None and prepares_more(self.entries, self.about):
                return None  # it only prepared for the next rung
            if (self.verdict == "no change" or relearn_advised(self.entries)) and self.goes_on:
                return None
            return "done", _line(end)
        if self.verdict in EFFECTIVE:
            return "done", _line(end)  # missed, and yet it settled
        return None if self.goes_on else ("stopped", "stopped: the tries of this visit are used up")

    def _after(self) -> _Closed:
        skipped = self._plain("after", max(self.last_attempt, self.repaired))
        if skipped is not None and skipped[0] == "skipped":
            return skipped
        if self.comparison is not None:
            unknown = [
                e
                for e in self.recent
                if e.stage == "after" and e.kind == "comparison" and e.seq > self.last_attempt
                and e.data.get("verdict") == "cannot tell"
            ]  # fmt: skip
            told = self.comparison.data.get("verdict") != "cannot tell"
            return ("done", _line(self.comparison)) if told or len(unknown) >= ENOUGH_CANNOT_TELL else None
        relearn = self._relearn()
        if relearn is not None and not self.was_done:
            return "not needed", "not needed: no routine was done"
        return None

    def _cause(self) -> _Closed:
        if self.verdict == "settled":
            return "not needed", "not needed: settled"
        if self.verdict is None and not self.back and self.ordered is None and drive_it(self.entries):
            return "not needed", "not needed: first drive it"
        repaired = max((e.seq for e in self.entries if e.kind in {REPAIR, RELAPSE}), default=0)
        found = self._plain("cause", max(repaired, self.back))
        told = last(self.entries, "cause", CLOSES["cause"])
        overtaken = told is not None and told.seq < self.last_attempt and self.verdict in {"no change", "worse"}
        again = overtaken or self.ordered is not None
        return None if again and found is not None and found[0] == "done" else found

    def _drive(self) -> _Closed:
        if watched(self.entries):
            return None
        if self.well is not None:
            return "done", _line(self.well)
        plain = self._plain("drive")
        if plain is not None or drive_it(self.entries):
            return plain
        cause, relearn = self._cause(), self._relearn()
        if cause is not None and relearn is not None and self.verdict not in {*EFFECTIVE}:
            why = "not settled" if self.was_done else "nothing was relearned"
            return "not needed", f"not needed: {why}"
        return None

    def waits_for(self, stage: Stage) -> str:
        """What an open stage waits for."""
        stops = stop_signs(self.entries)
        if stage == "arrive" and stops:
            return f"stop: {'; '.join(stops)}"
        if stage == "relearn" and relearn_advised(self.entries):
            return f"Cause says relearn{f' again: try {len(self.attempts) + 1}' if self.attempts else ''}"
        if stage == "relearn" and self.attempts:
            if self.verdict == "no change":
                return "one correct try changed nothing: one more, then Cause"
            return f"try {len(self.attempts) + 1}"
        if stage == "after" and self.comparison is not None:
            return "cannot tell yet: record a longer minute of warm idle"
        if stage == "cause" and self.ordered is not None:
            if self.ordered.test:
                return "the next test, then Cause again"
            return "mend it, then write down the repair" if self.ordered.mends else "do it, then write it down"
        if stage == "cause" and self.stop_rule:
            return "two correct attempts changed nothing: find what is acting"
        if stage == "cause" and self.back:
            return "it came back: find what is acting"
        if stage == "drive" and watched(self.entries):
            return "another drive, then the watch again"
        if stage == "drive" and last(self.entries, "drive", "plan") is not None:
            return "drive the plan, then check its log"
        return _WAITS[stage]


_WAITS: dict[Stage, str] = {
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


def _line(entry: Entry) -> str:
    return str(entry.data.get("sentence") or "done")


def _reason(entry: Entry) -> str:
    return str(entry.data.get("reason") or "").strip() if entry.kind == SKIPPED else ""
