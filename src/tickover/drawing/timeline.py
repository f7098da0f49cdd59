"""One attempt on one time axis: what the foot and the hand did, when they should have, and what was seen.

A line at two heights for each thing that moved, as on a chart recorder. Jaws are the windows, ◆ the acts: filled where
it was a hit, vermilion with hatch where missed, a dashed bar where undecided. Time runs left to right; a long wait may
be cut out, and the cut is marked.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

from tickover.drawing.figures import short
from tickover.drawing.marks import bar, diamond, jaws
from tickover.drawing.picture import Label, Picture
from tickover.drawing.svg import Node, el, hatch, points, rect, segment, stroke
from tickover.drawing.timeline_shown import Act, Caption, State, Timeline, Track, clock_words, sentence
from tickover.drawing.timescale import TimeScale, time_scale
from tickover.drawing.tokens import Token
from tickover.drawing.words import Want, rows, shorten, width

__all__ = ["Act", "Caption", "State", "Timeline", "Track", "timeline"]

_SIZE = 13.5
_ROW = 17.0
_LEFT, _RIGHT = 92.0, 10.0
_WINDOW_HIGH, _WINDOW_WEIGHT = 17.0, 2.5


def timeline(shown: Timeline, *, room: float = 688.0) -> Picture:
    """Draw one attempt.

    Args:
        shown: at least one track.
        room: width [px], at least 300.
    Returns: the picture, as high as its tracks and captions need.
    Raises: ValueError if there is no track, no time, or too little room.
    """
    if not shown.tracks or room < 300:
        raise ValueError("a timeline needs at least one track, and 300 px")
    scale = time_scale(shown.duration, _instants(shown), _LEFT + 14, room - _RIGHT, least=shown.apart)
    top, c_shapes, c_labels, heads = _captions(shown, scale, room)
    levels: list[tuple[float, float]] = []
    y = top
    for track in shown.tracks:
        levels.append((y + track.tall, y))
        y += track.tall + 19
    bottom = y - 8
    shapes = [*c_shapes, *_leaders(shown, scale, heads, levels)]
    labels = list(c_labels)
    for track, (low, high) in zip(shown.tracks, levels, strict=True):
        shapes += _track(track, low, high, scale, shown.duration)
        labels += _names(track, low, high)
    shapes += _cut_marks(scale, levels, bottom)
    shapes += _windows(shown.acts, scale, levels)
    for act in shown.acts:
        shapes += _act(act, shown.acts, scale, levels)
    axis, numbers = _axis(shown, scale, bottom, room)
    return Picture(room, bottom + 22, (*shapes, *axis), (*labels, *numbers), sentence(shown))


CLOCK_STEPS = (1.0, 2.0, 5.0, 10.0, 15.0, 30.0, 60.0, 120.0, 300.0, 600.0, 1200.0, 3600.0)
"""Steps of an axis in minutes and seconds [s]."""

NEAR_EDGE = 4.0
"""An edge of a window this near to its act is drawn in its true place [s]; ± 3 s is the widest usual give."""


def _instants(shown: Timeline) -> list[float]:
    found = [t for track in shown.tracks for t, _ in track.steps]
    found += [t for track in shown.tracks for pair in track.flashing for t in pair]
    for act in shown.acts:
        found += [t for t in (act.t_lo, act.t_hi) if t is not None]
        window = [t for t in act.window or () if t is not None]
        if act.t_lo is None and len(window) == 2:
            # A window that nothing came into is shown whole: nothing in it may be cut out.
            parts = min(60, max(1, math.ceil(window[1] - window[0])))
            found += [window[0] + (window[1] - window[0]) * k / parts for k in range(parts + 1)]
        else:
            # A far edge may stand inside a cut; one near the act keeps its place, or the act would look off its middle.
            found += [t for t in window if act.t_lo is None or abs(t - act.t_lo) < NEAR_EDGE]
    return found


def _captions(
    shown: Timeline, scale: TimeScale, room: float
) -> tuple[float, list[Node], list[Label], list[tuple[float, float]]]:
    """Words over the tracks, in up to three rows; where the tracks may begin; and each placed caption's foot."""
    texts = [shorten(c.text, room - _LEFT, "form", _SIZE, bold=c.weight > 0) for c in shown.captions]
    wants = [
        Want((scale.x(c.t0) + scale.x(c.t1)) / 2, width(text, "form", _SIZE, bold=c.weight > 0), c.weight)
        for c, text in zip(shown.captions, texts, strict=True)
    ]
    places = rows(wants, 0, room, most=3, gap=9, slack=44)
    used = 1 + max((p.row for p in places if p is not None), default=-1)
    shapes: list[Node] = []
    labels: list[Label] = []
    heads: list[tuple[float, float]] = []
    foot = used * _ROW + 2
    for caption, text, place in zip(shown.captions, texts, places, strict=True):
        if place is None:
            continue
        y = 12 + (used - 1 - place.row) * _ROW
        strong = caption.weight > 0
        labels.append(Label(place.centre, y, text, "middle", size=_SIZE, bold=strong, colour=caption.colour))
        x0, x1 = scale.x(caption.t0), scale.x(caption.t1)
        if x1 - x0 > 8:
            shapes.append(
                stroke(points([(x0, foot + 6), (x0, foot + 2), (x1, foot + 2), (x1, foot + 6)]), Token.LINE, 1)
            )
        elif place.row == 0:
            heads.append((caption.t0, foot))
    return foot + (16 if used else 10), shapes, labels, heads


