import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import check_grad, minimize
from timing_plans import broken_bounds, pedal_count, random_prepared

from tickover.timing import (
    Answer,
    Constraint,
    Counter,
    CueFrom,
    Person,
    Plan,
    aims,
    begin,
    best_aims,
    chance_of,
    condition,
    fill,
    happen,
    next_acts,
    next_answers,
    odds,
    prepare,
    windows,
)
from tickover.timing.aim import at_start
from tickover.timing.best import _hill


def chain(*bounds: tuple[float, float], span: tuple[float, float] = (-math.inf, math.inf)) -> Plan:
    events = [f"e{k}" for k in range(len(bounds) + 1)]
    steps = [Constraint(events[k], events[k + 1], *b, group=f"g{k}") for k, b in enumerate(bounds)]
    return Plan(tuple(events), (*steps, Constraint(events[0], events[-1], *span, "span")))


def delays(plan: Plan, **more) -> list[float]:
    return [a.delay for a in aims(plan, **more).values()]


def test_a_window_by_itself_is_aimed_at_its_middle() -> None:
    assert delays(chain((2, 4), (6, 8))) == [3.0, 7.0]


def test_an_at_least_is_aimed_its_margin_later() -> None:
    assert delays(chain((10, math.inf), (1, math.inf))) == pytest.approx([11.0, 1.3])
    assert delays(chain((10, math.inf), (1, math.inf)), margins={"g0": 0.5}) == pytest.approx([10.5, 1.3])


def test_an_at_most_is_aimed_at_its_middle() -> None:
    assert delays(chain((-math.inf, 3))) == [1.5]


def test_a_span_is_aimed_at_the_middle_of_what_it_can_be_in_even_shares() -> None:
    # Each could be 1..9, but the whole is 6..12: nine is its middle.
    assert delays(chain((1, 9), (1, 9), (1, 9), span=(6, 12))) == pytest.approx([3.0, 3.0, 3.0])


def test_even_shares_are_clipped_into_each_window() -> None:
    assert delays(chain((1, 2), (5, 9), (1, 9), span=(6, 12))) == pytest.approx([2.0, 5.0, 2.5])


def test_a_span_that_is_not_felt_changes_nothing() -> None:
    assert delays(chain((2, 4), (6, 8), span=(8, 12))) == [3.0, 7.0]


def test_an_at_least_inside_a_span_is_not_stretched_past_its_margin() -> None:
    assert delays(chain((2, math.inf), (2, math.inf), span=(0, 60))) == pytest.approx([2.3, 2.3])
    assert sum(delays(chain((2, math.inf), (2, math.inf), span=(10, 20)))) == pytest.approx(15.0)


def test_the_presses_of_the_design_page_share_their_span() -> None:
    found = aims(pedal_count())
    shares = [a.delay for e, a in found.items() if e.startswith(("press", "let go"))][1:]
    least, most = 5 * 0.25 + 4 * 0.12, 5.0
    assert shares == pytest.approx([(least + most) / 2 / 9] * 9)
    assert found["down"].delay == 7.0
    assert found["down"].at == pytest.approx(3.0 + sum(shares) + 7.0)


def test_an_act_after_an_answer_is_timed_from_the_answer() -> None:
    found = aims(pedal_count())
    assert (found["up"].after, found["up"].delay, found["up"].at) == ("stays", 1.5, None)
    assert (found["start"].after, found["start"].at) == ("up", None)


def test_a_delay_after_an_answer_suits_its_whole_window() -> None:
    plan = Plan(
        ("o", "lamp", "act"),
        (Constraint("lamp", "act", 0, 3), Constraint("o", "act", 0, 15)),
        (Answer("lamp", "o", 8, 14),),
    )
    assert aims(plan)["act"].delay == pytest.approx(0.5)
    assert aims(plan, happen(begin(plan), "lamp", 9.0))["act"].at == pytest.approx(10.5)


def test_an_act_with_a_window_of_its_own_is_not_timed_from_an_answer_it_only_follows() -> None:
    plan = Plan(
        ("o", "lamp", "act"),
        (Constraint("o", "act", 19, 21), Constraint("lamp", "act", 0, math.inf)),
        (Answer("lamp", "o", 8, 14),),
    )
    found = aims(plan)["act"]
    assert (found.after, found.at) == ("o", 20.0)


def test_aims_are_made_again_from_what_has_happened() -> None:
    plan = chain((1, 9), (1, 9), (1, 9), span=(6, 12))
    found = aims(plan, happen(begin(plan), "e1", 7.0))
    assert [a.delay for a in found.values()] == pytest.approx([1.75, 1.75])  # 2..5 are left, 3.5 is the middle
    assert found["e2"].at == pytest.approx(8.75)


