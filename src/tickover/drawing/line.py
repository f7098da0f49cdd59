"""The ruled line: honest ticks, what is allowed as jaws, what was found as ◆ with its bar."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from tickover.drawing.figures import in_words, nice_step, short, ticks
from tickover.drawing.marks import SMALLEST_MARK, Fill, bar, diamond, jaws
from tickover.drawing.picture import Label, Picture
from tickover.drawing.svg import Node, rect, segment
from tickover.drawing.tokens import Token
from tickover.drawing.words import Want, rows, shorten, width

_SIZE = 14.0
_Scale = Callable[[float], float]
_COLOURS: dict[Fill, Token] = {
    "solid": Token.FILL,
    "outline": Token.FILL,
    "missed": Token.BAD,
    "waiting": Token.INK,
    "before": Token.LINE,
}


@dataclass(frozen=True, slots=True)
class Found:
    """One value on the line.

    Attributes:
        name: what a person calls it, ``before``.
        value: where ◆ stands; ``None`` where it cannot be told, drawn as a dotted line over all.
        lo, hi: its interval; ``None`` on a side that nothing bounds: the bar then runs to the end of the line.
        fill: how ◆ is filled.
    """

    name: str
    value: float | None
    lo: float | None = None
    hi: float | None = None
    fill: Fill = "solid"

    @property
    def words(self) -> str:
        """``before 842 ± 14``, or ``before: cannot tell``."""
        if self.value is None:
            return f"{self.name}: cannot tell"
        return f"{self.name} {in_words(self.value, self.lo, self.hi)}"


def ruled_line(
    found: Sequence[Found],
    *,
    allowed: tuple[float, float] | None = None,
    allowed_name: str = "normal",
    unit: str = "",
    about: str = "",
    room: float = 688.0,
) -> Picture:
    """Values on one ruled line.

    Args:
        found: what was found, at least one value or jaws.
        allowed: what is allowed, drawn as jaws; ``None`` where no range is known: no jaws.
        allowed_name: the word on the jaws.
        unit: written on the last tick.
        about: what the line measures, for the sentence.
        room: width of the picture [px].
    Returns: the picture; its ticks are multiples of 1, 2 or 5, its labels never overlap.
    Raises: ValueError if there is neither a value nor jaws.
    """
    lo, hi = _range(found, allowed)
    # The last figure stands under its tick and its unit runs on to the right: leave room for it.
    left, right = 26.0, room - 26.0 - (width(f" {unit}", "form", _SIZE) if unit else 0.0)

    def at(value: float) -> float:
        return left + (min(max(value, lo), hi) - lo) / (hi - lo) * (right - left)

    top, labels = _names(found, allowed, allowed_name, at, room)
    y = top + 22.0
    shapes: list[Node] = []
    if allowed is not None:
        a, b = at(allowed[0]), at(allowed[1])
        shapes += [rect(a, y - 18, b - a, 42, Token.WASH), *jaws(a, b, y + 3, 42)]
    for one in found:
        shapes += _mark(one, y, at, (left, right))
    rule, numbers = _ruler(lo, hi, y + 24, at, unit, room)
    sentence = f"{about}: " if about else ""
    told = [one.words for one in found]
    if allowed is not None:
        told.append(f"{allowed_name} is {short(allowed[0])} to {short(allowed[1])}")
    sentence += "; ".join(told) + (f" ({unit})." if unit else ".")
    return Picture(room, y + 24 + 22, (*shapes, *rule), (*labels, *numbers), sentence)


def _range(found: Sequence[Found], allowed: tuple[float, float] | None) -> tuple[float, float]:
    known = [v for one in found for v in (one.value, one.lo, one.hi) if one.value is not None and v is not None]
    known += list(allowed or ())
    if not known:
        raise ValueError("a line needs at least one value or a range that is allowed")
    lo, hi = min(known), max(known)
    if hi - lo <= 1e-9 * max(abs(lo), abs(hi), 1.0):
        lo, hi = lo - max(1.0, 0.05 * abs(lo)), hi + max(1.0, 0.05 * abs(hi))
    step = nice_step((hi - lo) * 1.16, 6)
    pad = 0.08 * (hi - lo)
    return step * ((lo - pad) // step), step * (-((-(hi + pad)) // step))


def _names(
    found: Sequence[Found], allowed: tuple[float, float] | None, allowed_name: str, at: _Scale, room: float
) -> tuple[float, list[Label]]:
    """The words over the line, in as many rows as they need, and where the drawing under them may begin [px]."""
    wants: list[Want] = []
    made: list[tuple[str, bool, Token]] = []
    for one in found:
        centre = room / 2 if one.value is None else at(one.value)
        colour = (
            Token.DO
            if one.fill == "solid" and one.value is not None
            else Token.WARN
            if one.fill == "missed"
            else Token.INK
        )
        made.append((one.words, True, colour))
        wants.append(Want(centre, width(one.words, "form", _SIZE, bold=True), 1))
    if allowed is not None:
        words = f"{allowed_name} {short(allowed[0])} to {short(allowed[1])}"
        made.append((words, False, Token.INK))
        wants.append(Want((at(allowed[0]) + at(allowed[1])) / 2, width(words, "form", _SIZE)))
    made = [(shorten(t, room - 8, "form", _SIZE, bold=b), b, c) for t, b, c in made]
    wants = [Want(w.centre, min(w.room, room - 8), w.weight) for w in wants]
    places = rows(wants, 0, room, most=len(wants), gap=10, slack=60)
    used = 1 + max((p.row for p in places if p is not None), default=0)
    labels = [
        Label(p.centre, 14 + (used - 1 - p.row) * 18, text, "middle", size=_SIZE, bold=bold, colour=colour)
        for p, (text, bold, colour) in zip(places, made, strict=True)
        if p is not None
    ]
    return used * 18.0 + 4, labels


def _mark(one: Found, y: float, at: _Scale, ends: tuple[float, float]) -> list[Node]:
    if one.value is None:
        return [segment(ends[0], y, ends[1], y, Token.INK, 3, dash="3 4")]
    x0 = ends[0] if one.lo is None else at(one.lo)
    x1 = ends[1] if one.hi is None else at(one.hi)
    colour = _COLOURS[one.fill]
    # A bar that ◆ would hide shrinks ◆, down to the least that can be seen.
    half = max(SMALLEST_MARK, min(10.0, (x1 - x0) / 2.4))
    known = one.lo is not None or one.hi is not None
    return [*(bar(x0, x1, y, colour) if known else []), *diamond(at(one.value), y, half, one.fill)]


def _ruler(lo: float, hi: float, y: float, at: _Scale, unit: str, room: float) -> tuple[list[Node], list[Label]]:
    major = ticks(lo, hi, 6)
    step = major[1] - major[0] if len(major) > 1 else hi - lo
    shapes = [segment(at(lo), y, at(hi), y, Token.LINE, 1)]
    shapes += [segment(at(v), y - 6, at(v), y, Token.LINE, 1) for v in ticks(lo, hi, round((hi - lo) / step * 5))]
    shapes += [segment(at(v), y - 11, at(v), y, Token.LINE, 1) for v in major]
    texts = [short(round(v, 10)) for v in major]
    texts[-1] += f" {unit}" if unit else ""
    wants = [
        Want(at(v), width(t, "form", _SIZE), 1 if v == major[-1] else 0) for v, t in zip(major, texts, strict=True)
    ]
    overhang = width(f" {unit}", "form", _SIZE) / 2 if unit else 0.0
    wants[-1] = Want(wants[-1].centre + overhang, wants[-1].room, 1)
    places = rows(wants, 0, room, most=1, gap=8, slack=8)
    labels = [
        Label(p.centre, y + 16, t, "middle", size=_SIZE) for p, t in zip(places, texts, strict=True) if p is not None
    ]
    return shapes, labels
