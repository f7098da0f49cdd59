"""A job's entries become the shop's record. A pure function, as the sheet's."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from pydantic import TypeAdapter, ValidationError

from tickover import __version__
from tickover.handover import erasing
from tickover.handover.compose import sheet_from_entries
from tickover.handover.given import (
    AttemptGiven,
    ComparisonGiven,
    ReadingGiven,
    loose,
    read,
    text_of,
)
from tickover.handover.record import (
    Attempted,
    Compared,
    Correction,
    Listed,
    Need,
    Reading,
    Record,
    Said,
    SetUpFound,
    Stated,
)
from tickover.handover.sheet import ActDone, AnswerSeen, Try
from tickover.handover.state_words import state_words
from tickover.jobs.entries import WITHDRAWN, Entry, current
from tickover.results import CannotTell, Measured
from tickover.signals.vin import Show

_MEASURED: TypeAdapter[Measured] = TypeAdapter(Measured)
_OWN_ROOM = frozenset({"reading", "needs", "attempt", "comparison", "answers", "sheet"})
"""Kinds that have a place of their own in the record."""
_LINES = {
    "story": ("notes", "stops", "rests_on"),
    "ladder": ("rungs", "withheld", "none", "rule"),
    "causes": ("next_test", "next", "tests", "groups", "causes", "evidence", "cannot_tell", "rests_on"),
    "plan": ("not_before", "needs", "legs", "refused", "cautions", "rests_on"),
    "check": ("conditions", "monitors", "steps", "rests_on"),
    "drive": ("conditions", "monitors", "steps", "rests_on"),
    "verdict": ("title", "between", "clearing", "allowed", "check", "notes", "rests_on"),
    "forecast": ("rates", "helps", "rests_on"),
    "codes": ("codes", "lamp"),
    "skipped": ("reason",),
}
_QUANTITIES = ("manifold_pressure", "air_flow", "throttle")
_LONGEST_CHANGE = 160
_UNSEEN = ("by hand", "cannot tell")
"""Standings of a need that nothing measured; only a person can have met it."""


def record_from_entries(
    entries: Sequence[Entry],
    *,
    on: datetime | None = None,
    vin: Show = "masked",
    personal: Mapping[str, str] | None = None,
    job: str | int | None = None,
) -> Record:
    """Compose the shop's record.

    Args:
        entries: all those of one job, as they were written, in any order; corrections are applied here and listed.
        on, vin, personal, job: as for the sheet.
    Returns: the record. What no entry tells is left out; fields that this room does not know stay in ``raw``.
    Raises: InputError naming the entry and its field if a reading, an attempt or a comparison is broken.
    """
    written = sorted(entries, key=lambda e: e.seq)
    now = current(written)
    attempts = tuple(_attempt(e) for e in now if e.stage == "relearn" and e.kind == "attempt")
    readings = tuple(_reading(e) for e in now if e.kind in {"reading", "no reading"} and e.stage in {"before", "after"})
    comparisons = tuple(_comparison(e) for e in now if e.stage == "after" and e.kind == "comparison")
    state = erasing.erased(now)
    return Record(
        sheet=sheet_from_entries(written, on=on, vin=vin, personal=personal, job=job),
        people=tuple(dict.fromkeys(e.by for e in written if e.by.strip())),
        opened=written[0].at if written else "",
        closed=written[-1].at if written else "",
        told=_told(now),
        said=tuple(_said(e) for e in now if e.kind not in _OWN_ROOM and not (e.stage == "arrive" and e.kind == "car")),
        readings=readings,
        set_ups=tuple(s for e in now if (s := _set_up(e)) is not None),
        attempts=attempts,
        comparisons=comparisons,
        corrections=tuple(_corrections(written)),
        erasing=erasing.SENTENCES[state] if state is not None else "",
        sources=tuple(
            dict.fromkeys(
                t.strip()
                for t in (
                    *(a.basis for a in attempts),
                    *(r for one in (*(r.rests_on for r in readings), *(c.rests_on for c in comparisons)) for r in one),
                )
                if t.strip()
            )
        ),
        versions=_versions(written, attempts),
        entries=tuple(_listed(written)),
        raw={e.seq: _shown_data(e, vin) for e in written},
    )


def _told(entries: Sequence[Entry]) -> dict[str, str]:
    """What was told at Arrive, open questions left aside; the car's free words first."""
    told: dict[str, str] = {}
    for kind in ("car", "answers"):
        found = next((e for e in reversed(entries) if e.stage == "arrive" and e.kind == kind), None)
        for name, value in (found.data if found is not None else {}).items():
            if name not in {"shop", "job", "vin", "sentence"} and value not in (None, "", "not known", [], ()):
                # what the customer said stays beside what was asked
                told[name if name not in told else f"{name}, as asked"] = _plain(value)
            elif name == "codes" and value in ([], ()):
                told[name] = "read, and there are none"
    return told


