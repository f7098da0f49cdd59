"""Physics of air, and the simulated car: a mean value model at idle, with memory, controller and relearn entry.

The simulated car is not any car. It is what coach, judge and reading are tried on before a real one.
"""

from tickover.engine.car import Memory, SimulatedCar
from tickover.engine.cars import Cars
from tickover.engine.entry import ENTRIES, PEDAL_COUNT, PEDAL_HOLD, POWER_CYCLE, PedalCount, PedalHold, PowerCycle
from tickover.engine.inputs import CarAnswer, Inputs
from tickover.engine.spec import (
    CarSpec,
    cured_misfire,
    healthy,
    lost_memory_on_dirty_bore,
    old_memory_on_cleaned_bore,
    with_leak,
)
from tickover.engine.stories import (
    STORIES,
    car_for,
    power_loss,
    unlearned_loads,
    unlearned_pedal_rest,
    unlearned_throttle_stop,
)

__all__ = [
    "ENTRIES",
    "PEDAL_COUNT",
    "PEDAL_HOLD",
    "POWER_CYCLE",
    "STORIES",
    "CarAnswer",
    "CarSpec",
    "Cars",
    "Inputs",
    "Memory",
    "PedalCount",
    "PedalHold",
    "PowerCycle",
    "SimulatedCar",
    "car_for",
    "cured_misfire",
    "healthy",
    "lost_memory_on_dirty_bore",
    "old_memory_on_cleaned_bore",
    "power_loss",
    "unlearned_loads",
    "unlearned_pedal_rest",
    "unlearned_throttle_stop",
    "with_leak",
]
