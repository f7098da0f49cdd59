"""A leak as the round hole that would let as much air in."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from tickover.cause.channels import CHANNELS, INDEX
from tickover.cause.hypotheses import BY_NAME, HYPOTHESES
from tickover.cause.weighing import Weighed
from tickover.results import CannotTell, Measured, Quantity

Floats = NDArray[np.float64]

LEVEL = 0.9
SILENT = 1.0
"""Below about so much nothing can be told [mm]."""
LEAST_CHANCE = 0.1
"""A hole is spoken of only where a leak is at least so likely [1]. Own choice."""
BESIDES = 0.07
"""How far the ends are moved out for what the model leaves out, in logarithms [1]. Own choice, after a second model's
leaks lay inside too seldom (docs/why/cause-panel.md)."""
STALLS = 0.85
"""A hole whose engine, by the model, idles below so much of its target does not keep its idle [1]. Own choice."""
_NOTHING_LEARNED = 0.8
"""An interval that is not narrower than so much of the one before any evidence, in logarithms, says nothing."""


def equivalent_hole(w: Weighed) -> Measured:
    """The hole, if it is a leak.

    Args:
        w: what was weighed.
    Returns: diameter of the equivalent round hole [mm], 90 %; open above where a trim stands at its limit or the
        largest holes fit as well, open below where less than a millimetre fits; else why it cannot be said
    """
    leak = next(k for k, h in enumerate(HYPOTHESES) if h.name == "leak")
    own = (w.ways.cause == leak) & (w.ways.mimics < 0)
    if float(w.causes[leak]) < LEAST_CHANCE:
        return CannotTell(
            reason="A leak is not what these readings point to, so no hole is reckoned.",
            way_out="Pinch the hoses at the manifold one at a time if you want to be sure.",
        )
    if _stalls(w, own):
        return CannotTell(
            reason="A leak alone does not explain these trims: a hole as large as the others ask for would stall the "
            "engine, and a trim was read at idle.",
            way_out="Look at the fuel supply too, and read the trims again.",
        )
    sizes, edges, weight = _by_size(w, own)
    lo, middle, hi = (float(q) for q in np.interp([0.05, 0.5, 0.95], np.append(0.0, np.cumsum(weight)), edges))
    plain = BY_NAME["leak"].sizes
    if np.log(hi / lo) > _NOTHING_LEARNED * np.log(plain[-1] / plain[0]) * LEVEL:
        return CannotTell(
            reason="These readings say nothing of the size of a leak.",
            way_out="With an air meter, read the trims at idle and at 2,500 r/min; otherwise the commanded idle air.",
        )
    if hi < SILENT * 1.1:
        return CannotTell(
            reason="If it is a leak, it is smaller than a hole of about 1 mm, and that cannot be told from healthy.",
            way_out="Look for it only if the idle is not right.",
        )
    lo, hi = lo * np.exp(-BESIDES), hi * np.exp(BESIDES)
    spent = bool(np.any(w.numbers.limits > 0)) or float(weight[sizes >= 0.93 * plain[-1]].sum()) > 0.05
    return Quantity(
        value=round(middle, 2),
        lo=None if lo < SILENT else round(float(lo), 2),
        hi=None if spent else round(float(hi), 2),
        level=LEVEL,
        unit="mm",
    )


def _stalls(w: Weighed, own: NDArray[np.bool_]) -> bool:
    """Whether the holes that fit best are such as no engine idles with, though something was read at its idle."""
    read = [k for k, i in enumerate(w.numbers.index) if CHANNELS[i].name in ("trim idle", "speed")]
    if not any(w.numbers.limits[k] == 0 for k in read):
        return False
    cell, speed = w.ways.cell[own], INDEX["speed"]
    target = w.cells.means[w.cells.healthy[cell], speed]
    stalled = w.cells.means[cell, speed] < STALLS * target
    low = w.numbers.has("speed") and bool(w.numbers.values[w.numbers.index == speed][0] < STALLS * target.mean())
    return not low and float(w.p[own][stalled].sum()) > 0.5 * float(w.p[own].sum())


def _by_size(w: Weighed, own: NDArray[np.bool_]) -> tuple[Floats, Floats, Floats]:
    """Sizes, the edges between them, and the chance of each if it is a leak."""
    sizes = BY_NAME["leak"].sizes
    at = np.searchsorted(sizes, w.cells.size[w.ways.cell[own]] * (1 - 1e-9))
    weight = np.bincount(at, weights=w.p[own], minlength=len(sizes))
    middle = np.sqrt(sizes[1:] * sizes[:-1])
    edges = np.concatenate([[sizes[0] ** 1.5 / sizes[1] ** 0.5], middle, [sizes[-1] ** 1.5 / sizes[-2] ** 0.5]])
    return sizes, edges, np.asarray(weight / weight.sum())
