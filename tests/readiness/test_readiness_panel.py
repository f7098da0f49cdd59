"""Calibration: a small fixed panel of simulated owners, and one of 1,200 for the soak."""

import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))
from owners_panel import bins, kept, outcomes


def brier(found):
    return float(np.mean([(o.chance - o.ready) ** 2 for o in found]))


def climate(found):
    """Brier score of one who always says the share that came true."""
    share = np.mean([o.ready for o in found])
    return float(share * (1 - share))


def test_a_small_panel_is_about_right_and_better_than_always_saying_the_same():
    found = outcomes(60)
    assert abs(np.mean([o.chance for o in found]) - np.mean([o.ready for o in found])) < 0.10
    assert brier(found) < 0.75 * climate(found)
    share, _ = kept(found, 80)
    assert 0.78 <= share <= 0.98


@pytest.mark.soak
def test_twelve_hundred_owners_with_counters():
    found = outcomes(1200, first=20_000)  # none of the owners that the weights were chosen on
    for forecast, came, count in bins(found, np.linspace(0, 1.0001, 11)):
        assert count >= 40
        assert abs(came - forecast) <= 0.18, (forecast, came, count)
        assert came >= forecast - 0.06, "careful is allowed, hopeful is not"
    assert abs(np.mean([o.chance for o in found]) - np.mean([o.ready for o in found])) < 0.07
    for level, tolerance in ((80, 0.08), (95, 0.03)):
        share, expected = kept(found, level)
        assert abs(share - expected) <= tolerance
    assert brier(found) < 0.6 * climate(found)


@pytest.mark.soak
def test_a_thousand_owners_without_counters_are_forecast_carefully():
    found = outcomes(1000, counted=False, first=5000)
    for forecast, came, count in bins(found, np.linspace(0, 1.0001, 6)):
        assert count >= 20
        assert came >= forecast - 0.06, (forecast, came, count)
    for level in (80, 95):
        share, _ = kept(found, level)
        assert share >= level / 100
