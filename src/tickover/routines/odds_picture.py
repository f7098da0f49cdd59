"""The odds as one picture: windows as jaws, aims as ◆, the person's spread as a bar, the chance of each step."""

from __future__ import annotations

from tickover.drawing.figures import short
from tickover.drawing.marks import bar, diamond, jaws
from tickover.drawing.picture import Label, Picture
from tickover.drawing.svg import Node, rect, segment
from tickover.drawing.tokens import Token
from tickover.drawing.words import shorten, width
from tickover.routines.chances import BoundReach, RoutineOdds, StepOdds
from tickover.routines.words import NOT_WEAK, percent, percent_range, step_words

WIDE, PHONE = 688.0, 324.0
"""Widths of the picture on a sheet, and on a phone of 360 px with its edges [px]."""

_TITLE, _LEAD, _SIZE = 22.0, 17.0, 15.0
_EDGE = 2.0
_JAW = 30.0


def odds_picture(found: RoutineOdds, room: float = WIDE) -> Picture:
    """Draw the odds of a routine.

    Args:
        found: the odds.
        room: width of the picture [px]; 300 or more.
    Returns: the picture: under the chance of the whole, each step with what it must keep. Every row has a scale of its
        own, its jaws in the same places, so that the length of a bar against its jaws tells how tight the step is.
    """
    sheet = _Sheet(room)
    sheet.line(found.title, _TITLE, Token.INK, bold=True, slab=True)
    sheet.line(f"Clean run: {percent(found.p)}, {percent_range(found.lo, found.hi)}", _LEAD, Token.DO, bold=True)
    for words in (_gain(found), f"All acts cued: {percent(found.p_all_cued)}"):
        sheet.line(words, _SIZE, Token.INK)
    sheet.y += 6
    weak = _weak(found)
    for step in found.steps:
        sheet.step(step, step_words(step, found), weak is not None and step.step == weak.step)
    sheet.y += 8
    sheet.line("Jaws: allowed. Diamond: aimed at. Bar: nine tries in ten.", _SIZE, Token.SOFT)
    sheet.line("Beside each step: its chance by itself.", _SIZE, Token.SOFT)
    return Picture(room, sheet.y + 4, tuple(sheet.shapes), tuple(sheet.labels), _sentence(found))


def _weak(found: RoutineOdds) -> StepOdds | None:
    """The weak step, if one is weak."""
    return next((s for s in found.steps if s.step == found.weak and s.p < NOT_WEAK), None)


def _gain(found: RoutineOdds) -> str:
    weak = _weak(found)
    if weak is None:
        return "No step is weak."
    return f"“{step_words(weak, found)}” alone cued: {percent(found.p_if_cued)}"


def _sentence(found: RoutineOdds) -> str:
    """The same figures in words."""
    parts = [f"{found.title}: odds of a clean run {percent(found.p)}, {percent_range(found.lo, found.hi)}"]
    parts += [
        f"{step_words(s, found)} {percent(s.p)}, with it cued the whole {percent(s.p_if_cued)}" for s in found.steps
    ]
    return "; ".join(parts) + f"; every act cued {percent(found.p_all_cued)}."


