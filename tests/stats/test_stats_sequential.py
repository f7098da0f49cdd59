"""Laws of the sequential tests."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tickover.errors import SignalRangeError
from tickover.stats.sequential import (
    binomial_lines,
    cusum,
    cusum_run_length,
    ewma_cycles,
    fixed_sample,
    normal_steps,
    sprt,
    sprt_bounds,
    sprt_expected,
    weight_of_latest,
)

rates = st.floats(0.001, 0.45)


@given(rates, rates)
def test_bounds_lie_either_side_of_nought_and_widen_as_errors_shrink(alpha, beta):
    wide, narrow = sprt_bounds(alpha / 2, beta / 2), sprt_bounds(alpha, beta)
    assert wide.lower < narrow.lower < 0 < narrow.upper < wide.upper


@given(st.lists(st.floats(-5, 5), max_size=40), rates, rates)
def test_the_test_stops_at_its_first_crossing_and_nowhere_else(steps, alpha, beta):
    run, bounds = sprt(steps, alpha, beta), sprt_bounds(alpha, beta)
    inside = (run.sums < bounds.upper) & (run.sums > bounds.lower)
    if run.decision == "undecided":
        assert run.at is None
        assert inside.all()
        assert len(run.sums) == len(steps)
    else:
        assert run.at == len(run.sums)
        assert inside[:-1].all()
        assert not inside[-1]
        assert (run.decision == "alternative") == (run.sums[-1] >= bounds.upper)


def test_error_rates_hold_on_drawn_values():
    rng = np.random.default_rng(5)
    for truth, wrong, most in ((0.0, "alternative", 0.05), (1.0, "null", 0.10)):
        runs = [sprt(normal_steps(rng.normal(truth, 1, 200), 0, 1, 1), 0.05, 0.10) for _ in range(1200)]
        share = np.mean([r.decision == wrong for r in runs])
        assert all(r.decision != "undecided" for r in runs)
        assert 0.4 * most < share <= most * 1.02  # the excess over the bounds makes it better than stated, not worse


def test_it_needs_fewer_values_than_a_fixed_sample():
    null, back = sprt_expected(-0.5, 0.5, 0.05, 0.05)
    assert max(null, back) < 0.6 * fixed_sample(1.0, 0.05, 0.05)


@given(st.lists(st.floats(-4, 4), min_size=1, max_size=60), st.floats(0.1, 1.5), st.floats(0.5, 6))
def test_cumulative_sums_follow_their_recursion(values, slack, limit):
    found, up, down, n = cusum(values, 0.0, slack, limit), 0.0, 0.0, 0
    for k, x in enumerate(values):
        up, down = max(0.0, up + x - slack), max(0.0, down - x - slack)
        n = n + 1 if up > 1e-12 else 0
        assert found.high[k] == pytest.approx(up, abs=1e-9)
        assert found.low[k] == pytest.approx(down, abs=1e-9)
        if up > 1e-9:
            assert found.since_high[k] == n
    over = np.flatnonzero((found.high > limit) | (found.low > limit))
    assert found.at == (over[0] + 1 if len(over) else None)


def test_watching_upward_only_ignores_a_fall():
    falls = [-3.0] * 10
    assert cusum(falls, 0.0, 0.5, 4.0).upward is False
    assert cusum(falls, 0.0, 0.5, 4.0, two_sided=False).at is None


@settings(max_examples=5, deadline=None)
@given(st.floats(0.25, 1.0), st.floats(2.0, 5.0))
def test_run_lengths_fall_with_the_shift_and_rise_with_the_limit(slack, limit):
    plain = cusum_run_length(slack, limit)
    assert plain < cusum_run_length(slack, limit + 0.5)
    assert plain < cusum_run_length(slack, limit, two_sided=False)
    lengths = [cusum_run_length(slack, limit, shift) for shift in (0.0, 0.5, 1.0, 2.0)]
    assert lengths == sorted(lengths, reverse=True)


def test_a_run_length_is_what_drawn_values_need():
    rng = np.random.default_rng(3)
    draws = rng.normal(1.0, 1.0, (1500, 60))
    ends = [cusum(row, 0.0, 0.5, 4.0).at for row in draws]
    assert None not in ends
    assert np.mean(ends) == pytest.approx(cusum_run_length(0.5, 4.0, 1.0), rel=0.04)


@given(st.floats(0, 500), st.floats(0.5, 50), st.floats(0, 20))
def test_a_counter_needs_as_many_cycles_as_its_recursion(now, below, current):
    found, value = ewma_cycles(now, below, current=current, rounds=False), now
    if found is None:
        assert current >= below or now <= current
        return
    for _ in range(found):
        assert value >= below
        value = 0.1 * current + 0.9 * value
    assert value < below


def test_a_counter_of_whole_numbers_sticks_where_rounding_holds_it():
    assert ewma_cycles(5, 4) is None  # 4.5 rounds to 5
    assert ewma_cycles(100, 10) == 24
    assert ewma_cycles(100, 10, rounds=False) == 22
    assert ewma_cycles(3, 10) == 0


@pytest.mark.parametrize(
    "call",
    [
        lambda: sprt_bounds(0.0, 0.1),
        lambda: sprt_bounds(0.1, 0.5),
        lambda: normal_steps([1.0], 0, 1, 0),
        lambda: sprt_expected(0.1, 0.5, 0.05, 0.05),
        lambda: sprt_expected(-0.1, -0.5, 0.05, 0.05),
        lambda: fixed_sample(0, 0.05, 0.05),
        lambda: binomial_lines(0.3, 0.1, 0.05, 0.05),
        lambda: cusum([1.0], 0, 0, 4),
        lambda: cusum_run_length(0.5, 0),
        lambda: ewma_cycles(1, 0),
        lambda: ewma_cycles(1, 1, share=0),
    ],
)
def test_what_cannot_be_is_refused_with_its_value(call):
    with pytest.raises(SignalRangeError):
        call()


def test_weight_of_the_latest_cycles_sums_to_one():
    assert weight_of_latest(0) == 0
    assert weight_of_latest(1000) == pytest.approx(1)
    assert weight_of_latest(3, share=1.0) == 1
