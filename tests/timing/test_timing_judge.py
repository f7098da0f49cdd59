import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from timing_plans import broken_bounds, pedal_count, random_prepared

from tickover.errors import TimingError
from tickover.timing import Answer, Constraint, Counter, Observation, Plan, judge

PRESS = Plan(("o", "a", "b"), (Constraint("o", "a", 2, 4, "wait"), Constraint("a", "b", 1, 2, "hold")))


def seen(**brackets: tuple[float, float]) -> list[Observation]:
    return [Observation(e, *t) for e, t in brackets.items()]


def exact(**times: float) -> list[Observation]:
    return [Observation(e, t, t) for e, t in times.items()]


def verdicts(judgement) -> dict[str, str]:
    return {b.label: b.verdict for b in judgement.bounds}


def test_exact_times_inside_every_bound_are_a_hit() -> None:
    found = judge(PRESS, exact(o=0, a=3, b=4.5))
    assert (found.verdict, found.joint, found.cycle) == ("hit", "hit", ())
    assert verdicts(found) == {"wait": "hit", "hold": "hit"}
    assert (found.bounds[0].lo, found.bounds[0].hi) == (3.0, 3.0)


def test_times_exactly_on_a_bound_are_a_hit() -> None:
    assert judge(PRESS, exact(o=0.1, a=2.1, b=4.1)).verdict == "hit"
    plan = Plan(("o", "a"), (Constraint("o", "a", 0.3, 0.3),))
    assert judge(plan, exact(o=0.1, a=0.4)).verdict == "hit"  # 0.4 − 0.1 is not 0.3 in binary
    assert judge(plan, exact(o=0.1, a=0.4 + 1e-6)).verdict == "missed"


def test_a_miss_says_by_how_many_seconds_it_was_early_or_late() -> None:
    found = judge(PRESS, seen(o=(0, 0), a=(1.2, 1.5), b=(5.0, 5.2)))
    wait, hold = found.bounds
    assert wait.early_by == pytest.approx((0.5, 0.8))
    assert wait.late_by is None
    assert hold.late_by == pytest.approx((1.5, 2.0))
    assert found.verdict == "missed"
    assert found.reason == "missed: wait; hold"


def test_a_bracket_across_a_bound_is_undecided() -> None:
    found = judge(PRESS, seen(o=(0, 0), a=(1.9, 2.1), b=(3.5, 3.6)))
    assert verdicts(found) == {"wait": "undecided", "hold": "hit"}
    assert found.verdict == "undecided"
    assert "between 1.9 and 2.1 s" in found.bounds[0].reason


def test_bounds_that_cannot_all_be_hit_together_are_a_miss_though_each_could_be() -> None:
    plan = Plan(("o", "a", "b"), (Constraint("o", "a", 3, 4, "first"), Constraint("a", "b", 3, 4, "second")))
    found = judge(plan, [Observation("o", 0, 0), Observation("a", 2, 5), Observation("b", 5.5, 5.5)])
    assert verdicts(found) == {"first": "undecided", "second": "undecided"}
    assert (found.verdict, found.joint) == ("missed", "missed")
    assert found.short_by == pytest.approx(0.5)
    assert {"first", "second"} < set(found.cycle)
    assert "“b” was seen at 5.5 s" in found.cycle


def test_the_order_on_one_clock_is_a_fact() -> None:
    plan = Plan(("a", "b"), (Constraint("a", "b", 0, math.inf, "order"),))
    brackets = [Observation("a", 1.0, 1.1), Observation("b", 1.0, 1.1)]
    assert judge(plan, brackets).verdict == "hit"
    assert judge(plan, brackets[::-1]).verdict == "undecided"  # b first, unless both at once
    other = [brackets[0], Observation("b", 1.0, 1.1, clock="lamp")]
    assert judge(plan, other, {"lamp": (0.0, 0.0)}).verdict == "undecided"


def test_an_unknown_offset_cancels_between_events_of_the_same_clock() -> None:
    plan = Plan(("a", "b", "c"), (Constraint("a", "b", 1, 2, "same"), Constraint("a", "c", 1, 2, "across")))
    observations = [Observation("a", 5, 5, "phone"), Observation("b", 6.5, 6.5, "phone"), Observation("c", 16.5, 16.5)]
    found = judge(plan, observations, {"phone": (9.0, 11.0)})
    assert verdicts(found) == {"same": "hit", "across": "undecided"}
    assert (found.bounds[1].lo, found.bounds[1].hi) == (0.5, 2.5)


def test_two_clocks_that_see_the_same_event_narrow_it() -> None:
    plan = Plan(("a", "b"), (Constraint("a", "b", 1, 2),))
    observations = [Observation("a", 0, 0), Observation("b", 0.5, 1.5), Observation("b", 1.2, 3.0, "bus")]
    assert judge(plan, observations, {"bus": (0.0, 0.0)}).verdict == "hit"


