"""Why an attempt was missed, and which observation would have settled it."""

from dataclasses import replace

import numpy as np
import pytest

from tickover.errors import TimingError
from tickover.timing import Answer, Constraint, Counter, Observation, Person, Plan
from tickover.timing.explain import Record, explain_miss, irreducible, would_decide

CHAIN = Plan(("o", "a", "b"), (Constraint("o", "a", 2, 4, "wait"), Constraint("a", "b", 1, 2, "hold")))


def seen(*rows: tuple[str, float, float], plan: Plan = CHAIN, **more) -> Record:
    return Record(plan, tuple(Observation(e, lo, hi) for e, lo, hi in rows), **more)


def test_one_bound_missed_is_the_whole_explanation() -> None:
    record = seen(("o", 0, 0), ("a", 4.5, 4.6), ("b", 6, 6))
    assert [b.label for b in irreducible(record)] == ["wait"]
    change = explain_miss(record).changes[0]
    assert (change.act, change.after, change.by, change.was) == ("a", "o", pytest.approx(-0.55), pytest.approx(4.55))


def test_a_joint_miss_names_just_the_bounds_it_takes() -> None:
    """The edge at a may keep either bound, not both; a bound beside it has nothing to do with it."""
    plan = Plan((*CHAIN.events, "c"), (*CHAIN.constraints, Constraint("b", "c", 0, 9, "rest")))
    record = seen(("o", 0, 0), ("a", 3.8, 4.4), ("b", 6.1, 6.1), ("c", 7, 7), plan=plan)
    assert [b.label for b in irreducible(record)] == ["wait", "hold"]


def test_a_cue_is_advised_where_the_person_is_not_sure_of_the_bound() -> None:
    record = seen(("o", 0, 0), ("a", 4.5, 4.5), ("b", 6, 6))
    assert not explain_miss(record, Person(cv=0.05)).changes[0].uncertain
    assert explain_miss(record, Person(cv=0.3)).changes[0].uncertain


def test_answers_and_counted_time_ask_nothing_of_the_acts() -> None:
    plan = Plan(("o", "lamp", "act"), (Constraint("lamp", "act", 0, 3),), (Answer("lamp", "o", 8, 14),))
    miss = explain_miss(seen(("o", 0, 0), ("lamp", 6, 6), ("act", 7, 7), plan=plan))
    assert (miss.broken, miss.changes, miss.possible) == (plan.answers, (), True)
    counter = Counter("end", "o", "fan off", 10, 20)
    plan = Plan(("o", "end"), (Constraint("o", "end", 0, 99),), (), (counter,))
    miss = explain_miss(seen(("o", 0, 0), ("end", 30, 30), plan=plan, counted={"end": (5.0, 6.0)}))
    assert miss.broken == (counter,)


def test_where_the_car_answered_so_that_nothing_could_pass_that_is_said() -> None:
    bounds = (Constraint("lamp", "act", 0, 3), Constraint("o", "act", 0, 12))
    plan = Plan(("o", "lamp", "act"), bounds, (Answer("lamp", "o", 8, 14),))
    assert not explain_miss(seen(("o", 0, 0), ("lamp", 13, 13), ("act", 14, 14), plan=plan)).possible


def test_only_misses_are_explained_and_only_doubts_settled() -> None:
    hit = seen(("o", 0, 0), ("a", 3, 3), ("b", 4.5, 4.5))
    with pytest.raises(TimingError, match="missed"):
        irreducible(hit)
    with pytest.raises(TimingError, match="undecided"):
        would_decide(hit)


def test_the_one_event_whose_bracket_cuts_a_bound_is_to_be_looked_at() -> None:
    found = would_decide(seen(("o", 0, 0), ("a", 3.9, 4.1), ("b", 5.5, 5.55)))
    assert found is not None
    assert found.events == ("a",)
    assert found.within <= 0.05
    assert found.share >= 0.75


def test_what_was_not_seen_or_not_recorded_comes_first() -> None:
    found = would_decide(seen(("o", 0, 0), ("a", 3, 3)))
    assert found is not None
    assert (found.events, found.unseen) == (("b",), True)
    plan = Plan(("o", "end"), (), (), (Counter("end", "o", "fan off", 10, 20),))
    found = would_decide(seen(("o", 0, 0), ("end", 30, 30), plan=plan))
    assert found is not None
    assert found.conditions == ("fan off",)


def test_observations_that_contradict_one_another_cannot_be_settled_so() -> None:
    assert would_decide(seen(("o", 0, 0), ("b", 5, 5), ("a", 3, 3))) is None


def test_seeing_what_was_asked_for_settles_as_often_as_said() -> None:
    """Fifty random doubts; the true instants are then seen as finely as asked."""
    rng = np.random.default_rng(3)
    told, settled, asked = [], [], 0
    while asked < 50:
        plan = Plan(
            ("o", "a", "b", "c"),
            tuple(
                Constraint(x, y, lo, lo + float(rng.uniform(0.3, 2)))
                for x, y, lo in (("o", "a", 2.0), ("a", "b", 0.2), ("b", "c", 1.0), ("a", "c", 1.5))
            ),
        )
        truth = dict(zip(plan.events, np.cumsum(np.array([0, 2.0, 0.2, 1.0]) + rng.uniform(0, 0.9, 4)), strict=True))
        width = 0.15
        low = {e: t - rng.uniform(0, width) for e, t in truth.items()}
        record = seen(*((e, low[e], low[e] + width) for e in plan.events), plan=plan)
        if record.judged().verdict != "undecided":
            continue
        asked += 1
        found = would_decide(record)
        if found is None:
            continue
        finer = tuple(
            replace(o, t_lo=max(o.t_lo, truth[o.event] - found.within), t_hi=min(o.t_hi, truth[o.event] + found.within))
            if o.event in found.events
            else o
            for o in record.observations
        )
        told.append(found.share)
        settled.append(replace(record, observations=finer).judged().verdict != "undecided")
    assert len(told) >= 35
    assert np.mean(settled) == pytest.approx(np.mean(told), abs=0.15)
