import itertools
import math

import numpy as np
import pytest
from scipy.stats import multivariate_normal
from timing_plans import pedal_count, random_prepared

from tickover.errors import TimingError
from tickover.timing import (
    Aim,
    Answer,
    Constraint,
    Counter,
    CueFrom,
    Person,
    Plan,
    aims,
    chance_of,
    odds,
    odds_by_sampling,
    odds_for_people,
    span_odds,
)
from tickover.timing.chain import Interval, Span, chain_odds, nested
from tickover.timing.genz import Sum, genz

PERSON = Person(cv=0.12)


def test_without_a_span_the_chance_is_the_product_of_the_windows() -> None:
    plan = Plan(("o", "a", "b"), (Constraint("o", "a", 4, 6), Constraint("a", "b", 2.5, 3.5)))
    found = odds(plan, Person(cv=0.1, motor_sd=0.0), aims(plan))
    assert found.p == pytest.approx(math.erf(2 / math.sqrt(2)) * math.erf(0.5 / 0.3 / math.sqrt(2)), abs=1e-12)
    assert (found.method, found.why, found.se) == ("product", "", 0.0)


def test_a_finer_lattice_changes_nothing_that_matters() -> None:
    intervals = [Interval(0.5, 0.06)] * 9
    windows = [(0.35, 0.9), (0.12, 0.9)] * 4 + [(0.35, 0.9)]
    spans = [Span(0, 8, 0.0, 4.7), Span(0, 3, 1.8, 2.3)]
    assert chain_odds(intervals, windows, spans) == pytest.approx(
        chain_odds(intervals, windows, spans, cells=1 << 18), abs=1e-6
    )


def test_spans_side_by_side_multiply() -> None:
    one = span_odds([1, 1], [0.1, 0.1], [(0.8, 1.2)] * 2, (1.9, 2.1))
    both = chain_odds([Interval(1, 0.1)] * 4, [(0.8, 1.2)] * 4, [Span(0, 1, 1.9, 2.1), Span(2, 3, 1.9, 2.1)])
    assert both == pytest.approx(one**2, abs=1e-6)


def test_an_interval_that_cannot_vary() -> None:
    assert span_odds([1, 1], [0.0, 0.1], [(1, 1), (0, 2)], (-math.inf, 2.0)) == pytest.approx(0.5, abs=1e-3)
    assert Interval(2.0, 0.0).inside(2.0, 3.0) == 1.0
    assert Interval(2.0, 0.0).inside(2.1, 3.0) == 0.0


def test_spans_that_cross_cannot_be_multiplied() -> None:
    crossing = [Span(0, 2, 0, 9), Span(1, 3, 0, 9)]
    assert not nested(crossing)
    with pytest.raises(TimingError, match="cross"):
        chain_odds([Interval(1, 0.1)] * 4, [(0, 2)] * 4, crossing)
    with pytest.raises(TimingError):
        span_odds([1, 2], [0.1], [(0, 1)], (0, 1))


def random_chain(rng: np.random.Generator) -> tuple[Plan, dict[str, Aim]]:
    """A chain with windows and nested or separate spans that matter, and aims inside it."""
    n = int(rng.integers(2, 9))
    events = [f"e{k}" for k in range(n + 1)]
    delays = rng.uniform(0.3, 6.0, n)
    bounds = []
    for k, d in enumerate(delays):
        half = PERSON.spread(d) * rng.uniform(0.8, 3.0, 2)
        bounds.append(Constraint(events[k], events[k + 1], d - half[0], d + half[1], group=f"g{k}"))
    cuts = sorted(rng.choice(n + 1, 2, replace=False))
    for i, j in [(0, n), tuple(cuts)][: int(rng.integers(1, 3))]:
        if j - i > 1:
            sd = math.sqrt(sum(PERSON.spread(d) ** 2 for d in delays[i:j]))
            total = float(delays[i:j].sum())
            bounds.append(
                Constraint(events[i], events[j], total - sd * rng.uniform(0.3, 2), total + sd * rng.uniform(0.3, 2))
            )
    found = {events[k + 1]: Aim(events[k + 1], events[k], float(d), None) for k, d in enumerate(delays)}
    return Plan(tuple(events), tuple(bounds)), found


