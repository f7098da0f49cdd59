"""Which pieces of a recording are idle, and why each begins and ends."""

import itertools

import numpy as np
import pytest
from idle_cars import idle

from tickover.idle import stretches
from tickover.idle.stretches import pedal_rest
from tickover.signals import Recording, Series


def used(recording):
    return [s for s in stretches(recording) if s.used]


def why(recording):
    return [s.unused_because for s in stretches(recording) if not s.used]


def test_a_plain_idle_leaves_out_key_on_and_ten_seconds():
    found = stretches(idle())
    assert [s.used for s in found] == [False, False, True]
    assert found[0].unused_because == "the engine does not run"
    assert found[1].unused_because == "first 10 s after a start"
    assert found[2].start == pytest.approx(10.0, abs=0.5)
    assert found[2].starts_because == "10 s after the start"
    assert found[2].ends_because == "the log ends"


def test_the_pieces_follow_each_other_without_a_gap():
    found = stretches(idle(vehicle_speed=lambda t, _: np.where((t > 40) & (t < 50), 20.0, 0.0)))
    assert all(a.stop == b.start for a, b in itertools.pairwise(found))


def test_ten_seconds_after_an_automatic_start_are_left_out_too():
    stop_start = idle(engine_speed=lambda t, v: np.where((t > 50) & (t < 60), 0.0, v))
    first, second = used(stop_start)
    assert first.ends_because == "the engine stops"
    assert second.start == pytest.approx(70.0, abs=1.0)


def test_a_near_stall_is_not_a_start():
    (one,) = used(idle(engine_speed=lambda t, v: np.where((t > 50) & (t < 51), 220.0, v)))
    assert one.stop > 119


def test_a_moving_car_is_not_idling():
    a, b = used(idle(vehicle_speed=lambda t, _: np.where((t > 40) & (t < 60), 30.0, 0.0)))
    assert a.ends_because == "the car moves off"
    assert b.start == pytest.approx(65.0, abs=1.0)
    assert b.starts_because == "5 s after the pedal or the road"


def test_a_pressed_pedal_is_not_idling():
    a, b = used(idle(pedal_d=lambda t, _: np.where((t > 40) & (t < 45), 30.0, 16.08)))
    assert a.ends_because == "the pedal is pressed"
    assert b.start == pytest.approx(50.0, abs=1.0)


def test_the_pedals_rest_is_learned_even_where_it_is_mostly_held():
    track = np.concatenate([np.full(30, 16.08), np.full(300, 28.0), [12.0]])
    assert pedal_rest(Series.at(np.arange(len(track)), track)) == pytest.approx(16.08)


def test_cold_is_not_idling_and_fan_cycling_does_not_end_it():
    warming = idle(coolant_temperature=lambda t, _: np.minimum(60 + t, 95))
    (one,) = used(warming)
    assert one.start == pytest.approx(20.0, abs=1.0)
    assert one.starts_because == "coolant reaches 80 °C"
    cycling = idle(coolant_temperature=lambda t, _: 79 + 1.5 * np.sign(np.sin(t / 10)))
    (one,) = used(cycling)
    assert one.stop > 119


def test_open_loop_by_a_short_trim_that_stands_at_zero():
    late = idle(short_trim_1=lambda t, v: np.where(t < 40, 0.0, np.where(v == 0, 0.78, v)))
    (one,) = used(late)
    assert one.start == pytest.approx(40.0, abs=1.0)
    assert one.starts_because == "fuel goes into closed loop"
    assert "fuel not in closed loop" in why(late)


def test_a_trim_that_passes_through_zero_is_alive():
    (one,) = used(idle(short_trim_1=lambda t, _: np.where((t > 40) & (t < 45), 0.0, 1.56)))
    assert one.stop > 119


def test_status_goes_before_the_proxy():
    recording = idle(
        short_trim_1=lambda t, _: np.zeros(len(t)), fuel_system_status=lambda t, _: np.where(t < 30, 1.0, 2.0)
    )
    (one,) = used(recording)
    assert one.start == pytest.approx(30.0, abs=1.0)


def test_a_gap_in_the_log_is_no_idle():
    full = idle()
    keep = (full["engine_speed"].t_hi < 50) | (full["engine_speed"].t_hi > 70)
    cut = Recording({n: Series(s.t_lo[keep], s.t_hi[keep], s.value[keep]) for n, s in full.series.items()})
    a, b = used(cut)
    assert a.stop <= 50
    assert b.start >= 70
    assert "nothing was recorded" in why(cut)


def test_no_engine_speed_no_stretches():
    assert stretches(Recording({})) == ()
    assert stretches(idle(leave_out=("engine_speed",))) == ()
