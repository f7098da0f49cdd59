"""The sheet on one A4 page: set, counted, and shortened where it would not fit; nothing is ever clipped."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import UTC
from importlib.resources import files as package_files
from typing import Any

from tickover import __version__
from tickover.drawing import marks, paper
from tickover.drawing.figures import short
from tickover.drawing.picture import Picture
from tickover.drawing.svg import clean, hatch, rect
from tickover.drawing.tokens import PALETTES, Token
from tickover.errors import PaperError
from tickover.handover.pictures import idle_picture, last_try, try_picture
from tickover.handover.sheet import Row, Sheet
from tickover.handover.wording import moment, ordinal, sentence
from tickover.results import Quantity

ROOM = 687.0
"""Between the edges of an A4 page with 14 mm margins [px]."""

INVENTED = "Invented shop, car and figures: the car is simulated"
DRAFT = "DRAFT"
"""Across a page that is not the hand-over."""
SHORTENED = "Shortened to fit one page; the whole text is in the shop’s record of this job."

FILLING = 4
"""Halvings towards the next fuller page where words had to be cut; each sets the page once more. Own choice."""
_MORE = "and {} more, in the shop’s record"
_LONGEST_WORD, _NARROW, _LONGEST_WHEN = 26, 13, 22
_FOOT_LINE = 100
_SOFT_BREAK = "\u200b"


@dataclass(frozen=True, slots=True)
class Trim:
    """How much of a sheet is printed.

    Attributes:
        trace: height of before and after [px]; 0 leaves it out.
        attempt: whether the attempt is drawn.
        items: most lines in one section.
        letters: most letters in one text.
        spacing: room between things, 1 for all of it.
        heads: share of the usual length of head, lead, caution and foot.
    """

    trace: float
    attempt: bool
    items: int
    letters: int
    spacing: float
    heads: float = 1.0


TRIMS = (
    Trim(220, True, 9, 420, 1.0),
    Trim(200, True, 9, 420, 0.9),
    Trim(180, True, 9, 420, 0.75),
    Trim(156, True, 9, 420, 0.6),
    Trim(200, False, 9, 420, 1.0),
    Trim(180, False, 9, 420, 0.8),
    Trim(156, True, 7, 260, 0.6),
    Trim(156, True, 5, 200, 0.6),
    Trim(156, False, 7, 260, 0.6),
    Trim(156, False, 4, 200, 0.6),
    Trim(140, False, 3, 120, 0.6),
    Trim(140, False, 2, 80, 0.6),
    Trim(0, False, 1, 60, 0.6),
    Trim(0, False, 1, 40, 0.5, 0.4),
)
"""From all of it to the least; the first that fits one page is printed."""


@dataclass(frozen=True)
class Source:
    """A document for the typesetter: its source, the files it reads, and whether anything was left out."""

    text: str
    files: dict[str, bytes]
    shortened: bool


def source(sheet: Sheet, *, draft: bool = False) -> Source:
    """The sheet as a document of exactly one page.

    Args:
        sheet: what stands on it; any words, they stay words.
        draft: whether it is marked as one.
    Returns: the fullest form that fits.
    Raises: PaperError if not even the shortest does.
    """
    longer: Trim | None = None
    for trim in TRIMS:
        made = _fitting(sheet, trim, draft=draft)
        if made is not None:
            return _filled(sheet, longer, trim, made, draft=draft) if made.shortened and longer is not None else made
        longer = trim
    raise PaperError("the sheet does not fit one page", way_out="Shorten the shop’s name or the job’s number.")


def _fitting(sheet: Sheet, trim: Trim, *, draft: bool) -> Source | None:
    """The sheet at one trim; None where it takes more than a page."""
    template = package_files("tickover.handover").joinpath("sheet.typ").read_text(encoding="utf-8")
    content, pictures, shortened = _content(sheet, trim)
    content["draft"] = DRAFT if draft else ""
    named = {"sheet.json": json.dumps(content, ensure_ascii=False).encode("utf-8"), **pictures}
    return Source(template, named, shortened) if paper.ask(template, named, "<pages>") == 1 else None


def _filled(sheet: Sheet, longer: Trim, trim: Trim, made: Source, *, draft: bool) -> Source:
    """The page filled up: from a trim that fits towards the one before it that does not, as many words as go in."""
    lo, hi = 0.0, 1.0
    for _ in range(FILLING):
        share = (lo + hi) / 2
        more = replace(
            trim,
            items=trim.items + round(share * max(longer.items - trim.items, 0)),
            letters=trim.letters + round(share * max(longer.letters - trim.letters, 0)),
        )
        tried = _fitting(sheet, more, draft=draft) if more != trim else None
        if tried is None:
            hi = share
        else:
            lo, made = share, tried
    return made


def pdf(sheet: Sheet, *, draft: bool = False) -> bytes:
    """The sheet as a PDF of one page.

    Raises: PaperError as ``source``.
    """
    made = source(sheet, draft=draft)
    return paper.pdf(made.text, made.files)


def png(sheet: Sheet, ppi: float = 110) -> bytes:
    """The sheet as a PNG.

    Args:
        sheet: what stands on it.
        ppi: pixels to the inch.
    Raises: PaperError as ``source``.
    """
    made = source(sheet)
    return paper.png(made.text, made.files, ppi)[0]


class _Words:
    """Cuts texts to a length and remembers whether it had to."""

    def __init__(self, trim: Trim) -> None:
        self._letters = trim.letters
        self._items = trim.items
        self._heads = trim.heads
        self.cut = False

    def text(self, words: str, most: int | None = None, unbroken: int = _LONGEST_WORD) -> str:
        """The words without control characters, no longer than allowed, long words breakable.

        Args:
            words: any words.
            most: most letters of a head or a foot, shortened as the trim says; the trim's own where not given.
            unbroken: most letters in a row before a line may break inside a word.
        """
        most = self._letters if most is None else round(most * self._heads)
        words = " ".join(re.split(r"[^\S\u00a0]+", clean(words).strip()))
        if len(words) > most:
            self.cut = True
            kept = words[: most - 2]
            whole = kept.rsplit(" ", 1)[0]
            words = (whole if len(whole) > 0.7 * most else kept).rstrip(" ,.;:") + " …"
        return re.sub(rf"[^ ]{{{unbroken}}}(?=[^ ])", lambda m: m.group() + _SOFT_BREAK, words)

    def rows(self, rows: tuple[Row, ...]) -> list[dict[str, str]]:
        """Rows as plain values. Where some are left out a line says how many; the heaviest stay, then the last one."""
        last = len(rows) - 1
        heaviest = sorted(range(len(rows)), key=lambda k: (-rows[k].weight, k != last, k))
        kept = sorted(heaviest[: self._items])
        more = len(rows) - len(kept)
        made = []
        for row in (rows[k] for k in kept):
            when = self.text(row.when) if len(row.when) <= _LONGEST_WHEN else ""
            text = row.text if when or not row.when else f"{row.text} ({row.when})"
            made.append({"text": self.text(text, unbroken=_NARROW if when else _LONGEST_WORD), "when": when})
        if more > 0:
            self.cut = True
            made.insert(len(made) - 1, {"text": _MORE.format(more), "when": ""})
        return made


def _content(sheet: Sheet, trim: Trim) -> tuple[dict[str, Any], dict[str, bytes], bool]:
    """The template's values and pictures."""
    words = _Words(trim)
    files: dict[str, bytes] = {}

    def keep(name: str, picture: Picture, **more: str) -> dict[str, Any]:
        files[name] = picture.svg("print", words=False).encode("utf-8")
        return {
            "file": name,
            "width": picture.width,
            "height": picture.height,
            "sentence": clean(picture.sentence),
            "words": picture.set_words("print"),
            "caption": "",
            "right": "",
            "tone": "ink",
            **more,
        }

    rows = _rows(sheet, words)
    content: dict[str, Any] = {
        "colours": {str(token): colour for token, colour in PALETTES["print"].items()},
        "faces": {role: list(faces) for role, faces in paper.FACES.items()},
        "space": _space(trim.spacing),
        "title": clean(" ".join(part for part in ("Job", sheet.job, sheet.headline) if part)),
        "shop": words.text(sheet.shop, 60, _NARROW),
        "job": words.text(f"Job {sheet.job}", 24, _NARROW) if sheet.job else "",
        "invented": INVENTED if sheet.invented else "",
        "made_at": paper_date(sheet.at),
        "day": [words.text(part, 80) for part in (sheet.date, sheet.car, _vin(sheet)) if part],
        "sign": keep("sign.svg", marks.sign(sheet.verdict)) if sheet.verdict else None,
        "headline": words.text(sheet.headline, 70, _NARROW),
        "lead": words.text(sheet.lead, max(trim.letters, 160)),
        "waits": sheet.verdict in (None, "cannot tell"),
        "pictures": _pictures(sheet, trim, words, keep),
        "rows": rows,
        "caution": words.text(sheet.caution, 200) if not any(r["caution"] for r in rows) else "",
        "caution_word": "Caution.",
        "tape": keep("tape.svg", _tape(ROOM)),
        "signs": [
            f"For the shop, {words.text(sheet.by, 26, _NARROW)}" if sheet.by else "For the shop",
            "Received",
            "Date",
        ],
        "foot": _foot(sheet, words),
        "made": "Customer’s sheet\n" + f"Tickover {__version__}",
    }
    content["note"] = SHORTENED if words.cut else ""
    return content, files, words.cut


