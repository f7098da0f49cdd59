"""The drive as one strip: speed as an outline over a pale fill, and under it one track for each condition."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from statistics import median

from tickover.drawing.figures import nice_step, short
from tickover.drawing.picture import Label, Picture
from tickover.drawing.svg import Node, el, hatch, points, rect, segment, stroke
from tickover.drawing.tokens import Role, Token
from tickover.drawing.words import Want, rows, shorten, width
from tickover.drive.results import ConditionFound, DriveCheck, Stretch
from tickover.drive.words import mmss

_SIZE, _NAME = 14.0, 15.0
_LINE = 18.0
_WIDE = 640.0
_SPEED = 150.0
_HIGH = 18.0
_LEFT, _RIGHT, _GAP = 176.0, 210.0, 18.0
_MOST = 16
"""Lines of an outcome at most; far more than any takes, so that none is cut off. Own choice."""
_PAD = 14.0
_MARKS = 17.0
NEAR = 0.5
"""A stretch that came this near to what was asked has its loss carried up through the speed; own choice."""
WORTH = 0.2
"""A short stretch of less than this share of what was asked is left out of the picture; own choice."""
MOST_CARRIED = 3
_UNIT = re.compile(r"(\d) (s|min|h|km/h|°C|%)(?=$|[ .,;:)])")


@dataclass(frozen=True, slots=True)
class _Frame:
    """Where the time axis stands [px], and how long it is [s]."""

    x0: float
    x1: float
    duration: float

    def x(self, t: float) -> float:
        return self.x0 + min(max(t / self.duration, 0.0), 1.0) * (self.x1 - self.x0)


def strip(check: DriveCheck, conditions: Iterable[ConditionFound] | None = None, *, room: float = 920.0) -> Picture:
    """Draw a drive.

    Args:
        check: with a speed and some length.
        conditions: those to draw, in order; all that have a place in time where None. Plan steps do as well.
        room: width [px], at least 320; below 640 the words stand under each track.
    Returns: the picture. Blue: counted or met; hatch: short; dashed: cut off or not known; black stroke: met; vermilion
        stroke: lost, carried up through the speed with its time where it was near.
    Raises: ValueError if there is no length or no room.
    """
    if room < 320 or check.duration <= 0:
        raise ValueError(f"no strip of {check.duration:g} s in {room:g} px")
    shown = [c for c in (check.conditions if conditions is None else conditions) if c.needed or c.stretches]
    wide = room >= _WIDE
    frame = _Frame(_LEFT if wide else 34.0, room - (_RIGHT if wide else 10.0), check.duration)
    carried = _carried(shown)
    top = (_MARKS * 2 + 4 if carried else 12.0) + (0.0 if wide else _LINE)
    shapes, labels = _speed(check, frame, top, wide)
    foot = top + _SPEED
    y = foot + _PAD
    for condition in shown:
        more_shapes, more_labels, y = (_wide_row if wide else _narrow_row)(condition, frame, y, room)
        shapes += more_shapes
        labels += more_labels
    axis_shapes, axis_labels = _time_axis(frame, y)
    lost_shapes, lost_labels = _lost_strokes(carried, frame, top, foot)
    return Picture(
        room,
        y + 30,
        (*shapes, *axis_shapes, *lost_shapes),
        (*labels, *axis_labels, *lost_labels),
        sentence(check, shown),
    )


def sentence(check: DriveCheck, shown: Sequence[ConditionFound]) -> str:
    """The picture in words."""
    told = [f"A drive of {mmss(check.duration)}."]
    if check.speed:
        told.append(f"Speed up to {max(check.speed):.0f} km/h.")
    told += [f"{c.title}: {c.words}" for c in shown]
    return " ".join(told)


def _carried(shown: Sequence[ConditionFound]) -> list[tuple[float, str]]:
    """Losses worth carrying up: near misses that left no condition met."""
    found = []
    for c in shown:
        if c.verdict == "not met" and c.lost_at is not None and c.needed and c.margin is not None:
            best = max((s for s in c.stretches if s.lost), key=lambda s: s.end - s.start, default=None)
            if best is not None and c.margin + c.needed >= NEAR * c.needed:
                found.append((c.lost_at, f"{mmss(c.lost_at)}, {best.lost.removeprefix('speed ')}"))
    return found[:MOST_CARRIED]


def _speed(check: DriveCheck, frame: _Frame, top: float, wide: bool) -> tuple[list[Node], list[Label]]:
    foot = top + _SPEED
    most = max([*check.speed, 30.0]) * 1.08
    scale = _SPEED / most
    if wide:
        labels = [Label(0, top + 12, "Speed", role="text", size=_NAME, bold=True, colour=Token.INK),
                  Label(0, top + 30, "km/h", size=_SIZE)]  # fmt: skip
    else:
        labels = [Label(0, 14, "Speed, km/h", role="text", size=_NAME, bold=True, colour=Token.INK)]
    shapes: list[Node] = []
    for value in _levels(most, wide):
        y = foot - value * scale
        shapes.append(segment(frame.x0, y, frame.x1, y, Token.RULE, 1, dash="2 4"))
        labels.append(Label(frame.x0 - 6, y + 5, f"{value:.0f}", "end", size=_SIZE))
    outlines: list[Node] = []
    for piece in _pieces(check):
        places = [(frame.x(t), foot - v * scale) for t, v in piece]
        around = [(places[0][0], foot), *places, (places[-1][0], foot)]
        shapes.append(el("path", d=points(around) + "Z", fill=Token.WASH))
        outlines.append(stroke(points(places), Token.INK, 1.6, join="round"))
    return [*shapes, *outlines, segment(frame.x0, foot, frame.x1, foot, Token.LINE, 1)], labels


def _levels(most: float, wide: bool) -> list[float]:
    step = 20.0 if most < 70 else 40.0 if wide and most < 170 else 50.0
    return [k * step for k in range(1, int(most // step) + 1)]


def _pieces(check: DriveCheck) -> list[list[tuple[float, float]]]:
    """The speed between gaps."""
    pairs = list(zip(check.speed_t, check.speed, strict=True))
    if not pairs:
        return []
    steps = [b[0] - a[0] for a, b in pairwise(pairs)]
    gap = max(10.0, 5 * median(steps)) if steps else 10.0
    found = [[pairs[0]]]
    for step, pair in zip(steps, pairs[1:], strict=True):
        if step > gap:
            found.append([])
        found[-1].append(pair)
    return [piece for piece in found if len(piece) > 1]


def _wide_row(c: ConditionFound, frame: _Frame, y: float, room: float) -> tuple[list[Node], list[Label], float]:
    """A track with its name at the left and its outcome at the right."""
    name = fold(c.title, frame.x0 - _GAP - 26, "text", _NAME, bold=True)
    asks = fold(c.asks, frame.x0 - _GAP - 26, "form", _SIZE, most=_MOST)
    said = fold(c.words, room - frame.x1 - _GAP, "form", _SIZE, bold=True, most=_MOST)
    high = max((len(name) + len(asks)) * _LINE, len(said) * _LINE, _HIGH + 24) + 12
    labels = [Label(0, y + 14 + k * _LINE, t, role="text", size=_NAME, bold=True, colour=Token.INK)
              for k, t in enumerate(name)]  # fmt: skip
    labels += [Label(0, y + 14 + (len(name) + k) * _LINE, t, size=_SIZE) for k, t in enumerate(asks)]
    colour = _colour(c)
    labels += [Label(frame.x1 + _GAP, y + 14 + k * _LINE, t, size=_SIZE, bold=k == 0, colour=colour)
               for k, t in enumerate(said)]  # fmt: skip
    shapes, more = _track(c, frame, y + 22 + _HIGH / 2)
    return [*shapes, segment(0, y + high - 2, room, y + high - 2, Token.RULE, 1)], [*labels, *more], y + high + 4


def _narrow_row(c: ConditionFound, frame: _Frame, y: float, room: float) -> tuple[list[Node], list[Label], float]:
    """A track with its name above and its outcome below."""
    name = shorten(c.title, room, "text", _NAME, bold=True)
    asks = fold(c.asks, room, "form", _SIZE, most=_MOST)
    labels = [Label(0, y + 14, name, role="text", size=_NAME, bold=True, colour=Token.INK)]
    labels += [Label(0, y + 14 + (1 + k) * _LINE, t, size=_SIZE) for k, t in enumerate(asks)]
    at = y + 18 + (1 + len(asks)) * _LINE + _HIGH / 2
    shapes, more = _track(c, frame, at)
    said = fold(c.words, room, "form", _SIZE, bold=True, most=_MOST)
    below = at + _HIGH / 2 + 20
    labels += [Label(0, below + k * _LINE, t, size=_SIZE, bold=k == 0, colour=_colour(c)) for k, t in enumerate(said)]
    end = below + (len(said) - 1) * _LINE + 10
    return [*shapes, segment(0, end, room, end, Token.RULE, 1)], [*labels, *more], end + 8


def _colour(c: ConditionFound) -> Token:
    return Token.WARN if c.verdict == "not met" else Token.INK


def _track(c: ConditionFound, frame: _Frame, y: float) -> tuple[list[Node], list[Label]]:
    """One track: a hairline, its stretches, and the stroke where it was met or lost."""
    shapes: list[Node] = [segment(frame.x0, y, frame.x1, y, Token.RULE, 1)]
    best = max((s.end - s.start for s in c.stretches), default=0.0)
    for s in c.stretches:
        if s.state != "short" or s.end - s.start >= min(best, WORTH * (c.needed or 0.0)):
            shapes += _stretch(s, frame, y)
    labels: list[Label] = []
    if c.verdict == "met" and c.met_at is not None:
        _stroke_at(c.met_at, f"met {mmss(c.met_at)}", Token.INK, frame, y, shapes, labels)
    elif c.verdict == "not met" and c.lost_at is not None and c.needed and c.margin is not None:
        have = f"{mmss(c.margin + c.needed)} of {mmss(c.needed)}"
        _stroke_at(c.lost_at, have, Token.BAD, frame, y, shapes, labels)
    return shapes, labels


def _stretch(s: Stretch, frame: _Frame, y: float) -> list[Node]:
    x0, x1 = frame.x(s.start), frame.x(s.end)
    x1 = min(max(x1, x0 + 2.0), frame.x1)
    x0 = min(x0, x1 - 2.0)
    top = y - _HIGH / 2
    if s.state in ("met", "counted"):
        return [rect(x0, top, x1 - x0, _HIGH, Token.FILL)]
    dashed = s.state != "short"
    colour = Token.LINE if dashed else Token.BAD
    weight = 2.0 if x1 - x0 > 5 else 1.5
    inner = min(weight / 2, (x1 - x0) / 2)
    corners = [(x0 + inner, top + inner), (x1 - inner, top + inner), (x1 - inner, top + _HIGH - inner),
               (x0 + inner, top + _HIGH - inner)]  # fmt: skip
    box = el("path", d=points(corners) + "Z", fill=Token.CARD, stroke=colour, stroke_width=weight,
             stroke_dasharray="4 3" if dashed else None)  # fmt: skip
    strokes = hatch(corners, 6, Token.BAD, 1.4) if not dashed and x1 - x0 >= 8 else None
    return [box, strokes] if strokes else [box]


def _stroke_at(
    t: float, text: str, colour: Token, frame: _Frame, y: float, shapes: list[Node], labels: list[Label]
) -> None:
    """An upright stroke with words at its upper end."""
    x = min(max(frame.x(t), frame.x0 + 1.5), frame.x1 - 1.5)
    room = width(text, "form", _SIZE, bold=True)
    left = x + 6 if x + 8 + room <= frame.x1 else x - 6 - room
    shapes.append(segment(x, y - 26, x, y + 13, colour, 3))
    words_colour = Token.WARN if colour is Token.BAD else Token.INK
    labels.append(Label(left, y - 14, text, size=_SIZE, bold=True, colour=words_colour))


def _lost_strokes(
    carried: Sequence[tuple[float, str]], frame: _Frame, top: float, foot: float
) -> tuple[list[Node], list[Label]]:
    """Losses carried up through the speed, each with its time."""
    texts = [shorten(text, frame.x1 - frame.x0, "form", _SIZE, bold=True) for _, text in carried]
    wants = [
        Want(frame.x(t), width(text, "form", _SIZE, bold=True)) for (t, _), text in zip(carried, texts, strict=True)
    ]
    places = rows(wants, 0, frame.x1, most=2, gap=10, slack=math.inf)
    shapes: list[Node] = []
    labels: list[Label] = []
    for (t, _), text, place in zip(carried, texts, places, strict=True):
        x = frame.x(t)
        shapes.append(segment(x, top - 2, x, foot, Token.BAD, 2.5))
        if place is not None:
            labels.append(Label(place.centre, top - 8 - place.row * _MARKS, text, "middle", size=_SIZE, bold=True,
                                colour=Token.WARN))  # fmt: skip
    return shapes, labels


def _time_axis(frame: _Frame, y: float) -> tuple[list[Node], list[Label]]:
    """Minutes along the foot."""
    minutes = frame.duration / 60
    per = (frame.x1 - frame.x0) / minutes
    step = nice_step(max(56 / per, 0.1), 1)
    marks = [k * step for k in range(int(minutes / step + 1e-9) + 1)]
    shapes = [segment(frame.x0, y, frame.x1, y, Token.LINE, 1)]
    shapes += [segment(frame.x(60 * m), y, frame.x(60 * m), y + 5, Token.LINE, 1) for m in marks]
    texts = [f"{short(round(m, 6))}{' min' if not k else ''}" for k, m in enumerate(marks)]
    end = mmss(frame.duration)
    wants = [Want(frame.x(60 * m), width(t, "form", _SIZE), int(k == 0)) for k, (m, t) in
             enumerate(zip(marks, texts, strict=True))]  # fmt: skip
    wants.append(Want(frame.x1, width(end, "form", _SIZE), 2))
    places = rows(wants, frame.x0 - 4, frame.x1 + 8, most=1, gap=8, slack=14)
    labels = [Label(p.centre, y + 20, t, "middle", size=_SIZE)
              for p, t in zip(places, [*texts, end], strict=True) if p is not None]  # fmt: skip
    return shapes, labels


def fold(text: str, room: float, role: Role, size: float, *, bold: bool = False, most: int = 3) -> list[str]:
    """Words in lines that fit a room; the last one is shortened where there are too many.

    Args:
        text: the words.
        room: width [px].
        role: slab, text or form.
        size: of the type [px].
        bold: whether it is bold.
        most: lines at most.
    """
    lines: list[str] = []
    line = ""
    for word in _UNIT.sub("\\1\u00a0\\2", text).split(" "):
        longer = f"{line} {word}".strip()
        if line and width(longer, role, size, bold=bold) > room:
            lines.append(line)
            line = word
        else:
            line = longer
    lines.append(line)
    if len(lines) > most:
        rest = " ".join(lines[most - 1 :])
        lines = [*lines[: most - 1], shorten(rest, room, role, size, bold=bold)]
    return [line.replace("\u00a0", " ") for line in lines]
