"""The shop's record on paper: as many A4 pages as it needs; words are wrapped, never clipped."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Mapping, Sequence
from importlib.resources import files as package_files
from typing import Any

from tickover import __version__
from tickover.drawing import paper
from tickover.drawing.figures import plain
from tickover.drawing.picture import Picture
from tickover.drawing.svg import clean
from tickover.drawing.tokens import PALETTES
from tickover.handover.page import DRAFT, INVENTED, ROOM, paper_date
from tickover.handover.pictures import idle_picture, miss_words, try_picture
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
from tickover.handover.sheet import ActDone
from tickover.handover.wording import clock, day
from tickover.results import CannotTell, Measured, Quantity

LONGEST = 6000
"""Letters of one text on paper; what is beyond stands in the record as JSON. Own choice."""
_UNBROKEN = 14
"""Letters in a row before a line may break inside a word: a cell of a table is no wider."""
_SOFT_BREAK = "\u200b"
_KEPT = re.compile(r"(?<=\d) (?=[%±°])|(?<=±) ")
"""Spaces at which no line breaks: inside a figure."""
_MOST_PLACES = 4
_WHOLE = 1200
"""Letters of a row that no page break may tear; longer ones may be torn."""
_STAGES = ("arrive", "before", "set up", "relearn", "after", "cause", "drive", "ready", "hand over")
_NAMES = {"displacement_l": "Displacement [litres]", "danger": "Danger signs", "before": "What happened before"}
_TITLES = {
    "arrive": "Arrive",
    "cause": "Cause: evidence and next test",
    "drive": "Drive: plan and check",
    "ready": "Ready: readiness and verdict",
}

Row = dict[str, Any]


def pdf(record: Record, *, draft: bool = False) -> bytes:
    """The record as a PDF, marked where it is a draft.

    Raises: PaperError if it cannot be set.
    """
    text, files = source(record, draft=draft)
    return paper.pdf(text, files)


def png(record: Record, ppi: float = 110) -> list[bytes]:
    """The record as one PNG a page.

    Raises: PaperError as ``pdf``.
    """
    text, files = source(record)
    return paper.png(text, files, ppi)


def source(record: Record, *, draft: bool = False) -> tuple[str, dict[str, bytes]]:
    """The typesetter's source, which no word of a job can change, and the files it reads."""
    template = package_files("tickover.handover").joinpath("record.typ").read_text(encoding="utf-8")
    files: dict[str, bytes] = {}
    sheet = record.sheet
    content = {
        "colours": {str(token): colour for token, colour in PALETTES["print"].items()},
        "faces": {role: list(faces) for role, faces in paper.FACES.items()},
        "draft": DRAFT if draft else "",
        "title": _head(" ".join(p for p in ("Job", sheet.job, "the shop’s record") if p), 120),
        "shop": _head(sheet.shop, 120),
        "job": _head(f"Job {sheet.job}" if sheet.job else "Job", 60),
        "invented": f"{INVENTED}." if sheet.invented else "",
        "made_at": paper_date(sheet.at),
        "made": f"Tickover {__version__}",
        "headline": _soft(sheet.headline),
        "lead": _soft(sheet.lead),
        "facts": _facts(record, draft=draft),
        "sections": _marked(record, [s for s in _sections(record, files) if s["rows"] or s["tables"] or s["pictures"]]),
    }
    return template, {"record.json": json.dumps(content, ensure_ascii=False).encode("utf-8"), **files}


def _soft(text: str) -> str:
    """Words as they are, without control characters, breakable inside when they are long."""
    text = _KEPT.sub("\u00a0", " ".join(re.split(r"[^\S\u00a0]+", clean(text).strip())))
    if len(text) > LONGEST:
        text = text[: LONGEST - 40].rstrip() + " … (the rest is in the JSON)"
    return re.sub(rf"[^\s{_SOFT_BREAK}]{{{_UNBROKEN}}}(?=[^\s{_SOFT_BREAK}])", lambda m: m.group() + _SOFT_BREAK, text)


def _head(text: str, most: int) -> str:
    text = " ".join(clean(text).split())
    return _soft(text if len(text) <= most else text[: most - 1] + "…")


