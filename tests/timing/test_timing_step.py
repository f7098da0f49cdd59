import json
import math

import numpy as np
import pytest
from timing_plans import CONDITION, broken_bounds, pedal_count, random_prepared

from tickover.errors import NotControllableError, OutOfOrderError, TimingError
from tickover.timing import (
    Answer,
    Constraint,
    Counter,
    Network,
    Plan,
    Run,
    begin,
    condition,
    counted,
    happen,
    next_acts,
    next_answers,
    prepare,
    run_from_json,
    windows,
)


def follow(run: Run, *news: tuple[str, float]) -> Run:
    for event, t in news:
        run = happen(run, event, t)
    return run


def test_windows_at_the_start_are_those_of_the_minimal_network() -> None:
    plan = Plan(("o", "a", "b"), (Constraint("o", "a", 1, 4), Constraint("a", "b", 2, 3), Constraint("o", "b", 0, 5)))
    network = Network(plan.events, plan.constraints)
    assert windows(begin(plan)) == {e: pytest.approx(network.window("o", e)) for e in ("a", "b")}


def test_an_event_narrows_the_windows_of_the_rest() -> None:
    plan = Plan(("o", "a", "b"), (Constraint("o", "a", 1, 4), Constraint("a", "b", 2, 3), Constraint("o", "b", 0, 5)))
    assert windows(happen(begin(plan), "a", 2.5))["b"] == pytest.approx((4.5, 5.0))


def test_a_run_is_never_changed() -> None:
    run = begin(pedal_count())
    before = run.to_json()
    happen(run, "press 1", 3.0)
    assert run.to_json() == before


def test_a_whole_routine_to_time() -> None:
    run = begin(pedal_count())
    assert next_acts(run) == ("press 1",)
    t = 3.0
    for k in range(1, 6):
        run = follow(run, (f"press {k}", t), (f"let go {k}", t + 0.5))
        t += 0.9
    assert next_acts(run) == ("down",)
    assert windows(run)["down"] == pytest.approx((3.0 + 4 * 0.9 + 0.5 + 6, 3.0 + 4 * 0.9 + 0.5 + 8))
    run = happen(run, "down", 14.0)
    assert next_acts(run) == ()
    assert next_answers(run) == ("flashes", "stays")
    assert windows(run)["flashes"] == (22.0, 28.0)
    # Before the lamp stays lit the foot may not come up, and the latest moment at which it can is known.
    assert windows(run)["up"] == pytest.approx((39.0, 42.0))
    run = follow(run, ("flashes", 24.0), ("stays", 33.0))
    assert windows(run)["up"] == (33.0, 36.0)
    run = follow(run, ("up", 34.0), ("start", 35.0))
    assert run.done
    assert run.misses == ()
    assert not broken_bounds(run.prepared.plan, run.happened)


def test_the_wait_for_an_answer_ends_with_the_answer_or_with_time() -> None:
    plan = Plan(
        ("o", "lamp", "act"),
        (Constraint("lamp", "act", -4, math.inf, "at most 4 s before the lamp"),),
        (Answer("lamp", "o", 2, 10),),
    )
    run = begin(plan)
    assert windows(run)["act"] == (6.0, math.inf)
    assert windows(happen(run, "lamp", 3.0))["act"][0] == 3.0


def test_an_early_event_is_recorded_with_its_seconds() -> None:
    run = happen(begin(Plan(("o", "a", "b"), (Constraint("o", "a", 2, 4, "a", "g"),))), "a", 1.5)
    (miss,) = run.misses
    assert (miss.label, miss.group, miss.event, miss.settled) == ("a", "g", "a", True)
    assert (miss.early_by, miss.late_by) == (0.5, 0.0)
    assert run.happened["a"] == 1.5


def test_a_late_event_is_recorded_and_the_rest_goes_on() -> None:
    plan = Plan(("o", "a", "b"), (Constraint("o", "a", 2, 4, "a"), Constraint("a", "b", 1, 2, "b")))
    run = happen(begin(plan), "a", 7.0)
    assert [(m.label, m.late_by) for m in run.misses] == [("a", 3.0)]
    assert windows(run)["b"] == (8.0, 9.0)
    assert happen(run, "b", 8.5).misses == run.misses


def test_a_span_that_cannot_be_kept_any_more_is_given_up_and_not_the_next_gap() -> None:
    run, t = begin(pedal_count()), 3.0
    run = happen(run, "press 1", t)
    for k in range(1, 5):
        run = follow(run, (f"let go {k}", t + 0.85), (f"press {k + 1}", t + 1.2))
        t = run.now
    assert [m.label for m in run.misses if m.settled] == []
    given_up = [m for m in run.misses if not m.settled]
    assert [(m.label, m.event) for m in given_up] == [("presses: span", "let go 5")]
    assert given_up[0].late_by == pytest.approx(run.now + 0.25 - 3.0 - 5.0)
    assert windows(run)["let go 5"] == pytest.approx((run.now + 0.25, run.now + 0.9))
    done = happen(run, "let go 5", run.now + 0.5)
    assert [(m.label, m.settled) for m in done.misses] == [("presses: span", True)]
    assert done.misses[0].late_by == pytest.approx(done.now - 8.0)


