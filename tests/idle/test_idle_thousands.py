"""Engine speed in thousands: turned back where header and range say so, told where only the range does."""

import numpy as np
import pytest

from tickover.idle import read_idle
from tickover.idle.thousands import in_own_unit, in_thousands, says_thousands
from tickover.results import CannotTell
from tickover.signals import Recording, Series


def recording(middle, spread=0.012, rows=600):
    t = np.arange(rows) * 0.1
    return Recording({"engine_speed": Series.at(t, np.random.default_rng(1).normal(middle, spread, rows))})


@pytest.mark.parametrize(
    ("header", "says"),
    [
        ("rpm (x1000)", True), ("RPM*1000", True), ("1/min·1000", True), ("1000 r/min", True), ("krpm", True),
        ("rpm", False), ("engine speed [r/min]", False), ("rpm 10000", False), ("sensor 1000", False),
    ],
)  # fmt: skip
def test_a_header_says_thousands_or_does_not(header, says):
    assert says_thousands(header) is says


def test_header_and_range_together_are_certain():
    right = in_own_unit(recording(0.72), "rpm x1000")
    assert np.median(right["engine_speed"].value) == pytest.approx(720, abs=2)
    assert in_own_unit(recording(0.72), "rpm") is None
    assert in_own_unit(recording(720, 12), "rpm (x1000)") is None


def test_the_range_alone_is_told_and_not_called_a_standing_engine():
    found = read_idle(recording(0.72), np.random.default_rng(2))
    assert isinstance(found, CannotTell)
    assert "looks like thousands of r/min" in found.reason
    assert "multiply the column by 1,000" in found.way_out


@pytest.mark.parametrize("middle", [720.0, 12.0, 8.0, 0.0, 75.0])
def test_turns_a_second_a_standing_engine_and_r_min_are_not_taken_for_thousands(middle):
    assert in_thousands(recording(middle, 0.01)["engine_speed"]) is None
