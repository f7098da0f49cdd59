"""Hunting, let-ups of the pedal, near-stalls."""

import numpy as np
import pytest
from idle_cars import idle, wander

from tickover.idle import Hunting, read_idle
from tickover.idle.hunting import either, grain
from tickover.idle.words import hunting_words, release_words
from tickover.results import CannotTell, Quantity
from tickover.signals import Recording, Series


def read(recording, **how):
    return read_idle(recording, np.random.default_rng(1), **how)


def hunting(f, size, **how):
    return idle(engine_speed=lambda t, v: np.where(t < 0, 0, v + size * np.sin(2 * np.pi * f * t)), **how)


def test_size_and_frequency_at_ten_a_second():
    found = read(hunting(0.62, 90, step=0.1, seconds=90))
    assert isinstance(found.hunting, Hunting)
    assert found.hunting.found
    assert found.hunting.size.value == pytest.approx(90, abs=5)
    assert found.hunting.frequency.lo < 0.62 < found.hunting.frequency.hi
    assert not any("how fast" in r.reason for r in found.refusals)
    assert "yes, by 9" in hunting_words(found.hunting)


def test_at_one_a_second_the_aliases_are_listed_and_none_is_claimed():
    found = read(hunting(0.7, 90, step=1.0, seconds=200))
    assert found.hunting.found
    assert found.hunting.candidates == pytest.approx((0.3, 0.7, 1.3, 1.7), abs=0.01)
    assert isinstance(found.hunting.frequency, CannotTell)
    assert "0.3, 0.7, 1.3 or 1.7 Hz: cannot tell at this rate" in hunting_words(found.hunting)
    (no,) = [r for r in found.refusals if "how fast" in r.reason]
    assert "uneven" in no.way_out


def test_uneven_polling_lifts_the_aliases():
    rng = np.random.default_rng(5)
    t = np.cumsum(rng.uniform(0.6, 1.4, 150))
    x = 700 + 80 * np.sin(2 * np.pi * 1.3 * t) + wander(rng, len(t), 8, 0.4)
    found = read(Recording({"engine_speed": Series.at(t, x)}))
    assert found.hunting.candidates == pytest.approx((1.3,), abs=0.01)


def test_a_rough_engine_does_not_hunt():
    found = read(idle(sd=40, r=0.7, seconds=300))
    assert found.swing.value > 40
    assert not found.hunting.found
    assert "none found" in hunting_words(found.hunting)


def test_fan_cycling_is_not_hunting():
    fan = idle(
        seconds=600,
        step=0.5,
        engine_speed=lambda t, v: np.where(t < 0, 0, v + 40 * np.sign(np.sin(2 * np.pi * t / 110))),
        coolant_temperature=lambda t, _: 91 + 3 * np.sin(2 * np.pi * t / 110),
    )
    found = read(fan)
    assert found.swing.value > 30
    assert not found.hunting.found


def test_a_load_that_cycles_is_not_hunting():
    def on(t):
        return (t % 24) < 12

    cycling = idle(
        seconds=300,
        engine_speed=lambda t, v: np.where(t < 0, 0, v + np.where(on(t), 150, 0)),
        throttle_position=lambda t, _: np.where(on(t), 18.2, 15.7),
    )
    found = read(cycling)
    assert not (isinstance(found.hunting, Hunting) and found.hunting.found)


def test_even_slow_polling_says_what_it_cannot_see():
    found = read(idle(step=1.0, seconds=200))
    assert found.hunting.unseen == (1.0, 2.0)
    assert "keeps step" in hunting_words(found.hunting)
    assert read(idle(step=0.1, seconds=60)).hunting.unseen == ()


def test_too_short_to_tell():
    found = read(idle(seconds=22, step=0.5))
    assert isinstance(found.hunting, CannotTell)
    assert found.hunting in found.refusals


def test_a_list_of_frequencies_keeps_them_apart():
    assert either([1.7, 0.3, 1.3, 0.7]) == "0.3, 0.7, 1.3 or 1.7"
    assert either([0.62]) == "0.6"
    assert either([0.48, 0.52]) == "0.48 or 0.52" or either([0.48, 0.52]) == "0.5 or 0.5"


def test_how_coarsely_instants_are_known():
    exact = Recording({"engine_speed": Series.at(np.arange(50.0), np.arange(50.0))})
    assert grain(exact, "engine_speed") == 0
    t = np.arange(0, 90, 1.8) + np.random.default_rng(1).uniform(0, 0.3, 50)
    rows = np.arange(0, 90, 0.49)
    held = np.searchsorted(rows, t)
    t_hi = rows[np.minimum(held, len(rows) - 1)]
    speed = Series.of(np.append(t_hi[0] - 1.8, t_hi[:-1]), t_hi, np.arange(50.0))
    other = Series.of(rows - 0.49, rows, rows)
    assert grain(Recording({"engine_speed": speed, "run_time": other}), "engine_speed") == pytest.approx(0.49)
    whole = np.cumsum(np.random.default_rng(2).integers(1, 3, 50)).astype(float)
    stamped = Recording({"engine_speed": Series.of(np.append(0, whole[:-1]), whole, whole)})
    assert grain(stamped, "engine_speed") == 1.0


