import math

import numpy as np
import pytest
from timing_game import performer_wins
from timing_plans import broken_bounds, carry_out, pedal_count, random_plan, random_prepared

from tickover.errors import ContradictionError, NotControllableError
from tickover.timing import Answer, Constraint, Counter, Network, Plan, check_controllable, is_controllable


def whole_seconds(rng: np.random.Generator, answers: int, acts: int, bounds: int) -> Plan:
    """A plan with bounds in whole seconds."""
    kinds = list(rng.permutation(["w"] * int(rng.integers(1, answers + 1)) + ["x"] * int(rng.integers(1, acts + 1))))
    events, given = ["o"], []
    for k, kind in enumerate(kinds):
        if kind == "w":
            lo = int(rng.integers(0, 4))
            given.append(Answer(f"w{k}", events[rng.integers(len(events))], lo, lo + int(rng.integers(0, 5))))
        events.append(f"{kind}{k}")
    found = []
    for _ in range(rng.integers(1, bounds + 1)):
        i, j = rng.choice(len(events), 2, replace=False)
        lo = int(rng.integers(-3, 4))
        hi, side = lo + int(rng.integers(0, 7)), rng.random()
        found.append(
            Constraint(events[i], events[j], -math.inf if 0.2 <= side < 0.3 else lo, math.inf if side < 0.2 else hi)
        )
    return Plan(tuple(events), tuple(found), tuple(given))


@pytest.mark.parametrize(("answers", "acts", "bounds", "plans"), [(2, 3, 5, 2000), (3, 3, 6, 300)])
def test_a_search_of_the_whole_game_agrees(answers: int, acts: int, bounds: int, plans: int) -> None:
    rng = np.random.default_rng(answers)
    agreed = {(True, True): 0, (False, False): 0}
    weakly = 0
    for _ in range(plans):
        plan = whole_seconds(rng, answers, acts, bounds)
        ours, game = is_controllable(plan), performer_wins(plan, horizon=24)
        assert ours == game, plan
        agreed[ours, game] += 1
        weakly += not ours and consistent(plan)
    assert min(agreed.values()) > 40
    assert weakly > 20, "too few plans where a helpful world would do"


@pytest.mark.soak
def test_a_search_of_the_whole_game_agrees_on_bigger_plans() -> None:
    rng = np.random.default_rng(99)
    for _ in range(3000):
        plan = whole_seconds(rng, 3, 4, 6)
        assert is_controllable(plan) == performer_wins(plan, horizon=24), plan


def consistent(plan: Plan) -> bool:
    first = tuple(Constraint(plan.origin, e, 0, math.inf) for e in plan.events[1:])
    try:
        Network.of(Plan(plan.events, plan.constraints + first, plan.answers)).minimal()
    except ContradictionError:
        return False
    return True


@pytest.mark.parametrize("counter", [0.0, 1.0])
def test_following_the_windows_never_breaks_a_bound(counter: float) -> None:
    rng = np.random.default_rng(7)
    waited = 0
    for _ in range(250):
        prepared = random_prepared(rng, counter=counter)
        waited += any(0 < w.seconds < math.inf for waits in prepared.tables.waits for w in waits)
        for policy in ("lower", "upper", "middle", "anywhere"):
            for world in ("early", "late", "anywhere", "ends"):
                run = carry_out(prepared, rng, policy, world)
                assert not run.misses, (prepared.plan, run.happened, run.misses)
                assert not broken_bounds(prepared.plan, run.happened)
    assert waited > 20, "too few plans in which an act has to wait"


def test_the_design_page_routine_is_controllable() -> None:
    assert check_controllable(pedal_count()).plan.events[0] == "on"


def act_and_answer(*bounds: Constraint, lo: float = 3.0, hi: float = 12.0) -> Plan:
    return Plan(("o", "lamp", "act"), bounds, (Answer("lamp", "o", lo, hi, "lamp comes"),))


def test_an_act_counted_from_its_answer_is_controllable() -> None:
    assert check_controllable(act_and_answer(Constraint("lamp", "act", 0, 3))).waits == (("act", "lamp", 12.0),)


def test_an_act_may_react_at_the_very_instant_of_an_answer() -> None:
    assert is_controllable(act_and_answer(Constraint("lamp", "act", 0, 0)))


def test_an_act_cannot_come_just_before_an_answer() -> None:
    with pytest.raises(NotControllableError) as caught:
        check_controllable(act_and_answer(Constraint("act", "lamp", 1, 2, "just before")))
    assert set(caught.value.labels) == {"lamp comes", "just before"}
    assert "“lamp” may come anywhere from 3 to 12 s after “o”" in str(caught.value)


