"""How people time, by published laws: simulated here from their models, compared with their formulas and with ours."""

import numpy as np
import pytest

from tickover.timing import Person
from tickover.timing.person import Counting


@pytest.mark.parametrize(
    ("clock", "motor", "sd", "lag_one"), [(20, 8, 22.98, -0.1212), (15, 10, 20.62, -0.2353), (10, 10, 17.32, -1 / 3)]
)
def test_clock_and_movement_make_neighbouring_intervals_gainsay_each_other(
    clock: float, motor: float, sd: float, lag_one: float
) -> None:
    """From memory: Wing & Kristofferson, Perception & Psychophysics 14 (1973) 5–12.

    I = C + D(k) − D(k−1): variance sC² + 2 sD², covariance of neighbours −sD². An interval between two taps so carries
    the movement twice: our ``motor_sd`` is √2 of theirs.
    """
    rng = np.random.default_rng(7)
    n = 400_000
    delays = motor * rng.standard_normal(n + 1)
    intervals = 500 + clock * rng.standard_normal(n) + np.diff(delays)
    assert intervals.std() == pytest.approx(sd, rel=0.01)
    covariance = np.mean((intervals[1:] - intervals.mean()) * (intervals[:-1] - intervals.mean()))
    assert covariance == pytest.approx(-(motor**2), rel=0.05)
    assert covariance / intervals.var() == pytest.approx(lag_one, abs=0.006)
    ours = Person(cv=clock / 500, motor_sd=np.sqrt(2) * motor / 1000)
    assert 1000 * ours.spread(0.5) == pytest.approx(sd, abs=0.01)


def test_counting_aloud_spreads_with_the_root_of_the_count() -> None:
    """From memory: Hinton & Rao, Psychonomic Bulletin & Review 11 (2004) 24–30: a sum of independent counts.

    Simulated count by count; timing by feel at 8, 16 and 24 s has the same share of spread, counting 1/√T of it.
    """
    rng = np.random.default_rng(8)
    counting = Counting(per_count_sd=0.05, pace_sd=0.0, motor_sd=0.0)
    for seconds in (8, 16, 24):
        counted = (1 + 0.05 * rng.standard_normal((40_000, seconds))).sum(axis=1)
        assert counted.std() == pytest.approx(counting.spread(seconds), rel=0.015)
        assert counted.std() / seconds == pytest.approx(0.05 / np.sqrt(seconds), rel=0.015)
        assert Person(cv=0.1, motor_sd=0.0).spread(seconds) / seconds == pytest.approx(0.1)


def test_half_counts_and_a_pace_that_differs_from_time_to_time() -> None:
    """From memory: as above, by half seconds, and a pace common to all counts of one interval, which is a floor."""
    rng = np.random.default_rng(9)
    n = 40_000
    pace = 1 + 0.03 * rng.standard_normal(n)
    for counts in (4, 16, 64):
        made = pace * (0.5 * (1 + 0.06 * rng.standard_normal((n, counts)))).sum(axis=1)
        ours = Counting(per_count_sd=0.06, pace_sd=0.03, count=0.5, motor_sd=0.0)
        assert made.std() == pytest.approx(ours.spread(counts / 2), rel=0.015)


def test_figures_of_spread_by_length() -> None:
    """From memory: the table worked out from the two laws, shares within half a second and a second of the target."""
    normal = 0.6826894921
    assert Person(cv=0.1, motor_sd=0.0).spread(5.0) == pytest.approx(0.5)
    rng = np.random.default_rng(10)
    z = rng.standard_normal(400_000)
    for seconds, feel, counted in ((3, 0.904, 1.0), (5, normal, 1.0), (10, 0.383, 0.998), (20, 0.197, 0.975)):
        by_feel = Person(cv=0.1, motor_sd=0.0).spread(seconds) * z
        by_count = Counting(per_count_sd=0.05, pace_sd=0.0, motor_sd=0.0).spread(seconds) * z
        assert np.mean(np.abs(by_feel) <= 0.5) == pytest.approx(feel, abs=0.003)
        assert np.mean(np.abs(by_count) <= 0.5) == pytest.approx(counted, abs=0.003)
