"""Jaws and mark: the one sign for everything measured.

``[ ]`` is what is allowed, ◆ is what was found, the bar through ◆ is how far to trust it. Each state differs by shape
and fill, so that it survives a grey printer; colour only helps.
"""

from __future__ import annotations

from typing import Literal, get_args

from tickover.drawing.picture import Picture
from tickover.drawing.svg import Node, el, hatch, points, rect, segment, stroke
from tickover.drawing.tokens import JAWS, Token

Judgement = Literal["hit", "met", "so far", "miss", "undecided", "not yet", "may come"]
Verdict = Literal["settled", "better", "no change", "worse", "cannot tell"]
Fill = Literal["solid", "outline", "missed", "waiting", "before"]

JUDGEMENTS: tuple[Judgement, ...] = get_args(Judgement)
VERDICTS: tuple[Verdict, ...] = get_args(Verdict)

_MEANING: dict[str, str] = {
    "hit": "Hit: inside its window, all of it.",
    "met": "Met: inside its limits, all of it.",
    "so far": "Inside so far; not judged until the attempt ends.",
    "miss": "Missed: outside its window.",
    "undecided": "Undecided: its range crosses the edge of the window.",
    "not yet": "Not yet: before its window.",
    "may come": "May come inside this window; nobody aims at it.",
    "settled": "Settled: level, between the jaws.",
    "better": "Better: moved towards the jaws.",
    "no change": "No change: as it was.",
    "worse": "Worse: moved away from the jaws.",
    "cannot tell": "Cannot tell.",
}

_HIGH = 48.0
_REACH, _ARM = 21.0, 9.0
_EXTENT: dict[str, tuple[float, float]] = {
    "miss": (_REACH, 48.0),
    "undecided": (_REACH, 44.0),
    "not yet": (48.0, _REACH),
    "better": (_REACH, 47.0),
    "no change": (_REACH, 47.0),
    "worse": (_REACH, 48.0),
    "cannot tell": (41.0, 41.0),
}
"""How far each sign reaches left and right of the middle of its jaws [px], where that is further than the jaws."""

SMALLEST_MARK = 4.5
"""Least half height of ◆ [px]."""


def jaws(
    x0: float | None,
    x1: float | None,
    y: float,
    height: float,
    *,
    weight: float = JAWS,
    arm: float = _ARM,
    colour: Token = Token.INK,
    dash: str | None = None,
) -> list[Node]:
    """Upright jaws: what is allowed, from ``x0`` to ``x1``.

    Args:
        x0, x1: inner edges of what is allowed [px]; ``None`` leaves a side open.
        y: middle [px].
        height: of each jaw [px].
        weight, arm, colour, dash: of the drawing; arms shorten where the jaws are narrow.
    """
    room = (x1 - x0) if x0 is not None and x1 is not None else 4 * arm
    reach = max(2.0, min(arm, room / 2 - 2))
    found: list[Node] = []
    for x, inward in ((x0, 1.0), (x1, -1.0)):
        if x is None:
            continue
        edge = x + inward * weight / 2
        tip = edge + inward * (reach - weight / 2)
        top, foot = y - height / 2 + weight / 2, y + height / 2 - weight / 2
        found.append(stroke(points([(tip, top), (edge, top), (edge, foot), (tip, foot)]), colour, weight, dash=dash))
    return found


def lying_jaws(x: float, y0: float, y1: float, width: float, *, weight: float = JAWS, arm: float = _ARM) -> list[Node]:
    """Jaws turned for an upright scale: what is allowed, from ``y0`` (upper) to ``y1`` (lower) [px] at ``x``."""
    reach = max(weight / 2, min(arm, (y1 - y0) / 2 - 2))
    found: list[Node] = []
    for y, inward in ((y0, 1.0), (y1, -1.0)):
        edge, tip = y + inward * weight / 2, y + inward * reach
        left, right = x - width / 2 + weight / 2, x + width / 2 - weight / 2
        found.append(stroke(points([(left, tip), (left, edge), (right, edge), (right, tip)]), Token.INK, weight))
    return found


