"""Idle: stretches, readings with their uncertainty, comparison of before and after."""

from tickover.idle.compare import compare
from tickover.idle.glances import parse_glances, read_glances
from tickover.idle.reading import read_idle
from tickover.idle.results import Comparison, Hunting, IdleReading, IdleState, Release, Stretch
from tickover.idle.stretches import stretches

__all__ = [
    "Comparison",
    "Hunting",
    "IdleReading",
    "IdleState",
    "Release",
    "Stretch",
    "compare",
    "parse_glances",
    "read_glances",
    "read_idle",
    "stretches",
]