def _facts(record: Record, *, draft: bool) -> list[Row]:
    sheet = record.sheet
    opened = f"{day(record.opened)}, {clock(record.opened)}" if day(record.opened) else record.opened
    handed = any(e.kind == "sheet" and e.stage == "hand over" for e in record.entries) or sheet.at != record.closed
    return [
        {"label": label, "text": _soft(text)}
        for label, text in (
            ("Car", sheet.car),
            ("Car’s number", sheet.vin),
            ("Opened", opened),
            ("Handed over" if handed and not draft else "As of", sheet.date),
            ("Written by", "; ".join(record.people)),
            ("Erasing", record.erasing),
        )
        if text.strip()
    ]


def _sections(record: Record, files: dict[str, bytes]) -> list[dict[str, Any]]:
    def section(
        heading: str, rows: Sequence[Row] = (), tables: Sequence[Row] = (), pictures: Sequence[Row] = ()
    ) -> Row:
        return {"heading": heading, "rows": list(rows), "tables": list(tables), "pictures": list(pictures)}

    told = [_row(_NAMES.get(name, capital(name.replace("_", " "))), value) for name, value in record.told.items()]
    by_stage = {stage: [_said(s) for s in record.said if s.stage == stage] for stage in _STAGES}
    idle = idle_picture(record.sheet, height=200, room=ROOM)
    before = [_idle_picture(idle, files)] if idle is not None else []
    readings = [row for r in record.readings for row in _reading(r)]
    compared = [row for c in record.comparisons for row in _comparison(c)]
    titles = {a.routine: a.attempt.title for a in record.attempts if a.routine}
    return [
        section("What was told", told),
        section(_TITLES["arrive"], by_stage["arrive"]),
        section(
            "Set-up",
            [*(_set_up(s, titles) for s in record.set_ups), *by_stage["set up"]],
        ),
        section("Readings, before and after", [*readings, *by_stage["before"], *compared, *by_stage["after"]],
                pictures=before),
        *(_attempt(a, files) for a in record.attempts),
        section("Relearn, besides", by_stage["relearn"]),
        *(section(_TITLES[s], by_stage[s]) for s in ("cause", "drive", "ready")),
        section("Hand over, besides", by_stage["hand over"]),
        section("Corrections", [_correction(c) for c in record.corrections]),
        section("What it rests on", _lines(record.sources)),
        section("Versions", _lines(record.versions)),
        section("Entries, as written", tables=[_entries(record.entries)] if record.entries else []),
    ]  # fmt: skip


def capital(text: str) -> str:
    """The text with a capital."""
    return text[:1].upper() + text[1:]


def _marked(record: Record, sections: list[Row]) -> list[Row]:
    """Rows of entries that were corrected say so in their label."""
    corrected = {e.seq for e in record.entries if e.corrected_by is not None}
    for section in sections:
        for row in section["rows"]:
            numbered = re.search(r"entry (\d+)$", row["label"])
            if numbered and int(numbered.group(1)) in corrected:
                row["label"] += ", as corrected"
    return sections


def _row(label: str, text: str, when: str = "", lines: Sequence[str] = (), mark: str = "") -> Row:
    short = sum(map(len, (text, *lines))) + 60 * len(lines) < _WHOLE
    return {"label": _soft(label), "text": _soft(capital(text)), "when": _soft(when),
            "lines": [_soft(capital(t)) for t in lines], "mark": mark, "whole": short, "table": None}  # fmt: skip


def _lines(texts: Sequence[str]) -> list[Row]:
    return [_row("", texts[0], "", texts[1:])] if texts else []


def _when(at: str, by: str) -> str:
    moment = f"{at[:10]} {clock(at)}" if clock(at) else at
    return ", ".join(p for p in (moment, by) if p.strip())


def _said(said: Said) -> Row:
    label = f"{said.kind[:1].upper()}{said.kind[1:]}"
    first, lines = (said.text, said.lines) if said.text else (said.lines[0] if said.lines else "", said.lines[1:])
    dashed = "dashed" if said.kind in {"skipped", "withdrawn", "purged"} else ""
    return _row(f"{label}, entry {said.seq}", first, _when(said.at, said.by), lines, dashed)


