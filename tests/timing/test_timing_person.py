import math

import numpy as np
import pytest

from tickover.errors import TimingError
from tickover.timing import Aim, Answer, Constraint, Person, Plan, simulate, simulate_many

CHAIN = Plan(("o", "a", "b"), (Constraint("o", "a", 0, 9), Constraint("a", "b", 0, 9)))
AIMS = {"a": Aim("a", "o", 4.0, 4.0), "b": Aim("b", "a", 2.0, 6.0)}


def draw(person: Person, n: int = 40_000, **more) -> dict[str, np.ndarray]:
    return simulate_many(CHAIN, AIMS, person, np.random.default_rng(3), n, **more)


def test_an_interval_comes_out_with_the_stated_mean_and_spread() -> None:
    person = Person(bias=0.1, scale=0.05, cv=0.12, motor_sd=0.05)
    b = draw(person)
    a, step = b["a"], b["b"] - b["a"]
    for d, times in ((4.0, a), (2.0, step)):
        sd = math.sqrt((0.12 * d) ** 2 + 0.05**2)
        assert times.mean() == pytest.approx(1.05 * d + 0.1, abs=4 * sd / 200)
        assert times.std() == pytest.approx(sd, rel=0.015)
    assert np.corrcoef(a, step)[0, 1] == pytest.approx(0.0, abs=0.02)


def test_uncued_errors_add_up_and_cued_ones_do_not() -> None:
    person = Person(event_sd=0.04)
    free, cued = draw(person), draw(person, cued=frozenset({"b"}))
    assert free["b"].std() == pytest.approx(math.hypot(person.spread(4.0), person.spread(2.0)), rel=0.015)
    assert cued["b"].std() == pytest.approx(0.04, rel=0.015)
    assert cued["b"].mean() == pytest.approx(6.0, abs=0.001)


def test_lapses_widen_the_share_of_acts_they_befall() -> None:
    wild = draw(Person(motor_sd=0.0, lapse=0.2))["a"]
    assert np.mean(np.abs(wild - 4.0) > 5 * 0.4) == pytest.approx(0.2 * 0.31731, rel=0.06)


def test_time_never_runs_backwards() -> None:
    person = Person(bias=-1.5, cv=0.5, event_sd=3.0)
    for cued in (frozenset(), frozenset({"b"})):
        times = draw(person, cued=cued)
        assert (times["a"] >= 0).all()
        assert (times["b"] >= times["a"]).all()
        assert (times["b"] == times["a"]).any()


def test_nothing_is_cut_off_at_a_window() -> None:
    plan = Plan(("o", "a"), (Constraint("o", "a", 3.9, 4.1),))
    times = simulate_many(plan, {"a": AIMS["a"]}, Person(cv=0.2), np.random.default_rng(0), 1000)["a"]
    assert times.min() < 3.0
    assert times.max() > 5.0


def test_answers_are_drawn_from_their_window_or_taken_as_given() -> None:
    plan = Plan(("o", "lamp", "a"), (), (Answer("lamp", "o", 2, 5),))
    aims = {"a": Aim("a", "lamp", 1.0, None)}
    drawn = simulate_many(plan, aims, Person(), np.random.default_rng(0), 4000)["lamp"]
    assert 2 <= drawn.min() < 2.01
    assert 4.99 < drawn.max() <= 5
    once = simulate(plan, aims, Person(cv=0, motor_sd=0), np.random.default_rng(0), answers={"lamp": 3.0})
    assert once == {"o": 0.0, "lamp": 3.0, "a": 4.0}


def test_the_same_seed_gives_the_same_attempt() -> None:
    one, two = (simulate(CHAIN, AIMS, Person(lapse=0.1), np.random.default_rng(8)) for _ in range(2))
    assert one == two


def test_what_has_happened_stays_as_it_was() -> None:
    times = simulate(CHAIN, AIMS, Person(cv=0, motor_sd=0), np.random.default_rng(0), happened={"a": 4.7})
    assert times == {"o": 0.0, "a": 4.7, "b": 6.7}


def test_an_act_without_an_aim_is_refused() -> None:
    with pytest.raises(TimingError, match="no aim for “b”"):
        simulate(CHAIN, {"a": AIMS["a"]}, Person(), np.random.default_rng(0))


@pytest.mark.parametrize("wrong", [{"cv": -0.1}, {"motor_sd": math.inf}, {"lapse": 1.1}, {"event_sd": -1}])
def test_an_impossible_person_is_refused(wrong: dict) -> None:
    with pytest.raises(TimingError):
        Person(**wrong)