def _leaders(
    shown: Timeline, scale: TimeScale, heads: Sequence[tuple[float, float]], levels: Sequence[tuple[float, float]]
) -> list[Node]:
    """A hairline from each caption of one act down to the act."""
    found: list[Node] = []
    for t, y in heads:
        near = [a for a in shown.acts if a.t_lo is not None and abs(a.t_lo - t) < 1e-9]
        if near:
            foot = levels[near[0].track][0 if near[0].level == 0 else 1]
            if foot - 12 > y + 2:
                found.append(segment(scale.x(t), y + 2, scale.x(t), foot - 12, Token.RULE, 1))
    return found


def _track(track: Track, low: float, high: float, scale: TimeScale, duration: float) -> list[Node]:
    weight, colour = (3.0 if track.strong else 1.6), Token.INK
    level = {0: low, 1: high}
    found: list[Node] = []
    at = track.start
    path: list[tuple[float, float]] = [] if at is None else [(scale.x(0), level[at])]
    for when, to in track.steps:
        if at is None:
            found.append(segment(scale.x(0), low, scale.x(when), low, Token.RULE, 1))
        else:
            path.append((scale.x(when), level[at]))
        path.append((scale.x(when), level[to]))
        at = to
    if at is None:
        return [segment(scale.x(0), low, scale.x(duration), low, Token.RULE, 1)]
    path.append((scale.x(duration), level[at]))
    found += _without(path, [(scale.x(a), scale.x(b)) for a, b in track.flashing], colour, weight)
    for a, b in track.flashing:
        found.append(stroke(_wave(scale.x(a), scale.x(b), low, high), colour, weight))
    return found


def _without(
    path: list[tuple[float, float]], hidden: Sequence[tuple[float, float]], colour: Token, weight: float
) -> list[Node]:
    """The path less the stretches in which something else is drawn."""
    pieces: list[list[tuple[float, float]]] = []
    for (xa, ya), (xb, yb) in pairwise(path):
        spans = [(xa, xb)]
        if xb > xa:
            for a, b in hidden:
                spans = [part for s, e in spans for part in ((s, min(e, a)), (max(s, b), e)) if part[1] > part[0]]
        for start, end in spans:
            if pieces and pieces[-1][-1] == (start, ya):
                pieces[-1].append((end, yb))
            else:
                pieces.append([(start, ya), (end, yb)])
    return [stroke(points(p), colour, weight) for p in pieces]


def _wave(x0: float, x1: float, low: float, high: float) -> str:
    half = max(3.0, (x1 - x0) / max(2, round((x1 - x0) / 7)))
    places, x, up = [(x0, low)], x0, True
    while x < x1 - 1e-6:
        places.append((x, high if up else low))
        x = min(x + half, x1)
        places.append((x, high if up else low))
        up = not up
    return points(places)


def _names(track: Track, low: float, high: float) -> list[Label]:
    middle = (low + high) / 2 + 5
    words = [
        Label(0, middle, shorten(track.name, 46, "form", _SIZE, bold=True), size=_SIZE, bold=True, colour=Token.INK)
    ]
    ends = [(track.high, high + 5), (track.low, low + 5)]
    return words + [Label(_LEFT, y, shorten(w, 42, "form", _SIZE), "end", size=_SIZE) for w, y in ends if w]


def _cut_marks(scale: TimeScale, levels: Sequence[tuple[float, float]], bottom: float) -> list[Node]:
    """A white slit through every track where a wait was cut out, and two slant strokes on the axis."""
    found: list[Node] = []
    for cut in scale.cuts:
        x = (cut.x0 + cut.x1) / 2
        for low, high in levels:
            found += _slit(x, (low + high) / 2, low - high + 12)
        found += _slit(x, bottom, 14)
    return found


def _slit(x: float, y: float, tall: float) -> list[Node]:
    lean, half = 3.0, tall / 2
    corners = [(x - 3 + lean, y - half), (x + 3 + lean, y - half), (x + 3 - lean, y + half), (x - 3 - lean, y + half)]
    edges = [(corners[0], corners[3]), (corners[1], corners[2])]
    patch = el("path", d=points(corners) + "Z", fill=Token.CARD)
    return [patch, *(segment(a[0], a[1], b[0], b[1], Token.LINE, 1.2) for a, b in edges)]