def test_an_event_that_was_skipped_may_still_come() -> None:
    plan = Plan(("o", "a", "b"), (Constraint("o", "a", 1, 2, "a"), Constraint("a", "b", 1, 2, "b")))
    run = happen(begin(plan), "b", 3.0)
    assert {m.label for m in run.misses} == {"a", "b"}
    assert windows(run)["a"][0] == 3.0
    run = happen(run, "a", 4.0)
    assert {m.label: (m.early_by, m.late_by) for m in run.misses} == {"a": (0.0, 2.0), "b": (0.0, 2.0)}


def test_a_bound_that_was_given_up_and_kept_after_all_is_no_miss() -> None:
    plan = Plan(
        ("o", "a", "b"),
        (Constraint("o", "b", 0, 5, "deadline"), Constraint("a", "b", 3, math.inf, "gap"), Constraint("o", "a", 0, 2)),
    )
    run = happen(begin(plan), "a", 4.0)
    assert {(m.label, m.settled) for m in run.misses} == {("“a” 0 to 2 s after “o”", True), ("deadline", False)}
    run = happen(run, "b", 4.5)
    assert {m.label for m in run.misses} == {"“a” 0 to 2 s after “o”", "gap"}


def test_an_answer_outside_its_window_is_a_miss_of_the_answer() -> None:
    plan = Plan(("o", "lamp", "act"), (Constraint("lamp", "act", 0, 3, "act"),), (Answer("lamp", "o", 2, 5, "lamp"),))
    run = happen(begin(plan), "lamp", 6.0)
    assert [(m.label, m.late_by) for m in run.misses] == [("lamp", 1.0)]
    assert windows(run)["act"] == (6.0, 9.0)


def test_an_unknown_repeated_or_impossible_event_is_refused() -> None:
    run = happen(begin(pedal_count()), "press 1", 3.0)
    with pytest.raises(OutOfOrderError, match="no such event"):
        happen(run, "wave", 4.0)
    with pytest.raises(OutOfOrderError, match="already, at 3 s"):
        happen(run, "press 1", 4.0)
    with pytest.raises(OutOfOrderError, match="already, at 0 s"):
        happen(run, "on", 4.0)
    with pytest.raises(OutOfOrderError, match="before the start"):
        happen(run, "let go 1", -1.0)
    with pytest.raises(TimingError):
        happen(run, "let go 1", math.nan)


def test_a_plan_that_the_world_can_defeat_is_run_only_on_demand() -> None:
    plan = Plan(("o", "lamp", "act"), (Constraint("act", "lamp", 1, 2),), (Answer("lamp", "o", 3, 12),))
    with pytest.raises(NotControllableError):
        begin(plan)
    run = begin(prepare(plan, require_controllable=False))
    assert not run.prepared.controllable
    assert windows(run)["act"] == (1.0, 11.0)


COUNT = Counter("off", "start", "fan off", 300.0, 330.0, "five minutes without the fan", "idle")
COUNTED = Plan(("o", "start", "off"), (Constraint("o", "start", 0, 20),), counters=(COUNT,))


def test_a_count_opens_and_closes_its_event() -> None:
    run = happen(begin(COUNTED, holding=["fan off"]), "start", 10.0)
    assert windows(run)["off"] == (310.0, 340.0)
    assert counted(run, "off", 110.0) == 100.0


def test_a_count_stands_while_its_condition_does_not_hold() -> None:
    run = happen(begin(COUNTED, holding=["fan off"]), "start", 10.0)
    run = condition(run, "fan off", holds=False, t=110.0)
    assert windows(run)["off"] == (math.inf, math.inf)
    assert counted(run, "off", 200.0) == 100.0
    run = condition(run, "fan off", holds=True, t=170.0)
    assert windows(run)["off"] == (370.0, 400.0)
    # A pause after it has opened moves the closing on.
    run = condition(run, "fan off", holds=False, t=380.0)
    assert windows(run)["off"] == (380.0, math.inf)
    run = condition(run, "fan off", holds=True, t=500.0)
    assert windows(run)["off"] == (500.0, 520.0)
    assert happen(run, "off", 519.0).misses == ()
    (late,) = happen(run, "off", 525.0).misses
    assert (late.label, late.late_by) == ("five minutes without the fan", 5.0)


def test_a_condition_that_nobody_has_seen_does_not_count() -> None:
    run = happen(begin(COUNTED), "start", 10.0)
    assert windows(run)["off"][0] == math.inf
    (early,) = happen(run, "off", 400.0).misses
    assert early.early_by == 300.0


def test_a_condition_told_twice_changes_nothing() -> None:
    run = happen(begin(COUNTED, holding=["fan off"]), "start", 10.0)
    assert condition(run, "fan off", holds=True, t=50.0) is run


