"""The printed card: one A4 page for the steering wheel, in big type, shortened where it would not fit."""

from __future__ import annotations

import json
from dataclasses import dataclass
from importlib.resources import files as package_files
from typing import Any

from tickover import __version__
from tickover.cues.plan_picture import plan_picture
from tickover.cues.sounds import ANSWER_WORDS
from tickover.cues.when import COUNTS, notes_of, on_road, own_detail, when_of
from tickover.drawing import paper
from tickover.drawing.svg import clean
from tickover.drawing.tokens import PALETTES
from tickover.errors import PaperError
from tickover.routines import CompiledNeed, CompiledRoutine, CompiledStep
from tickover.routines.aiming import aims_for
from tickover.routines.phrases import CAUTION_ROAD
from tickover.timing import Aim

ROOM = 687.0
"""Between the edges of an A4 page with 14 mm margins [px]."""

SHORTENED = "Shortened to fit one page: `tickover routine show` has the whole text."

PASSENGER = "A passenger works the coach"
"""How a routine's own caution begins that says who works what on the road."""

ERASES = (
    "This routine may erase codes and readiness. Read lamp, codes and readiness first and write them down; "
    "with a lit lamp and unread codes, do not begin."
)


@dataclass(frozen=True, slots=True)
class Trim:
    """How much of a card is printed: size of the steps [px], most letters of a text, and which parts."""

    size: float
    letters: int
    why: bool
    details: bool
    signs: bool
    spacing: float
    needs: int = 99


TRIMS = (
    Trim(30, 400, True, True, True, 1.3),
    Trim(27, 400, True, True, True, 1.1),
    Trim(24, 400, True, True, True, 1.0),
    Trim(22, 400, False, True, True, 1.0),
    Trim(20, 400, False, True, True, 0.8),
    Trim(20, 300, False, False, True, 0.8),
    Trim(18, 300, False, False, True, 0.6),
    Trim(18, 200, False, False, False, 0.6),
    Trim(17, 160, False, False, False, 0.45),
    Trim(16, 110, False, False, False, 0.3),
    Trim(16, 70, False, False, False, 0.2, 6),
    Trim(15, 44, False, False, False, 0.1, 4),
)
"""From all of it to the least; the first that fits one page is printed."""


@dataclass(frozen=True)
class _Source:
    text: str
    files: dict[str, bytes]


def card_pdf(routine: CompiledRoutine) -> bytes:
    """The card as a PDF of one A4 page.

    Args:
        routine: compiled for the car's switch.
    Raises: PaperError if not even the shortest form fits; NotControllableError as ``timing.prepare``.
    """
    made = _source(routine)
    return paper.pdf(made.text, made.files)


def card_png(routine: CompiledRoutine, ppi: float = 110) -> bytes:
    """The card as a PNG; arguments and errors as ``card_pdf``, ``ppi`` pixels to the inch."""
    made = _source(routine)
    return paper.png(made.text, made.files, ppi)[0]


def _source(routine: CompiledRoutine) -> _Source:
    template = package_files("tickover.cues").joinpath("card.typ").read_text(encoding="utf-8")
    found = aims_for(routine, "none")
    for trim in TRIMS:
        content, svg = _content(routine, found, trim)
        named = {"card.json": json.dumps(content, ensure_ascii=False).encode(), "plan.svg": svg}
        if paper.ask(template, named, "<pages>") == 1:
            return _Source(template, named)
    raise PaperError(
        f"the card of “{routine.id}” does not fit one page", way_out="Use fewer or shorter steps, or the coach."
    )


class _Words:
    """Cuts texts to a length and remembers whether it had to."""

    def __init__(self, letters: int) -> None:
        self._letters = letters
        self.cut = False

    def text(self, words: str) -> str:
        words = " ".join(clean(words).split())
        if len(words) <= self._letters:
            return words
        self.cut = True
        return words[: self._letters - 2].rsplit(" ", 1)[0].rstrip(" ,.;:") + " …"


def rows_of(routine: CompiledRoutine) -> tuple[list[tuple[CompiledStep, int]], dict[str, int]]:
    """Steps as the card lists them, a cycle once with its rounds, and each step's number on the card."""
    rows: list[tuple[CompiledStep, int]] = []
    numbers: dict[str, int] = {}
    known: dict[str, int] = {}
    for step in routine.steps:
        if step.rounds > 1 and step.written in known:
            numbers[step.id] = known[step.written]
            # From the second round on the first step of a round has its bound too.
            first = known[step.written] - 1
            if not rows[first][0].bound and step.bound:
                rows[first] = (step, step.rounds)
            continue
        rows.append((step, step.rounds))
        numbers[step.id] = known[step.written] = len(rows)
    return rows, numbers


