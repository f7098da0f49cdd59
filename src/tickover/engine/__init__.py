"""Physics of air, and the simulated car: a mean value model at idle, with memory, controller and relearn entry.

The simulated car is not any car. It is what coach, judge and reading are tried on before a real one.
"""

from tickover.engine.car import Memory, SimulatedCar
from tickover.engine.cars import CarAnswer, Cars, Inputs
from tickover.engine.entry import PEDAL_COUNT, PEDAL_HOLD, POWER_CYCLE, PedalCount, PedalHold, PowerCycle
from tickover.engine.spec import (
    CarSpec,
    cured_misfire,
    healthy,
    lost_memory_on_dirty_bore,
    old_memory_on_cleaned_bore,
    with_leak,
)

__all__ = [
    "PEDAL_COUNT",
    "PEDAL_HOLD",
    "POWER_CYCLE",
    "CarAnswer",
    "CarSpec",
    "Cars",
    "Inputs",
    "Memory",
    "PedalCount",
    "PedalHold",
    "PowerCycle",
    "SimulatedCar",
    "cured_misfire",
    "healthy",
    "lost_memory_on_dirty_bore",
    "old_memory_on_cleaned_bore",
    "with_leak",
]
