"""The forecast as a picture: curve, band, the lines of 80 and 95 %, the day of inspection with ◆ and its bar."""

from __future__ import annotations

from tickover.drawing.curve import Frame, curve
from tickover.drawing.figures import short, ticks
from tickover.drawing.marks import diamond
from tickover.drawing.picture import Label, Picture
from tickover.drawing.svg import Node, el, points, segment, stroke
from tickover.drawing.tokens import EDGE, OPENING, Token
from tickover.drawing.words import shorten, width
from tickover.readiness.forecast import day_words, percent
from tickover.readiness.results import Forecast
from tickover.results import Quantity

_LEFT, _RIGHT, _TOP, _FOOT = 52.0, 16.0, 48.0, 70.0
_SIZE = 14.0
_DASH = "6 5"


def forecast_figure(found: Forecast, *, room: float = 688.0, height: float = 320.0) -> Picture:
    """Draw a forecast.

    Args:
        found: the forecast.
        room: width [px], at least 320.
        height: of all [px], at least 220.
    Returns: the picture; its labels never overlap.
    Raises: ValueError if it would be too small to be read.
    """
    if room < 320 or height < 220:
        raise ValueError(f"{room:g} by {height:g} px is too small for a forecast")
    frame = Frame(_LEFT, room - _RIGHT, _TOP, height - _FOOT, found.curve.days[-1], 0.0, 1.0)
    shapes: list[Node] = [_band(found, frame)]
    shapes += [segment(frame.left, frame.y(p), frame.right, frame.y(p), Token.INK, 1, dash=_DASH) for p in (0.8, 0.95)]
    pairs = list(zip(found.curve.days, found.curve.chance, strict=True))
    shapes += curve(pairs, frame, Token.DO, OPENING)
    axes = [(frame.left, frame.top), (frame.left, frame.bottom), (frame.right, frame.bottom)]
    shapes.append(stroke(points(axes), Token.LINE, 1))
    day_shapes, day_labels = _inspection(found, frame, room)
    tick_shapes, tick_labels = _axes(frame, room)
    foot = [
        Label(frame.left, height - 26, day_words(found.day_80, 80), size=_SIZE, colour=Token.INK),
        Label(frame.left, height - 6, day_words(found.day_95, 95), size=_SIZE, colour=Token.INK),
    ]
    title = Label(0, 14, shorten(_TITLE, room, "form", _SIZE), size=_SIZE)
    return Picture(
        room,
        height,
        (*shapes, *tick_shapes, *day_shapes),
        (title, *tick_labels, *day_labels, *foot),
        f"{found.sentence} The band is 90 %.",
    )


_TITLE = "chance to be ready, %, with its 90 % band"


def _band(found: Forecast, frame: Frame) -> Node:
    """The band as one shape: along its upper edge, back along its lower one."""
    days = found.curve.days
    upper = [(frame.x(d), frame.y(p)) for d, p in zip(days, found.curve.hi, strict=True)]
    lower = [(frame.x(d), frame.y(p)) for d, p in zip(days, found.curve.lo, strict=True)]
    return el("path", d=points([*upper, *reversed(lower)]) + "Z", fill=Token.WASH)


def _inspection(found: Forecast, frame: Frame, room: float) -> tuple[list[Node], list[Label]]:
    """The upright line of the day, ◆ on the curve, the bar through it; its words above."""
    x = frame.x(min(float(found.days), frame.t_hi))
    shapes = [segment(x, frame.top - 6, x, frame.bottom + 6, Token.INK, EDGE)]
    words = f"{found.by.day} {found.by:%B}: cannot tell"
    if isinstance(found.chance, Quantity):
        lo, hi = found.chance.lo or 0.0, 1.0 if found.chance.hi is None else found.chance.hi
        y0, y1, y = frame.y(hi), frame.y(lo), frame.y(found.chance.value)
        shapes += [segment(x, y0, x, y1, Token.FILL, 5)]
        shapes += [segment(x - 7, end, x + 7, end, Token.FILL, EDGE) for end in (y0, y1)]
        shapes += diamond(x, y, max(5.0, min(10.0, (y1 - y0) / 2.4)), "solid")
        words = f"{found.by.day} {found.by:%B}: {percent(found.chance.value)} % ({percent(lo)} to {percent(hi)} %)"
    text = shorten(words, room - 8, "form", _SIZE, bold=True)
    half = width(text, "form", _SIZE, bold=True) / 2
    centre = min(max(x, half + 2), room - half - 2)
    return shapes, [Label(centre, 35, text, "middle", size=_SIZE, bold=True, colour=Token.INK)]


def _axes(frame: Frame, room: float) -> tuple[list[Node], list[Label]]:
    shapes: list[Node] = []
    labels: list[Label] = []
    for share in (0.0, 0.5, 0.8, 0.95):
        y = frame.y(share)
        strong = share in (0.8, 0.95)
        shapes.append(segment(frame.left - 5, y, frame.left, y, Token.LINE, 1))
        labels.append(
            Label(
                frame.left - 8,
                y + 5,
                f"{100 * share:.0f}",
                "end",
                size=_SIZE,
                bold=strong,
                colour=Token.INK if strong else Token.SOFT,
            )
        )
    marks = [t for t in ticks(0, frame.t_hi, 6) if t == round(t)]
    until = -1.0
    for mark in marks:
        text = short(mark) + (" days from now" if mark == marks[-1] else "")
        x = frame.x(mark)
        shapes.append(segment(x, frame.bottom, x, frame.bottom + 5, Token.LINE, 1))
        wide = width(text, "form", _SIZE)
        left = min(x - width(short(mark), "form", _SIZE) / 2, room - wide - 2)
        if left > until + 6:
            labels.append(Label(left, frame.bottom + 20, text, size=_SIZE))
            until = left + wide
    return shapes, labels