def test_the_reason_names_only_what_is_to_blame() -> None:
    plan = Plan(
        ("o", "lamp", "up", "start"),
        (
            Constraint("o", "up", 5, 8, "up about 6.5"),
            Constraint("lamp", "up", 0, math.inf, "not before the lamp"),
            Constraint("up", "start", 1, 2, "start"),
        ),
        (Answer("lamp", "o", 3, 12, "lamp comes"),),
    )
    with pytest.raises(NotControllableError) as caught:
        check_controllable(plan)
    assert set(caught.value.labels) == {"lamp comes", "up about 6.5", "not before the lamp"}


def test_leaving_out_any_named_bound_makes_a_random_plan_controllable() -> None:
    rng = np.random.default_rng(11)
    seen = 0
    while seen < 60:
        plan = random_plan(rng)
        if is_controllable(plan) or not consistent(plan):
            continue
        seen += 1
        with pytest.raises(NotControllableError) as caught:
            check_controllable(plan)
        culprits = [b for b in (*plan.constraints, *plan.answers) if _name(b) in caught.value.labels]
        assert not is_controllable(_of(plan, culprits))
        for spared in culprits:
            assert is_controllable(_of(plan, [b for b in culprits if b is not spared])), (plan, caught.value.labels)


def _name(bound: Constraint | Answer) -> str:
    from_, to = (bound.a, bound.b) if isinstance(bound, Constraint) else (bound.after, bound.event)
    if math.isinf(bound.lo):
        return f"“{to}” at most {bound.hi:g} s after “{from_}”"
    span = f"at least {bound.lo:g} s" if math.isinf(bound.hi) else f"{bound.lo:g} to {bound.hi:g} s"
    return f"“{to}” {span} after “{from_}”"


def _of(plan: Plan, bounds: list) -> Plan:
    constraints = tuple(b for b in bounds if isinstance(b, Constraint))
    return Plan(plan.events, constraints, tuple(b for b in bounds if isinstance(b, Answer)))


def test_a_plain_contradiction_is_called_one() -> None:
    with pytest.raises(ContradictionError):
        check_controllable(act_and_answer(Constraint("lamp", "act", 0, 1), Constraint("o", "act", 20, 30)))


def test_nothing_may_happen_before_the_origin() -> None:
    with pytest.raises(ContradictionError, match="not before the start"):
        check_controllable(Plan(("o", "act"), (Constraint("o", "act", -3, -1),)))


def test_an_answer_may_be_counted_from_an_answer() -> None:
    chain = Plan(
        ("o", "one", "two", "act"),
        (Constraint("two", "act", 0, 2), Constraint("o", "act", 0, 11)),
        (Answer("one", "o", 1, 4), Answer("two", "one", 1, 7)),
    )
    assert is_controllable(chain)
    tighter = Plan(chain.events, (chain.constraints[0], Constraint("o", "act", 0, 10.5)), chain.answers)
    assert not is_controllable(tighter)


def test_an_answer_with_one_possible_moment_can_be_counted_back_from() -> None:
    assert is_controllable(act_and_answer(Constraint("act", "lamp", 1, 2), lo=5, hi=5))


def counted(*bounds: Constraint, lo: float = 300.0, hi: float = 330.0) -> Plan:
    return Plan(("o", "off", "done"), bounds, counters=(Counter("off", "o", "fan off", lo, hi, "five minutes"),))


def test_a_counter_by_itself_is_controllable() -> None:
    assert is_controllable(counted())
    assert is_controllable(counted(Constraint("off", "done", 1, 3)))
    assert is_controllable(counted(Constraint("o", "off", 200, math.inf)))


def test_an_upper_bound_across_a_counter_that_may_stand_is_refused() -> None:
    with pytest.raises(NotControllableError) as caught:
        check_controllable(counted(Constraint("off", "done", 1, 3), Constraint("o", "done", 0, 3600, "in the hour")))
    assert caught.value.labels == ("“done” 1 to 3 s after “off”", "in the hour", "five minutes")
    assert "may stand for any length of time" in str(caught.value)


def test_a_counter_that_need_not_be_counted_first_does_not_make_a_deadline_impossible() -> None:
    assert is_controllable(counted(Constraint("o", "off", 0, 60), lo=0.0))


def test_an_act_may_wait_for_a_count() -> None:
    found = check_controllable(counted(Constraint("done", "off", 0, 5)))
    assert ("done", "off", math.inf) in found.waits
