"""Before and after: a value over time against its normal band, with both readings in the margin."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise

from tickover.drawing.curve import Frame, Series, curve
from tickover.drawing.figures import interval, short, ticks
from tickover.drawing.marks import SMALLEST_MARK, diamond, lying_jaws
from tickover.drawing.picture import Box, Label, Picture
from tickover.drawing.svg import Node, points, rect, segment, stroke
from tickover.drawing.tokens import Token
from tickover.drawing.words import Want, rows, shorten, spread, width

__all__ = ["THICK", "THIN", "BeforeAfter", "Reading", "Series", "before_after"]

_Scale = Callable[[float], float]
_LEFT, _MARGIN, _TOP, _FOOT = 44.0, 192.0, 26.0, 26.0
_SIZE, _FIGURE = 14.0, 19.0
THIN, THICK = 1.1, 3.2
"""Weights of the trace before and the trace after [px]: told apart without colour."""


@dataclass(frozen=True, slots=True)
class Reading:
    """What a stretch came to: a value with its interval, or ``value=None`` where it cannot be told."""

    value: float | None
    lo: float | None = None
    hi: float | None = None


@dataclass(frozen=True)
class BeforeAfter:
    """All that the picture shows.

    Attributes:
        before, after: the traces; either may be missing.
        was, now: the readings; ``None`` where none was taken.
        normal: the band that is normal, lower and upper; ``None`` where none is known.
        what: what is measured, in words, with its unit where the text around it does not say it.
        seconds: the word on the time axis.
        allowed_name: the word in the band.
    """

    before: Series | None
    after: Series | None
    was: Reading | None
    now: Reading | None
    normal: tuple[float, float] | None = None
    what: str = "idle speed"
    seconds: str = "seconds"
    allowed_name: str = "normal"


def before_after(shown: BeforeAfter, *, room: float = 688.0, height: float = 220.0) -> Picture:
    """Draw both traces against the normal band, and both readings in the margin.

    Args:
        shown: what to draw; at least one trace with a measured value.
        room: width [px], at least 420.
        height: of all [px], at least 130.
    Returns: the picture: before thin, after thick, labels that never overlap, jaws for normal, ◆ for each reading.
    Raises: ValueError if no trace holds a measured value, or the picture would be too small to be read.
    """
    if room < 420 or height < 130:
        raise ValueError(f"{room:g} by {height:g} px is too small for a trace with its margin")
    drawn = [_from_zero(s.known()) if s is not None else [] for s in (shown.before, shown.after)]
    if not any(drawn):
        raise ValueError("neither trace holds a measured value")
    frame = _frame(shown, drawn, room, height)
    shapes: list[Node] = []
    labels = [Label(0, 14, shorten(shown.what, room / 2, "form", _SIZE), size=_SIZE)]
    if shown.normal is not None:
        shapes += _band(shown.normal, frame)
    for pairs, colour, weight in ((drawn[0], Token.LINE, THIN), (drawn[1], Token.DO, THICK)):
        if pairs:
            shapes += curve(pairs, frame, colour, weight)
    shapes.append(
        stroke(
            points([(frame.left, frame.top), (frame.left, frame.bottom), (frame.right, frame.bottom)]), Token.LINE, 1
        )
    )
    y_shapes, y_labels = _value_axis(shown, frame)
    t_shapes, t_labels = _time_axis(shown, frame)
    n_shapes, n_labels = _band_name(shown, frame, drawn)
    m_shapes, m_labels = _margin(shown, frame, room)
    return Picture(
        room,
        height,
        (*shapes, *y_shapes, *t_shapes, *n_shapes, *m_shapes),
        (*labels, *y_labels, *t_labels, *n_labels, *m_labels),
        _sentence(shown, frame),
    )


def _from_zero(pairs: list[tuple[float, float]]) -> list[tuple[float, float]]:
    return [(t - pairs[0][0], v) for t, v in pairs]


def _frame(shown: BeforeAfter, drawn: list[list[tuple[float, float]]], room: float, height: float) -> Frame:
    values = [v for pairs in drawn for _, v in pairs]
    for reading in (shown.was, shown.now):
        if reading is not None and reading.value is not None:
            values += [v for v in (reading.value, reading.lo, reading.hi) if v is not None]
    values += list(shown.normal or ())
    lo, hi = min(values), max(values)
    pad = 0.07 * (hi - lo) or max(1.0, 0.02 * abs(hi))
    t_hi = max(pairs[-1][0] for pairs in drawn if pairs) or 1.0
    return Frame(_LEFT, room - _MARGIN, _TOP, height - _FOOT, t_hi, lo - pad, hi + pad)


def _band(normal: tuple[float, float], frame: Frame) -> list[Node]:
    top, foot = frame.y(normal[1]), frame.y(normal[0])
    edges = [segment(frame.left, y, frame.right, y, Token.INK, 1, dash="2 4") for y in (top, foot)]
    return [rect(frame.left, top, frame.right - frame.left, foot - top, Token.WASH), *edges]


def _value_axis(shown: BeforeAfter, frame: Frame) -> tuple[list[Node], list[Label]]:
    """The ends of the normal band first, then nice numbers where there is room between them."""
    least = _SIZE + 3
    marked: list[tuple[float, float, bool]] = []
    if shown.normal is not None:
        lo, hi = shown.normal
        ys = spread([frame.y(hi), frame.y(lo)], [least, least], frame.top - 4, frame.bottom + 4)
        marked = [(hi, ys[0], True), (lo, ys[1], True)]
    parts = max(3, int((frame.bottom - frame.top) / 40))
    if len(ticks(frame.lo, frame.hi, parts)) < 2:
        parts *= 2
    for value in ticks(frame.lo, frame.hi, parts):
        y = frame.y(value)
        if all(abs(y - other) >= least for _, other, _ in marked):
            marked.append((value, y, False))
    shapes = [segment(frame.left - 5, frame.y(v), frame.left, frame.y(v), Token.LINE, 1) for v, _, _ in marked]
    labels = [
        Label(
            frame.left - 8,
            y + 5,
            shorten(short(round(v, 10)), frame.left - 8, "form", _SIZE, bold=strong),
            "end",
            size=_SIZE,
            bold=strong,
            colour=Token.INK if strong else Token.SOFT,
        )
        for v, y, strong in marked
    ]
    return shapes, labels


def _time_axis(shown: BeforeAfter, frame: Frame) -> tuple[list[Node], list[Label]]:
    marks = ticks(0, frame.t_hi, 6)
    texts = [short(round(t, 10)) for t in marks]
    texts[-1] += f" {shown.seconds}"
    shapes = [segment(frame.x(t), frame.bottom, frame.x(t), frame.bottom + 5, Token.LINE, 1) for t in marks]
    wants = [
        Want(frame.x(t), width(words, "form", _SIZE), int(t == marks[-1]))
        for t, words in zip(marks, texts, strict=True)
    ]
    # The figure stands under its tick, the unit runs on to the right.
    overhang = width(f" {shown.seconds}", "form", _SIZE) / 2
    wants[-1] = Want(wants[-1].centre + overhang, wants[-1].room, 1)
    places = rows(wants, 0, frame.right + _MARGIN - 8, most=1, gap=8, slack=6)
    labels = [
        Label(p.centre, frame.bottom + 19, words, "middle", size=_SIZE)
        for p, words in zip(places, texts, strict=True)
        if p is not None
    ]
    return shapes, labels


def _band_name(
    shown: BeforeAfter, frame: Frame, drawn: list[list[tuple[float, float]]]
) -> tuple[list[Node], list[Label]]:
    """The band's word, in or beside it where the traces pass least; on a patch where they pass everywhere."""
    if shown.normal is None:
        return [], []
    top, foot = frame.y(shown.normal[1]), frame.y(shown.normal[0])
    room = width(shown.allowed_name, "form", _SIZE)
    beside = [y for y in (top - 6, foot + 15) if _TOP + 10 < y < frame.bottom - 2]
    lines = [top + 14, foot - 6, *beside] if foot - top >= _SIZE + 6 else beside or [top - 6]
    places = [(x, y) for y in lines for x in (frame.left + 10, frame.right - 10 - room)]
    passes: list[tuple[int, int]] = []
    passed = [place for pairs in drawn for place in _dense([(frame.x(t), frame.y(v)) for t, v in pairs])]
    for order, (x, y) in enumerate(places):
        box = Box(x - 3, y - 14, x + room + 3, y + 6)
        passes.append((sum(box.holds(*place) for place in passed), order))
    count, best = min(passes)
    x, y = places[best]
    patch = [rect(x - 3, y - 12, room + 6, 16, Token.WASH if top < y <= foot else Token.CARD)] if count else []
    return patch, [Label(x, y, shown.allowed_name, size=_SIZE, colour=Token.INK)]


