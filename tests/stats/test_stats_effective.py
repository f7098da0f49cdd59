"""Effective samples and the block bootstrap."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.signal import lfilter

from tickover.errors import SignalError
from tickover.stats import autocorrelation, effective_samples, mean_and_spread


def first_order(r: float, n: int, seed: int) -> np.ndarray:
    """A first-order process of unit variance."""
    noise = np.random.default_rng(seed).normal(size=n + 500) * math.sqrt(1 - r * r)
    return lfilter([1.0], [1.0, -r], noise)[500:]


@pytest.mark.parametrize(("r", "inflation"), [(0.3, 1.857), (0.6, 4.0), (0.9, 19.0)])
def test_inflation_of_a_first_order_process(r, inflation):
    x = first_order(r, 60_000, 5)
    worth = effective_samples(x)
    assert worth.n / worth.stated == pytest.approx(inflation, rel=0.12)


def test_a_slow_wander_under_fast_noise_is_not_worth_what_its_first_lag_says():
    rng = np.random.default_rng(2)
    x = first_order(0.97, 2000, 3) + rng.normal(size=2000)
    r1 = autocorrelation(x, 1)[1]
    kind = len(x) * (1 - r1) / (1 + r1)
    assert effective_samples(x).stated < kind / 4


def test_products_are_not_taken_across_a_break():
    # two pieces that step: inside each piece white, across the break nothing may be paired
    x = np.array([1.0, -1.0, 1.0, -1.0, 1.0, -1.0])
    joined = autocorrelation(x, 1)
    apart = autocorrelation(x, 1, groups=[0, 0, 1, 1, 2, 2])
    assert joined[1] == pytest.approx(-1.0)
    assert apart[1] == pytest.approx(-1.0)
    assert autocorrelation(x, 3, groups=[0, 0, 1, 1, 2, 2])[2:].tolist() == [0.0, 0.0]


def test_a_constant_series_is_worth_one():
    assert effective_samples(np.full(50, 651.25)).stated == 1.0
    found = mean_and_spread(np.full(50, 0.1), np.random.default_rng(0))
    assert (found.lo, found.mean, found.hi, found.sd) == (0.1, 0.1, 0.1, 0.0)


@pytest.mark.parametrize("bad", [[], [1.0, math.nan], [[1.0], [2.0]]])
def test_what_is_not_a_series_is_refused(bad):
    with pytest.raises(SignalError):
        effective_samples(bad)


def test_weights_must_be_positive():
    with pytest.raises(SignalError):
        mean_and_spread([1.0, 2.0], np.random.default_rng(0), weights=[1.0, 0.0])


def test_too_few_lags_are_refused():
    with pytest.raises(SignalError):
        autocorrelation([1.0, 2.0], 2)


@pytest.mark.parametrize(("r", "n"), [(0.3, 200), (0.9, 520)])
def test_coverage(r, n):
    rng = np.random.default_rng(11)
    runs = 150
    hits = naive = 0
    for i in range(runs):
        x = first_order(r, n, 1000 + i)
        found = mean_and_spread(x, rng, draws=300)
        hits += found.lo <= 0 <= found.hi
        half = 1.96 * x.std() / math.sqrt(n)
        naive += abs(x.mean()) <= half
    assert hits / runs >= 0.89
    assert naive / runs < 0.87  # rows taken as independent fall short


@given(
    st.lists(st.floats(-1e6, 1e6), min_size=1, max_size=60),
    st.integers(0, 2**32 - 1),
)
@settings(max_examples=60, deadline=None)
def test_law_the_interval_holds_the_mean_and_n_eff_stays_in_range(values, seed):
    found = mean_and_spread(values, np.random.default_rng(seed), draws=50)
    assert found.lo <= found.mean <= found.hi
    assert found.sd_lo <= found.sd <= found.sd_hi
    assert 1 <= found.n_eff <= found.n == len(values)


@given(st.lists(st.floats(-1e3, 1e3), min_size=4, max_size=40), st.floats(-1e3, 1e3))
@settings(max_examples=60, deadline=None)
def test_law_a_shift_moves_the_mean_and_nothing_else(values, shift):
    a = mean_and_spread(values, np.random.default_rng(1), draws=50)
    b = mean_and_spread(np.asarray(values) + shift, np.random.default_rng(1), draws=50)
    assert b.mean - a.mean == pytest.approx(shift, abs=1e-6)
    assert b.sd == pytest.approx(a.sd, abs=1e-5)


def test_weights_of_two_are_the_sample_twice():
    rng = np.random.default_rng(4)
    x = rng.normal(size=30)
    w = np.where(np.arange(30) < 10, 2.0, 1.0)
    found = mean_and_spread(x, rng, weights=w)
    assert found.mean == pytest.approx(np.concatenate([x[:10], x[:10], x[10:]]).mean())
    assert found.sd == pytest.approx(np.concatenate([x[:10], x[:10], x[10:]]).std())