def _space(spacing: float) -> dict[str, float]:
    return {
        "row": 10 * spacing,
        "item": 9 * (0.6 + 0.4 * spacing),
        "leading": 8.5 * (0.7 + 0.3 * spacing),
        "picture": 14 * spacing,
        "title": 20 * spacing,
    }


def _pictures(sheet: Sheet, trim: Trim, words: _Words, keep: Callable[..., dict[str, Any]]) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = []
    idle = idle_picture(sheet, height=trim.trace, room=ROOM) if trim.trace else None
    if idle is not None:
        found.append(keep("idle.svg", idle))
    attempt = last_try(sheet)
    if attempt is not None and trim.attempt:
        which = f"{attempt.title}, {ordinal(attempt.number)} try" if len(sheet.tries) > 1 else attempt.title
        told, tone = {
            "hit": ("every step in time", "do"),
            "missed": ("missed", "warn"),
            "undecided": ("done, cannot tell", "ink"),
        }[attempt.verdict]
        caption = {"caption": words.text(which, 60), "right": told, "tone": tone}
        found.append(keep("attempt.svg", try_picture(attempt, room=ROOM), **caption))
    return found


def _rows(sheet: Sheet, words: _Words) -> list[dict[str, Any]]:
    """The sections that have content, in their order; each caution under the section where it matters."""
    sections = (
        ("What was wrong", _said(sheet.wrong), ""),
        ("What was done", sheet.done, ""),
        ("What to watch", sheet.watch, "" if sheet.lamp else sheet.caution),
        ("The engine lamp", _said(sheet.lamp), sheet.caution),
        ("Driving it", _said(sheet.driving), sheet.drive_caution),
        ("Your inspection", _said(sheet.inspection), ""),
        ("Come back", _said((sheet.come_back,)), ""),
        ("Cannot tell yet", _said(sheet.cannot_tell), ""),
    )
    made = []
    for heading, rows, caution in sections:
        items = words.rows(tuple(row for row in rows if row.text.strip()))
        if items:
            dunno = heading == "Cannot tell yet"
            made.append({"heading": heading, "dunno": dunno, "items": items, "caution": words.text(caution, 200)})
    return made


