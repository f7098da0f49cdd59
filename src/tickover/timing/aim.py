"""When to do each act: inside its window, and at even shares where one span couples several acts."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tickover.timing.board import MARGIN_SHARE, Board, lay_out, margin_of, own_upper
from tickover.timing.network import TOLERANCE
from tickover.timing.plan import Plan
from tickover.timing.prepared import Prepared, prepare
from tickover.timing.run import Run
from tickover.timing.step import begin


@dataclass(frozen=True, slots=True)
class Aim:
    """When to do an act: ``delay`` after the event ``after``.

    Attributes:
        event: the act.
        after: the event to time it from.
        delay: how long after that [s].
        at: time since the origin, where that is known; None while an answer must come first [s].
    """

    event: str
    after: str
    delay: float
    at: float | None


def aims(plan: Plan | Prepared, run: Run | None = None, margins: Mapping[str, float] | None = None) -> dict[str, Aim]:
    """When to do each act that is still to come.

    A bound is aimed at its middle. One with no upper end is aimed its margin after the lower end. Where a span couples
    a chain of acts, the whole is aimed at the middle of what it can be and shared evenly among the intervals, each
    clipped into its own window. Every aim lies inside the windows that remain when all earlier acts hit theirs.

    Args:
        plan: the plan, or better the plan made ready by ``prepare``.
        run: what has happened so far; if not given nothing but the origin, and every condition holds.
        margins: margin of an “at least” by group [s]; by default a tenth of it, and 0.3 s or more.
    Returns: an aim for each act to come, in an order in which they can happen. An act that waits for an answer is
        timed from that answer; its ``at`` is None. The delay is one that suits the whole window of the answer where
        there is such a delay, else its middle: aim again once the answer has come.
    Raises: as ``prepare``.
    Source: own choice; see ``best_aims`` for aims that suit one person.
    """
    run = run or at_start(plan)
    margins = margins or {}
    board = lay_out(run, margins, {})
    targets = share_spans(board, margins)
    if targets:
        board = lay_out(run, margins, targets, board.parent)
    return as_aims(board)


def at_start(plan: Plan | Prepared) -> Run:
    """A run at its origin, in which every condition holds."""
    prepared = plan if isinstance(plan, Prepared) else prepare(plan)
    return begin(prepared, holding={k.condition for k in prepared.plan.counters})


def as_aims(board: Board) -> dict[str, Aim]:
    """The aims on a board."""
    names = board.run.prepared.plan.events
    found = {}
    for j, parent in board.parent.items():
        anchor, offset = board.place[j]
        delay = offset - board.place[parent][1]
        at = float(offset) if anchor == 0 else None
        found[names[j]] = Aim(names[j], names[parent], float(delay), at)
    return found


@dataclass(frozen=True, slots=True)
class Span:
    """A bound on a chain of acts: their places, and the range of its whole [s]."""

    chain: tuple[int, ...]
    lo: float
    hi: float


def spans_of(board: Board) -> list[Span]:
    """Bounds over two or more intervals of a chain of acts to come, the longest chains first."""
    run = board.run
    found = []
    for c in run.prepared.plan.constraints:
        for a, b, lo, hi in ((c.a, c.b, c.lo, c.hi), (c.b, c.a, -c.hi, -c.lo)):
            i, j = run.prepared.index[a], run.prepared.index[b]
            chain = []
            while j in board.parent and j != i:
                chain.append(j)
                j = board.parent[j]
            gone = 0.0
            began, here = run.times[i], run.times[j]
            if j != i:
                if began is None or here is None:
                    continue
                gone = here - began
            if len(chain) > 1:
                found.append(Span(tuple(reversed(chain)), lo - gone, hi - gone))
    return sorted(found, key=lambda s: -len(s.chain))


def interval_windows(
    board: Board, chain: Sequence[int], margins: Mapping[str, float]
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Each interval's own window, and the upper end that is wished for: an “at least” not past its margin.

    Returns: lower ends, upper ends, wished upper ends; each as long as the chain [s].
    """
    tables, plan = board.run.tables, board.run.prepared.plan
    lows, highs, wished = [], [], []
    for j in chain:
        parent = board.parent[j]
        lo, hi = -tables.ahead[j][parent], tables.ahead[parent][j]
        lows.append(lo)
        highs.append(hi)
        open_ended = own_upper(plan, parent, j) == math.inf
        wished.append(min(hi, lo + margin_of(plan, parent, j, lo, margins)) if open_ended else hi)
    return np.array(lows), np.array(highs), np.array(wished)


def share_spans(board: Board, margins: Mapping[str, float]) -> dict[int, float]:
    """Delays for the acts of every span that is felt: even shares of the middle of what the whole can be [s]."""
    targets: dict[int, float] = {}
    for span in spans_of(board):
        lows, highs, wished = interval_windows(board, span.chain, margins)
        if lows.sum() >= span.lo - TOLERANCE and wished.sum() <= span.hi + TOLERANCE:
            continue  # not felt: the intervals keep it by themselves
        most = min(float(wished.sum()), span.hi)
        least = max(float(lows.sum()), span.lo)
        if least > most:  # only waiting past the margins is long enough
            wished, most = highs, min(float(highs.sum()), span.hi)
        total = (least + most) / 2 if most < math.inf else least * (1 + MARGIN_SHARE)
        already = [targets.get(j, math.nan) for j in span.chain]
        if least <= sum(already) <= most:
            continue  # a longer chain has settled it
        shares = fill(lows, wished, total)
        targets.update({j: float(d) for j, d in zip(span.chain, shares, strict=True)})
    return targets


def fill(lows: NDArray[np.float64], highs: NDArray[np.float64], total: float) -> NDArray[np.float64]:
    """Even shares of a total, each clipped into its own window: one level for all (water-filling).

    Args:
        lows, highs: the windows, shape (n,), ``highs`` may be ``inf`` [s].
        total: their sum [s]; outside ``sum(lows)..sum(highs)`` the nearer end is shared.
    Returns: shares, shape (n,) [s].
    Example: ``fill([0, 2], [9, 9], 6)`` is ``[3, 3]``; ``fill([0, 4], [9, 9], 6)`` is ``[2, 4]``.
    """
    lows, highs = np.asarray(lows, dtype=float), np.asarray(highs, dtype=float)
    levels = np.unique(np.concatenate([lows, highs[np.isfinite(highs)], [max(total, float(lows.max()))]]))
    sums = np.clip(levels[:, None], lows, highs).sum(axis=1)
    level = float(np.interp(total, sums, levels))
    return np.minimum(np.maximum(lows, level), highs)
