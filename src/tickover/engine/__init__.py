"""Physics of air, and the simulated car: a mean value model with memory, controller, faults and relearn entry.

``Cars`` and ``SimulatedCar`` step through time; ``predict`` says what many cars would report once settled. Both take
their numbers from ``CarSpec``.

The simulated car is not any car. It is what coach, judge and reading are tried on before a real one.
"""

from tickover.engine.arrays import CarArrays
from tickover.engine.car import Memory, SimulatedCar
from tickover.engine.cars import Cars
from tickover.engine.entry import ENTRIES, PEDAL_COUNT, PEDAL_HOLD, POWER_CYCLE, PedalCount, PedalHold, PowerCycle
from tickover.engine.faults import FAULTS, Drawn, Fault, population, random_car, with_fault
from tickover.engine.inputs import CarAnswer, Inputs
from tickover.engine.points import POINTS, OperatingPoint, Predicted
from tickover.engine.spec import (
    CarSpec,
    cured_misfire,
    healthy,
    lost_memory_on_dirty_bore,
    old_memory_on_cleaned_bore,
    with_leak,
)
from tickover.engine.steady import key_on_volts, predict
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
    "FAULTS",
    "PEDAL_COUNT",
    "PEDAL_HOLD",
    "POINTS",
    "POWER_CYCLE",
    "STORIES",
    "CarAnswer",
    "CarArrays",
    "CarSpec",
    "Cars",
    "Drawn",
    "Fault",
    "Inputs",
    "Memory",
    "OperatingPoint",
    "PedalCount",
    "PedalHold",
    "PowerCycle",
    "Predicted",
    "SimulatedCar",
    "car_for",
    "cured_misfire",
    "healthy",
    "key_on_volts",
    "lost_memory_on_dirty_bore",
    "old_memory_on_cleaned_bore",
    "population",
    "power_loss",
    "predict",
    "random_car",
    "unlearned_loads",
    "unlearned_pedal_rest",
    "unlearned_throttle_stop",
    "with_fault",
    "with_leak",
]
