"""What still fits, as a picture: one row a group on one axis, ◆ with its bar and a plain word on it."""

from __future__ import annotations

from tickover.cause.results import Causes, Group
from tickover.drawing.marks import bar, diamond
from tickover.drawing.picture import Label, Picture
from tickover.drawing.svg import Node, segment
from tickover.drawing.tokens import Token
from tickover.drawing.words import width

ROOM = 688.0
SHOWN_FROM = 0.02
"""Groups below this are named in the sentence only [1]."""
_ROW, _TOP, _EDGE, _LINE = 74.0, 30.0, 14.0, 22.0
_SIZE = 16.0


def causes_picture(found: Causes, room: float = ROOM) -> Picture:
    """Draw what still fits.

    Args:
        found: the answer.
        room: width [px], 360 or more.
    Returns: the picture; its sentence says the same figures.
    """
    groups = [g for g in found.groups if g.probability >= SHOWN_FROM or g.causes[0].family == "else"]
    shapes: list[Node] = []
    labels: list[Label] = []
    y = _TOP
    left, right = _EDGE, room - _EDGE
    for group in groups:
        lines = _wrapped(group.says, right - left)
        for k, line in enumerate(lines):
            labels.append(Label(left, y + k * _LINE, line, size=_SIZE, colour=Token.INK))
        middle = y + (len(lines) - 1) * _LINE + 24.0
        word = _word(group, left, right, middle)
        shapes += _row(group, left, right, middle, word)
        labels.append(word)
        y = middle + _ROW - 24.0
    axis = y - 14.0
    shapes.append(segment(left, axis, right, axis, Token.LINE, 2))
    for share in (0.0, 0.2, 0.5, 1.0):
        x = left + share * (right - left)
        shapes.append(segment(x, axis, x, axis + 7, Token.LINE, 2))
        labels.append(
            Label(
                x, axis + 24, f"{100 * share:.0f}", anchor="start" if share == 0 else "end" if share == 1 else "middle"
            )
        )
    return Picture(room, axis + 32, tuple(shapes), tuple(labels), _sentence(found))


def _row(group: Group, left: float, right: float, y: float, word: Label) -> list[Node]:
    def at(share: float) -> float:
        return left + share * (right - left)

    dashed = bool(group.tied_because)
    row = bar(at(group.lo), at(group.hi), y, Token.FILL, dashed=dashed)
    free = [at(s) for s in (0.2, 0.5) if not word.box.x0 - 3 <= at(s) <= word.box.x1 + 3]
    bounds = [segment(x, y - 9, x, y + 9, Token.RULE, 1) for x in free]
    x = min(max(at(group.probability), left + 9), right - 9)
    return [*bounds, *row, *diamond(x, y, 9, "outline" if dashed else "solid")]


def _word(group: Group, left: float, right: float, y: float) -> Label:
    """The plain word, beside the bar where there is room, else at the end that is free."""
    text = group.likely
    room = width(text, "form", _SIZE, bold=True)
    x = left + max(group.hi, group.probability) * (right - left) + 16
    if x + room <= right:
        return Label(x, y + 6, text, size=_SIZE, bold=True, colour=Token.INK)
    x = left + min(group.lo, group.probability) * (right - left) - 16
    return Label(max(x, left + room), y + 6, text, anchor="end", size=_SIZE, bold=True, colour=Token.INK)


def _wrapped(text: str, room: float) -> list[str]:
    """Words in lines that fit."""
    lines: list[str] = []
    for word in text.split():
        if lines and width(f"{lines[-1]} {word}", "form", _SIZE) <= room:
            lines[-1] = f"{lines[-1]} {word}"
        else:
            lines.append(word)
    return lines


def _sentence(found: Causes) -> str:
    rows = "; ".join(
        f"{g.says}: {g.likely}, {100 * g.probability:.0f} % ({100 * g.lo:.0f} to {100 * g.hi:.0f})"
        for g in found.groups
    )
    return f"What still fits. {rows}."
