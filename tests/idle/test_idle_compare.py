"""Before against after."""

import numpy as np
import pytest
from idle_cars import idle

from tickover.idle import compare, read_idle
from tickover.results import CannotTell, Quantity


def reading(seed=1, **how):
    return read_idle(idle(seconds=how.pop("seconds", 240), seed=seed, **how), np.random.default_rng(seed))


def test_settled():
    found = compare(reading(mean=842, sd=12), reading(mean=702, sd=6, seed=2), normal=(650, 750))
    assert found.verdict == "settled"
    assert found.difference.value == pytest.approx(-140, abs=4)
    assert found.difference.lo < -140 < found.difference.hi
    assert "It idled at 84" in found.sentence
    assert "slower" in found.sentence


def test_settled_needs_the_whole_interval_and_steadiness():
    assert compare(reading(mean=842), reading(mean=751, seed=2), normal=(650, 750)).verdict == "better"
    rough = compare(reading(mean=842), reading(mean=702, sd=40, seed=2, seconds=900), normal=(650, 750))
    assert rough.verdict == "better"


def test_better_and_worse_are_mirror_images():
    a, b = reading(mean=950), reading(mean=820, seed=2)
    assert compare(a, b, normal=(650, 750)).verdict == "better"
    assert compare(b, a, normal=(650, 750)).verdict == "worse"
    low, high = reading(mean=520), reading(mean=600, seed=2)
    assert compare(low, high, normal=(650, 750)).verdict == "better"


def test_no_change():
    found = compare(reading(mean=842), reading(mean=845, seed=2), normal=(650, 750))
    assert found.verdict == "no change"


def test_a_difference_is_judged_only_against_a_normal():
    found = compare(reading(mean=842), reading(mean=702, seed=2))
    assert found.verdict == "cannot tell"
    assert "normal" in found.sentence


def test_steadier_at_the_same_speed_is_better():
    found = compare(reading(mean=800, sd=45, seconds=900), reading(mean=800, sd=6, seed=2), normal=(650, 750))
    assert found.verdict == "better"
    assert "steadily" in found.sentence
    back = compare(reading(mean=800, sd=6), reading(mean=800, sd=45, seed=2, seconds=900), normal=(650, 750))
    assert back.verdict == "worse"


def test_too_few_effective_samples():
    a, b = reading(mean=700, r=0.98, step=1.8, seconds=120), reading(mean=712, r=0.98, step=1.8, seconds=120, seed=3)
    found = compare(a, b, normal=(650, 750))
    assert found.verdict == "cannot tell"
    assert "effective samples" in found.sentence


def test_a_great_difference_is_claimed_even_with_few():
    a, b = reading(mean=1400, r=0.9, step=1.8, seconds=100), reading(mean=760, r=0.9, step=1.8, seconds=100, seed=3)
    assert min(a.states[0].speed.n_eff, b.states[0].speed.n_eff) < 10
    assert compare(a, b, normal=(650, 740)).verdict == "better"


def test_settled_rests_on_the_samples_after_where_the_difference_is_plain():
    before = reading(mean=990, r=0.9, step=1.8, seconds=100)
    assert before.states[0].speed.n_eff < 10
    assert compare(before, reading(mean=702, sd=6, seed=2), normal=(650, 750)).verdict == "settled"
    few = reading(mean=702, sd=6, r=0.9, step=1.8, seconds=100, seed=3)
    assert few.states[0].speed.n_eff < 10
    assert compare(before, few, normal=(650, 750)).verdict != "settled"


def test_never_across_load_states():
    off = reading(mean=655, pressure=26)
    on = reading(mean=858, pressure=36, seed=2)
    found = compare(on, off, normal=(600, 700))
    assert found.verdict == "cannot tell"
    assert "loads" in found.sentence
    assert isinstance(found.difference, CannotTell)


def two(seed, off, on, **change):
    def pick(a, b):
        return lambda t, _: np.where((t % 60) < 30, b, a)

    return read_idle(
        idle(
            seconds=300,
            seed=seed,
            engine_speed=lambda t, v: np.where(t < 0, 0, v - 700 + np.where((t % 60) < 30, on, off)),
            throttle_position=pick(15.7, 18.2),
            manifold_pressure=pick(26.0, 36.0),
            **change,
        ),
        np.random.default_rng(seed),
    )


def test_loads_off_goes_before_loads_on():
    found = compare(two(1, 760, 870), two(2, 655, 860), normal=(600, 700))
    assert found.state == "loads off"
    assert found.verdict == "settled"
    assert found.difference.value == pytest.approx(-105, abs=5)


def test_one_state_is_matched_to_its_like_by_manifold_pressure():
    found = compare(two(1, 760, 870), reading(mean=655, pressure=27, seed=2), normal=(600, 700))
    assert found.verdict == "settled"
    assert found.difference.value == pytest.approx(-105, abs=5)


def test_a_normal_is_not_used_with_loads_on():
    def only_on(seed, speed):
        # off only in passing: the state left is loads on
        return read_idle(
            idle(
                seconds=300,
                seed=seed,
                engine_speed=lambda t, v: np.where(t < 0, 0, v - 700 + np.where((t % 60) < 7, 700, speed)),
                throttle_position=lambda t, _: np.where((t % 60) < 7, 15.7, 18.2),
                manifold_pressure=lambda t, _: np.where((t % 60) < 7, 26.0, 36.0),
            ),
            np.random.default_rng(seed),
        )

    found = compare(only_on(1, 860), only_on(2, 700), normal=(600, 750))
    assert found.state == "loads on"
    assert found.verdict == "cannot tell"
    assert any("loads off" in r for r in found.rests_on)


def test_coolant_must_overlap():
    found = compare(reading(mean=842, coolant=82.0), reading(mean=702, coolant=97.0, seed=2), normal=(650, 750))
    assert found.verdict == "cannot tell"
    assert "warm" in found.sentence


def test_a_refusal_on_either_side_is_passed_on():
    cold = read_idle(idle(coolant=50.0), np.random.default_rng(1))
    assert isinstance(cold, CannotTell)
    for pair in ((cold, reading()), (reading(), cold)):
        found = compare(*pair, normal=(650, 750))
        assert found.verdict == "cannot tell"
        assert "never warm" in found.sentence


def test_the_interval_of_the_difference_adds_in_squares():
    a, b = reading(mean=842), reading(mean=702, seed=2)
    d = compare(a, b).difference
    assert isinstance(d, Quantity)
    qa, qb = a.states[0].speed, b.states[0].speed
    assert d.half_width < qa.half_width + qb.half_width
    assert d.half_width > max(qa.half_width, qb.half_width)


def test_an_upside_down_normal_is_refused():
    with pytest.raises(ValueError, match="upside down"):
        compare(reading(), reading(), normal=(750, 650))