def let_up(fall, step=0.1, **how):
    """A blip to 2500 r/min at 60 s, let up at 62 s; ``fall``: speed above idle by seconds since."""

    def speed(t, v):
        blip = np.where((t >= 60) & (t < 62), 1800 * np.minimum((t - 60) / 0.5, 1), 0)
        return np.where(t < 0, 0, v + blip + np.where(t >= 62, fall(t - 62), 0))

    def pedal(t, _):
        return np.where((t >= 60) & (t < 62), 30.0, 16.08)

    return idle(step=step, engine_speed=speed, pedal_d=pedal, sd=4, **how)


def test_settling_time_after_a_let_up():
    # 1800 · exp(−s / 0.5) is 60 at 1.7 s
    (one,) = read(let_up(lambda s: 1800 * np.exp(-s / 0.5))).releases
    assert one.settles.value == pytest.approx(1.7, abs=0.15)
    assert one.settles.lo <= 1.7 <= one.settles.hi + 0.1
    assert one.hanging == "no"
    assert one.peak > 2300
    assert "Not hanging" in release_words(one)


def test_an_idle_that_hangs():
    (one,) = read(let_up(lambda s: np.where(s < 5, 400.0, 400 * np.exp(-(s - 5) / 0.5)))).releases
    assert one.hanging == "yes"
    assert one.above.value == pytest.approx(5.3, abs=0.2)
    (quick,) = read(let_up(lambda s: np.where(s < 2, 400.0, 0))).releases
    assert quick.hanging == "no"
    (low,) = read(let_up(lambda s: np.where(s < 8, 150.0, 0))).releases
    assert low.hanging == "no"  # 150 above is not 200
    assert low.settles.value == pytest.approx(8, abs=0.3)


def test_slow_polling_cannot_tell_whether_it_hung():
    (one,) = read(let_up(lambda s: np.where(s < 3.0, 400.0, 0), step=1.8)).releases
    assert one.hanging == "cannot tell"
    assert one.settles.hi - one.settles.lo > 1.5


def test_one_that_never_settles_is_said_to_be_at_least():
    (one,) = read(let_up(lambda s: np.full_like(s, 100.0), seconds=75)).releases
    assert one.settles.hi is None
    assert "not within 60" in release_words(one)


def test_a_let_up_while_rolling_or_cold_does_not_count():
    rolling = let_up(lambda s: 0 * s, vehicle_speed=lambda t, _: np.where((t > 55) & (t < 70), 20.0, 0))
    assert read(rolling).releases == ()
    assert read(idle(leave_out=("pedal_d",))).releases == ()


def test_a_hunting_engine_has_no_settling_time():
    def speed(t):
        return 90 * np.sin(2 * np.pi * 0.6 * t)

    blip = let_up(lambda s: 1800 * np.exp(-s / 0.5))
    old = blip["engine_speed"]
    hunted = Series.at(old.t_hi, np.where(old.t_hi < 0, 0, old.value + speed(old.t_hi)))
    found = read(Recording({**blip.series, "engine_speed": hunted}))
    assert found.hunting.found
    assert isinstance(found.releases[0].settles, CannotTell)
    assert "it hunts by" in release_words(found.releases[0])


def test_near_stalls():
    dipped = idle(engine_speed=lambda t, v: np.where((t > 50) & (t < 51) | (t > 80) & (t < 81), 330.0, v))
    assert [(round(d.at), d.lowest) for d in read(dipped).dips] == [(50, 330.0), (80, 330.0)]
    assert read(idle()).dips == ()
    # on the way to a stop, 300 r/min is no near-stall
    stopping = idle(
        engine_speed=lambda t, v: np.where((t > 50) & (t < 51), 300.0, np.where((t >= 51) & (t < 60), 0, v))
    )
    found = read(stopping)
    assert found.dips == ()
    assert any("stopped or stalled" in r.reason for r in found.refusals)


def test_stop_start_uses_running_stretches_only():
    def speed(t, v):
        return np.where((t % 60) > 40, 0.0, v)

    found = read(idle(seconds=300, engine_speed=speed))
    (state,) = found.states
    assert state.speed.value == pytest.approx(700, abs=3)
    assert state.seconds == pytest.approx(5 * 30, abs=8)  # each 40 s without its first ten
    assert isinstance(state.speed, Quantity)