def quantity_words(value: Measured | None, unit: str | None = None) -> str:
    """``842 ± 14 r/min (95 %)``; a range where the interval is lopsided; the reason where it cannot be told."""
    if value is None:
        return ""
    if isinstance(value, CannotTell):
        return f"cannot tell: {value.reason}"
    places = _places(value)
    if value.half_width == 0:
        return f"{plain(value.value, places)} {value.unit if unit is None else unit} (no spread seen)"
    unit = value.unit if unit is None else unit
    tail = f" {unit} ({100 * value.level:g} %)"
    if value.lo is None or value.hi is None:
        bound = f", at least {plain(value.lo, places)}" if value.lo is not None else ""
        bound = f", at most {plain(value.hi, places)}" if value.hi is not None else bound
        return f"{plain(value.value, places)}{bound}{tail}"
    below, above = value.value - value.lo, value.hi - value.value
    if abs(below - above) <= 0.1 * max(below + above, 1e-12):
        return f"{plain(value.value, places)} ± {plain(max(below, above), places)}{tail}"
    return f"{plain(value.value, places)}, {plain(value.lo, places)} to {plain(value.hi, places)}{tail}"


def _places(value: Quantity) -> int:
    """Decimals so that the interval keeps a figure or two, and the value no more than that."""
    half = value.reach
    if not half:
        return 0 if abs(value.value) >= 100 else 1 if abs(value.value) >= 10 else 2
    order = math.floor(math.log10(half))
    return min(max(0, -order + (half < 2 * 10.0**order)), _MOST_PLACES)


def _rests(pieces: Sequence[str]) -> str:
    return f"Rests on {'; '.join(p.strip().rstrip('.') for p in pieces)}"


def _reading(reading: Reading) -> list[Row]:
    label = f"{reading.stage[:1].upper()}{reading.stage[1:]}, entry {reading.seq}"
    lines = [_state(s) for s in reading.states]
    if reading.swing is not None:
        lines.append(f"Swing: {quantity_words(reading.swing)}")
    if reading.hunting:
        lines.append(f"Hunting: {reading.hunting}")
    if reading.rests_on:
        lines.append(_rests(reading.rests_on))
    if reading.source:
        lines.append(f"Read from {reading.source}")
    rows = [_row(label, lines[0] if lines else "no idle", _when(reading.at, reading.by), lines[1:])]
    for refusal in reading.refusals:
        rows.append(_row("Cannot tell", refusal.reason, "", [refusal.way_out] if refusal.way_out else [], "dashed"))
    return rows


def _state(state: Stated) -> str:
    parts = [f"{state.name or 'idle'}, {plain(state.seconds)} s: {quantity_words(state.speed)}"]
    if state.spread is not None:
        parts.append(f"spread {plain(state.spread, 1)} r/min")
    if isinstance(state.trim, Quantity):
        parts.append(f"trim {quantity_words(state.trim)}")
    if state.coolant is not None:
        parts.append(f"coolant {plain(state.coolant[0])} to {plain(state.coolant[1])} °C")
    parts += [f"{name.replace('_', ' ')} {quantity_words(q)}" for name, q in state.others.items()]
    return "; ".join(parts)


def _comparison(found: Compared) -> list[Row]:
    lines = [f"{name}: {words}" for name, words in (
        ("Before", quantity_words(found.before)), ("After", quantity_words(found.after)),
        ("Difference", quantity_words(found.difference)), ("Load state", found.state)) if words]  # fmt: skip
    if found.normal is not None:
        lines.append(f"Normal: {plain(found.normal[0])} to {plain(found.normal[1])} r/min")
    if found.rests_on:
        lines.append(_rests(found.rests_on))
    told = found.sentence or found.verdict
    mark = "dashed" if found.verdict == "cannot tell" else ""
    return [_row(f"Verdict: {found.verdict}, entry {found.seq}", told, _when(found.at, found.by), lines, mark)]


def _set_up(found: SetUpFound, titles: Mapping[str, str]) -> Row:
    """The needs of one routine, their table right under their heading."""
    name = titles.get(found.routine) or found.routine.replace("-", " ")
    row = _row(f"Needs, entry {found.seq}", f"Needs of the routine: {name}" if name else "", _when(found.at, found.by))
    table = {
        "columns": ["Need", "Found", "Met"],
        "widths": [4, 3, 1.6],
        "rows": [[_soft(n.need), _soft(n.value), _met(n)] for n in found.needs],
    }
    return {**row, "table": table}


