"""Speed of the temporal mathematics: a minimal network against csgraph, one step, aims and odds of a long chain."""

from __future__ import annotations

import math

import numpy as np
from bench.common import Row, median_time
from scipy.sparse.csgraph import floyd_warshall

from tickover.timing import Answer, Constraint, Network, Person, Plan, begin, best_aims, happen, odds, prepare
from tickover.timing.network import close

NETWORK_LIMIT = 1.5
"""Times csgraph's time for 50 events; the design's budget."""
STEP_LIMIT = 20.0
"""Microseconds for one event of a 20-event plan; the design's budget."""
AIMS_LIMIT = 100.0
"""Milliseconds for aims and odds of a 25-event chain; the design's budget."""


def rows() -> list[Row]:
    """The three budgets."""
    ours, peer = _network()
    step, aimed = _step(), _aims()
    return [
        Row(
            "minimal network, 50 events",
            ours * 1e6,
            peer * 1e6,
            "scipy csgraph",
            NETWORK_LIMIT * peer * 1e6,
            "µs",
            ours <= NETWORK_LIMIT * peer,
        ),
        Row("step on one event, 20-event plan", step * 1e6, None, "", STEP_LIMIT, "µs", step * 1e6 <= STEP_LIMIT),
        Row("aims and odds, 25-event chain", aimed * 1e3, None, "", AIMS_LIMIT, "ms", aimed * 1e3 <= AIMS_LIMIT),
    ]


def _network(events: int = 50) -> tuple[float, float]:
    """Our time and csgraph's from the same dense matrix, taken in turn.

    csgraph is given it masked, the quickest way to keep its arcs of length zero; a plain dense one would lose them.
    """
    rng = np.random.default_rng(1)
    run = rng.integers(0, 400, events) / 4  # quarters, so that sums are exact and no cycle is negative by rounding
    bounds = []
    for _ in range(3 * events):
        i, j = rng.choice(events, 2, replace=False)
        d = float(run[j] - run[i])
        bounds.append(Constraint(f"e{i}", f"e{j}", d - float(rng.integers(0, 4)), d + float(rng.integers(0, 4))))
    network = Network([f"e{k}" for k in range(events)], bounds)
    lengths = network.lengths

    def csgraph() -> object:
        return floyd_warshall(np.ma.masked_invalid(lengths))

    if not np.array_equal(close(lengths), csgraph()):
        raise AssertionError("ours and csgraph's minimal networks differ; their times mean nothing")
    pairs = [(median_time(lambda: close(lengths)), median_time(csgraph)) for _ in range(7)]
    return min(p[0] for p in pairs), min(p[1] for p in pairs)


def chain(events: int) -> Plan:
    """Presses and releases in spans of ten, a hold, two answers and what follows them."""
    names, bounds, before = ["e0"], [], "e0"
    for k in range(1, events - 4):
        name, lo = f"e{k}", 0.25 if k % 2 else 0.12
        bounds.append(Constraint(before, name, lo, 0.9, f"step {k}", f"presses {(k - 1) // 10}"))
        if k % 10 == 0:
            bounds.append(Constraint(f"e{k - 9}", name, -math.inf, 5.0, f"span {k}", f"presses {(k - 1) // 10}"))
        names.append(name)
        before = name
    bounds += [
        Constraint(before, "down", 6.0, 8.0, "down", "down"),
        Constraint("stays", "up", 0.0, 3.0, "up", "up"),
        Constraint("up", "start", 0.3, 3.0, "start", "start"),
    ]
    answers = (Answer("flashes", "down", 8.0, 14.0), Answer("stays", "down", 16.0, 25.0))
    return Plan((*names, "down", "flashes", "stays", "up", "start"), tuple(bounds), answers)


def _step() -> float:
    run = begin(prepare(chain(20)))
    return median_time(lambda: happen(run, "e1", 0.5))


def _aims() -> float:
    """Everything: closing the plan, the best aims of a person, the odds with range, weak step and gain."""
    plan, person = chain(25), Person()
    return median_time(lambda: odds(plan, person, best_aims(plan, person)))