def test_what_follows_a_count_moves_with_it() -> None:
    plan = Plan((*COUNTED.events, "look"), (*COUNTED.constraints, Constraint("off", "look", 5, 9)), (), (COUNT,))
    run = happen(begin(plan, holding=["fan off"]), "start", 10.0)
    assert windows(run)["look"] == pytest.approx((315.0, 349.0))
    run = condition(run, "fan off", holds=False, t=20.0)
    run = condition(run, "fan off", holds=True, t=50.0)
    assert windows(run)["look"] == pytest.approx((345.0, 379.0))


def test_an_unknown_condition_is_refused() -> None:
    with pytest.raises(TimingError, match="It has: fan off"):
        condition(begin(COUNTED), "fan on", holds=True, t=1.0)
    with pytest.raises(TimingError, match="no counter ends in “start”"):
        counted(begin(COUNTED), "start", 1.0)


def test_a_stored_run_comes_back_as_it_was() -> None:
    run = happen(begin(COUNTED, holding=["fan off"]), "start", 25.0)  # late, so it has new tables too
    run = condition(run, "fan off", holds=False, t=40.0)
    text = run.to_json()
    again = run_from_json(text, COUNTED)
    assert (windows(again), again.misses, again.counts, again.happened) == (
        windows(run), run.misses, run.counts, run.happened
    )  # fmt: skip
    assert again.to_json() == text
    assert json.loads(text)["counts"] == {"off": 15.0}


def test_a_stored_run_of_another_plan_is_refused() -> None:
    text = begin(COUNTED).to_json()
    with pytest.raises(TimingError, match="another plan"):
        run_from_json(text, pedal_count())
    with pytest.raises(TimingError, match="not a stored run"):
        run_from_json("{}", COUNTED)
    with pytest.raises(TimingError, match="version 9"):
        run_from_json(text.replace('"v": 1', '"v": 9'), COUNTED)


def sloppy(rng: np.random.Generator, counter: float) -> tuple[Run, list[tuple[float, bool]]]:
    """A run by somebody careless: out of order, early, late. And when the condition changed."""
    prepared = random_prepared(rng, counter=counter, require_controllable=bool(rng.random() < 0.7))
    plan = prepared.plan
    given = {w.event: w.after for w in plan.answers}
    run = begin(prepared, holding=[CONDITION] if plan.counters and rng.random() < 0.5 else [])
    changes = [(0.0, CONDITION in run.holding)]
    while not run.done:
        if plan.counters and rng.random() < 0.3:
            t, holds = run.now + rng.exponential(1), bool(rng.random() < 0.5)
            if (CONDITION in run.holding) != holds:
                changes.append((t, holds))
            run = condition(run, CONDITION, holds, t)
        offered = windows(run)
        for event, (lo, hi) in offered.items():
            if prepared.controllable and not plan.counters and event not in given:
                assert lo <= hi + 1e-9, (plan, run.happened, event)
        acts = list(next_acts(run)) if rng.random() < 0.8 else [e for e in offered if e not in given]
        ready = acts + [e for e in offered if e in given and given[e] in run.happened]
        event = str(rng.choice(ready or list(offered)))
        lo, hi = offered[event]
        lo = max(lo, run.now) if lo < math.inf else run.now + rng.exponential(2)
        t = float(rng.uniform(lo, max(lo, hi))) if hi < math.inf else lo
        care = rng.random()
        t = t + rng.exponential(2) if care < 0.15 else run.now + rng.exponential(0.5) if care < 0.3 else t
        run = happen(run, event, max(t, run.now))
        again = run_from_json(run.to_json(), prepared)
        assert windows(again) == windows(run)
        assert again.misses == run.misses
    return run, changes


@pytest.mark.parametrize("counter", [0.0, 1.0])
def test_at_the_end_of_a_careless_run_exactly_the_broken_bounds_are_missed(counter: float) -> None:
    rng = np.random.default_rng(5)
    missed = 0
    for _ in range(150):
        run, changes = sloppy(rng, counter)
        plan, times = run.prepared.plan, run.happened
        broken = broken_bounds(plan, times)
        found = {m.bound: max(m.early_by, m.late_by) for m in run.misses}
        assert all(m.settled for m in run.misses)
        offset = len(plan.constraints) + len(plan.answers)
        assert {p: off for p, off in found.items() if p < offset} == pytest.approx(broken)
        for k, counter_ in enumerate(plan.counters):
            assert (offset + k in found) == (not in_count(counter_, times, changes)), (plan, times, changes)
        missed += len(found)
    assert missed > 150


def in_count(counter: Counter, times: dict[str, float], changes: list[tuple[float, bool]]) -> bool:
    start, end = times[counter.start], times[counter.event]
    total = sum(
        max(0.0, min(until, end) - max(since, start))
        for (since, holds), (until, _) in zip(changes, [*changes[1:], (math.inf, False)], strict=True)
        if holds
    )
    return start <= end + 1e-9 and counter.lo - 1e-9 <= total <= counter.hi + 1e-9
