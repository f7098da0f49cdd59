"""Aims that suit one person: the delays with the best odds."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize
from scipy.special import log_ndtr

from tickover.timing.aim import Aim, as_aims, at_start, interval_windows, share_spans
from tickover.timing.board import lay_out
from tickover.timing.network import Bound
from tickover.timing.odds import tree_of
from tickover.timing.person import LAPSE_WIDENS, Person
from tickover.timing.plan import Plan
from tickover.timing.prepared import Prepared
from tickover.timing.run import Run

Floats = NDArray[np.float64]

LOG_ROOT = math.log(math.sqrt(2 * math.pi))
NARROW = 1e-6
"""Added to both ends of a bound, so that one without width has a chance at all [s]."""


def best_aims(
    plan: Plan | Prepared,
    person: Person,
    run: Run | None = None,
    margins: Mapping[str, float] | None = None,
) -> dict[str, Aim]:
    """When to do each act that is still to come, for the best odds of one person.

    Even shares are the start. From there the delays climb the product of the chances of all bounds, sums of intervals
    taken as normal, by truncated Newton steps. An “at least” stays at or below its margin, because waiting longer is
    always surer.

    Args:
        plan, run, margins: as for ``aims``.
        person: who performs it; a person who is always late is told to act earlier.
    Returns: as ``aims``, and inside the same windows.
    Raises: as ``aims``.
    Source: own choice. Taking sums as normal only steers the aims; the odds are then computed without it.
    """
    run, margins = run or at_start(plan), margins or {}
    board = lay_out(run, margins, {})
    board = lay_out(run, margins, share_spans(board, margins), board.parent)
    start = as_aims(board)
    chain = list(board.parent)
    lows, highs, wished = interval_windows(board, chain, margins)
    lows = np.maximum(lows, 0.0)
    names = [run.prepared.plan.events[j] for j in chain]
    hill = _hill(run, start, person, names)
    if hill is None:
        return start
    # A window that no longer can be met (after a miss) leaves its delay where it is.
    ends = [(lo, max(lo, hi)) for lo, hi in zip(lows, np.minimum(highs, wished), strict=True)]
    first = np.clip([start[e].delay for e in names], [e[0] for e in ends], [e[1] for e in ends])
    found = minimize(hill.fall, first, jac=True, method="TNC", bounds=ends).x
    return as_aims(lay_out(run, margins, dict(zip(chain, found, strict=True)), board.parent))


@dataclass(frozen=True, slots=True)
class _Hill:
    """The bounds as sums over the delays: one row a bound, one column an act.

    Attributes:
        signs: +1 or −1 where the interval belongs to the bound, bounds × acts.
        lo, hi: range of each sum, what does not depend on the delays taken off [s].
        other: variance of what does not depend on the delays [s²].
        person: whose spread it is.
    """

    signs: Floats
    lo: Floats
    hi: Floats
    other: Floats
    person: Person

    def fall(self, delays: Floats) -> tuple[float, Floats]:
        """−Σ ln P over the bounds, and its slope along each delay."""
        person = self.person
        squared = self.signs**2
        mean = self.signs @ ((1 + person.scale) * delays + person.bias)
        wide = 1 + person.lapse * (LAPSE_WIDENS**2 - 1)
        sd = np.sqrt(squared @ (wide * ((person.cv * delays) ** 2 + person.motor_sd**2)) + self.other) + 1e-6
        below, above = (self.lo - mean) / sd, (self.hi - mean) / sd
        chance = _log_between(below, above)
        # Density at each end over the chance between them, in logarithms because both may be tiny.
        at_lo, at_hi = (np.exp(np.minimum(-(z**2) / 2 - LOG_ROOT - chance, 600.0)) for z in (below, above))
        by_mean = (at_lo - at_hi) / sd
        by_sd = (_times(below, at_lo) - _times(above, at_hi)) / sd
        slope = (by_mean @ self.signs) * (1 + person.scale)
        slope += (by_sd / sd) @ squared * (wide * person.cv**2) * delays
        return -float(chance.sum()), -slope


def _times(z: Floats, density: Floats) -> Floats:
    """Product of z and density, 0 where z is infinite."""
    product: Floats = np.where(np.isfinite(z), z, 0.0) * density
    return product


def _log_between(below: Floats, above: Floats) -> Floats:
    """ln(Φ(above) − Φ(below)), right in both tails."""
    flip = below > 0
    a, b = np.where(flip, -above, below), np.where(flip, -below, above)
    upper = log_ndtr(b)
    between: Floats = upper + np.log1p(-np.exp(np.minimum(log_ndtr(a) - upper, -1e-15)))
    return between


def _hill(run: Run, start: Mapping[str, Aim], person: Person, names: Sequence[str]) -> _Hill | None:
    """The bounds that the delays can still do something about; None if there are none."""
    plan = run.prepared.plan
    column = {e: k for k, e in enumerate(names)}
    tree = tree_of(plan, start, person, happened=run.happened)
    rows, lows, highs, others = [], [], [], []
    bounds: list[Bound] = [*plan.constraints, *plan.counters]
    for bound in bounds:
        path = tree.path(bound)
        row = np.zeros(len(names))
        gone, variance = 0.0, 0.0
        for sign, members in ((1.0, path.plus), (-1.0, path.minus)):
            for e in members:
                if e in column:
                    row[column[e]] = sign
                else:
                    mean, sd = tree.interval[e].moments
                    gone, variance = gone + sign * mean, variance + sd**2
        if row.any():
            rows.append(row)
            lows.append(path.lo - gone - NARROW)
            highs.append(path.hi - gone + NARROW)
            others.append(variance)
    if not rows:
        return None
    return _Hill(np.array(rows), np.array(lows), np.array(highs), np.array(others), person)
