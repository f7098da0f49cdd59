"""Conversions against definitions as remembered; nobody had the texts open."""

import pytest

from tickover.signals import convert


@pytest.mark.parametrize(
    ("value", "unit", "to", "expected"),
    [
        (1, "mph", "km/h", 1.609344),
        (1, "inHg", "kPa", 3.38638),
        (1, "psi", "kPa", 6.894757),
        (212, "°F", "°C", 100),
        (-40, "°F", "°C", -40),
        (0, "°C", "K", 273.15),
        (1, "lb/min", "g/s", 7.559873),
    ],
)
def test_factors_of_the_guide(value: float, unit: str, to: str, expected: float) -> None:
    """From memory: NIST SP 811 (2008), appendix B (mile, inch of mercury, psi, °F, pound a minute)."""
    assert convert(value, unit, to) == pytest.approx(expected, rel=2e-6, abs=1e-9)


def test_legal_limit_of_the_general_denominator() -> None:
    """From memory: 13 CCR 1968.2(d)(4.3.2)(B), 25 mph is 40.2 km/h."""
    assert round(convert(25, "mph", "km/h"), 1) == 40.2
