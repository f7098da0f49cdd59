"""A recording over time: values one under the other on one time axis, what counts shaded, what does not hatched."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from tickover.drawing.curve import Frame, Series, curve
from tickover.drawing.figures import short, ticks
from tickover.drawing.picture import Label, Picture
from tickover.drawing.svg import Node, hatch, points, rect, segment, stroke
from tickover.drawing.tokens import Token
from tickover.drawing.words import Want, rows, shorten, width

_LEFT, _RIGHT, _SIZE, _LINE = 48.0, 12.0, 14.0, 19.0
_STRIP, _HEAD, _GAP = 14.0, 22.0, 12.0
_LETTERS = "abcdefghijklmnopqrstuvwxyz"


@dataclass(frozen=True)
class Panel:
    """One value over time.

    Attributes:
        what: what it is, with its unit.
        series: the values.
        normal: the band that is normal; ``None`` where none is known.
        height: of the panel [px].
        least: least span of its axis, so that noise does not fill it.
    """

    what: str
    series: Series
    normal: tuple[float, float] | None = None
    height: float = 150.0
    least: float = 1.0


@dataclass(frozen=True, slots=True)
class Span:
    """A piece of time [s]; ``why`` it does not count, ``None`` where it does."""

    start: float
    stop: float
    why: str | None


def record(
    panels: Sequence[Panel], spans: Sequence[Span], *, room: float = 688.0, used: str = "used", seconds: str = "seconds"
) -> Picture:
    """Draw panels on one time axis.

    Args:
        panels: at least one, with at least one measured value among them.
        spans: which pieces of time count; may be empty.
        room: width [px], at least 280.
        used: word for what counts.
        seconds: word on the time axis.
    Returns: the picture. What counts is shaded through all panels; what does not is hatched in the strip above, with a
        letter, and its reason stands below.
    Raises: ValueError if nothing was measured or the picture would be too narrow.
    """
    if room < 280:
        raise ValueError(f"{room:g} px is too narrow for a recording")
    known = [p.series.known() for p in panels]
    times = [t for pairs in known for t, _ in pairs] + [t for s in spans for t in (s.start, s.stop)]
    if not any(known):
        raise ValueError("no panel holds a measured value")
    lo, hi = min(times), max(times)
    hi = hi if hi > lo else lo + 1.0
    top = _HEAD + _STRIP + _GAP
    shapes: list[Node] = []
    labels: list[Label] = []
    frames: list[Frame] = []
    for panel, pairs in zip(panels, known, strict=True):
        v_lo, v_hi, cut = _values(panel, pairs, spans)
        frames.append(Frame(_LEFT, room - _RIGHT, top + _LINE, top + _LINE + panel.height, hi, v_lo, v_hi, lo))
        what = panel.what
        if panel.normal is not None:
            what += f"; dotted: normal {short(panel.normal[0])} to {short(panel.normal[1])}"
        what += "; cut off where it is far from what counts" if cut else ""
        labels.append(Label(0, top + 13, shorten(what, room, "form", _SIZE), size=_SIZE, colour=Token.INK))
        top += _LINE + panel.height + _GAP
    letters = {why: _LETTERS[i % 26] for i, why in enumerate(dict.fromkeys(s.why for s in spans if s.why is not None))}
    shapes += _shading(spans, frames)
    strip_shapes, strip_labels = _strip(spans, letters, frames[0], used)
    for panel, pairs, frame in zip(panels, known, frames, strict=True):
        axis_shapes, axis_labels = _panel(panel, pairs, frame)
        shapes += axis_shapes
        labels += axis_labels
    time_shapes, time_labels = _time_axis(frames[-1], room, seconds)
    foot = frames[-1].bottom + 26
    legend, foot = _legend(letters, spans, foot, room)
    sentence = _sentence(panels, known, spans, used, seconds)
    return Picture(
        room,
        foot + 6,
        (*shapes, *strip_shapes, *time_shapes),
        (*labels, *strip_labels, *time_labels, *legend),
        sentence,
    )


def _values(panel: Panel, pairs: list[tuple[float, float]], spans: Sequence[Span]) -> tuple[float, float, bool]:
    """Ends of the axis, and whether the trace is cut off there: what counts must not be squeezed flat by a start."""
    whole = [v for _, v in pairs]
    counts = [v for t, v in pairs if any(s.why is None and s.start <= t <= s.stop for s in spans)]
    inside = [*(counts or whole), *(panel.normal or ())] or [0.0]
    lo, hi = min(inside), max(inside)
    if hi - lo < panel.least:
        middle = (lo + hi) / 2
        lo, hi = middle - panel.least / 2, middle + panel.least / 2
    pad = hi - lo
    cut = bool(whole) and max(whole) - min(whole) > 4 * pad
    if not cut:
        lo, hi = min([lo, *whole]), max([hi, *whole])
        pad = 0.07 * (hi - lo)
    return lo - pad, hi + pad, cut


def _shading(spans: Sequence[Span], frames: Sequence[Frame]) -> list[Node]:
    found: list[Node] = []
    for span in (s for s in spans if s.why is None):
        for frame in frames:
            x0, x1 = frame.x(span.start), frame.x(span.stop)
            found.append(rect(x0, frame.top, max(1.0, x1 - x0), frame.bottom - frame.top, Token.WASH))
    return found


def _strip(spans: Sequence[Span], letters: dict[str, str], frame: Frame, used: str) -> tuple[list[Node], list[Label]]:
    """The strip above: solid where it counts, hatched where not, each with its word or letter."""
    shapes: list[Node] = []
    wants: list[Want] = []
    texts: list[tuple[str, bool]] = []
    top, foot = _HEAD, _HEAD + _STRIP
    for span in spans:
        x0, x1 = frame.x(span.start), frame.x(span.stop)
        if span.why is None:
            shapes.append(rect(x0, top, max(1.0, x1 - x0), _STRIP, Token.FILL))
            text = used
        else:
            strokes = hatch([(x0, top), (x1, top), (x1, foot), (x0, foot)], 5, Token.INK, 1.2) if x1 - x0 > 1 else None
            shapes += [strokes] if strokes is not None else []
            text = letters[span.why]
        shapes.append(segment(x0, top, x0, foot, Token.INK, 1))
        texts.append((text, span.why is None))
        wants.append(Want((x0 + x1) / 2, width(text, "form", _SIZE, bold=True), round(x1 - x0)))
    places = rows(wants, frame.left, frame.right, most=1, gap=5, slack=10)
    labels = [
        Label(p.centre, top - 6, text, "middle", size=_SIZE, bold=True, colour=Token.DO if counts else Token.INK)
        for p, (text, counts) in zip(places, texts, strict=True)
        if p is not None
    ]
    return shapes, labels


def _panel(panel: Panel, pairs: list[tuple[float, float]], frame: Frame) -> tuple[list[Node], list[Label]]:
    shapes: list[Node] = []
    labels: list[Label] = []
    marks = ticks(frame.lo, frame.hi, max(3, int((frame.bottom - frame.top) / 42)))
    for value in marks:
        y = frame.y(value)
        shapes.append(segment(frame.left, y, frame.right, y, Token.RULE, 1))
        text = shorten(short(round(value, 10)).replace("-", "−"), frame.left - 8, "form", _SIZE)
        labels.append(Label(frame.left - 8, min(max(y + 5, frame.top + 9), frame.bottom + 1), text, "end", size=_SIZE))
    if panel.normal is not None:
        for value in panel.normal:
            shapes.append(segment(frame.left, frame.y(value), frame.right, frame.y(value), Token.INK, 1.5, dash="2 4"))
    if pairs:
        shapes += curve([(t, min(max(v, frame.lo), frame.hi)) for t, v in pairs], frame, Token.INK, 1.4)
    axis = points([(frame.left, frame.top), (frame.left, frame.bottom), (frame.right, frame.bottom)])
    shapes.append(stroke(axis, Token.LINE, 1))
    return shapes, labels


def _time_axis(frame: Frame, room: float, seconds: str) -> tuple[list[Node], list[Label]]:
    marks = ticks(frame.t_lo, frame.t_hi, max(2, int((frame.right - frame.left) / 90)))
    texts = [short(round(t, 10)).replace("-", "−") for t in marks]
    texts[-1] += f" {seconds}"
    shapes = [segment(frame.x(t), frame.bottom, frame.x(t), frame.bottom + 5, Token.LINE, 1) for t in marks]
    wants = [
        Want(frame.x(t), width(text, "form", _SIZE), int(i == len(marks) - 1))
        for i, (t, text) in enumerate(zip(marks, texts, strict=True))
    ]
    places = rows(wants, 0, room, most=1, gap=8, slack=40)
    labels = [
        Label(p.centre, frame.bottom + 19, text, "middle", size=_SIZE)
        for p, text in zip(places, texts, strict=True)
        if p is not None
    ]
    return shapes, labels


def _legend(letters: dict[str, str], spans: Sequence[Span], y: float, room: float) -> tuple[list[Label], float]:
    """Why each hatched piece does not count, with how long in all."""
    labels = []
    for why, letter in letters.items():
        y += _LINE
        long = sum(s.stop - s.start for s in spans if s.why == why)
        text = shorten(f"{why}, {long:.0f} s", room - 18, "form", _SIZE)
        labels.append(Label(0, y, letter, size=_SIZE, bold=True, colour=Token.INK))
        labels.append(Label(18, y, text, size=_SIZE, colour=Token.INK))
    return labels, y


def _sentence(
    panels: Sequence[Panel], known: Sequence[list[tuple[float, float]]], spans: Sequence[Span], used: str, seconds: str
) -> str:
    told = []
    for panel, pairs in zip(panels, known, strict=True):
        if pairs:
            values = [v for _, v in pairs]
            told.append(f"{panel.what}: {short(round(min(values), 1))} to {short(round(max(values), 1))}.")
    counts = sum(s.stop - s.start for s in spans if s.why is None)
    if spans:
        told.append(f"{counts:.0f} {seconds} {used}.")
        for why in dict.fromkeys(s.why for s in spans if s.why is not None):
            told.append(f"Not {used}: {why}, {sum(s.stop - s.start for s in spans if s.why == why):.0f} {seconds}.")
    return " ".join(told)
