"""What Drive shows: the need of readiness, the plan with what is taken along, the check with its strip."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from pydantic import ValidationError

from tickover.cues.render import RATE
from tickover.drive import ConditionFound, DriveCheck, DrivePlan, MonitorFound, load_conditions, load_roads, strip
from tickover.drive.words import mmss
from tickover.jobs import Entry
from tickover.results import CannotTell
from tickover.visit.measuring import car_of
from tickover.visit.ready_drafts import of_plan, open_monitors, plan_held
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
    # two bytes a value; the drive itself takes about as long as it was planned to
    tones = f"about {max(1, round(2 * RATE * 60 * found.minutes / 1e6))} MB"
    said = entry.data.get("sentence", "")
    return {"found": found, "legs": legs, "off": off, "carried": carried, "sentence": said, "tones": tones}


def _tail(approach: float, takes: float, serves: Sequence[str]) -> str:
    way = f"the way there about {mmss(approach)}; " if approach else ""
    tail = f"{way}in all about {mmss(takes)}.{f' For: {chr(44).join(serves)}.' if serves else ''}"
    return f"{tail[:1].upper()}{tail[1:]}"


def _check(entry: Entry | None) -> dict[str, Any] | None:
    if entry is None:
        return None
    try:
        found = DriveCheck.model_validate({k: v for k, v in entry.data.items() if k not in {"sentence", "planned"}})
    except ValidationError:
        return None
    planned = of_plan(found, entry.data.get("planned") or ())
    asked = {c for m in planned for c in m.conditions}
    rest = [c for c in found.conditions if planned and c.id not in asked]
    shown = [*found.steps, *(c for c in found.conditions if c not in rest)]
    drawn = [c for c in shown if c.needed or c.stretches]
    drawable = found.duration > 0 and bool(drawn)
    sign, head = _held(planned) if planned else _met(found)
    return {
        "found": found,
        "sign": sign,
        "sentence": entry.data.get("sentence", ""),
        "head": head,
        "planned": tuple(m.id for m in planned),
        "rest": [*filter(None, map(near_miss, rest)), *(f"{names}: {why}" for names, why in _unknown(rest))],
        "pictures": {n: strip(found, shown, room=room) for n, room in WIDTHS.items()} if drawable else None,
        "near": [near for c in shown if (near := near_miss(c))],
        "unknown": _unknown(shown),
        "speed": bool(found.speed),
    }


def _held(planned: Sequence[MonitorFound]) -> tuple[str, str]:
    """Sign and head of a drive that was planned: whether its plan was held."""
    verdict, words = plan_held(planned)
    sign = {"met": "settled", "not met": "no change", "cannot tell": "cannot tell"}[verdict]
    if verdict != "met" and any(m.verdict == "met" for m in planned):
        sign = "better"
    return sign, f"{words[:1].upper()}{words[1:]}"


def _met(found: DriveCheck) -> tuple[str, str]:
    """Sign and head of a drive without a plan: how many monitors it held what they wait for."""
    met = [m for m in found.monitors if m.verdict == "met"]
    head = f"{len(met)} of {len(found.monitors)} held"
    if met:
        return ("settled" if len(met) == len(found.monitors) else "better"), head
    return ("no change" if any(m.verdict == "not met" for m in found.monitors) else "cannot tell"), head


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
