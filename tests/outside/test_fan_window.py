"""The fan's next start foretold on recorded fan cycles. The recordings stay outside the project.

Where the fan came on is not in the logs. It lies between the instant at which the coolant first showed its peak and the
one at which it began to fall.
"""

from pathlib import Path

import numpy as np
import pytest

from tickover.arrival import fan_peaks, fan_window
from tickover.logs import read_log
from tickover.results import Quantity
from tickover.signals import Series

LOGS = Path(__file__).resolve().parents[3] / "shared" / "data" / "car-log"
pytestmark = pytest.mark.skipif(not LOGS.is_dir(), reason="the recordings in ../shared/data are not here")


def coolant_of(name):
    return read_log(LOGS / f"{name}.csv")["coolant_temperature"]


def starts(coolant):
    """For each fan cycle the bracket in which the fan came on: peak first shown, fall begun [s]."""
    found = []
    for fall, height in fan_peaks(coolant):
        last = int(np.flatnonzero(coolant.mid <= fall)[-1])
        first = last
        while first > 0 and coolant.value[first - 1] >= height:
            first -= 1
        found.append((float(coolant.t_hi[first]), float(coolant.t_hi[min(last + 1, len(coolant) - 1)])))
    return found


def until(coolant, now):
    keep = coolant.t_hi <= now
    return Series(coolant.t_lo[keep], coolant.t_hi[keep], coolant.value[keep])


def foretold(name, horizons=(20, 30, 40, 50)):
    """Windows asked for some seconds before each start but the first, from what was recorded until then."""
    coolant = coolant_of(name)
    rows = []
    for early, late in starts(coolant)[1:]:
        for horizon in horizons:
            past = until(coolant, early - horizon)
            found = fan_window(past, np.random.default_rng(1))
            now = float(past.t_hi[-1])
            if isinstance(found.seconds, Quantity):
                rows.append((found.seconds, early - now, late - now))
    return rows


def test_five_fan_cycles_and_their_period():
    """Data: idle25, five fan peaks at 95 to 96 °C, mean period 107 s; rows taken for seconds give 218."""
    peaks = fan_peaks(coolant_of("idle25"))
    assert len(peaks) == 5
    assert {height for _, height in peaks} <= {95.0, 96.0}
    assert np.mean(np.diff([t for t, _ in peaks])) == pytest.approx(107, abs=2)


@pytest.mark.parametrize(("name", "least", "share"), [("idle25", 10, 0.8), ("idle7", 7, 0.6)])
def test_the_next_fan_start_is_foretold(name, least, share):
    """Data: idle25 and idle7: the 90 % window and the bracket of the true start meet, asked 20 to 50 s before.

    Few windows, so the share asked for is below the 90 % claimed; simulated curves check that (tests/arrival).
    idle7's last rise wavers for a minute under the threshold, as no first-order curve does: its share is lower.
    """
    rows = foretold(name)
    assert len(rows) >= least
    met = [q.lo <= late and (q.hi is None or q.hi >= early) for q, early, late in rows]
    assert np.mean(met) >= share
    assert sum(q.hi is not None for q, _, _ in rows) >= least  # not by saying nothing


def naive(past):
    """Seconds to 95 °C by a straight line through the last three minutes, the fan's run included."""
    keep = past.mid >= past.mid[-1] - 180
    slope, level = np.polyfit(past.mid[keep] - past.t_hi[-1], past.value[keep], 1)
    return (95 - level) / slope


def test_the_best_guess_is_within_half_a_minute():
    """Data: idle25: median of the window against the bracket; a line through the last fan run too is off by more."""
    distances = [max(early - q.value, q.value - late, 0.0) for q, early, late in foretold("idle25")]
    assert max(distances) <= 20
    assert np.median(distances) <= 5
    coolant = coolant_of("idle25")
    worse = []
    for early, late in starts(coolant)[1:]:
        past = until(coolant, early - 30)
        now = float(past.t_hi[-1])
        worse.append(max(early - now - naive(past), naive(past) - (late - now), 0.0))
    assert np.median(worse) > 20
