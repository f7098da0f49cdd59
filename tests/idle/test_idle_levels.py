"""An idle told from a held speed without a pedal: certain, or not told."""

import numpy as np
import pytest
from idle_cars import idle

from tickover.idle import IdleReading, read_idle
from tickover.idle.levels import held_open
from tickover.signals import Recording, Series


def car(*parts, seed=1):
    """Parts of (seconds, speed, throttle), then left alone; no pedal."""
    rng = np.random.default_rng(seed)
    n = [int(p[0]) for p in parts]
    t = np.arange(float(sum(n)))
    speed, throttle = (np.repeat([float(p[k]) for p in parts], n) for k in (1, 2))
    signals = {
        "engine_speed": speed + rng.normal(0, 8, len(t)),
        "vehicle_speed": np.zeros(len(t)),
        "coolant_temperature": np.full(len(t), 90.0),
        "throttle_position": throttle + rng.choice([0, 0.4], len(t)),
    }
    return Recording({name: Series.at(t, x) for name, x in signals.items()})


def speeds(recording):
    found = read_idle(recording, np.random.default_rng(1))
    return [round(s.speed.value, -1) for s in found.states] if isinstance(found, IdleReading) else []


@pytest.mark.parametrize(
    ("parts", "read"),
    [
        (((120, 980, 2), (120, 2500, 9)), [980]),
        (((20, 750, 2), (220, 2500, 9)), [750]),
        (((200, 750, 2), (20, 2500, 9)), [750]),
        (((60, 750, 2), (60, 860, 4.5), (60, 2500, 9)), [750, 860]),  # a load lifts speed and throttle, and is no foot
        (((60, 750, 2), (60, 1500, 5), (60, 2500, 9)), [750]),  # of three levels only the lowest
        (((240, 2500, 9),), []),  # one level: nobody can tell, and it is too fast
        (((120, 1500, 5), (120, 2500, 9)), []),  # the lowest may be a foot
        (((120, 980, 2), (120, 2500, 2)), []),  # the throttle does not bear it out
    ],
)
def test_only_the_lowest_level_of_speed_and_throttle_is_an_idle(parts, read):
    assert speeds(car(*parts)) == read


@pytest.mark.parametrize("seed", range(12))
def test_a_held_speed_is_never_read_as_an_idle_whatever_the_levels(seed):
    rng = np.random.default_rng(seed)
    parts = [(rng.integers(20, 120), 650 + 300 * rng.random(), 2.0)]
    parts += [(rng.integers(10, 120), 1500 + 1500 * rng.random(), 4 + 8 * rng.random()) for _ in range(3)]
    order = rng.permutation(4)
    assert all(s < 1200 for s in speeds(car(*(parts[k] for k in order), seed=seed)))


def test_one_level_is_not_judged():
    recording = car((120, 750, 2))
    edge = np.append(recording["engine_speed"].t_hi, 120.0)
    assert held_open(recording, np.ones(120, dtype=bool), edge) is None
    assert speeds(idle(leave_out=("pedal_d",))) == [700]
