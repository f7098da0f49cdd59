"""Drive and Ready as they go into the job: what was read, the verdict, the plan, what a drive held."""

from __future__ import annotations

from collections.abc import Collection, Sequence

from tickover.drive import DriveCheck, DrivePlan, MonitorFound, plan_sentence
from tickover.drive.results import Verdict as DriveVerdict
from tickover.drive.words import names
from tickover.jobs import Entry
from tickover.readiness import CarState, Verdict, monitor_called
from tickover.visit.drafts import Draft
from tickover.visit.rules import attempts_of
from tickover.visit.stages import next_stage


def readiness_drafts(entries: Sequence[Entry], state: CarState, verdict: Verdict | None = None) -> tuple[Draft, ...]:
    """What the car reports, and what an inspection would make of it.

    Args:
        entries: the job so far, corrections applied.
        state: what was read, or told by hand.
        verdict: under a rule; None where none was asked.
    Returns: the reading, before or after the relearn by whether an attempt was made; the codes, where they were asked;
        the verdict. While a relearn is to come the verdict is left out: it does not close the stage for the car as it
        leaves.
    """
    after = bool(attempts_of(entries))
    read = {"after" if after else "before": state.model_dump(mode="json"), "sentence": state_sentence(state)}
    drafts = [Draft("ready", "readiness", read)]
    asked = {"stored": state.stored, "pending": state.pending, "permanent": state.permanent}
    known = {kind: list(found) for kind, found in asked.items() if found is not None}
    if known:
        told = "; ".join(f"{kind}: {', '.join(found) or 'none'}" for kind, found in known.items())
        drafts.append(Draft("ready", "codes", {**known, "sentence": told}))
    if verdict is not None and (after or _nothing_to_relearn(entries)):
        drafts.append(Draft("ready", "verdict", verdict.model_dump(mode="json")))
    return tuple(drafts)


def _nothing_to_relearn(entries: Sequence[Entry]) -> bool:
    """Whether the job has come past Relearn without an attempt."""
    due = next_stage(entries)
    return due is None or due.stage in {"drive", "ready", "hand over"}


def state_sentence(state: CarState) -> str:
    """One line: what is open, or how many."""
    lamp = "" if state.lamp is None else f"; lamp {'on' if state.lamp else 'off'}"
    if state.open is not None:
        names = ", ".join(monitor_called(m) for m in state.open)
        return (f"open: {names}" if names else "every monitor complete") + lamp
    if state.open_count is not None:
        return f"{state.open_count} monitor{'s' if state.open_count != 1 else ''} open, not told which{lamp}"
    return f"nothing known of the monitors{lamp}"


def open_monitors(entries: Sequence[Entry]) -> tuple[str, ...] | None:
    """The open monitors as last read in this job; None where that was never read."""
    for entry in reversed(entries):
        if entry.stage == "ready" and entry.kind == "readiness":
            state = entry.data.get("after") or entry.data.get("before") or {}
            if isinstance(state, dict) and isinstance(state.get("open"), list):
                return tuple(str(name) for name in state["open"])
    return None


def plan_draft(plan: DrivePlan) -> Draft:
    """The confirmation drive as planned."""
    return Draft("drive", "plan", {**plan.model_dump(mode="json"), "sentence": plan_sentence(plan)})


def planned_monitors(entries: Sequence[Entry]) -> tuple[str, ...]:
    """The monitors that the job's newest plan is for; none where it has no plan."""
    for entry in reversed(entries):
        if entry.stage == "drive" and entry.kind == "plan":
            told = entry.data.get("monitors")
            return tuple(str(name) for name in told) if isinstance(told, list | tuple) else ()
    return ()


def of_plan(check: DriveCheck, planned: Collection[str]) -> tuple[MonitorFound, ...]:
    """What became of the monitors that the plan is for; none where there was no plan, or none of them was looked at."""
    return tuple(m for m in check.monitors if m.id in planned)


def plan_held(found: Sequence[MonitorFound]) -> tuple[DriveVerdict, str]:
    """Whether a drive held its plan: all of it, not all of it, or cannot tell.

    Args:
        found: what became of the monitors that it is for, one or more.
    Returns: the verdict, and that in words with the monitors it hangs on.
    """
    worst: DriveVerdict = next((v for v in _WORST_FIRST if any(m.verdict == v for m in found)), "met")
    told = names([m.title for m in found if m.verdict == worst])
    return worst, f"{_PLAN_WORDS[worst]} for {told}"


_WORST_FIRST: tuple[DriveVerdict, ...] = ("not met", "cannot tell")
_PLAN_WORDS: dict[DriveVerdict, str] = {
    "met": "plan held",
    "not met": "plan not held",
    "cannot tell": "cannot tell whether the plan was held",
}


def check_draft(check: DriveCheck, planned: Collection[str] = ()) -> Draft:
    """What a drive held; the long series of its speed stay with the log.

    Args:
        check: of the drive.
        planned: ids of the monitors that the job's plan is for; they are what the sentence speaks of.
    """
    held = [m.title.lower() for m in check.monitors if m.verdict == "met"]
    sentence = f"held what these wait for: {', '.join(held)}" if held else "held what no monitor waits for"
    mine = of_plan(check, planned)
    data = check.model_dump(mode="json", exclude={"speed_t", "speed"})
    if mine:
        sentence = plan_held(mine)[1]
        data["planned"] = [m.id for m in mine]
    return Draft("drive", "check", {**data, "sentence": f"{check.duration / 60:.0f} min, {sentence}"})