class _Sheet:
    """Shapes and labels laid down so far, from the top."""

    def __init__(self, room: float) -> None:
        self.room = room
        self.y = 0.0
        self.shapes: list[Node] = []
        self.labels: list[Label] = []

    def line(self, words: str, size: float, colour: Token, *, bold: bool = False, slab: bool = False) -> None:
        """One line of words, as many as fit; a second one for the rest."""
        role = "slab" if slab else "form"
        left = words
        while left:
            part = _fitting(left, self.room - 2 * _EDGE, size, bold=bold, slab=slab)
            self.y += size * 1.3
            self.labels.append(Label(_EDGE, self.y, part, role=role, size=size, bold=bold, colour=colour))  # type: ignore[arg-type]  # one of two roles
            left = left[len(part) :].strip()
        self.y += 4

    def step(self, step: StepOdds, words: str, weak: bool) -> None:
        """A step: its name and chance on one line, then each bound on its ruled line."""
        self.shapes.append(segment(0, self.y + 2, self.room, self.y + 2, Token.RULE, 1))
        self.y += 24
        chance = f"weakest, {percent(step.p)}" if weak else percent(step.p)
        self.labels.append(
            Label(
                self.room - _EDGE,
                self.y,
                chance,
                "end",
                size=_LEAD,
                bold=True,
                colour=Token.WARN if weak else Token.INK,
            )
        )
        left = self.room - 3 * _EDGE - width(chance, "form", _LEAD, bold=True) - 12
        rounds = f", {step.rounds} rounds" if step.rounds > 1 else ""
        name = shorten(f"{words}{rounds}", left, "form", _LEAD, bold=True)
        self.labels.append(Label(_EDGE, self.y, name, size=_LEAD, bold=True, colour=Token.INK))
        for one in step.bounds:
            self._bound(one)
        self.y += 8

    def _bound(self, one: BoundReach) -> None:
        self.y += 22
        words = shorten(one.what, self.room - 2 * _EDGE, "form", _SIZE)
        self.labels.append(Label(_EDGE, self.y, words, size=_SIZE))
        y = self.y + 8 + _JAW / 2
        scale = _Scale(one, self.room)
        x0 = None if one.lo is None else scale.at(one.lo)
        x1 = None if one.hi is None else scale.at(one.hi)
        a, b = scale.left if x0 is None else x0, scale.right if x1 is None else x1
        self.shapes += [
            rect(a, y - _JAW / 2, b - a, _JAW, Token.WASH),
            segment(scale.left, y + _JAW / 2, scale.right, y + _JAW / 2, Token.LINE, 1),
            *jaws(x0, x1, y, _JAW),
        ]
        early, late = scale.at(one.early), scale.at(one.late)
        for left, right, colour in (
            (early, min(late, a), Token.BAD),
            (max(early, a), min(late, b), Token.FILL),
            (max(early, b), late, Token.BAD),
        ):
            if right > left:
                self.shapes += bar(left, right, y, colour)
        aim = scale.at(one.aim)
        inside = a <= aim <= b
        self.shapes += diamond(aim, y, max(5.0, min(9.0, (late - early) / 2.4)), "solid" if inside else "missed")
        self._figures(one, (x0, x1, aim), y + _JAW / 2 + 17)
        self.y = y + _JAW / 2 + 20

    def _figures(self, one: BoundReach, places: tuple[float | None, float | None, float], y: float) -> None:
        """Figures of jaws and aim under the line; the aim's gives way to the jaws'."""
        wants = [(places[0], one.lo, Token.INK), (places[1], one.hi, Token.INK), (places[2], one.aim, Token.DO)]
        taken: list[tuple[float, float]] = []
        for x, value, colour in wants:
            if x is None or value is None:
                continue
            words = f"{short(float(f'{value:.3g}'))} s"
            half = width(words, "form", _SIZE, bold=colour is Token.DO) / 2
            x = min(max(x, half), self.room - half)
            if any(x - half - 6 < right and left < x + half + 6 for left, right in taken):
                continue
            taken.append((x - half, x + half))
            self.labels.append(Label(x, y, words, "middle", size=_SIZE, bold=colour is Token.DO, colour=colour))


class _Scale:
    """One row's own scale: jaws at a fifth and four fifths, what lies further out held at the ends."""

    def __init__(self, one: BoundReach, room: float) -> None:
        self.left, self.right = _EDGE, room - _EDGE
        lo = one.lo if one.lo is not None else max(0.0, min(one.early, (one.hi or one.late) * 0.5))
        hi = one.hi if one.hi is not None else max(one.late, 2 * one.aim - lo)
        if hi - lo < 1e-6:
            lo, hi = lo - 0.5, hi + 0.5
        self._lo, self._size = lo, hi - lo

    def at(self, value: float) -> float:
        """Place of a value [px]."""
        share = 0.2 + 0.6 * (value - self._lo) / self._size
        return self.left + min(max(share, 0.0), 1.0) * (self.right - self.left)


def _fitting(words: str, room: float, size: float, *, bold: bool, slab: bool) -> str:
    """As many whole words as fit a line; at least one."""
    role = "slab" if slab else "form"
    parts = words.split(" ")
    count = len(parts)
    while count > 1 and width(" ".join(parts[:count]), role, size, bold=bold) > room:  # type: ignore[arg-type]  # one of two roles
        count -= 1
    return " ".join(parts[:count])