def _met(need: Need) -> str:
    if need.met is None:
        return {"by hand": "not looked at", "cannot tell": "cannot tell"}.get(need.standing, "nobody said")
    seen = ", seen to by hand" if need.met and need.standing in {"by hand", "cannot tell"} else ""
    return f"met{seen}" if need.met else "not met"


def _attempt(one: Attempted, files: dict[str, bytes]) -> Row:
    tried = one.attempt
    verdict = {"hit": "every step in time", "missed": "missed", "undecided": "done, cannot tell"}[tried.verdict]
    lines = [t for t in (tried.sentence, one.advice, one.changed) if t.strip()]
    erases = "may erase codes and readiness" if one.may_erase else "cannot erase"
    facts = f"It {erases}, and lasted {plain(tried.duration, 1)} s. {capital(one.basis)}".rstrip()
    mark = "dashed" if tried.verdict == "undecided" else ""
    rows = [_row(f"Try {tried.number}, entry {one.seq}", f"{verdict}. {facts}", _when(one.at, one.by), lines, mark)]
    pictures = []
    if tried.acts:
        name = f"attempt-{one.seq}.svg"
        pictures.append(_picture(try_picture(tried, room=ROOM), name, files))
    tables = [{
        "columns": ["Act", "Came at", "Should have come", "Judged"],
        "widths": [3, 2, 2, 2],
        "rows": [[_soft(a.label or a.kind), _came(a), _window(a), _judged(a)] for a in tried.acts],
    }] if tried.acts else []  # fmt: skip
    return {"heading": _soft(f"Relearn: {tried.title}"), "rows": rows, "tables": tables, "pictures": pictures}


def _came(act: ActDone) -> str:
    if act.t_lo is None or act.t_hi is None:
        return "never"
    lo, hi = plain(act.t_lo, 2), plain(act.t_hi, 2)
    return f"{lo} s" if lo == hi else f"{lo} to {hi} s"


def _window(act: ActDone) -> str:
    lo, hi = act.window or (None, None)
    if lo is None and hi is None:
        return ""
    if lo is None or hi is None:
        return f"from {plain(lo, 2)} s" if lo is not None else f"by {plain(hi or 0.0, 2)} s"
    return f"{plain(lo, 2)} to {plain(hi, 2)} s"


def _judged(act: ActDone) -> str:
    return "hit" if act.verdict == "hit" else f"{act.verdict}: {miss_words(act)}"


def _correction(one: Correction) -> Row:
    what = f"Entry {one.corrects} ({one.stage}, {one.kind}) was " + ("withdrawn" if one.withdrawn else "corrected")
    return _row(f"Entry {one.seq}", f"{what}.", _when(one.at, one.by), one.changes)


def _entries(entries: Sequence[Listed]) -> Row:
    rows = []
    for e in entries:
        notes = [
            f"corrects {e.corrects}" if e.corrects is not None else "",
            f"corrected by {e.corrected_by}" if e.corrected_by is not None else "",
            "invented" if e.simulated else "",
            f"kept outside: {', '.join(e.personal)}" if e.personal else "",
            *(f"with {a}" for a in e.attachments),
            e.digest,
        ]
        what = f"{e.stage}, {e.kind}"
        rows.append([str(e.seq), _soft(what), _soft(_when(e.at, e.by)), _soft("; ".join(n for n in notes if n))])
    return {"columns": ["No.", "Stage, kind", "When, by whom", "Corrections and digest"], "widths": [0.5, 2, 2.4, 4.1],
            "rows": rows}  # fmt: skip


def _idle_picture(picture: Picture, files: dict[str, bytes]) -> Row:
    return _picture(picture, "idle.svg", files)


def _picture(picture: Picture, name: str, files: dict[str, bytes]) -> Row:
    files[name] = picture.svg("print", words=False).encode("utf-8")
    return {"file": name, "width": picture.width, "height": picture.height, "sentence": clean(picture.sentence),
            "words": picture.set_words("print")}  # fmt: skip
