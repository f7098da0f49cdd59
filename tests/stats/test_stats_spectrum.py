"""Spectrum on true times, the search for one regular swing, and the robust slope."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tickover.errors import SignalError
from tickover.stats import lomb_scargle, strongest_line, theil_sen


def uneven(seed, n=120):
    return np.cumsum(np.random.default_rng(seed).uniform(0.2, 0.9, n))


def line_of(t, x, seed=1, **how):
    return strongest_line(t, x, np.zeros(len(t), dtype=np.int64), np.random.default_rng(seed), band=(0.15, 2.0), **how)


@given(st.integers(0, 10_000), st.floats(0.2, 1.5), st.floats(-1e4, 1e4), st.floats(0.1, 1e3))
@settings(max_examples=40, deadline=None)
def test_law_a_pure_sine_has_power_one_whatever_its_offset_and_size(seed, f, offset, size):
    t = uneven(seed)
    x = offset + size * np.sin(2 * np.pi * f * t + 1)
    assert lomb_scargle(t, x, [f])[0] == pytest.approx(1.0, abs=1e-6)


@given(st.integers(0, 10_000))
@settings(max_examples=30, deadline=None)
def test_law_power_lies_in_0_to_1_and_shift_and_scale_change_nothing(seed):
    t = uneven(seed)
    x = np.random.default_rng(seed).normal(size=len(t))
    f = np.linspace(0.1, 2, 40)
    p = lomb_scargle(t, x, f)
    assert p.min() >= 0
    assert p.max() <= 1
    assert lomb_scargle(t + 1e4, 700 + 3 * x, f) == pytest.approx(p, abs=1e-6)


def test_a_constant_has_no_power_and_even_sampling_mirrors():
    t = np.arange(60.0)
    assert lomb_scargle(t, np.full(60, 650.25), [0.2, 0.5]).tolist() == [0, 0]
    x = np.sin(2 * np.pi * 0.3 * t)
    assert lomb_scargle(t, x, [0.3, 0.7, 1.3, 1.7]) == pytest.approx([1, 1, 1, 1], abs=1e-9)


@pytest.mark.parametrize(
    ("t", "x", "f"),
    [
        ([1, 2, 3], [1, 2, 3], [1]),
        ([1, 2, 3, 4], [1, 2, 3], [1]),
        ([1, 2, 3, 4], [1, 2, 3, np.nan], [1]),
        ([1, 2, 3, 4], [1, 2, 3, 4], [0]),
        ([1, 2, 3, np.inf], [1, 2, 3, 4], [1]),
    ],
)
def test_what_cannot_be_analysed_is_refused(t, x, f):
    with pytest.raises(SignalError):
        lomb_scargle(t, x, f)


def test_even_polling_lists_every_alias_and_uneven_polling_none():
    rng = np.random.default_rng(3)
    even, odd = np.arange(0, 120, 1.0), np.cumsum(rng.uniform(0.6, 1.4, 120))
    for t, expect in ((even, [0.3, 0.7, 1.3, 1.7]), (odd, [0.7])):
        found = line_of(t, 60 * np.sin(2 * np.pi * 0.7 * t) + rng.normal(size=len(t)) * 8)
        assert found.chance < 0.002
        assert [round(c.frequency, 2) for c in found.candidates] == expect


def test_a_coarse_stamp_keeps_aliases_in():
    # measured every 1.8 s exactly, written down up to half a second late: that is not uneven polling
    rng = np.random.default_rng(4)
    true = np.arange(0, 240, 1.8)
    stamp = true + rng.uniform(0, 0.49, len(true))
    x = 80 * np.sin(2 * np.pi * 0.7 * true) + rng.normal(size=len(true)) * 5
    naive = [round(c.frequency, 2) for c in line_of(stamp, x).candidates]
    honest = [round(c.frequency, 2) for c in line_of(stamp, x, grain=0.49).candidates]
    assert len(naive) == 1
    assert any(abs(f - 0.7) < 0.02 for f in honest)
    assert len(honest) > 2


def test_too_little_says_nothing():
    assert line_of(np.arange(0, 10, 0.1), np.random.default_rng(1).normal(size=100)) is None
    assert line_of(np.arange(0, 100, 10.0), np.arange(10.0)) is None
    assert line_of(np.arange(0, 60, 1.0), np.full(60, 700.0)) is None


def test_a_slope_is_not_bent_by_one_odd_value():
    x = np.arange(9.0)
    y = 3 * x + 1
    y[8] = 1e3
    assert theil_sen(x, y).slope == pytest.approx(3.0)
    assert np.polyfit(x, y, 1)[0] != pytest.approx(3.0, abs=1)


@pytest.mark.parametrize(("x", "y"), [([1, 2], [1, 2]), ([1, 1, 1], [1, 2, 3]), ([1, 2, np.nan], [1, 2, 3])])
def test_no_slope(x, y):
    with pytest.raises(SignalError):
        theil_sen(x, y)
