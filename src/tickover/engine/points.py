"""Operating points that evidence comes from, and what a controller would report there."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]


@dataclass(frozen=True)
class OperatingPoint:
    """Where the engine is held while somebody reads.

    Args:
        name: of the point
        held: engine speed held with the pedal, out of gear [r/min]; None idles, or drives where ``road`` is set
        road: road speed [km/h]; 0 stands
        uphill: on a hill that takes all that a calm driver asks for
        compressor: on
        geared: idling in a drive gear, brake held
        electric: power of loads that people switched on [W]
    """

    name: str
    held: float | None = None
    road: float = 0.0
    uphill: bool = False
    compressor: bool = False
    geared: bool = False
    electric: float = 0.0

    @property
    def idles(self) -> bool:
        """Pedal up, car still."""
        return self.held is None and self.road == 0


POINTS: dict[str, OperatingPoint] = {
    "idle": OperatingPoint("idle"),
    "idle with load": OperatingPoint("idle with load", compressor=True, electric=180.0),
    "2500": OperatingPoint("2500", held=2500.0),
    "cruise": OperatingPoint("cruise", road=80.0),
    "hard load": OperatingPoint("hard load", road=80.0, uphill=True),
}
"""The points that evidence comes from: warm, loads off unless said. "idle with load" is compressor and blower;
"hard load" is 2,000 r/min at about 84 kPa, loop still closed."""


@dataclass(frozen=True)
class Predicted:
    """What a controller would report, settled; every array has the cars' shape.

    Attributes:
        speed: engine speed [r/min]; NaN where it stalls
        manifold_pressure: [kPa]
        trim, short_trim, long_trim: both together, and each [%]; the long one takes all it can, up to 25
        air_flow: what the air meter reports [g/s]; NaN without one
        engine_air: what the engine draws [g/s]
        lam: λ in the cylinders that fire [1]; off 1 where trims are spent or frozen
        idle_air: commanded idle area [mm²]; NaN off idle
        idle_air_share: the same as the percentage a car reports [%]
        idle_correction: idle air beyond what the memory had learned, loads apart [mm²]
        authority: that over the correction's limit of 3 mm² [1], − 1 to 1; learning may have carried it further
        misfires: missed firings per 1,000 revolutions [1]
        volts: while running [V]
        coolant: as the sensor reads it [°C]; while its contact is bad, where it has one
        long_spent: the long trim stands at its limit of ± 25 %
        lean_spent, rich_spent: short and long both at their upper or lower limit, λ not held: the trim is an "at least"
        air_spent_up, air_spent_down: the idle is below or above its target, and the correction can do no more
        at_floor: idle air stands on the learned floor, 4 mm² below what had been learned
        out_of_breath: the engine does not give the torque that the road asks; the car would go slower
        stalls, surges: no steady idle: too little torque, or so fast that fuel is cut with the pedal up
    All other figures are NaN where it stalls.
    """

    speed: Floats
    manifold_pressure: Floats
    trim: Floats
    short_trim: Floats
    long_trim: Floats
    air_flow: Floats
    engine_air: Floats
    lam: Floats
    idle_air: Floats
    idle_air_share: Floats
    idle_correction: Floats
    authority: Floats
    misfires: Floats
    volts: Floats
    coolant: Floats
    long_spent: Bools
    lean_spent: Bools
    rich_spent: Bools
    air_spent_up: Bools
    air_spent_down: Bools
    at_floor: Bools
    out_of_breath: Bools
    stalls: Bools
    surges: Bools
