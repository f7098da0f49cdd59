"""What every benchmark shares: one row of the table, and how a time is taken."""

from __future__ import annotations

import math
import statistics
import time
from collections.abc import Callable
from dataclasses import dataclass


@dataclass(frozen=True)
class Row:
    """One line of the benchmark table.

    Attributes:
        what: what was measured
        ours: our figure, in ``unit``
        peer: the peer's figure, where there is one
        peer_name: who the peer is; empty where there is none
        limit: the budget, in ``unit``
        unit: of all three
        ok: whether the budget is kept
    """

    what: str
    ours: float
    peer: float | None
    peer_name: str
    limit: float
    unit: str
    ok: bool


SHORTEST = 0.005
"""A timed run lasts at least so long [s]; shorter work is repeated inside it."""


def median_time(work: Callable[[], object], repeats: int = 5, number: int | None = None) -> float:
    """Median wall time of a piece of work, after one run to warm up.

    Args:
        work: what to time
        repeats: how many timed runs
        number: how often the work is done in one timed run; chosen from the first run if not given
    Returns: seconds for the work done once
    """
    begun = time.perf_counter()
    work()
    first = time.perf_counter() - begun
    number = number or max(1, math.ceil(SHORTEST / max(first, 1e-7)))
    times = []
    for _ in range(repeats):
        begun = time.perf_counter()
        for _ in range(number):
            work()
        times.append((time.perf_counter() - begun) / number)
    return statistics.median(times)
