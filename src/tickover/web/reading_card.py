"""What the sheet shows of a reading and of a comparison: figures, the ruled line, the list, the record over time."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from fastapi import APIRouter, Path, Response

from tickover.drawing.line import Found, ruled_line
from tickover.drawing.marks import Fill
from tickover.drawing.picture import Picture
from tickover.errors import InputError, UnknownEntryError
from tickover.idle import words
from tickover.idle.chart import letters, overlay_chart, reading_chart
from tickover.idle.figures import comparison_figure, reading_figure
from tickover.idle.page import chart_script
from tickover.idle.results import Comparison, IdleReading, IdleState
from tickover.jobs import Entry
from tickover.results import CannotTell, Measured, Quantity
from tickover.visit.drafts import normal_of
from tickover.visit.measuring import stored_comparison, stored_reading
from tickover.web.site import Site

Normal = tuple[float, float] | None

NARROW, WIDE = 272.0, 420.0
"""Widths of a ruled line [px]: what a phone of 360 px leaves, and half a desk's sheet."""
_STILL = 640.0


def card(entry: Entry, normal: Normal) -> dict[str, Any]:
    """The card of a reading, or the reason why there is none.

    Args:
        entry: of kind ``reading`` or ``no reading``.
        normal: the car's normal idle as the job has it now [r/min].
    """
    reading = stored_reading(entry.data)
    shared = {
        "seq": entry.seq,
        "log": entry.inputs.get("reader") or [],
        "files": entry.attachments,
        "simulated": entry.simulated,
    }
    if isinstance(reading, CannotTell):
        return {**shared, "none": sentence(words.cannot_tell(reading))}
    still = reading_figure(reading, normal=normal, room=_STILL) if reading.trace.get("t") else None
    return {
        **shared,
        "none": "",
        "states": [_state(reading, s, None if s.name == "loads on" else normal) for s in reading.states],
        "more": words.more(reading),
        "rests_on": reading.rests_on,
        "refusals": [words.cannot_tell(r) for r in reading.refusals],
        "still": still,
        "unused": _unused(reading),
    }


def _state(reading: IdleReading, state: IdleState, normal: Normal) -> dict[str, Any]:
    speed = state.speed
    known = isinstance(speed, Quantity)
    return {
        "figure": words.plus_minus(speed) if isinstance(speed, Quantity) else "Cannot tell",
        "known": known,
        "why": "" if isinstance(speed, Quantity) else words.cannot_tell(speed),
        "conditions": words.conditions(state),
        "lines": _lines([("idle", speed, "solid")], normal),
        "against": words.against_normal(speed, normal) if normal and isinstance(speed, Quantity) else "",
        "rows": words.rows(reading, state),
    }


def _lines(sides: Sequence[tuple[str, Measured, Fill]], normal: Normal) -> dict[str, Picture] | None:
    """The ruled line in two widths; None where there is nothing to put on it."""
    marks = [Found(name, q.value, q.lo, q.hi, fill) for name, q, fill in sides if isinstance(q, Quantity)]
    if not marks:
        return None
    return {
        name: ruled_line(marks, allowed=normal, unit="r/min", about="Idle speed", room=room)
        for name, room in (("narrow", NARROW), ("wide", WIDE))
    }


def _unused(reading: IdleReading) -> list[tuple[str, str]]:
    """Why pieces of the recording do not count, by their letters in the picture."""
    out = []
    for reason, letter in letters(reading.stretches).items():
        long = sum(s.stop - s.start for s in reading.stretches if s.unused_because == reason)
        out.append((letter, f"{reason}, {long:.0f} s"))
    return out


