"""Which causes the evidence at hand cannot tell apart, whatever its values happened to be.

A split between two causes is believed only where the readings would look different under them: where the best of one
cannot be matched by any size of the other, or where the evidence weighs for one at least three times as much. What was
seen and told weighs whole in that; numbers that both causes match weigh less, for only the sizes we took for common
would split them. The angle between their effects, each reading over its spread, gives the condition of the fit: near 1
they are told apart, large they change everything in the same proportion.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tickover.cause.hypotheses import ELSE, HYPOTHESES
from tickover.cause.weighing import Weighed

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

ALIKE = 3.0
"""Evidence that weighs less than so many times as much for one cause as for another does not split them [1]."""
ALIKE_WHERE_MOVED, PLAIN_EFFECT = 10.0, 2.0
"""… and not less than so many times, where both change what was read by twice its spread or more and still match: then
only the sizes we took for common split them [1]."""
_LEAST_SHARE = 1e-9


def evidence_of(w: Weighed) -> Floats:
    """Log of how well each cause explains the evidence, its base rate left out, shape (causes,)."""
    with np.errstate(invalid="ignore"):
        return np.asarray(w.by_cause(w.total) - w.by_cause(w.ways.prior))


def words_for(w: Weighed) -> Floats:
    """Log of how well each cause explains all that is not a number, shape (causes,) [nat]; the same at every size."""
    ways, n = w.ways, len(HYPOTHESES)
    ours = ways.mimics < 0
    told = w.told.sum(axis=0) if len(w.told) else np.zeros(len(ways.cell))
    found = np.bincount(ways.cause[ours], weights=told[ours], minlength=n)
    return np.asarray(found / np.maximum(np.bincount(ways.cause[ours], minlength=n), 1))


def best_cells(w: Weighed) -> NDArray[np.intp]:
    """The cell of each cause that explains the evidence best; −1 where it has none, shape (causes,)."""
    out = np.full(len(HYPOTHESES), -1, dtype=np.intp)
    own = w.ways.mimics < 0
    for k in range(len(HYPOTHESES)):
        here = np.flatnonzero(own & (w.ways.cause == k))
        if len(here):
            out[k] = w.ways.cell[here[np.argmax(w.total[here])]]
    return out


def distances(w: Weighed) -> Floats:
    """How far the nearest size of one cause is from the best fit of another, over the spread, shape (causes, causes).

    Returns: squared; row: whose best fit is to be matched; column: who tries. Infinite where either does not exist.
    """
    n = len(HYPOTHESES)
    best, index = best_cells(w), w.numbers.index
    out = np.full((n, n), np.inf)
    own = w.ways.mimics < 0
    cells = [np.unique(w.ways.cell[own & (w.ways.cause == k)]) for k in range(n)]
    for i in range(n):
        if best[i] < 0:
            continue
        aim = w.cells.means[best[i], index]
        for j in range(n):
            if len(cells[j]):
                off = w.cells.means[np.ix_(cells[j], index)] - aim
                off = np.where(_both_beyond(w, aim, off), 0.0, off)
                out[i, j] = float(np.einsum("ni,nij,nj->n", off, w.inverse[cells[j]], off).min())
    return out


def effects(w: Weighed) -> Floats:
    """How much the best fit of each cause changes what was read, over its spread, shape (causes,)."""
    best, index = best_cells(w), w.numbers.index
    out = np.zeros(len(HYPOTHESES))
    for k, cell in enumerate(best):
        if cell >= 0 and len(index):
            change = w.cells.means[cell, index] - w.cells.means[w.cells.healthy[cell], index]
            out[k] = float(np.sqrt(change @ w.inverse[cell] @ change))
    return out


def _both_beyond(w: Weighed, aim: Floats, off: Floats) -> Bools:
    """Where a reading stands at its limit and both predictions lie beyond it."""
    limits, values = w.numbers.limits, w.numbers.values
    past = (aim - values) * limits >= 0
    return np.asarray((limits != 0) & past & ((aim + off - values) * limits >= 0))


@dataclass(frozen=True)
class Alike:
    """Which pairs of causes the readings cannot part, and how much evidence would part them.

    Attributes:
        matched: pairs whose best fits match each other, shape (causes, causes).
        slack: weight of the numbers that counts for nothing between a pair, shape (causes, causes) [nat].
        numbers, words: log of how well each cause explains the numbers, and all else, shape (causes,) each [nat].
    """

    matched: Bools
    slack: Floats
    numbers: Floats
    words: Floats

    def tied(self, more: Floats | None = None) -> Bools:
        """Pairs that cannot be told apart; "something else" is tied to none.

        Args:
            more: what the outcome of a further test would add, shape (causes,) [nat].
        Returns: shape (causes, causes)
        """
        words = self.words if more is None else self.words + more
        with np.errstate(invalid="ignore"):
            read = self.numbers[:, None] - self.numbers[None, :]
            read = np.sign(read) * np.maximum(np.abs(read) - self.slack, 0.0)
            alike = self.matched & (np.abs(read + words[:, None] - words[None, :]) < np.log(ALIKE))
        other = next(k for k, h in enumerate(HYPOTHESES) if h.name == ELSE)
        alike[other], alike[:, other] = False, False
        np.fill_diagonal(alike, True)
        return np.asarray(alike)


def alike_of(w: Weighed) -> Alike:
    """What the evidence at hand can part."""
    apart, moved = distances(w), effects(w)
    plain = np.minimum(moved[:, None], moved[None, :]) >= PLAIN_EFFECT
    return Alike(
        matched=np.maximum(apart, apart.T) < 2 * np.log(ALIKE),
        slack=np.asarray(np.where(plain, np.log(ALIKE_WHERE_MOVED / ALIKE), 0.0), dtype=np.float64),
        numbers=evidence_of(w) - words_for(w),
        words=words_for(w),
    )


def grouped(causes: Floats, tied: Bools) -> list[list[int]]:
    """Causes in tied groups, likelier groups first; every cause that is possible at all is in exactly one.

    Args:
        causes: probability of each, shape (causes,).
        tied: pairs that cannot be told apart, shape (causes, causes).
    """
    open_ = [int(k) for k in np.argsort(-causes, kind="stable") if causes[k] > _LEAST_SHARE]
    found: list[list[int]] = []
    while open_:
        row = tied[open_[0]]
        members = [k for k in open_ if row[k]]
        found.append(members)
        open_ = [k for k in open_ if not row[k]]
    return sorted(found, key=lambda g: -float(causes[g].sum()))


def condition(w: Weighed, one: int, two: int) -> tuple[float, float, float] | None:
    """How well a fit of two causes together is conditioned by these readings.

    Args:
        w: what was weighed.
        one, two: indices of causes.
    Returns: condition number [1], and the size of each effect over the spread of the readings [1]; None where no number
        was read or a cause does not exist. Infinite for effects in exactly the same proportion.
    Source: Fisher information of two amounts in a linear Gaussian model, effects scaled to length 1.
    """
    best, index = best_cells(w), w.numbers.index
    if not len(index) or best[one] < 0 or best[two] < 0:
        return None
    effects = []
    for k in (one, two):
        cell = best[k]
        change = w.cells.means[cell, index] - w.cells.means[w.cells.healthy[cell], index]
        root = np.linalg.cholesky(w.inverse[cell])
        effects.append(root.T @ change)
    sizes = [float(np.linalg.norm(e)) for e in effects]
    if min(sizes) < 1e-9:
        return float("inf"), sizes[0], sizes[1]
    c = min(abs(float(effects[0] @ effects[1])) / (sizes[0] * sizes[1]), 1.0)
    return (float(np.sqrt((1 + c) / (1 - c))) if c < 1 else float("inf")), sizes[0], sizes[1]