def _said(texts: tuple[str, ...]) -> tuple[Row, ...]:
    return tuple(Row(text=t) for t in texts)


def _vin(sheet: Sheet) -> str:
    return f"Car’s number {sheet.vin}" if sheet.vin else ""


def paper_date(at: str) -> list[int] | None:
    """The date of a document: year, month, day, hour, minute, second, in UTC where the offset is told."""
    when = moment(at)
    if when is None or not 1 <= when.year <= 9998:
        return None
    if when.tzinfo is not None and when.year > 1:
        when = when.astimezone(UTC)
    return [when.year, when.month, when.day, when.hour, when.minute, when.second]


def _foot(sheet: Sheet, words: _Words) -> str:
    """What the figures rest on, what ± means and where the routine comes from, short ones on one line."""
    told: list[str] = []
    if sheet.rests_on:
        rests = "; ".join(r[:1].lower() + r[1:] for r in sheet.rests_on)
        told.append(words.text(f"Rests on {rests}".rstrip(".") + ".", 340))
    levels = {r.level for r in (sheet.before, sheet.after) if isinstance(r, Quantity)}
    if levels:
        told.append(f"± is a {' or '.join(f'{short(100 * level)} %' for level in sorted(levels))} interval.")
    if sheet.basis:
        told.append(words.text(f"Routine: {sentence(sheet.basis)}", 160))
    lines: list[str] = []
    for piece in told:
        if lines and len(lines[-1]) + len(piece) < _FOOT_LINE:
            lines[-1] += f" {piece}"
        else:
            lines.append(piece)
    return "\n".join([*lines, *([f"{INVENTED}."] if sheet.invented else [])])


def _tape(room: float) -> Picture:
    """The tape over a caution: ink stripes on white, so that it survives a grey printer."""
    high = 9.0
    # The stripes begin and end outside, so that the edge of the picture cuts them straight.
    strokes = hatch([(-9, -9), (room + 9, -9), (room + 9, high + 9), (-9, high + 9)], 20, Token.INK, 7)
    return Picture(
        room, high, (rect(0, 0, room, high, Token.CARD), *([strokes] if strokes else [])), (), "Caution tape"
    )
