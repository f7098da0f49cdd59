"""Stale memory or a real fault: the test to do next, and what still fits.

Never a list of parts to change: causes that the evidence cannot separate come out as one group, "something else" is
always among them, and the next test leads.
"""

from tickover.cause.acts import TESTS
from tickover.cause.diagnose import diagnose
from tickover.cause.evidence import Car, Evidence, Value
from tickover.cause.results import Cause, Causes, Group, NextTest, Outcome, Speaking

__all__ = [
    "TESTS",
    "Car",
    "Cause",
    "Causes",
    "Evidence",
    "Group",
    "NextTest",
    "Outcome",
    "Speaking",
    "Value",
    "diagnose",
]