def verdict(entry: Entry, entries: Sequence[Entry]) -> dict[str, Any]:
    """The verdict line with the picture behind it.

    Args:
        entry: the comparison.
        entries: the job, corrections applied.
    """
    found = stored_comparison(entry.data)
    before, after = compared_readings(entry, entries)
    still = comparison_figure(found, before, after, room=_STILL) if _traced(before, after) else None
    no = found.difference if isinstance(found.difference, CannotTell) else None
    return {
        "seq": entry.seq,
        "verdict": found.verdict,
        "sentence": found.sentence,
        "difference": words.difference_words(found),
        "way_out": no.way_out if no is not None else "",
        "rests_on": found.rests_on,
        "numbers": words.numbers(found),
        "lines": _lines([("before", found.before, "before"), ("after", found.after, "solid")], found.normal),
        "still": still,
    }


def _traced(*readings: IdleReading | CannotTell) -> bool:
    return any(isinstance(r, IdleReading) and r.trace.get("t") for r in readings)


def compared_readings(
    comparison: Entry, entries: Sequence[Entry]
) -> tuple[IdleReading | CannotTell, IdleReading | CannotTell]:
    """The two readings that a comparison was made from."""
    none = CannotTell(reason="the reading is not in the record")
    before = next((e for e in reversed(entries) if e.stage == "before" and e.kind == "reading"), None)
    after = next(
        (
            e
            for e in reversed(entries)
            if e.stage == "after" and e.kind in {"reading", "no reading"} and e.seq < comparison.seq
        ),
        None,
    )
    return (
        stored_reading(before.data) if before is not None else none,
        stored_reading(after.data) if after is not None else none,
    )


def sentence(text: str) -> str:
    """The text with a capital."""
    return text[:1].upper() + text[1:]


def chart_of(entry: Entry, entries: Sequence[Entry]) -> dict[str, Any]:
    """What the zooming chart draws for a reading or a comparison.

    Raises: InputError for an entry that has no picture over time.
    """
    data: dict[str, Any] | None = None
    still: Picture | None = None
    if entry.kind == "reading" and entry.stage in {"before", "after"}:
        reading = stored_reading(entry.data)
        if isinstance(reading, IdleReading):
            normal = normal_of(entries)
            data = reading_chart(reading, normal)
            still = reading_figure(reading, normal=normal, room=_STILL) if data else None
    elif entry.kind == "comparison":
        found: Comparison = stored_comparison(entry.data)
        before, after = compared_readings(entry, entries)
        data = overlay_chart(found, before, after)
        still = comparison_figure(found, before, after, room=_STILL) if data else None
    if data is None or still is None:
        raise InputError(f"entry {entry.seq} has no picture over time", way_out="Readings from a log have one.")
    return {**data, "sentence": still.sentence}


def routes(site: Site) -> APIRouter:
    """The data of a chart, the script that draws it, and what an entry brought along."""
    router = APIRouter()

    @router.get("/api/jobs/{job}/charts/{entry}", summary="A reading or a comparison over time, as its chart draws it")
    def chart(job: int = Path(ge=1, le=2**31 - 1), entry: int = Path(ge=1, le=2**31 - 1)) -> dict[str, Any]:
        with site.opened() as store:
            entries = store.current(job)
        held = next((e for e in entries if e.seq == entry), None)
        if held is None:
            raise UnknownEntryError(job, entry, max((e.seq for e in entries), default=0))
        return chart_of(held, entries)

    @router.get("/api/jobs/{job}/attachments/{digest}", summary="A file that an entry brought along, as it came in")
    def attachment(job: int = Path(ge=1, le=2**31 - 1), digest: str = Path(pattern="^[0-9a-f]{64}$")) -> Response:
        with site.opened() as store:
            held = {a.digest: a for e in store.entries(job) for a in e.attachments}
            if digest not in held:
                raise InputError("this job holds no such file", way_out="Its entries name theirs.")
            content = store.attachment(digest)
        # Whatever came in is handed back as bytes to be saved: no browser may take it for a page.
        headers = {"content-disposition": f'attachment; filename="{digest[:12]}.bin"'}
        return Response(content, media_type="application/octet-stream", headers=headers)

    @router.get("/static/chart.js", include_in_schema=False)
    def script() -> Response:
        return Response(chart_script(), media_type="text/javascript", headers={"cache-control": "max-age=3600"})

    return router
