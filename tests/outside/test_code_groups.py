"""Groups of trouble codes that stop a relearn."""

import pytest

from tickover.arrival import Answers, stops


@pytest.mark.parametrize(
    ("code", "stop"),
    [
        ("P0101", "air-meter codes"),  # air flow range
        ("P0113", None),  # intake temperature: high
        ("P0122", "throttle codes"),  # position sensor A: low
        ("P0128", None),  # coolant below the thermostat's
        ("P0171", None),  # lean
        ("P0300", "live misfire"),  # random misfire
        ("P0312", "live misfire"),  # cylinder 12
        ("P0420", None),  # catalyst
        ("P0505", None),  # idle control
        ("P0507", None),  # idle faster than expected
        ("P2101", "throttle codes"),  # actuator motor range
        ("P2119", "throttle codes"),  # throttle body range
        ("P2135", "throttle codes"),  # sensors A and B disagree
        ("P2195", None),  # oxygen sensor stuck lean
    ],
)
def test_what_each_code_stops(code, stop):
    """From memory: SAE J2012, the meaning of single codes on either side of each group's edges."""
    assert [s.name for s in stops(Answers(codes=(code,)))] == ([stop] if stop else [])