def _dense(places: list[tuple[float, float]]) -> list[tuple[float, float]]:
    """The places, and others between them, so that a line that crosses a word has one in it."""
    found = places[:1]
    for (xa, ya), (xb, yb) in pairwise(places):
        parts = max(1, math.ceil(max(abs(xb - xa), abs(yb - ya)) / 6))
        found += [(xa + (xb - xa) * k / parts, ya + (yb - ya) * k / parts) for k in range(1, parts + 1)]
    return found


def _margin(shown: BeforeAfter, frame: Frame, room: float) -> tuple[list[Node], list[Label]]:
    """Jaws at normal, ◆ and bar at each reading, and what each came to in words beside it."""
    x, words_x = frame.right + 32.0, frame.right + 62.0
    shapes: list[Node] = []
    if shown.normal is not None:
        shapes += lying_jaws(x, frame.y(shown.normal[1]), frame.y(shown.normal[0]), 30)
    readings = [(r, name) for r, name in ((shown.was, "before"), (shown.now, "after")) if r is not None]
    known = [r.value for r, _ in readings if r.value is not None]
    homes = [frame.y(r.value) if r.value is not None else _spare(known, frame) for r, _ in readings]
    close = len(readings) == 2 and (abs(homes[0] - homes[1]) < 22 or len(known) < 2)
    order = sorted(range(len(readings)), key=lambda i: homes[i])
    block = _FIGURE + _SIZE + 9
    # The words keep off the time axis, whose last figure runs on under the margin.
    middles = spread([homes[i] for i in order], [block] * len(order), 0, frame.bottom + 8)
    labels: list[Label] = []
    for i, middle in zip(order, middles, strict=True):
        reading, name = readings[i]
        mark_x = x + ((-7 if name == "before" else 7) if close else 0)
        shapes += _margin_mark(reading, name, mark_x, homes[i], frame)
        if abs(middle - homes[i]) > 8:
            shapes.append(segment(mark_x + 13, homes[i], words_x - 4, middle, Token.LINE, 1))
        labels += _margin_words(reading, name, words_x, middle, room - words_x)
    return shapes, labels