def test_a_count_is_aimed_as_if_it_runs_on() -> None:
    plan = Plan(("o", "off"), counters=(Counter("off", "o", "c", 300, 330),))
    assert aims(plan, begin(plan, holding=["c"]))["off"].at == 315.0
    run = condition(begin(plan, holding=["c"]), "c", holds=False, t=100.0)
    run = condition(run, "c", holds=True, t=160.0)
    assert aims(plan, run)["off"].at == 375.0


def test_a_count_that_stands_cannot_be_aimed_at() -> None:
    plan = Plan(
        ("o", "off", "look"), (Constraint("off", "look", 2, 4),), counters=(Counter("off", "o", "c", 300, 330),)
    )
    found = aims(plan, condition(begin(plan, holding=["c"]), "c", holds=False, t=100.0))
    assert "off" not in found
    assert (found["look"].after, found["look"].delay, found["look"].at) == ("off", 3.0, None)


@pytest.mark.parametrize("counter", [0.0, 1.0])
@pytest.mark.parametrize("best", [False, True])
def test_aims_lie_inside_the_windows_and_keep_every_bound_together(counter: float, best: bool) -> None:
    rng = np.random.default_rng(17)
    for _ in range(60 if best else 150):
        prepared = random_prepared(rng, counter=counter)
        plan = prepared.plan
        run = begin(prepared, holding=[k.condition for k in plan.counters])
        took = {w.event: (w.after, float(rng.uniform(w.lo, w.hi))) for w in plan.answers}
        while not run.done:
            aimed = best_aims(prepared, Person(bias=0.1), run) if best else aims(prepared, run)
            offered = windows(run)
            ready = [(aimed[e].at, 1, e) for e in next_acts(run)]
            assert all(at is not None for at, _, _ in ready)
            ready += [(run.happened[took[e][0]] + took[e][1], 0, e) for e in next_answers(run)]
            t, act, event = min(ready)
            if act:
                assert offered[event][0] - 1e-9 <= t <= offered[event][1] + 1e-9, (plan, run.happened, event)
            run = happen(run, event, max(t, run.now))
        assert not run.misses
        assert not broken_bounds(plan, run.happened)


def test_without_answers_the_aims_themselves_are_a_run_that_keeps_every_bound() -> None:
    rng = np.random.default_rng(23)
    checked = 0
    while checked < 150:
        prepared = random_prepared(rng)
        plan = Plan(prepared.plan.events, prepared.plan.constraints)
        found = aims(prepare(plan))
        assert not broken_bounds(plan, {plan.origin: 0.0, **{e: a.at for e, a in found.items()}})
        for a in found.values():
            assert a.at == pytest.approx((found[a.after].at if a.after in found else 0.0) + a.delay)
        checked += 1


@given(
    st.lists(st.tuples(st.floats(0, 5), st.floats(0, 5)), min_size=1, max_size=8),
    st.floats(0, 1),
)
def test_filling_shares_out_the_whole_total_at_one_level(windows_: list[tuple[float, float]], share: float) -> None:
    lows = np.array([lo for lo, _ in windows_])
    highs = lows + np.array([w for _, w in windows_])
    total = float(lows.sum() + share * (highs.sum() - lows.sum()))
    shares = fill(lows, highs, total)
    assert shares.sum() == pytest.approx(total)
    assert (shares >= lows - 1e-12).all()
    assert (shares <= highs + 1e-12).all()
    at_low, at_high = shares <= lows + 1e-9, shares >= highs - 1e-9
    for level in shares[~at_low & ~at_high]:
        assert (shares[at_low & ~at_high] >= level - 1e-9).all()
        assert (shares[at_high & ~at_low] <= level + 1e-9).all()
        assert shares[~at_low & ~at_high] == pytest.approx(level)


def test_the_best_aims_of_the_design_page_beat_even_shares_and_these_beat_midpoints() -> None:
    plan, person = pedal_count(), Person(cv=0.15)
    even, best = aims(plan), best_aims(plan, person)
    middle = dict(even)
    for e, a in even.items():
        if e.startswith(("press", "let go")) and e != "press 1":
            middle[e] = type(a)(e, a.after, 0.575 if e.startswith("let") else 0.51, None)
    chances = [odds(plan, person, a).per_group["presses"] for a in (middle, even, best)]
    assert chances[0] < 0.65
    assert chances[1] > chances[0] + 0.2
    assert chances[2] > chances[1] + 0.02


def test_somebody_who_is_always_late_is_told_to_act_earlier() -> None:
    plan = chain((4, 6))
    assert best_aims(plan, Person(bias=0.5))["e1"].delay == pytest.approx(4.5, abs=0.15)
    assert best_aims(plan, Person(scale=0.2))["e1"].delay == pytest.approx(5 / 1.2, abs=0.15)


