"""How much room words take, and how words beside each other are kept apart.

Widths are estimates that a real setting should not exceed: pictures are laid out before anyone knows which of the
fonts of a stack a machine has.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from tickover.drawing.tokens import Role

_CLASSES: tuple[tuple[str, float], ...] = (
    ("ijl.,:;'|!`", 0.29),
    (' Ift()[]{}/\\-"r', 0.40),
    ("*^sczJ", 0.54),
    ("0123456789abdeghknopquvxy?_$£€¢~<>=+±−–·“”×÷#L", 0.60),
    ("mwM", 0.92),
    ("W@%—…", 1.02),
    ("ABCDEFGHKNOPQRSTUVXYZ&", 0.72),
)
_WIDTHS = {character: width for group, width in _CLASSES for character in group}
_ROLES: dict[Role, float] = {"slab": 1.06, "text": 1.0, "form": 0.93}
_BOLD = 1.07


def width(text: str, role: Role, size: float, *, bold: bool = False) -> float:
    """An upper estimate of the width of one line of text.

    Args:
        text: the words.
        role: which stack they are set in.
        size: type size [px].
        bold: whether they are bold.
    Returns: width [px].
    Source: own choice; held by a test against a typesetter's measure, both with and without the print fonts.
    """
    units = sum(_WIDTHS.get(c) or _foreign(c) for c in text)
    return units * size * _ROLES[role] * (_BOLD if bold else 1.0)


def _foreign(character: str) -> float:
    if unicodedata.combining(character):
        return 0.0
    if unicodedata.east_asian_width(character) in "WF":
        return 1.15
    base = unicodedata.normalize("NFD", character)[0]
    return _WIDTHS.get(base, 0.95)


def shorten(text: str, room: float, role: Role, size: float, *, bold: bool = False) -> str:
    """The text, or as much of it as fits ``room`` with ``…`` at the end; empty where not even that fits."""
    if width(text, role, size, bold=bold) <= room:
        return text
    for end in range(len(text) - 1, 0, -1):
        cut = text[:end].rstrip(" ,.;:") + "…"
        if width(cut, role, size, bold=bold) <= room:
            return cut
    return ""


def spread(centres: Sequence[float], sizes: Sequence[float], lo: float, hi: float) -> list[float]:
    """Move things along a line as little as possible so that none overlaps.

    Args:
        centres: where each would like to stand, rising [px].
        sizes: how much room each takes [px].
        lo, hi: the ends of the line [px].
    Returns: centres in the same order, least total of squared moves; where all together are longer than the line they
        are laid out from ``lo`` without overlap and run past ``hi``.
    Source: bounded isotonic regression by pooling adjacent violators.
    """
    offsets = [0.0]
    for one, other in pairwise(sizes):
        offsets.append(offsets[-1] + (one + other) / 2)
    pools: list[tuple[float, int]] = []
    for centre, offset in zip(centres, offsets, strict=False):
        mean, count = centre - offset, 1
        while pools and pools[-1][0] > mean:
            last, n = pools.pop()
            mean, count = (mean * count + last * n) / (count + n), count + n
        pools.append((mean, count))
    shifted = [mean for mean, count in pools for _ in range(count)]
    if not shifted:
        return []
    least = lo + sizes[0] / 2
    most = hi - sizes[-1] / 2 - offsets[-1]
    return [max(least, min(most, s)) + o for s, o in zip(shifted, offsets, strict=False)]


@dataclass(frozen=True, slots=True)
class Want:
    """A word that would like to stand somewhere in a row.

    Attributes:
        centre: where its middle would like to be [px].
        room: how wide it is [px].
        weight: the heavier are placed first.
    """

    centre: float
    room: float
    weight: int = 0


@dataclass(frozen=True, slots=True)
class Place:
    """Where a word stands: its row, 0 nearest the drawing, and the middle of it [px]."""

    row: int
    centre: float


def rows(wants: Sequence[Want], lo: float, hi: float, *, most: int, gap: float, slack: float) -> list[Place | None]:
    """Put words into rows so that none overlaps and none leaves ``lo..hi``.

    Args:
        wants: the words.
        lo, hi: the ends of each row [px].
        most: how many rows there are.
        gap: least room between neighbours [px].
        slack: how far a word may stand from where it wants [px]; one that only the ends push in may go further.
    Returns: a place for each, in the same order; ``None`` for a word without room. A heavier word is never left out
        for the sake of a lighter one.
    """
    taken: list[list[tuple[float, float]]] = [[] for _ in range(most)]
    found: list[Place | None] = [None] * len(wants)
    for index in sorted(range(len(wants)), key=lambda i: (-wants[i].weight, wants[i].centre)):
        want = wants[index]
        if want.room > hi - lo:
            continue
        home = min(max(want.centre, lo + want.room / 2), hi - want.room / 2)
        best: tuple[float, int, float] | None = None
        for row, spans in enumerate(taken):
            centre = _nearest(home, want.room, spans, lo, hi, gap)
            if centre is None or abs(centre - home) > slack:
                continue
            cost = abs(centre - home) + 12.0 * row
            if best is None or cost < best[0]:
                best = (cost, row, centre)
        if best is not None:
            found[index] = Place(best[1], best[2])
            taken[best[1]].append((best[2] - want.room / 2, best[2] + want.room / 2))
    return found


def _nearest(
    home: float, room: float, spans: list[tuple[float, float]], lo: float, hi: float, gap: float
) -> float | None:
    def free(centre: float) -> bool:
        left, right = centre - room / 2, centre + room / 2
        if left < lo - 1e-9 or right > hi + 1e-9:
            return False
        return all(right <= a - gap + 1e-9 or left >= b + gap - 1e-9 for a, b in spans)

    edges = [home, *(a - gap - room / 2 for a, _ in spans), *(b + gap + room / 2 for _, b in spans)]
    free_ones = [e for e in edges if free(e)]
    return min(free_ones, key=lambda e: abs(e - home)) if free_ones else None
