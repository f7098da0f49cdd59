"""Explanations of missed attempts against linear programmes (HiGHS) written down from the observations alone."""

import itertools

import numpy as np
import pytest
from scipy.optimize import linprog

from tickover.timing import Constraint, Observation, Plan, judge
from tickover.timing.explain import Record, explain_miss, irreducible

EVENTS = [f"e{k}" for k in range(6)]


def random_attempt(rng: np.random.Generator) -> Record:
    """A plan of neighbours and spans round a true run, and brackets of that run on two clocks; on a grid of 0.01 s."""
    truth = np.round(np.cumsum(rng.uniform(0.2, 2, len(EVENTS))), 2)
    bounds = []
    pairs = [(k - 1, k) for k in range(1, len(EVENTS))]
    pairs += [tuple(sorted(rng.choice(len(EVENTS), 2, replace=False))) for _ in range(3)]
    for i, j in pairs:
        d = truth[j] - truth[i]
        lo = np.round(d - rng.uniform(-0.06, 0.5), 2)
        bounds.append(Constraint(EVENTS[i], EVENTS[j], lo, max(lo, np.round(d + rng.uniform(-0.06, 0.5), 2))))
    ahead = 0.3
    clocks = {"main": (0.0, 0.0), "other": (0.2, 0.4)}
    seen, width = [], rng.choice([0.05, 0.15, 0.3])
    for e, t in zip(EVENTS, truth, strict=True):
        clock = "main" if rng.random() < 0.7 else "other"
        lo, hi = np.round(t - (ahead if clock == "other" else 0.0) + np.array([-1, 1]) * rng.uniform(0, width, 2), 2)
        seen.append(Observation(e, lo, hi, clock))
    return Record(Plan(tuple(EVENTS), tuple(bounds)), tuple(seen), clocks)


def feasible(record: Record, bounds: list[Constraint]) -> bool:
    """Whether times and an offset of the other clock exist that fit what was seen and keep the bounds."""
    n, rows, most = len(EVENTS), [], []

    def at_most(plus: list[int], minus: list[int], value: float) -> None:
        row = np.zeros(n + 1)
        row[plus] += 1
        row[minus] -= 1
        rows.append(row)
        most.append(value)

    for o in record.observations:
        k, offset = EVENTS.index(o.event), [n] if o.clock == "other" else []
        at_most([k], offset, o.t_hi)
        at_most(offset, [k], -o.t_lo)
    at_most([n], [], 0.4)
    at_most([], [n], -0.2)
    for clock in ("main", "other"):
        order = [EVENTS.index(o.event) for o in record.observations if o.clock == clock]
        for before, after in itertools.pairwise(order):
            at_most([before], [after], 0.0)
    for c in bounds:
        i, j = EVENTS.index(c.a), EVENTS.index(c.b)
        at_most([j], [i], c.hi)
        at_most([i], [j], -c.lo)
    found = linprog(np.zeros(n + 1), A_ub=np.array(rows), b_ub=most, bounds=(None, None), method="highs")
    assert found.status in (0, 2), found.message
    return found.status == 0


def panel(seed: int, misses: int) -> None:
    rng = np.random.default_rng(seed)
    sizes: dict[int, int] = {}
    while sum(sizes.values()) < misses:
        record = random_attempt(rng)
        found = judge(record.plan, record.observations, record.clocks)
        if found.verdict != "missed":
            continue
        broken = list(irreducible(record, found))
        assert not feasible(record, broken)
        for k in range(len(broken)):
            assert feasible(record, broken[:k] + broken[k + 1 :])
        sizes[len(broken)] = sizes.get(len(broken), 0) + 1
        if all(b.verdict != "missed" for b in found.bounds):
            assert len(broken) > 1
            assert feasible(record, broken[1:])
    assert sum(n for size, n in sizes.items() if size > 1) > misses / 50, sizes


def test_the_bounds_named_are_irreducible() -> None:
    """Reference library: HiGHS by scipy.optimize.linprog, 120 random misses.

    What was seen and the bounds named have no solution; without any one of the bounds they have one.
    """
    panel(11, 120)


@pytest.mark.soak
def test_the_bounds_named_are_irreducible_in_thousands() -> None:
    """Reference library: HiGHS by scipy.optimize.linprog, 5,000 random misses."""
    panel(12, 5000)


def test_the_nearest_attempt_told_passes() -> None:
    """Reference library: HiGHS, 100 random misses.

    There is a nearest attempt if and only if the bounds have a solution, and it keeps every bound.
    """
    rng = np.random.default_rng(13)
    tried = 0
    while tried < 100:
        record = random_attempt(rng)
        if record.judged().verdict != "missed":
            continue
        miss = explain_miss(record)
        clocks = record.clocks
        middle = {o.event: (o.t_lo + o.t_hi + sum(clocks[o.clock])) / 2 for o in record.observations}
        order = sorted(EVENTS, key=lambda e: middle[e])
        assert miss.possible == feasible(Record(record.plan, ()), list(record.plan.constraints))
        if not miss.possible:
            continue
        by = {c.act: c.by for c in miss.changes}
        then = {order[0]: middle[order[0]]}
        for before, e in itertools.pairwise(order):
            then[e] = then[before] + middle[e] - middle[before] + by.get(e, 0.0)
        assert all(c.lo - 1e-6 <= then[c.b] - then[c.a] <= c.hi + 1e-6 for c in record.plan.constraints)
        assert by
        tried += 1
