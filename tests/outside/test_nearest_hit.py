"""The nearest attempt that would have passed, against a linear programme of another shape and its certificate."""

import itertools
import math

import numpy as np
import pytest
from scipy.optimize import linprog

from tickover.timing import Answer, Constraint, Plan, nearest_hit


def random_miss(rng: np.random.Generator) -> tuple[Plan, dict[str, float]]:
    """A plan and an attempt at it, the world's answers inside their windows and the acts anywhere."""
    n = int(rng.integers(3, 9))
    events = ["o"]
    times = {"o": float(rng.uniform(0, 5))}
    bounds, answers = [], []
    for k in range(1, n):
        name, before = f"e{k}", events[int(rng.integers(max(0, k - 3), k))]
        lo = float(rng.uniform(0, 3))
        if k > 1 and rng.random() < 0.25:
            answers.append(Answer(name, before, lo, lo + 2))
            times[name] = times[before] + float(rng.uniform(lo, lo + 2))
        else:
            bounds.append(Constraint(before, name, lo, lo + float(rng.uniform(0.1, 2))))
            times[name] = max(times.values()) + float(rng.uniform(0, 3))
        events.append(name)
    for _ in range(int(rng.integers(1, 4))):
        i, j = sorted(rng.choice(n, 2, replace=False))
        lo = float(rng.uniform(0, 4))
        bounds.append(Constraint(events[i], events[j], lo if rng.random() < 0.7 else -math.inf, lo + rng.uniform(0, 6)))
    return Plan(tuple(events), tuple(bounds), tuple(answers)), times


def least_change(plan: Plan, times: dict[str, float]) -> tuple[float, float] | None:
    """Least total change of the waits, and the proof that none is smaller: primal and dual values.

    Unknowns are the changes themselves, longer and shorter apart; every time is a sum over them. Nothing is shared with
    the tool, which has the times as unknowns.
    """
    order = sorted(plan.events, key=lambda e: times[e])
    after = {w.event: w.after for w in plan.answers}
    acts = [e for e in order[1:] if e not in after]
    row, const = {order[0]: np.zeros(len(acts))}, {order[0]: times[order[0]]}
    for before, e in itertools.pairwise(order):
        base = after.get(e, before)
        step = np.zeros(len(acts))
        if e in acts:
            step[acts.index(e)] = 1.0
        row[e], const[e] = row[base] + step, const[base] + times[e] - times[base]
    left, right = [], []
    for c in plan.constraints:
        d, gap = row[c.b] - row[c.a], const[c.b] - const[c.a]
        for sign, most in ((1.0, c.hi - gap), (-1.0, gap - c.lo)):
            if math.isfinite(most):
                left.append(np.concatenate([sign * d, -sign * d]))
                right.append(most)
    found = linprog(np.ones(2 * len(acts)), A_ub=np.array(left), b_ub=np.array(right), method="highs")
    if found.status != 0:
        return None
    return float(found.fun), float(np.dot(found.ineqlin.marginals, right))


def after_changes(plan: Plan, times: dict[str, float], changes: dict[str, float]) -> dict[str, float]:
    order = sorted(plan.events, key=lambda e: times[e])
    given = {w.event: w.after for w in plan.answers}
    new = {order[0]: times[order[0]]}
    for before, e in itertools.pairwise(order):
        base = given.get(e, before)
        new[e] = new[base] + times[e] - times[base] + changes.get(e, 0.0)
    return new


def check(rng: np.random.Generator, count: int) -> None:
    missed = never = 0
    for _ in range(count):
        plan, times = random_miss(rng)
        ours, reference = nearest_hit(plan, times), least_change(plan, times)
        assert (ours is None) == (reference is None), (plan, times)
        if ours is None or reference is None:
            never += 1
            continue
        new = after_changes(plan, times, ours)
        for c in plan.constraints:
            assert c.lo - 1e-6 <= new[c.b] - new[c.a] <= c.hi + 1e-6, (plan, times, ours)
        least, proof = reference
        assert least == pytest.approx(proof, abs=1e-7)
        assert sum(abs(d) for d in ours.values()) == pytest.approx(least, abs=1e-5)
        missed += least > 1e-6
    assert missed > 0.4 * count
    assert never > 0.02 * count


def test_the_nearest_hit_passes_and_no_smaller_change_does() -> None:
    """Reference library: scipy.optimize.linprog (HiGHS) on the changes themselves, certified by its dual value."""
    check(np.random.default_rng(3), 80)


@pytest.mark.soak
def test_the_nearest_hit_of_thousands_of_misses() -> None:
    """Reference library: as above, 4,000 attempts."""
    check(np.random.default_rng(4), 4_000)
