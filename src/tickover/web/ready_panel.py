"""What Ready shows: readings before and after, the verdict in order, the forecast with its picture, the form."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from pydantic import ValidationError

from tickover.errors import InputError
from tickover.jobs import Entry
from tickover.readiness import (
    WHY_NOT_ERASE,
    CarState,
    Forecast,
    Fuel,
    Rule,
    Verdict,
    evaluate,
    forecast_figure,
    load_rules,
)
from tickover.readiness.words import forecast_rows
from tickover.visit.measuring import car_of
from tickover.visit.ready_drafts import state_sentence
from tickover.web.site import Site
from tickover.web.views import Seen

PER_DAY = 4.0
"""Ignition cycles a day where nobody said; own choice: two trips there and back."""
FUELS = ("petrol", "hybrid", "diesel")
WIDTHS = {"narrow": 330.0, "wide": 720.0}


def rule_named(name: str) -> Rule:
    """A built-in rule by its id; never a file.

    Raises: InputError where there is none of that id.
    """
    rules = load_rules()
    if name not in rules:
        raise InputError(f"no rule is called “{name}”", way_out=f"There are: {', '.join(rules)}.")
    return rules[name]


def stored_state(entries: Sequence[Entry]) -> CarState | None:
    """What the car last reported in this job; None where it was never read."""
    for entry in reversed(entries):
        if entry.stage == "ready" and entry.kind == "readiness":
            state = entry.data.get("after") or entry.data.get("before")
            try:
                return CarState.model_validate(state)
            except ValidationError:
                return None
    return None


def year_told(entries: Sequence[Entry]) -> int | None:
    """The model year, as the job has it; None where nobody said, or said what no rule knows."""
    year = car_of(entries).get("year")
    return year if isinstance(year, int) and 1980 <= year <= 2100 else None


def fuel_told(entries: Sequence[Entry]) -> Fuel | None:
    """The fuel, as the job has it, where a rule knows it."""
    fuel = car_of(entries).get("fuel")
    found: tuple[Fuel, ...] = ("petrol", "hybrid", "diesel")
    return next((one for one in found if one == fuel), None)


def panel(seen: Seen) -> dict[str, Any]:
    """What Ready shows: readings before and after, the verdict in order, the forecast with its picture, the form."""
    held = seen.stage("ready").entries
    entries = sorted((e for s in seen.view.stages for e in s.entries), key=lambda e: e.seq)
    readings = [e for e in held if e.kind == "readiness"]
    return {
        "readings": [_reading(e) for e in readings[-2:]],
        "verdict": _verdict(entries, readings[-1] if readings else None, seen.site),
        "outlook": _outlook(next((e for e in reversed(held) if e.kind == "forecast"), None)),
        "rules": [(r.id, r.title) for r in load_rules().values()],
        "chosen": _chosen(held),
        "unruled": bool(readings) and not _chosen(held)["rule"],
        "year": year_told(entries) or "",
        "fuel": fuel_told(entries) or "",
        "fuels": FUELS,
        "per_day": f"{PER_DAY:g}",
        "never_erase": WHY_NOT_ERASE,
    }


def _reading(entry: Entry) -> dict[str, Any]:
    when = "after" if "after" in entry.data else "before"
    try:
        state = CarState.model_validate(entry.data.get(when))
    except ValidationError:
        return {"when": when, "said": "what it holds cannot be read", "at": entry.at, "by": entry.by, "says": ()}
    return {"when": when, "said": state_sentence(state), "at": entry.at, "by": entry.by, "says": state.says}


def seen_at(entries: Sequence[Entry], stage: str) -> list[Entry]:
    """The entries of one stage."""
    return [e for e in entries if e.stage == stage]


def _chosen(held: Sequence[Entry]) -> dict[str, Any]:
    """Rule and day as they were last named."""
    found: dict[str, Any] = {"rule": "", "inspection": ""}
    for entry in held:
        for name in found:
            found[name] = entry.inputs.get(name) or found[name]
        if entry.kind == "verdict":
            found["rule"] = entry.data.get("rule") or found["rule"]
    return found


def _verdict(entries: Sequence[Entry], reading: Entry | None, site: Site) -> dict[str, Any] | None:
    """The verdict that was kept; else, while a relearn is to come, what it would be as read."""
    kept = next((e for e in reversed(entries) if e.stage == "ready" and e.kind == "verdict"), None)
    found: Verdict | None = None
    if kept is not None and (reading is None or kept.seq > reading.seq):
        found = _shaped(kept)
    elif reading is not None and (rule := _chosen(seen_at(entries, "ready"))["rule"]) in load_rules():
        state = stored_state(entries)
        told = reading.inputs
        if state is not None:
            found = evaluate(
                rule_named(rule), state, year=told.get("year") or year_told(entries),
                fuel=told.get("fuel") or fuel_told(entries), on=site.clock().date(),
            )  # fmt: skip
    if found is None:
        return None
    sign = {"would be ready": "settled", "would be turned away": "worse"}.get(found.word, "cannot tell")
    cleared = found.clearing
    return {
        "found": found,
        "sign": sign,
        "for_now": kept is None or kept.data.get("word") != found.word,
        "cleared": cleared if cleared.reasons or cleared.word == "recently cleared" else None,
    }


def _shaped(entry: Entry) -> Verdict | None:
    try:
        return Verdict.model_validate(entry.data)
    except ValidationError:
        return None


def _outlook(entry: Entry | None) -> dict[str, Any] | None:
    """The forecast with its pictures; or why there is none."""
    if entry is None:
        return None
    if entry.data.get("kind") == "cannot tell":
        return {"sentence": entry.data.get("sentence", ""), "way_out": entry.data.get("way_out", ""), "pictures": None}
    try:
        found = Forecast.model_validate(entry.data)
    except ValidationError:
        return None
    pictures = {name: forecast_figure(found, room=room) for name, room in WIDTHS.items()}
    rows = [row for row in forecast_rows(found) if row[0] not in {"check"}]
    return {"sentence": found.sentence, "way_out": "", "pictures": pictures, "rows": rows, "by": found.by}
