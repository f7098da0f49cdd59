import itertools
import math

import numpy as np
import pytest
from timing_plans import broken_bounds, pedal_count, random_prepared

from tickover.timing import Answer, Constraint, Plan, nearest_hit


def applied(plan: Plan, times: dict[str, float], changes: dict[str, float]) -> dict[str, float]:
    """The attempt with those waits changed and the answers as far after their events as they were."""
    given = {w.event: w.after for w in plan.answers}
    order = sorted(times, key=lambda e: times[e])
    new = {order[0]: times[order[0]]}
    for before, e in itertools.pairwise(order):
        if e in given:
            new[e] = new[given[e]] + times[e] - times[given[e]]
        else:
            new[e] = new[before] + times[e] - times[before] + changes.get(e, 0.0)
    return new


def test_nothing_to_change_in_a_hit() -> None:
    plan = Plan(("o", "a"), (Constraint("o", "a", 2, 4),))
    assert nearest_hit(plan, {"o": 0.0, "a": 3.0}) == {}


def test_a_plan_without_constraints_asks_for_nothing() -> None:
    assert nearest_hit(Plan(("o", "a")), {"o": 0.0, "a": 3.0}) == {}


def test_one_late_act() -> None:
    plan = Plan(("o", "a", "b"), (Constraint("o", "a", 2, 4), Constraint("a", "b", 1, 2)))
    assert nearest_hit(plan, {"o": 10.0, "a": 15.5, "b": 17.0}) == pytest.approx({"a": -1.5})
    assert nearest_hit(plan, {"o": 10.0, "a": 13.0, "b": 13.4}) == pytest.approx({"b": 0.6})


def test_a_span_that_is_too_long_is_shortened_by_just_that_much() -> None:
    plan, t, times = pedal_count(), 3.0, {"on": 0.0}
    for k in range(1, 6):
        times[f"press {k}"], times[f"let go {k}"] = t, t + 0.7
        t += 1.3
    found = nearest_hit(plan, times)
    assert sum(found.values()) == pytest.approx(5.0 - (4 * 1.3 + 0.7))
    assert all(d < 0 for d in found.values())


def test_answers_are_taken_as_they_came() -> None:
    bounds = (Constraint("lamp", "act", 0, 3), Constraint("o", "act", 0, 12))
    plan = Plan(("o", "lamp", "act"), bounds, (Answer("lamp", "o", 8, 14),))
    assert nearest_hit(plan, {"o": 0.0, "lamp": 10.0, "act": 14.0}) == pytest.approx({"act": -2.0})
    assert nearest_hit(plan, {"o": 0.0, "lamp": 13.0, "act": 14.0}) is None


def test_events_that_were_not_seen_are_left_out() -> None:
    plan = Plan(("o", "a", "b"), (Constraint("o", "a", 2, 4), Constraint("a", "b", 1, 2)))
    assert nearest_hit(plan, {"o": 0.0, "a": 5.0}) == pytest.approx({"a": -1.0})


def test_the_changed_attempt_is_a_hit_and_no_cheaper_random_one_is() -> None:
    rng = np.random.default_rng(13)
    changed = 0
    for _ in range(150):
        source = random_prepared(rng).plan
        plan = Plan(source.events, source.constraints)
        times = {e: float(t) for e, t in zip(plan.events, np.cumsum(rng.uniform(0, 3, len(plan.events))), strict=True)}
        found = nearest_hit(plan, times)
        assert found is not None
        after = applied(plan, times, found)
        assert all(off < 1e-6 for off in broken_bounds(plan, after).values())
        cost = sum(abs(d) for d in found.values())
        changed += cost > 0
        acts = list(plan.events[1:])
        for _ in range(30):
            cheaper = rng.normal(size=len(acts))
            cheaper *= rng.random() * cost / max(np.abs(cheaper).sum(), 1e-12) * 0.999
            trial = dict(zip(acts, cheaper, strict=True))
            assert cost == 0 or broken_bounds(plan, applied(plan, times, trial))
        assert cost >= max(broken_bounds(plan, times).values(), default=0.0) - 1e-6
    assert changed > 100
    assert math.isfinite(cost)