@pytest.mark.parametrize("lapse", [0.0, 0.05])
def test_product_and_sampling_agree_within_three_standard_errors(lapse: float) -> None:
    rng = np.random.default_rng(31)
    person = Person(cv=0.12, lapse=lapse)
    off = []
    for _ in range(150):
        plan, aimed = random_chain(rng)
        exact = odds(plan, person, aimed)
        assert exact.method == "product", exact.why
        p, _ = odds_by_sampling(plan, person, aimed, rng, 20_000)
        off.append((p - exact.p) / math.sqrt(exact.p * (1 - exact.p) / 20_000))
    assert np.mean(np.abs(off) > 3) < 0.02
    assert abs(np.mean(off)) < 3 / math.sqrt(len(off))
    assert 0.8 < np.std(off) < 1.25


def draw_apart(rng: np.random.Generator, count: int, n: int) -> tuple[list[float], set[str]]:
    """How far the chance lies from drawn attempts in standard errors, on random plans with random cues and lapses."""
    off, methods = [], set()
    while len(off) < count:
        plan = random_prepared(rng, counter=0.3).plan
        aimed = aims(plan)
        person = Person(cv=rng.uniform(0.03, 0.2), event_sd=0.04, lapse=0.05 * (rng.random() < 0.5))
        cued = frozenset(e for e in aimed if rng.random() < 0.3)
        cue_from: CueFrom = "schedule" if rng.random() < 0.6 else "last act"
        found = chance_of(plan, person, aimed, cued, cue_from=cue_from, wanted=3e-4)
        if not 0.01 < found.p < 0.99:
            continue
        methods.add(found.method)
        p, _ = odds_by_sampling(plan, person, aimed, rng, n, cued, cue_from)
        off.append((p - found.p) / math.hypot(math.sqrt(found.p * (1 - found.p) / n), found.se))
    return off, methods


def check_apart(off: list[float]) -> None:
    assert np.mean(np.abs(off) > 3) <= 0.015
    assert max(np.abs(off)) < 5
    assert abs(np.mean(off)) < 3.5 / math.sqrt(len(off))
    assert 0.8 < np.std(off) < 1.2


def test_the_methods_agree_within_their_errors_on_hundreds_of_random_plans() -> None:
    off, methods = draw_apart(np.random.default_rng(37), 200, 10_000)
    assert methods == {"product", "Genz", "sampling"}
    check_apart(off)


@pytest.mark.soak
def test_the_methods_agree_on_thousands_of_random_plans() -> None:
    off, _ = draw_apart(np.random.default_rng(38), 2_000, 40_000)
    check_apart(off)


def test_the_lattice_agrees_with_the_product_where_both_can_be_had() -> None:
    rng = np.random.default_rng(41)
    off = []
    for k in range(60):
        n = int(rng.integers(2, 9))
        lapse = 0.05 * (k % 2)
        intervals = [Interval(m, 0.1 * m, lapse, 5.0, forward=True) for m in rng.uniform(0.3, 4.0, n)]
        windows = [(i.mean - i.sd * rng.uniform(1, 3), i.mean + i.sd * rng.uniform(1, 3)) for i in intervals]
        total, sd = sum(i.mean for i in intervals), math.sqrt(sum(i.sd**2 for i in intervals))
        span = (total - sd * rng.uniform(0.2, 1.5), total + sd * rng.uniform(0.2, 1.5))
        exact = chain_odds(intervals, windows, [Span(0, n - 1, *span)])
        sums = [Sum((i,), (), *w) for i, w in enumerate(windows)] + [Sum(tuple(range(n)), (), *span)]
        p, se = genz(intervals, sums, rng)
        assert se < 2e-3
        off.append((p - exact) / math.hypot(se, 1e-6))
    assert np.mean(np.abs(off) > 3) < 0.1  # eight shifts tell their own scatter only roughly
    assert max(np.abs(off)) < 8


