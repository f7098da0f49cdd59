"""What Drive shows: the need of readiness, the plan with what is taken along, the check with its strip."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from pydantic import ValidationError

from tickover.drive import ConditionFound, DriveCheck, DrivePlan, load_conditions, load_roads, strip
from tickover.drive.words import mmss
from tickover.jobs import Entry
from tickover.results import CannotTell
from tickover.visit.measuring import car_of
from tickover.visit.ready_drafts import open_monitors
from tickover.web.reading import work_in
from tickover.web.views import Seen

PLAN_TYPE = "application/toml"
WIDTHS = {"narrow": 330.0, "wide": 720.0}


def panel(seen: Seen) -> dict[str, Any]:
    """What Drive shows: the need of readiness, the plan with its cautions and downloads, the check with its strip."""
    entries = sorted((e for s in seen.view.stages for e in s.entries), key=lambda e: e.seq)
    conditions = load_conditions().for_engine(diesel=car_of(entries).get("fuel") == "diesel")
    return {
        "opened": open_monitors(entries),
        "work": work_in(seen, "drive"),
        "plan": _plan(newest(entries, "plan")),
        "check": _check(newest(entries, "check")),
        "monitors": [(m.id, m.title) for m in conditions.monitors.values()],
        "roads": [(r.id, r.title) for r in load_roads().roads.values()],
    }


def newest(entries: Sequence[Entry], kind: str) -> Entry | None:
    """The newest entry of a kind in this stage."""
    return next((e for e in reversed(entries) if e.stage == "drive" and e.kind == kind), None)


def _plan(entry: Entry | None) -> dict[str, Any] | None:
    if entry is None:
        return None
    try:
        found = DrivePlan.model_validate({k: v for k, v in entry.data.items() if k != "sentence"})
    except ValidationError:
        return None
    legs = [
        {
            "words": leg.words,
            "tail": _tail(leg.approach, leg.takes, leg.serves),
            "coast": leg.act == "coast",
        }
        for leg in found.legs
    ]
    carried = any(a.media_type == PLAN_TYPE for a in entry.attachments)
    off = f"Engine off no sooner than {mmss(found.running)} after the start." if found.running else ""
    return {"found": found, "legs": legs, "off": off, "carried": carried, "sentence": entry.data.get("sentence", "")}


def _tail(approach: float, takes: float, serves: Sequence[str]) -> str:
    way = f"the way there about {mmss(approach)}; " if approach else ""
    tail = f"{way}in all about {mmss(takes)}.{f' For: {chr(44).join(serves)}.' if serves else ''}"
    return f"{tail[:1].upper()}{tail[1:]}"


def _check(entry: Entry | None) -> dict[str, Any] | None:
    if entry is None:
        return None
    try:
        found = DriveCheck.model_validate({k: v for k, v in entry.data.items() if k != "sentence"})
    except ValidationError:
        return None
    shown = [*found.steps, *found.conditions]
    drawn = [c for c in shown if c.needed or c.stretches]
    drawable = found.duration > 0 and bool(drawn)
    met = [m for m in found.monitors if m.verdict == "met"]
    sign = "settled" if met and len(met) == len(found.monitors) else "better" if met else "cannot tell"
    if not met and any(m.verdict == "not met" for m in found.monitors):
        sign = "no change"
    return {
        "found": found,
        "sign": sign,
        "sentence": entry.data.get("sentence", ""),
        "head": f"{len(met)} of {len(found.monitors)} held",
        "pictures": {n: strip(found, shown, room=room) for n, room in WIDTHS.items()} if drawable else None,
        "near": [near for c in shown if (near := near_miss(c))],
        "unknown": _unknown(shown),
        "speed": bool(found.speed),
    }


def near_miss(found: ConditionFound) -> str:
    """A condition that was just missed, in words; empty for one that was met or cannot be told."""
    if found.verdict != "not met":
        return ""
    close = f" {found.closest[:1].upper()}{found.closest[1:]}." if found.closest else ""
    return f"{found.title}: {found.words}{close}"


def _unknown(shown: Sequence[ConditionFound]) -> list[tuple[str, str]]:
    """Why conditions cannot be told, each reason once, with what would tell."""
    reasons: dict[tuple[str, str], list[str]] = {}
    for c in shown:
        if isinstance(c.cannot, CannotTell):
            reasons.setdefault((c.cannot.reason, c.cannot.way_out), []).append(c.title)
    return [
        (", ".join(dict.fromkeys(names)), f"{why.rstrip(chr(46))}. {way}".strip())
        for (why, way), names in reasons.items()
    ]