def _said(entry: Entry) -> Said:
    fields = _LINES.get(entry.kind, ("lines", "notes", "reason"))
    if entry.kind == "ladder" and text_of(entry.data):
        fields = fields[1:]  # the sentence names the rungs
    found = loose(entry, *fields)
    text = found.sentence
    lines = list(found.lines)
    if entry.kind == "readiness":
        lines += [
            f"{when}: {_state_words(entry.data[when]) if erasing.was_read(entry.data.get(when)) else 'not read'}"
            for when in ("before", "after")
            if when in entry.data
        ]
    if not text and not lines:
        # Nothing that reads as a sentence: the data itself, so that nothing is lost on paper.
        lines = [f"{name}: {_plain(value)}" for name, value in entry.data.items()]
    return Said(
        seq=entry.seq,
        stage=entry.stage,
        kind=entry.kind,
        at=entry.at,
        by=entry.by,
        text=wording_sentence(text),
        lines=tuple(dict.fromkeys(wording_sentence(t) for t in lines)),
    )


def _state_words(state: Any) -> str:  # noqa: ANN401 — whatever an entry holds
    return state_words(state, _plain) if isinstance(state, Mapping) else _plain(state)


def wording_sentence(text: str) -> str:
    """The text with a capital and a full stop; units stay as the trade writes them."""
    text = text.strip()
    return text[:1].upper() + text[1:] + ("" if not text or text[-1] in ".:;…" else ".")


def _reading(entry: Entry) -> Reading:
    if entry.kind == "no reading":
        reason = text_of(entry.data.get("reason")) or "no idle was found in what was recorded"
        refusals = (CannotTell(reason=reason, way_out=text_of(entry.data.get("way_out"))),)
        return Reading(seq=entry.seq, stage=entry.stage, at=entry.at, by=entry.by, refusals=refusals)
    given = read(entry, ReadingGiven)
    rows = entry.data.get("states")
    states = rows if isinstance(rows, list | tuple) else ()
    return Reading(
        seq=entry.seq,
        stage=entry.stage,
        at=entry.at,
        by=entry.by,
        source=text_of(entry.data.get("source")),
        states=tuple(_state(s) for s in states if isinstance(s, Mapping)),
        swing=given.swing,
        hunting=_hunting(entry.data.get("hunting")),
        refusals=tuple(CannotTell(reason=r.reason, way_out=r.way_out) for r in given.all_refusals if r.reason),
        rests_on=given.rests_on,
    )


def _state(state: Mapping[str, Any]) -> Stated:
    coolant, spread = state.get("coolant"), state.get("spread")
    whole = isinstance(coolant, list | tuple) and len(coolant) == 2 and all(isinstance(c, int | float) for c in coolant)
    others = {name: q for name in _QUANTITIES if (q := _measured(state.get(name))) is not None}
    return Stated(
        name=str(state.get("name") or ""),
        seconds=float(state.get("seconds") or 0.0),
        speed=_MEASURED.validate_python(state["speed"]),
        spread=float(spread) if isinstance(spread, int | float) else None,
        trim=_measured(state.get("trim")),
        coolant=(float(coolant[0]), float(coolant[1])) if whole and coolant is not None else None,
        others={n: q for n, q in others.items() if not isinstance(q, CannotTell)},
    )


def _measured(value: object) -> Measured | None:
    try:
        return _MEASURED.validate_python(value)
    except ValidationError:
        return None


def _hunting(value: object) -> str:
    if not isinstance(value, Mapping):
        return ""
    if value.get("kind") == "cannot tell":
        return f"whether it hunts: {value.get('reason')}"
    if not value.get("found"):
        return "no regular swing stands out"
    frequency, rates = _measured(value.get("frequency")), value.get("candidates")
    if frequency is not None and not isinstance(frequency, CannotTell):
        return f"it hunts at {frequency.value:.2f} Hz"
    listed = [f"{c:.2f}" for c in rates if isinstance(c, int | float)] if isinstance(rates, list | tuple) else []
    return f"it hunts; how fast cannot be told: {' or '.join(listed)} Hz" if listed else "it hunts"


def _set_up(entry: Entry) -> SetUpFound | None:
    if entry.stage != "set up" or entry.kind != "needs":
        return None
    rows = entry.data.get("needs")
    needs = tuple(_need(row) for row in (rows if isinstance(rows, list | tuple) else ()) if isinstance(row, Mapping))
    routine = text_of(entry.data.get("routine"))
    return SetUpFound(seq=entry.seq, at=entry.at, by=entry.by, routine=routine, needs=needs) if needs else None