def test_the_lattice_keeps_both_tails() -> None:
    far = [Interval(0.0, 1.0), Interval(0.0, 1.0)]
    for sign in (1.0, -1.0):
        lo, hi = sorted((sign * 6.0, sign * 7.0))
        p, _ = genz(far, [Sum((0,), (), lo, hi), Sum((1,), (), -8.0, 8.0)], np.random.default_rng(0))
        assert p == pytest.approx((math.erfc(6 / math.sqrt(2)) - math.erfc(7 / math.sqrt(2))) / 2, rel=1e-6)


def test_spans_that_cross_are_integrated_and_the_error_is_told() -> None:
    names = ("o", "a", "b", "c")
    bounds = (Constraint("o", "b", 3.8, 4.2, "first"), Constraint("a", "c", 3.8, 4.2, "second"))
    plan = Plan(names, bounds)
    aimed = {e: Aim(e, before, 2.0, None) for before, e in itertools.pairwise(names)}
    found = odds(plan, Person(cv=0.1, motor_sd=0.0), aimed)
    assert found.method == "Genz"
    assert "crosses another span" in found.why
    assert 0 < found.se < 1e-3
    # Two sums with one interval of three in common: correlation one half.
    both = multivariate_normal([0, 0], [[1, 0.5], [0.5, 1]])
    z = 0.2 / (0.2 * math.sqrt(2))
    assert found.p == pytest.approx(both.cdf([z, z], lower_limit=[-z, -z]), abs=5 * found.se)


def test_a_cue_that_may_overtake_the_act_before_it_is_drawn() -> None:
    plan = Plan(("o", "a", "b"), (Constraint("o", "a", 8, 12), Constraint("a", "b", 0, 2)))
    aimed = {"a": Aim("a", "o", 10.0, 10.0), "b": Aim("b", "a", 1.0, 11.0)}
    by_schedule = odds(plan, PERSON, aimed, {"b"})
    assert (by_schedule.method, by_schedule.why) == ("sampling", "“b” may overtake the act before it")
    by_coach = odds(plan, PERSON, aimed, {"b"}, cue_from="last act")
    assert by_coach.method == "product"
    assert by_coach.p > by_schedule.p + 0.05


def test_an_answer_inside_a_span_is_drawn_evenly() -> None:
    plan = Plan(
        ("o", "lamp", "act"),
        (Constraint("lamp", "act", 0, 3), Constraint("o", "act", 0, 15)),
        (Answer("lamp", "o", 8, 14),),
    )
    aimed = {"act": Aim("act", "lamp", 1.5, None)}
    found = odds(plan, Person(cv=0.0, motor_sd=0.001), aimed)
    assert found.method == "product"
    assert found.p == pytest.approx((13.5 - 8) / 6, abs=1e-3)


def test_what_cannot_be_multiplied_says_why() -> None:
    plan = Plan(
        ("o", "a", "b"),
        (Constraint("o", "a", 1, 3), Constraint("o", "b", 1, 3), Constraint("a", "b", -0.2, 0.2, "together")),
    )
    found = odds(plan, PERSON, {"a": Aim("a", "o", 2.0, 2.0), "b": Aim("b", "o", 2.0, 2.0)})
    assert found.method == "Genz"
    assert "together" in found.why
    assert 0 < found.se < 1e-3
    # Two independent acts about 2 s: their difference has √2 times the spread of one.
    alone = math.erf(0.2 / PERSON.spread(2.0) / 2)
    assert found.p == pytest.approx(alone, abs=4 * found.se)


def test_the_same_question_has_one_answer() -> None:
    plan = random_prepared(np.random.default_rng(3)).plan
    assert odds(plan, PERSON, aims(plan)) == odds(plan, PERSON, aims(plan))