def _windows(acts: Sequence[Act], scale: TimeScale, levels: Sequence[tuple[float, float]]) -> list[Node]:
    """Jaws round each window. Where two would cross on one line, the worse judged keeps its own."""
    rank = {"missed": 0, "undecided": 1, "may come": 1, "aim": 2, "hit": 2}
    taken: dict[tuple[int, int], list[tuple[float, float]]] = {}
    found: list[Node] = []
    for act in sorted(acts, key=lambda a: rank[a.state]):
        if act.window is None:
            continue
        lo, hi = act.window
        x0, x1 = (scale.x(lo) if lo is not None else None), (scale.x(hi) if hi is not None else None)
        if x0 is None and x1 is None:
            continue
        left, right = (x0 if x0 is not None else _LEFT), (x1 if x1 is not None else scale.stretches[-1].x1)
        if right - left < 5:
            middle = (left + right) / 2
            left, right = middle - 2.5, middle + 2.5
            x0, x1 = (left if x0 is not None else None), (right if x1 is not None else None)
        row = taken.setdefault((act.track, act.level), [])
        if any(left < b + 2 and a < right + 2 for a, b in row):
            continue
        row.append((left, right))
        y = levels[act.track][act.level]
        if x0 is not None and x1 is not None:
            found.append(rect(x0, y - _WINDOW_HIGH / 2, x1 - x0, _WINDOW_HIGH, Token.WASH))
        if act.t_lo is None and act.state == "missed":
            box = [(left, y - 8), (right, y - 8), (right, y + 8), (left, y + 8)]
            strokes = hatch(box, 6, Token.BAD, 1.4)
            found += [strokes] if strokes else []
        dash = "2 3" if act.state == "may come" else None
        found += jaws(x0, x1, y, _WINDOW_HIGH, weight=_WINDOW_WEIGHT, arm=6, dash=dash)
    return found


def _act(act: Act, acts: Sequence[Act], scale: TimeScale, levels: Sequence[tuple[float, float]]) -> list[Node]:
    if act.t_lo is None or act.t_hi is None or act.state == "may come":
        return []
    x0, x1 = scale.x(act.t_lo), scale.x(act.t_hi)
    x, y = (x0 + x1) / 2, levels[act.track][act.level]
    if act.state == "undecided":
        return bar(min(x0, x - 4), max(x1, x + 4), y, Token.INK, dashed=True, weight=3.5, cap=10)
    others = [
        abs(scale.x((o.t_lo + o.t_hi) / 2) - x)
        for o in acts
        if o is not act and o.t_lo is not None and o.t_hi is not None and o.track == act.track and o.level == act.level
    ]
    # Marks shrink before they touch a neighbour on the same line.
    half = max(4.0, min(7.5, min(others, default=99.0) / 2 - 0.5))
    colour = Token.BAD if act.state == "missed" else Token.FILL
    through = bar(x0, x1, y, colour, weight=3) if x1 - x0 > 2 else []
    return [*through, *_reach(act, x, y, scale), *diamond(x, y, half, "missed" if act.state == "missed" else "solid")]


def _reach(act: Act, x: float, y: float, scale: TimeScale) -> list[Node]:
    """From a miss back to the window that it missed."""
    if act.state != "missed" or act.window is None:
        return []
    lo, hi = (scale.x(edge) if edge is not None else None for edge in act.window)
    edge = hi if hi is not None and x > hi else lo if lo is not None and x < lo else None
    return [segment(edge, y, x, y, Token.BAD, 1.6, dash="2 2")] if edge is not None else []


def _axis(shown: Timeline, scale: TimeScale, y: float, room: float) -> tuple[list[Node], list[Label]]:
    shapes: list[Node] = []
    for s in scale.stretches:
        # Through a cut the axis stops at the strokes.
        ends = [(s.x0, s.x1)] if not s.cut else [(s.x0, (s.x0 + s.x1) / 2 - 4), ((s.x0 + s.x1) / 2 + 4, s.x1)]
        shapes += [segment(a, y, b, y, Token.LINE, 1) for a, b in ends if b > a]
    steps = CLOCK_STEPS if shown.clock else ()
    fine = scale.ticks(7, steps)
    shapes += [segment(scale.x(t), y, scale.x(t), y + 4, Token.LINE, 1) for t in fine]
    marks = scale.ticks(40 if shown.clock else 30, steps)
    texts = [*(clock_words(t) if shown.clock else short(round(t, 6)) for t in marks), shown.seconds]
    spaces = [width(words, "form", _SIZE) for words in texts]
    wants = [Want(scale.x(t), space) for t, space in zip(marks, spaces, strict=False)]
    wants.append(Want(room - spaces[-1] / 2, spaces[-1], 2))
    shapes += [segment(scale.x(t), y, scale.x(t), y + 7, Token.LINE, 1) for t in marks]
    places = rows(wants, 0, room, most=1, gap=8, slack=6)
    labels = [
        Label(p.centre, y + 18, words, "middle", size=_SIZE)
        for p, words in zip(places, texts, strict=True)
        if p is not None
    ]
    return shapes, labels
