"""A recorded capture of answers, decoded. The recording stays outside the project."""

from pathlib import Path

import pytest

from tickover.obd import decode_file

CAPTURE = Path(__file__).resolve().parents[3] / "shared" / "data" / "car-log" / "raw-replies.txt"
pytestmark = pytest.mark.skipif(not CAPTURE.is_file(), reason="the recordings in ../shared/data are not here")


def series(name):
    return [
        (one.t, value.value)
        for one in decode_file(CAPTURE)
        for value in one.answer.values
        if value.name == name and value.value is not None
    ]


def values(name):
    return [value for _, value in series(name)]


def test_every_line_that_is_an_answer_is_decoded():
    """Data: raw-replies, 161 answers between rules and two lines of words; times rise."""
    found = decode_file(CAPTURE)
    assert len(found) == sum(
        ":" in line and line[0].isdigit() for line in CAPTURE.read_text(encoding="utf-8").splitlines() if line
    )
    times = [one.t for one in found]
    assert times == sorted(times)
    assert (times[0], times[-1]) == (264.5, 300.0)


def test_engine_speeds():
    """Data: raw-replies, speeds 0, 1239.75, 962.5, 1947.5, 1103, 1523.25, 888.25 r/min; a byte swapped gives others."""
    assert values("engine_speed") == [0, 1239.75, 962.5, 1947.5, 1103, 1523.25, 888.25]


def test_coolant():
    """Data: raw-replies, coolant 41 to 47 °C; without the offset it would be 81 to 87."""
    coolant = values("coolant_temperature")
    assert (coolant[0], coolant[-1]) == (41, 47)
    assert coolant == sorted(coolant)


def test_volts():
    """Data: raw-replies, 12.07 V before the start, 14.28 V at the end."""
    volts = values("module_voltage")
    assert volts[0] == pytest.approx(12.07, abs=1e-9)
    assert volts[-1] == pytest.approx(14.28, abs=0.004)


def test_commanded_ratio():
    """Data: raw-replies, λ 1.098 to 1.037; with the rounded 0.0000305 of the tables it would end at 1.0365."""
    ratio = values("equivalence_ratio")
    assert ratio[0] == pytest.approx(1.098, abs=5e-4)
    assert ratio[-1] == pytest.approx(1.03711, abs=5e-6)


def test_distance_since_clear_and_warm_ups():
    """Data: raw-replies, 2,328 km since the clear; the warm-up counter stands at its end, 255 or more."""
    assert set(values("distance_since_clear")) == {2328}
    assert set(values("warm_ups")) == {255}
    assert set(values("distance_lamp_on")) == {0}