def test_the_weak_group_is_named_and_the_gain_of_a_cue_is_told() -> None:
    plan = pedal_count()
    found = odds(plan, Person(event_sd=0.035), aims(plan))
    assert found.weak_group == "down"
    assert found.per_group["down"] == min(found.per_group.values())
    assert found.per_group["down"] == pytest.approx(math.erf(1.0 / Person().spread(7.0) / math.sqrt(2)), abs=1e-6)
    # Cued, the step is about the schedule: what is left is the spread of the presses before it.
    assert found.p_if_cued > found.p + 0.1
    assert found.p_if_cued == max(found.if_cued.values()) == found.if_cued["down"]
    assert found.lo < found.p < found.hi
    by_coach = odds(plan, Person(event_sd=0.035), aims(plan), cue_from="last act")
    assert by_coach.p == found.p
    assert found.p_if_cued < by_coach.p_if_cued < by_coach.p_if_all_cued


def test_the_odds_of_people_are_the_mean_over_them_and_their_middle() -> None:
    plan = pedal_count()
    aimed = aims(plan)
    people = [Person(cv=cv) for cv in np.linspace(0.05, 0.15, 21)]
    found = odds_for_people(plan, people, aimed)
    each = [odds(plan, p, aimed).p for p in people]
    assert found.p == pytest.approx(np.mean(each), abs=1e-4)
    assert (found.lo, found.hi) == pytest.approx(np.quantile(each, [0.05, 0.95]), abs=1e-4)
    assert found.weak_group == "down"
    assert found.per_group["down"] == pytest.approx(
        np.mean([odds(plan, p, aimed).per_group["down"] for p in people]), abs=0.01
    )
    alone = odds_for_people(plan, people[:1], aimed)
    assert alone.lo == alone.p == alone.hi == pytest.approx(each[0], abs=1e-4)
    with pytest.raises(TimingError):
        odds_for_people(plan, [], aimed)


def test_a_wider_person_has_worse_odds_and_the_range_shows_it() -> None:
    plan = pedal_count()
    chances = [odds(plan, Person(cv=cv), aims(plan)) for cv in (0.08, 0.10, 0.125, 0.16)]
    assert [c.p for c in chances] == sorted((c.p for c in chances), reverse=True)
    assert chances[1].lo == pytest.approx(odds(plan, Person(cv=0.125, motor_sd=0.03125), aims(plan)).p)


def test_bounds_that_lie_in_the_past_are_left_out() -> None:
    plan = Plan(("o", "a", "b"), (Constraint("o", "a", 2, 3), Constraint("a", "b", 2, 3), Constraint("o", "b", 0, 7)))
    aimed = {"b": Aim("b", "a", 2.5, None)}
    found = odds(plan, PERSON, aimed, happened={"o": 0.0, "a": 4.9})
    z_lo, z_hi = (2 - 2.5) / PERSON.spread(2.5), (2.1 - 2.5) / PERSON.spread(2.5)
    assert found.p == pytest.approx((math.erf(z_hi / math.sqrt(2)) - math.erf(z_lo / math.sqrt(2))) / 2, abs=1e-9)


def test_a_counter_is_a_window_while_its_condition_holds() -> None:
    plan = Plan(("o", "off"), counters=(Counter("off", "o", "c", 9, 11, "count"),))
    found = odds(plan, Person(cv=0.1, motor_sd=0.0), {"off": Aim("off", "o", 10.0, 10.0)})
    assert found.p == pytest.approx(math.erf(1 / math.sqrt(2)), abs=1e-9)


def test_a_plan_without_bounds_cannot_be_missed() -> None:
    found = odds(Plan(("o", "a")), PERSON, {"a": Aim("a", "o", 1.0, 1.0)})
    assert (found.p, found.weak_group, found.p_if_cued) == (1.0, None, 1.0)