def _content(routine: CompiledRoutine, found: dict[str, Aim], trim: Trim) -> tuple[dict[str, Any], bytes]:
    words = _Words(trim.letters)
    rows, numbers = rows_of(routine)
    picture = plan_picture(routine, found, numbers, room=ROOM)
    cut = len(routine.needs) > trim.needs
    harms, cautions = _cautions(routine, [step for step, _ in rows])
    notes = notes_of(routine, numbers)
    content: dict[str, Any] = {
        "colours": {str(token): colour for token, colour in PALETTES["print"].items()},
        "faces": {role: list(faces) for role, faces in paper.FACES.items()},
        "size": trim.size,
        "spacing": trim.spacing,
        "title": clean(routine.title),
        "switch": "For a start button" if routine.switch == "button" else "For an ignition key",
        "fits": words.text(routine.fits),
        "erases": ERASES if routine.may_erase else "",
        "needs": [words.text(_need(n, why=trim.why)) for n in routine.needs[: trim.needs]],
        "requires": words.text("First: " + ", ".join(routine.requires)) if routine.requires else "",
        "picture": {
            "file": "plan.svg",
            "width": picture.width,
            "height": picture.height,
            "sentence": clean(picture.sentence),
            "words": picture.set_words("print"),
        },
        "steps": [
            _row(step, rounds, k, words)
            | {
                "when": words.text(when_of(routine, step, numbers)),
                "detail": words.text(_more(routine, step, rounds, trim, notes.get(k, ()))),
                "caution": words.text(harms[k - 1]),
            }
            for k, (step, rounds) in enumerate(rows, 1)
        ],
        "cautions": [words.text(c) for c in cautions],
        "miss": words.text(routine.after_miss),
        "signs": [words.text(s) for s in routine.signs] if trim.signs else [],
        "basis": clean(routine.basis.words),
        "made": f"Tickover {__version__} · routine {clean(routine.id)} · {routine.digest[:8]}",
    }
    dropped = (not trim.signs and routine.signs) or not trim.details
    content["note"] = SHORTENED if words.cut or cut or dropped else ""
    return content, picture.svg("print", words=False).encode()


def _need(need: CompiledNeed, *, why: bool) -> str:
    return f"{need.need}. {need.why}" if why and need.why else need.need


def _title(step: CompiledStep) -> str:
    """The step's title; for the car's answer what to watch for, since several may share one title."""
    return f"Watch: {ANSWER_WORDS[step.kind]}" if step.answer and step.kind in ANSWER_WORDS else step.title


def _cautions(routine: CompiledRoutine, steps: list[CompiledStep]) -> tuple[list[str], list[str]]:
    """Cautions of each step, and those of the whole that stand at the foot.

    On the road one caution belongs to every step; it is said once, before the first drive, in the routine's own words
    where it has them.
    """
    if not on_road(routine):
        return [" ".join(t for t in (s.caution, s.harm) if t) for s in steps], list(routine.cautions)
    own = next((c for c in routine.cautions if c.startswith(PASSENGER)), CAUTION_ROAD)
    told: list[str] = []
    said = False
    for step in steps:
        text = step.caution
        if CAUTION_ROAD in text:
            text = text.replace(CAUTION_ROAD, "" if said else own)
            said = True
        told.append(" ".join(f"{text} {step.harm}".split()))
    return told, [c for c in routine.cautions if not (said and c == own)]


def _more(routine: CompiledRoutine, step: CompiledStep, rounds: int, trim: Trim, notes: tuple[str, ...]) -> str:
    """What stands under a title. How long each press and gap may be, and what time counts, is never left out."""
    needed = len(step.events) > 1
    more = own_detail(routine, step) if trim.details or needed else ""
    if rounds > 1:
        more = more.replace(f"Round {step.round} of {rounds}.", "").strip()
    counts = [n for n in notes if trim.details or COUNTS.lower() in n.lower()]
    return " ".join([more, *counts]).strip()


def _row(step: CompiledStep, rounds: int, number: int, words: _Words) -> dict[str, str]:
    return {
        "number": str(number),
        "title": words.text(_title(step)),
        "rounds": f"each of {rounds} rounds" if rounds > 1 else "",
        "none": words.text(f"If it does not come: {step.if_none}") if step.if_none else "",
    }
