"""Idle: stretches, readings with their uncertainty, comparison of before and after."""

from tickover.idle.compare import compare
from tickover.idle.reading import read_idle
from tickover.idle.results import Comparison, IdleReading, IdleState, Stretch
from tickover.idle.stretches import stretches

__all__ = ["Comparison", "IdleReading", "IdleState", "Stretch", "compare", "read_idle", "stretches"]
