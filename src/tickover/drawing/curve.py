"""A measured value over time: the series, the frame it stands in, the line that is drawn."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from statistics import median

from tickover.drawing.svg import Node, points, segment, stroke
from tickover.drawing.tokens import Token


@dataclass(frozen=True)
class Series:
    """Values over time.

    Attributes:
        t: instants, rising [s].
        values: one each; ``None`` or not finite where nothing was measured.
    """

    t: Sequence[float]
    values: Sequence[float | None]

    def __post_init__(self) -> None:
        if len(self.t) != len(self.values):
            raise ValueError(f"{len(self.t)} instants for {len(self.values)} values")

    def known(self) -> list[tuple[float, float]]:
        """The pairs that were measured."""
        pairs = zip(self.t, self.values, strict=True)
        return [(t, v) for t, v in pairs if v is not None and math.isfinite(v) and math.isfinite(t)]


@dataclass(frozen=True, slots=True)
class Frame:
    """Where a panel stands [px], and what its axes span: ``t_lo`` to ``t_hi`` [s], values ``lo`` to ``hi``."""

    left: float
    right: float
    top: float
    bottom: float
    t_hi: float
    lo: float
    hi: float
    t_lo: float = 0.0

    def x(self, t: float) -> float:
        """Place of an instant."""
        return self.left + (t - self.t_lo) / (self.t_hi - self.t_lo) * (self.right - self.left)

    def y(self, value: float) -> float:
        """Place of a value."""
        return self.bottom - (value - self.lo) / (self.hi - self.lo) * (self.bottom - self.top)


def curve(pairs: list[tuple[float, float]], frame: Frame, colour: Token, weight: float) -> list[Node]:
    """A trace, broken where nothing was measured, thinned to what a pixel column can show.

    Args:
        pairs: instants and values, at least one, rising.
        frame: where they stand.
        colour, weight: of the line.
    """
    steps = [b[0] - a[0] for a, b in pairwise(pairs)]
    gap = max(5 * median(steps), 1.0) if steps else 1.0
    pieces: list[list[tuple[float, float]]] = [[pairs[0]]]
    for step, pair in zip(steps, pairs[1:], strict=True):
        if step > gap:
            pieces.append([])
        pieces[-1].append(pair)
    found: list[Node] = []
    for piece in pieces:
        places = thinned([(frame.x(t), frame.y(v)) for t, v in piece])
        if len(places) == 1:
            x, y = places[0]
            found.append(segment(x - weight, y, x + weight, y, colour, weight))
        else:
            found.append(stroke(points(places), colour, weight, join="round"))
    return found


def thinned(places: list[tuple[float, float]]) -> list[tuple[float, float]]:
    """At most four places a pixel column: first, lowest, highest, last. Extremes are never lost."""
    found: list[tuple[float, float]] = []
    column: list[tuple[float, float]] = []
    for place in [*places, (math.inf, 0.0)]:
        if column and (place[0] == math.inf or math.floor(place[0]) != math.floor(column[0][0])):
            kept = {0, len(column) - 1}
            heights = [y for _, y in column]
            kept |= {heights.index(min(heights)), heights.index(max(heights))}
            found += [column[i] for i in sorted(kept)]
            column = []
        column.append(place)
    return found