def _spare(known: list[float], frame: Frame) -> float:
    """Where a reading that cannot tell stands: in the half that the other one leaves free."""
    middle = (frame.top + frame.bottom) / 2
    if not known:
        return middle
    return frame.top + 20 if frame.y(known[0]) > middle else frame.bottom - 20


def _margin_mark(reading: Reading, name: str, x: float, y: float, frame: Frame) -> list[Node]:
    if reading.value is None:
        return [segment(x, frame.top, x, frame.bottom, Token.INK, 3, dash="3 4")]
    colour = Token.LINE if name == "before" else Token.DO
    ends = [
        frame.y(reading.lo) if reading.lo is not None else None,
        frame.y(reading.hi) if reading.hi is not None else None,
    ]
    foot, top = ends[0] if ends[0] is not None else frame.bottom, ends[1] if ends[1] is not None else frame.top
    found = [] if reading.lo is None and reading.hi is None else [segment(x, top, x, foot, colour, 4)]
    half = max(SMALLEST_MARK, min(10.0, (foot - top) / 2.3)) if found else 8.0
    return [*found, *diamond(x, y, half, "before" if name == "before" else "solid")]


def _margin_words(reading: Reading, name: str, x: float, middle: float, room: float) -> list[Label]:
    figure, range_ = ("cannot tell", "") if reading.value is None else interval(reading.value, reading.lo, reading.hi)
    under = f"{name}, {range_}" if range_ else name
    size = _FIGURE
    while size > _SIZE and width(figure, "slab", size, bold=True) > room:
        size -= 1
    colour = Token.DO if name == "after" and reading.value is not None else Token.INK
    return [
        Label(x, middle - 1, shorten(figure, room, "slab", size, bold=True), "start", "slab", size, True, colour),
        Label(x, middle + 17, shorten(under, room, "form", _SIZE), size=_SIZE),
    ]


def _sentence(shown: BeforeAfter, frame: Frame) -> str:
    told = [f"{shown.what[:1].upper()}{shown.what[1:]} over {short(round(frame.t_hi, 1))} {shown.seconds}."]
    for reading, name in ((shown.was, "Before"), (shown.now, "After")):
        if reading is None:
            continue
        if reading.value is None:
            told.append(f"{name}: cannot tell.")
        else:
            figure, range_ = interval(reading.value, reading.lo, reading.hi)
            told.append(f"{name}: {figure}{f', {range_}' if range_ else ''}.")
    if shown.normal is not None:
        told.append(f"{shown.allowed_name.capitalize()} is {short(shown.normal[0])} to {short(shown.normal[1])}.")
    return " ".join(told)
