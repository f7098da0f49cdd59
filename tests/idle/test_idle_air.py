"""Air against displacement, engines without a throttle, the cold idle, glances."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from idle_cars import idle, wander

from tickover.idle import IdleReading, compare, parse_glances, read_glances, read_idle
from tickover.idle.cold import cold_words
from tickover.idle.expect import FILLING, air_taken
from tickover.results import CannotTell, Quantity
from tickover.signals import Recording


def read(recording, **how):
    return read_idle(recording, np.random.default_rng(1), **how)


def q(value, unit):
    return Quantity(value=value, lo=value, hi=value, unit=unit)


def test_speed_density_of_the_worked_figure():
    found = air_taken(2.0, q(35.0, "kPa"), q(700.0, "r/min"), (40.0, 0.0))
    # 3.407 g/s at 0.75; ours takes the middle of 0.60 to 0.85
    assert found.value * 0.75 / (sum(FILLING) / 2) == pytest.approx(3.407, abs=0.001)
    assert found.lo == pytest.approx(2.726, abs=0.001)
    assert found.hi == pytest.approx(3.861, abs=0.001)


def test_an_air_meter_against_the_cylinders():
    def meter(value):
        return read(idle(air_flow=lambda t, _: np.full(len(t), value) + 0.02 * np.sin(t)), displacement=1.5).expected[1]

    assert meter(1.8).agrees
    low, high = meter(0.7), meter(4.0)
    assert not low.agrees
    assert "under-reads" in low.says
    assert "over-reads" in high.says


def standing_outside(running):
    return idle(manifold_pressure=lambda t, _: np.where(t < 0, 101.0, running + np.sin(t)))


def test_pressure_alone_gives_the_air_and_its_range():
    pressure, air = read(idle(), displacement=1.5).expected
    assert pressure.agrees
    assert air.lo < air.measured.value < air.hi
    assert (air.hi - air.lo) / air.measured.value > 0.3  # filling is not known better
    assert not read(standing_outside(55.0), displacement=1.5).expected[0].agrees


def test_without_a_displacement_nothing_is_said_and_nonsense_is_refused():
    assert read(idle()).expected == ()
    with pytest.raises(ValueError, match="litres"):
        read(idle(), displacement=1500)


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"barometric_pressure": lambda t, _: np.full(len(t), 100.0), "pressure": 97.0}, "outside it is 100"),
        ({"manifold_pressure": lambda t, _: np.where(t < 0, 101.0, 98.0)}, "standing at 101"),
        ({"manifold_pressure": lambda t, _: np.full(len(t), 283.0)}, "sea level"),
    ],
)
def test_an_engine_without_a_throttle_is_not_measured(change, says):
    found = read(idle(**change))
    assert isinstance(found, CannotTell)
    assert "no throttle is at work" in found.reason
    assert says in found.reason
    assert "unit" in found.way_out


def test_a_high_idle_pressure_under_load_is_still_throttled():
    assert isinstance(read(standing_outside(60.0)), IdleReading)


def warming(**change):
    def coolant(t, _):
        return np.clip(30 + t / 5, -40, 90)

    def speed(t, v):
        return np.where(t < 0, 0, v + np.maximum(0, 10 * (75 - coolant(t, None))))

    return idle(seconds=400, coolant_temperature=coolant, engine_speed=speed, **change)


def test_the_cold_idle_follows_coolant():
    found = read(warming())
    by = {c.coolant: c.speed.value for c in found.cold}
    assert by[40.0] == pytest.approx(1050, abs=30)
    assert by[60.0] == pytest.approx(850, abs=30)
    assert "no fault" in cold_words(found.cold)
    assert found.states[0].speed.value == pytest.approx(700, abs=5)


def test_one_that_is_never_warm_still_says_how_it_idled_cold():
    found = read(Recording({n: s.between(-9, 200) for n, s in warming().series.items()}))
    assert isinstance(found, CannotTell)
    assert "Cold idle follows coolant" in found.way_out


def test_a_cold_idle_that_does_not_fall_points_at_the_sensor():
    flat = idle(seconds=400, coolant_temperature=lambda t, _: 30 + t / 5, engine_speed=lambda t, v: v + t / 10)
    assert "sensor" in cold_words(read(flat).cold)


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("700 720 690", (700, 720, 690)),
        ("700, 720;690", (700, 720, 690)),
        ("before.csv", None),
        ("700", None),
        ("700 x", None),
    ],
)
def test_glances_are_told_from_a_file_name(text, found):
    assert parse_glances(text) == found


def test_ten_glances():
    found = read_glances((700, 720, 690, 710, 700, 700, 680, 710, 700, 690))
    speed = found.states[0].speed
    assert speed.value == 700
    assert 10 < speed.half_width < 25
    assert found.by_eye
    assert isinstance(found.states[0].trim, CannotTell)


def test_glances_that_all_read_the_same_are_no_better_than_the_scale():
    speed = read_glances((700,) * 10).states[0].speed
    assert speed.half_width >= 50
    fine = read_glances((690, 710, 700, 705, 695, 700, 690, 710, 700, 705)).states[0].speed
    assert fine.half_width < 20


def test_too_few_glances_and_impossible_ones():
    assert isinstance(read_glances((700, 710)), CannotTell)
    with pytest.raises(ValueError, match="100 to 3000"):
        read_glances((700, 710, 7, 700, 700))


@given(st.lists(st.integers(400, 1500), min_size=5, max_size=20))
def test_law_the_interval_holds_the_mean_and_is_never_narrower_than_half_a_step(values):
    speed = read_glances(tuple(map(float, values))).states[0].speed
    assert speed.lo <= np.mean(values) <= speed.hi
    assert speed.half_width >= 8


def test_coverage_of_glances():
    rng = np.random.default_rng(8)
    hits = 0
    for _ in range(300):
        step = rng.choice([10, 25, 50])
        level = 700 + rng.uniform(-40, 40)
        seen = level + wander(rng, 10, rng.uniform(4, 20), 0.5)
        speed = read_glances(tuple(np.round(seen / step) * step)).states[0].speed
        hits += speed.lo <= level <= speed.hi
    assert hits / 300 >= 0.93


def test_glances_before_a_log_after():
    before = read_glances((900, 950, 900, 900, 950, 900, 900, 900, 950, 900))
    after = read(idle(mean=702, seconds=240))
    found = compare(before, after, normal=(650, 750))
    assert found.verdict == "settled"
    assert any("your word" in r for r in found.rests_on)
    near = read_glances((700, 720, 710, 700, 690, 700, 710, 720, 700, 700))
    assert compare(near, after).verdict in ("cannot tell", "no change")