def diamond(x: float, y: float, half: float, fill: Fill) -> list[Node]:
    """◆ at a place.

    Args:
        x, y: its middle [px].
        half: half its height [px].
        fill: ``solid`` found and inside; ``outline`` so far; ``missed`` outside, vermilion with hatch; ``waiting`` not
            judged, ink outline; ``before`` grey outline, the reading before.
    """
    if fill == "solid":
        return [el("path", d=points(_corners(x, y, half)) + "Z", fill=Token.FILL)]
    weight = 3.0 if half >= 8 else 2.0
    inner = half - weight * 0.7
    colour = {"outline": Token.FILL, "missed": Token.BAD, "waiting": Token.INK, "before": Token.LINE}[fill]
    shape = el("path", d=points(_corners(x, y, inner)) + "Z", fill=Token.CARD, stroke=colour, stroke_width=weight)
    strokes = hatch(_corners(x, y, inner), max(3.5, half / 2.2), Token.BAD, 1.4) if fill == "missed" else None
    return [shape, strokes] if strokes else [shape]


def _corners(x: float, y: float, half: float) -> list[tuple[float, float]]:
    return [(x, y - half), (x + half, y), (x, y + half), (x - half, y)]


def bar(
    x0: float, x1: float, y: float, colour: Token, *, dashed: bool = False, weight: float = 4.0, cap: float = 8.0
) -> list[Node]:
    """How far to trust ◆: from ``x0`` to ``x1`` [px]; dashed with end strokes where it does not decide."""
    if not dashed:
        return [segment(x0, y, x1, y, colour, weight)]
    return [
        segment(x0, y, x1, y, colour, weight * 0.7, dash="3 3"),
        segment(x0, y - cap, x0, y + cap, colour, 2),
        segment(x1, y - cap, x1, y + cap, colour, 2),
    ]


def judgement(state: Judgement, x: float, y: float) -> list[Node]:
    """The sign of a judgement or a need, its jaws centred at ``x, y``, 48 px high."""
    left, right = x - _REACH, x + _REACH
    if state == "may come":
        return jaws(left, right, y, 36, dash="2 3")
    found = jaws(left, right, y, 36)
    if state in ("hit", "met"):
        return found + diamond(x, y, 10, "solid")
    if state == "so far":
        return found + diamond(x, y, 11, "outline")
    if state == "miss":
        return found + diamond(right + 15, y, 11, "missed")
    if state == "not yet":
        return found + diamond(left - 15, y, 11, "waiting")
    return found + bar(x + 4, right + 22, y, Token.INK, dashed=True)


def verdict(word: Verdict, x: float, y: float) -> list[Node]:
    """The sign of a verdict on an idle, its jaws centred at ``x, y``, 48 px high."""
    left, right = x - _REACH, x + _REACH
    if word == "cannot tell":
        line = segment(left - 20, y, right + 20, y, Token.INK, 3, dash="3 4")
        return [*jaws(left, right, y, 36, dash="5 3.5"), line]
    found = jaws(left, right, y, 36)
    if word == "settled":
        return [*found, rect(x - 11, y - 3.5, 22, 7, Token.FILL)]
    if word == "better":
        return [*found, stroke(_arrow(right + 26, right + 5, y, 9), Token.FILL, 4)]
    if word == "worse":
        return [*found, stroke(_arrow(right + 5, right + 26, y, 9), Token.BAD, 4)]
    return [*found, *(segment(right + 6, y + d, right + 26, y + d, Token.INK, 4) for d in (-6, 6))]


def _arrow(tail: float, tip: float, y: float, head: float) -> str:
    back = tip - head if tip > tail else tip + head
    inset = tip - 2 if tip > tail else tip + 2
    return points([(tail, y), (inset, y)]) + points([(back, y - head), (tip, y), (back, y + head)])


def sign(state: Judgement | Verdict) -> Picture:
    """A sign alone, 48 px high and as wide as it needs, with its meaning in a sentence."""
    left, right = _EXTENT.get(state, (_REACH, _REACH))
    draw = verdict if state in VERDICTS else judgement
    shapes = draw(state, left, _HIGH / 2)  # type: ignore[arg-type]  # each is given only its own states
    return Picture(left + right, _HIGH, tuple(shapes), (), _MEANING[state])
