"""Margins of temporal conditions: laws, and a plain reading of the definition beside them."""

import math
import sys
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tickover.drive.margins import all_of, best_window, counted, sliding_max, sliding_min, within

sys.path.insert(0, str(Path(__file__).parent))

steps = st.lists(st.sampled_from([0.5, 1.0, 1.75, 3.0]), min_size=1, max_size=40)
values = st.floats(-100, 100, allow_nan=False)


@st.composite
def signals(draw, holes=True):
    gaps = draw(steps)
    t = np.cumsum([0.0, *gaps])
    v = np.array(draw(st.lists(values, min_size=len(t), max_size=len(t))))
    if holes and draw(st.booleans()):
        v[draw(st.integers(0, len(t) - 1))] = np.nan
    return t, v


def plainly(t, v, width, end):
    """The definition, window by window."""
    out = []
    for start in t:
        if start + width > end + 1e-9:
            out.append(math.nan)
            continue
        inside = v[(t >= start) & (t <= start + width)]
        out.append(math.nan if np.isnan(inside).any() else inside.min())
    return np.array(out)


@given(signals(), st.sampled_from([0.0, 0.5, 1.0, 2.25, 7.0, 30.0]), st.sampled_from([0.0, 1.0, 9.0]))
def test_sliding_min_is_the_definition(signal, width, more):
    t, v = signal
    np.testing.assert_array_equal(sliding_min(t, v, width, t[-1] + more), plainly(t, v, width, t[-1] + more))


@given(st.integers(1, 60), st.sampled_from([0.5, 1.0, 3.0]), st.sampled_from([0.0, 1.0, 2.5, 9.0]), st.data())
def test_an_even_clock_gives_the_same(n, step, width, data):
    t = np.arange(n) * step
    v = np.array(data.draw(st.lists(values, min_size=n, max_size=n)))
    more = data.draw(st.sampled_from([0.0, 0.5, 6.0]))
    np.testing.assert_array_equal(sliding_min(t, v, width, t[-1] + more), plainly(t, v, width, t[-1] + more))


@given(signals(), st.sampled_from([0.0, 1.0, 4.5]))
def test_sliding_max_mirrors_it(signal, width):
    t, v = signal
    np.testing.assert_array_equal(sliding_max(t, v, width), -plainly(t, -v, width, t[-1]))


def test_a_window_past_the_end_is_undecided():
    t = np.arange(4.0)
    np.testing.assert_array_equal(sliding_min(t, np.array([3.0, 1.0, 2.0, 5.0]), 1), [1, 1, 2, np.nan])
    assert np.isnan(sliding_min(t, np.ones(4), 3.5)).all()
    assert sliding_min(t, np.ones(4), 3.5, end=3.5)[0] == 1


def test_negative_windows_are_refused():
    with pytest.raises(ValueError, match="no window"):
        sliding_min(np.arange(3.0), np.ones(3), -1)
    with pytest.raises(ValueError, match="no window"):
        sliding_min(np.arange(3.0), np.ones(4), 1)


def test_an_empty_signal_has_no_margin():
    assert len(sliding_min(np.empty(0), np.empty(0), 1.0)) == 0
    assert all(math.isnan(x) for x in best_window(np.arange(2.0), np.ones(2), 5.0))


@given(signals(holes=False), st.floats(0, 20), st.floats(0, 20))
def test_a_harder_limit_has_a_smaller_margin(signal, a, b):
    t, v = signal
    easy, hard = min(a, b), max(a, b)
    for width in (0.0, 2.0):
        low = sliding_min(t, within(v, lo=hard), width)
        high = sliding_min(t, within(v, lo=easy), width)
        known = ~np.isnan(low)
        assert np.all(low[known] <= high[known])


@given(signals(holes=False))
def test_a_longer_window_has_a_smaller_margin(signal):
    t, v = signal
    one, two = sliding_min(t, v, 1.0), sliding_min(t, v, 3.0)
    known = ~np.isnan(two)
    assert np.all(two[known] <= one[known])


@given(signals(holes=False), st.sampled_from([0.5, 2.0, 5.0]), st.floats(0.05, 0.95))
def test_rows_that_repeat_a_held_value_change_nothing(signal, width, share):
    t, v = signal
    between = t[:-1] + share * np.diff(t)
    at = np.sort(np.concatenate([t, between]))
    held = v[np.searchsorted(t, at, side="right") - 1]
    assert best_window(t, v, width)[:2] == pytest.approx(best_window(at, held, width)[:2], nan_ok=True)


@given(signals())
@settings(max_examples=50)
def test_the_unknown_only_widens(signal):
    t, v = signal
    lo, hi, _ = best_window(t, v, 2.0)
    filled = np.where(np.isnan(v), 0.0, v)
    one, _, _ = best_window(t, filled, 2.0)
    assert (math.isnan(lo) and math.isnan(one)) or lo <= one <= hi


def test_several_conditions_together():
    speed, warm = np.array([85.0, 79.0, 90.0]), np.array([75.0, 72.0, np.nan])
    np.testing.assert_array_equal(all_of(within(speed, 80, 100), within(warm, lo=70)), [5, -1, np.nan])


def test_counted_time_and_time_not_known():
    assert counted(np.array([0.0, 10.0, 20.0]), np.array([1.0, np.nan, -1.0]), 50.0) == (10.0, 10.0)
