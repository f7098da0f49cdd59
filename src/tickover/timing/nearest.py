"""The nearest attempt that would have been a hit: what to change, and by how little."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import linprog

from tickover.timing.network import TOLERANCE
from tickover.timing.plan import Plan

Row = tuple[dict[int, float], float]
"""A line of a linear programme: factors by place, and the most that the sum may be."""


def nearest_hit(plan: Plan, times: Mapping[str, float]) -> dict[str, float] | None:
    """The least change of an attempt that keeps every constraint, the world answering as it did.

    A person can change how long he waits before each act, so that is what is counted: the sum of the changes of all
    intervals from one event to the next, as short as it can be.

    Args:
        plan: its constraints are to be kept; those with an end not in ``times`` are left out, and so are counters.
        times: when each event happened; of a bracket, its middle [s].
    Returns: for each act to be changed, by how much its wait since the event before it should have been longer
        (positive) or shorter [s]; empty if nothing need change; None if with these answers no attempt could be a hit.
    Source: own choice; a linear programme, solved by HiGHS.
    Example: with “a” 2 to 4 s after “o”, ``{"o": 0, "a": 5}`` gives ``{"a": -1.0}``.
    """
    order = sorted((e for e in plan.events if e in times), key=lambda e: times[e])
    index = {e: i for i, e in enumerate(order)}
    given = {w.event: w.after for w in plan.answers if w.event in index and w.after in index}
    acts = [e for e in order[1:] if e not in given]
    n = len(order)
    size = {e: n + k for k, e in enumerate(acts)}  # beside the n times, how much each act's wait changes
    rows: list[Row] = []
    for c in plan.constraints:
        if c.a in index and c.b in index:
            a, b = index[c.a], index[c.b]
            rows += [({b: 1.0, a: -1.0}, c.hi), ({b: -1.0, a: 1.0}, -c.lo)] if a != b else []
    for e in acts:
        i = index[e]
        wait = times[e] - times[order[i - 1]]
        rows += [({i: 1.0, i - 1: -1.0, size[e]: -1.0}, wait), ({i: -1.0, i - 1: 1.0, size[e]: -1.0}, -wait)]
    same = [({index[e]: 1.0, index[after]: -1.0}, times[e] - times[after]) for e, after in given.items()]
    same.append(({0: 1.0}, times[order[0]]))
    at_most, most = _matrix([r for r in rows if np.isfinite(r[1])], n + len(acts))
    equal, value = _matrix(same, n + len(acts))
    cost = np.concatenate([np.zeros(n), np.ones(len(acts))])
    ends: list[tuple[float | None, float | None]] = [(None, None)] * n + [(0.0, None)] * len(acts)
    found = linprog(cost, A_ub=at_most, b_ub=most, A_eq=equal, b_eq=value, bounds=ends, method="highs")
    if found.status != 0 or found.x is None:
        return None
    changes = {
        e: float(found.x[i] - found.x[i - 1] - times[e] + times[order[i - 1]]) for e, i in index.items() if e in size
    }
    return {e: d for e, d in changes.items() if abs(d) > 1e3 * TOLERANCE}


def _matrix(rows: list[Row], columns: int) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    matrix = np.zeros((len(rows), columns))
    for r, (factors, _) in enumerate(rows):
        for k, factor in factors.items():
            matrix[r, k] = factor
    return matrix, np.array([most for _, most in rows])