def _need(row: Mapping[str, Any]) -> Need:
    """One need. What nobody looked at is neither met nor not met."""
    value = _plain(row.get("value")) if row.get("value") is not None else ""
    standing = text_of(row.get("standing")) or (value if value in _UNSEEN else "")
    met = row["met"] if isinstance(row.get("met"), bool) else True if row.get("met") == "met" else None
    if standing in _UNSEEN and not met:
        met = None
    return Need(need=text_of(row.get("need")), value="" if value == standing else value, met=met, standing=standing)


def _attempt(entry: Entry) -> Attempted:
    given = read(entry, AttemptGiven)
    return Attempted(
        seq=entry.seq,
        at=entry.at,
        by=entry.by,
        routine=given.routine,
        routine_hash=text_of(entry.data.get("routine_hash")),
        may_erase=given.may_erase,
        basis=given.basis,
        attempt=Try(
            title=given.title or given.routine or "Relearn",
            number=given.number,
            verdict=given.verdict,
            sentence=given.sentence,
            acts=tuple(ActDone.model_validate(a.model_dump()) for a in given.acts),
            answers=tuple(AnswerSeen.model_validate(a.model_dump()) for a in given.answers),
            duration=given.duration,
        ),
        advice=text_of(entry.data.get("advice")),
        changed=text_of(entry.data.get("changed")),
    )


def _comparison(entry: Entry) -> Compared:
    given = read(entry, ComparisonGiven)
    return Compared(
        seq=entry.seq,
        at=entry.at,
        by=entry.by,
        verdict=given.verdict,
        sentence=given.sentence,
        state=given.state,
        before=given.before,
        after=given.after,
        difference=given.difference,
        normal=given.normal,
        rests_on=given.rests_on,
    )


def _corrections(written: Sequence[Entry]) -> list[Correction]:
    """Every correction, against what stood before it."""
    standing = {e.seq: e for e in written}
    root = {e.seq: e.corrects for e in written if e.corrects is not None}
    found: list[Correction] = []
    for entry in written:
        if entry.corrects is None:
            continue
        first = entry.corrects
        while first in root and root[first] is not None and root[first] != first:
            first = root[first] or first
        old = standing.get(first)
        gone = entry.kind == WITHDRAWN
        changes = () if gone or old is None else tuple(_changes(old, entry))
        found.append(
            Correction(
                seq=entry.seq,
                corrects=entry.corrects,
                at=entry.at,
                by=entry.by,
                stage=entry.stage,
                kind=old.kind if gone and old is not None else entry.kind,
                withdrawn=gone,
                changes=changes,
            )
        )
        standing[first] = entry
    return found


def _changes(old: Entry, new: Entry) -> list[str]:
    told = [f"{what}: {a}, now {b}" for what, a, b in (("stage", old.stage, new.stage), ("kind", old.kind, new.kind))
            if a != b]  # fmt: skip
    for name in dict.fromkeys((*old.data, *new.data)):
        was, now = old.data.get(name), new.data.get(name)
        if was != now and name != "vin":
            told.append(f"{name}: {_short(was)}, now {_short(now)}")
    return told


def _short(value: object) -> str:
    text = "nothing" if value is None else _plain(value)
    return text if len(text) <= _LONGEST_CHANGE else text[: _LONGEST_CHANGE - 2] + " …"


def _plain(value: object) -> str:
    """A JSON value as words."""
    if isinstance(value, str):
        return value
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list | tuple):
        return ", ".join(_plain(v) for v in value) or "none"
    if isinstance(value, Mapping):
        told = text_of(value)
        return told or "; ".join(f"{str(k).replace('_', ' ')} {_plain(v)}" for k, v in value.items() if v is not None)
    return "not known" if value is None else json.dumps(value)


def _versions(written: Sequence[Entry], attempts: Sequence[Attempted]) -> tuple[str, ...]:
    made = [f"Entries written by {e.made_by}" for e in written if e.made_by.strip()]
    routines = [f"Routine {a.routine}: {a.routine_hash}" for a in attempts if a.routine_hash]
    return tuple(dict.fromkeys((*made, *routines, f"Record composed by tickover {__version__}")))


def _listed(written: Sequence[Entry]) -> list[Listed]:
    by: dict[int, int] = {e.corrects: e.seq for e in written if e.corrects is not None and e.corrects != e.seq}
    return [
        Listed(
            seq=e.seq,
            stage=e.stage,
            kind=e.kind,
            at=e.at,
            by=e.by,
            made_by=e.made_by,
            simulated=e.simulated,
            corrects=e.corrects,
            corrected_by=by.get(e.seq),
            digest=e.digest,
            previous=e.previous,
            attachments=tuple(f"{a.name or 'without a name'}: {a.digest}" for a in e.attachments),
            personal=tuple(sorted(e.personal)),
        )
        for e in written
    ]


def _shown_data(entry: Entry, vin: Show) -> dict[str, Any]:
    """The data as it stands; the car's number only as it is shown."""
    if vin == "whole" or "vin" not in entry.data:
        return entry.data
    return {name: value for name, value in entry.data.items() if name != "vin"}