def test_an_event_that_was_not_seen() -> None:
    observations = exact(o=0, a=3)
    for horizon in (None, 4.9):
        found = judge(PRESS, observations, horizon=horizon)
        assert (found.verdict, found.bounds[1].verdict) == ("undecided", "undecided")
        assert "“b” was not seen" in found.bounds[1].reason
    found = judge(PRESS, observations, horizon=5.5)
    assert (found.verdict, found.bounds[1].verdict) == ("missed", "missed")
    assert found.bounds[1].late_by == (0.5, math.inf)


def test_an_unseen_event_never_counts_as_a_hit() -> None:
    plan = Plan(("o", "a"), (Constraint("o", "a", 1, math.inf),))
    assert judge(plan, exact(o=0), horizon=100.0).verdict == "undecided"
    assert judge(Plan(("o", "a")), exact(o=0)).verdict == "undecided"
    assert judge(Plan(("o",)), exact(o=0)).verdict == "hit"


def test_an_answer_outside_its_window_spoils_the_attempt() -> None:
    plan = Plan(("o", "lamp"), (), (Answer("lamp", "o", 2, 5, "lamp lights"),))
    found = judge(plan, exact(o=0, lamp=6))
    assert found.verdict == "missed"
    assert found.bounds[0].reason == "the answer came outside its window"
    assert judge(plan, exact(o=0, lamp=5)).verdict == "hit"


COUNTED = Plan(("o", "off"), counters=(Counter("off", "o", "fan off", 300, 330, "five minutes"),))


@pytest.mark.parametrize(
    ("counted", "verdict"),
    [
        ((310, 320), "hit"),
        ((290, 310), "undecided"),
        ((200, 250), "missed"),
        ((335, 340), "missed"),
        (None, "undecided"),
        ((500, 510), "undecided"),
    ],
)
def test_a_counter_is_judged_from_the_time_that_was_counted(counted: tuple | None, verdict: str) -> None:
    found = judge(COUNTED, exact(o=0, off=400), counted={"off": counted} if counted else None)
    assert found.verdict == verdict
    if counted is None:
        assert "how long “fan off” held was not recorded" in found.reason
    if counted == (500, 510):
        assert "more time was counted than passed" in found.reason


def test_too_little_real_time_is_too_little_counted_time() -> None:
    found = judge(COUNTED, exact(o=0, off=250))
    assert (found.verdict, found.joint) == ("missed", "missed")
    assert found.bounds[0].early_by == (50.0, 300.0)


def test_observations_that_contradict_one_another_prove_nothing() -> None:
    found = judge(PRESS, [Observation("o", 0, 0), Observation("a", 3, 3), Observation("b", 1, 1)])
    assert found.verdict == "undecided"
    assert {b.verdict for b in found.bounds} == {"undecided"}
    assert "contradict one another" in found.reason
    assert "“b” was seen after “a”" in found.cycle


@pytest.mark.parametrize(
    "wrong",
    [Observation("z", 0, 1), Observation("a", 1, 0), Observation("a", 0, 1, "nowhere"), Observation("a", math.nan, 1)],
)
def test_an_observation_that_makes_no_sense_is_refused(wrong: Observation) -> None:
    with pytest.raises(TimingError):
        judge(PRESS, [wrong])


@given(st.floats(0.3, 3.0), st.integers(0, 2**32 - 1))
def test_exact_times_are_judged_as_they_are(spread: float, seed: int) -> None:
    rng = np.random.default_rng(seed)
    plan = pedal_count()
    t, times = 0.0, {"on": 0.0}
    for e in plan.events[1:]:
        t += {"down": 7.0, "flashes": 11.0, "stays": 9.0, "press 1": 3.0}.get(e, 0.4) * rng.uniform(
            1 - spread / 4, 1 + spread / 4
        )
        times[e] = t
    found = judge(plan, [Observation(e, t, t) for e, t in times.items()])
    broken = broken_bounds(plan, times)
    assert {k for k, b in enumerate(found.bounds) if b.verdict == "missed"} == set(broken)
    assert found.verdict == ("missed" if broken else "hit")


def test_a_wider_bracket_never_turns_a_verdict_over() -> None:
    rng = np.random.default_rng(41)
    for _ in range(200):
        plan = random_prepared(rng).plan
        times = {e: float(t) for e, t in zip(plan.events, np.cumsum(rng.uniform(0, 3, len(plan.events))), strict=True)}
        before = None
        for width in (0.0, 0.05, 0.3, 1.0):
            found = judge(plan, [Observation(e, t - width, t + width) for e, t in times.items()])
            for k, b in enumerate(found.bounds):
                if before is not None and b.verdict != "undecided":
                    assert before.bounds[k].verdict == b.verdict
            before = found