def test_no_small_change_of_the_best_aims_is_better() -> None:
    plan, person = chain((0.35, 0.9), (0.12, 0.9), (0.35, 0.9), span=(0, 1.6)), Person(cv=0.15, motor_sd=0.03)
    best = best_aims(plan, person)
    top = odds(plan, person, best).p
    for e, a in best.items():
        for step in (-0.03, 0.03):
            moved = {**best, e: type(a)(e, a.after, a.delay + step, None)}
            assert odds(plan, person, moved).p < top + 2e-3


def hill_of(plan: Plan, person: Person, cued: frozenset[str], cue_from: CueFrom):
    run, start = at_start(plan), aims(plan)
    return _hill(run, start, person, list(start), cued, cue_from), np.array([a.delay for a in start.values()])


@pytest.mark.parametrize("cue_from", ["schedule", "last act"])
@pytest.mark.parametrize("cued", [frozenset(), frozenset({"down", "press 3"})])
def test_the_slope_that_the_aims_climb_is_the_slope_of_the_hill(cued: frozenset[str], cue_from: CueFrom) -> None:
    person = Person(bias=0.03, scale=0.02, cv=0.1, count_sd=0.05, lapse=0.03)
    hill, delays = hill_of(pedal_count(), person, cued, cue_from)
    at = delays * 1.03
    assert check_grad(lambda x: hill.fall(x)[0], lambda x: hill.fall(x)[1], at) < 1e-4


def test_best_aims_are_nowhere_worse_than_even_shares_and_no_other_climber_does_better() -> None:
    rng = np.random.default_rng(29)
    better = 0
    for _ in range(60):
        source = random_prepared(rng).plan
        plan, person = Plan(source.events, source.constraints), Person(cv=rng.uniform(0.05, 0.15))
        hill, start = hill_of(plan, person, frozenset(), "schedule")
        if hill is None:
            continue
        even, best = aims(plan), best_aims(plan, person)
        chances = [chance_of(plan, person, a).p for a in (even, best)]
        assert chances[1] >= chances[0] - 1e-9, plan
        better += chances[1] > chances[0] + 1e-3
        # Between even shares and its answer, which it may choose from, L-BFGS finds nothing better.
        found = np.array([a.delay for a in best.values()])
        ends = [(min(a, b) - 1e-9, max(a, b) + 1e-9) for a, b in zip(start, found, strict=True)]
        other = minimize(hill.fall, start, jac=True, method="L-BFGS-B", bounds=ends)
        assert best == even or hill.fall(found)[0] <= other.fun + 0.02, plan
    assert better > 15


def test_a_cued_act_is_aimed_where_its_bounds_leave_the_most_room() -> None:
    plan, person = pedal_count(), Person()
    cued = frozenset(aims(plan))
    even, best = aims(plan), best_aims(plan, person, cued=cued, cue_from="last act")
    assert odds(plan, person, even, cued, cue_from="last act").p < 0.9995
    assert odds(plan, person, best, cued, cue_from="last act").p > 0.99999
    assert best["down"].delay == pytest.approx(7.0, abs=0.05)  # no pull towards shorter waits, unlike by feel
    assert best_aims(plan, Person(cv=0.15))["down"].delay < 6.9


def test_aims_for_a_cue_by_a_schedule_keep_short_what_comes_before_it() -> None:
    plan, person = pedal_count(), Person()
    free, tied = (
        best_aims(plan, person, cued={"down"}, cue_from=how)["let go 5"].at for how in ("last act", "schedule")
    )
    assert tied < free - 0.3
    apart = [
        odds(plan, person, best_aims(plan, person, cued=c, cue_from="schedule"), {"down"}).p for c in ({"down"}, set())
    ]
    assert apart[0] > apart[1] + 0.001


def test_best_aims_where_a_count_stands_or_has_stood() -> None:
    plan = Plan(
        ("o", "off", "look"), (Constraint("off", "look", 2, 4),), counters=(Counter("off", "o", "c", 300, 330),)
    )
    stands = condition(begin(plan, holding=["c"]), "c", holds=False, t=100.0)
    found = best_aims(plan, Person(), stands)
    assert "off" not in found
    assert found["look"].delay == pytest.approx(2.97, abs=0.02)
    again = best_aims(plan, Person(cv=0.02), condition(stands, "c", holds=True, t=160.0))
    assert again["off"].at == pytest.approx(375.0, abs=0.5)


def test_the_examples_in_the_docstrings() -> None:
    assert fill(np.array([0, 2]), np.array([9, 9]), 6).tolist() == [3, 3]
    assert fill(np.array([0, 4]), np.array([9, 9]), 6).tolist() == [2, 4]
    assert fill(np.array([1.0, 1.0]), np.array([math.inf, math.inf]), 5).tolist() == [2.5, 2.5]
    assert Person().spread(5.0) == pytest.approx(0.5006, abs=5e-5)
