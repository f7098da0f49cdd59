"""What a simulated car is: one frozen description, with constructors for the stories worth telling."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

from tickover.engine.entry import PEDAL_COUNT, POWER_CYCLE, Entry
from tickover.errors import SignalRangeError


@dataclass(frozen=True)
class CarSpec:
    """One simulated car. Borders speak the trade's units; everything behind them is SI.

    Args:
        displacement_l: all cylinders [l], 0.6 to 6
        cylinders: their number; more of them run smoother
        metering: "air" for an air meter, which does not see a leak; "pressure" for speed and density, which does
        switch: ignition by "key" or by "button"
        gearbox: "automatic" idles in a drive gear with the brake held; "manual" cannot
        bore_extra_area_mm2: what the throttle bore passes beyond a new one at the same blade angle [mm²]: 0 new or
            cleaned, −8 dirty
        memory_from_bore_mm2: the bore for which the idle memory was learned, on the same scale [mm²]; None for the bore
            as it is
        leak_mm: diameter of a round hole into the manifold [mm], 0 to 8
        fuel_scale: fuel delivered over fuel asked for [1]; 1 would be a car without any trim, which nobody has seen
        misfire_guard: 1 where misfire counters stand high in the memory: idle raised, trims frozen
        long_trim_idle: long trim stored in the idle cell at the start [1], 0.05 for 5 %
        after_run_s: how long the controller stays awake after ignition off [s]; 0 for none
        target_speed: warm idle target [r/min]
        coolant_start: coolant when the story begins [°C]
        charge: state of charge of the battery, 0 to 1
        lamp_test_s: how long the engine lamp is lit after ignition on as a bulb check [s]; 0 for none
        rest_learned, stop_learned, loads_learned: whether pedal rest, throttle stop, and the air for compressor and
            drive gear stand in the memory
        rest_error: by how much the controller takes the pedal for pressed until its rest is learned [1], 0 to 0.05
        stop_error_mm2: what the blade stands too far open until its stop is learned [mm²], 0 to 8
        meter_scale: what the air meter reads over what flows [1]; below 1 it under-reads
        pump_loss: share of rail pressure lost at the fuel flow of a hard load, with the square of the flow [1]
        injector_dead_ms: opening delay of the injectors beyond what the controller allows for [ms]
        ethanol: its share in the fuel, by volume [1]; the controller is set for none
        misfire_rate: share of its firings that one cylinder misses [1]; 1 is a dead coil
        misfire_cylinder: which, counted in firing order from 1
        battery_wear: 0 new, 1 finished: resistance up, capacity down
        regulated_volts: what the alternator holds [V]
        thermostat_least, thermostat_most: how far it opens at least and at most [1]: 1, 1 stuck open; 0, 0 stuck shut
        coolant_sensor_ohms: bad contact in the coolant sensor's circuit [Ω]: it reads too cold
        coolant_sensor_bad: share of time in which that contact is bad [1]; below 1 it comes and goes
        rubbing: friction over that of the default engine [1]
        noise_seed: cars of equal seeds are twins
        entries: relearn entries the controller has
    Raises: SignalRangeError for a value outside its range.
    """

    displacement_l: float = 2.0
    cylinders: int = 4
    metering: Literal["air", "pressure"] = "pressure"
    switch: Literal["key", "button"] = "key"
    gearbox: Literal["automatic", "manual"] = "automatic"
    bore_extra_area_mm2: float = 0.0
    memory_from_bore_mm2: float | None = None
    leak_mm: float = 0.0
    fuel_scale: float = 1.015
    misfire_guard: float = 0.0
    long_trim_idle: float = 0.0
    after_run_s: float = 0.0
    target_speed: float = 750.0
    coolant_start: float = 88.0
    charge: float = 0.85
    lamp_test_s: float = 0.0
    rest_learned: bool = True
    stop_learned: bool = True
    loads_learned: bool = True
    rest_error: float = 0.0
    stop_error_mm2: float = 0.0
    meter_scale: float = 1.0
    pump_loss: float = 0.0
    injector_dead_ms: float = 0.0
    ethanol: float = 0.0
    misfire_rate: float = 0.0
    misfire_cylinder: int = 1
    battery_wear: float = 0.0
    regulated_volts: float = 14.2
    thermostat_least: float = 0.0
    thermostat_most: float = 1.0
    coolant_sensor_ohms: float = 0.0
    coolant_sensor_bad: float = 1.0
    rubbing: float = 1.0
    noise_seed: int = 0
    entries: tuple[Entry, ...] = (PEDAL_COUNT, POWER_CYCLE)

    def __post_init__(self) -> None:
        for name, (lo, hi) in RANGES.items():
            value = float(getattr(self, name))
            if not lo <= value <= hi:
                raise SignalRangeError(name, value, lo, hi)
        if not 1 <= self.misfire_cylinder <= self.cylinders:
            raise SignalRangeError("misfire_cylinder", self.misfire_cylinder, 1, self.cylinders)
        if self.thermostat_most < self.thermostat_least:
            raise SignalRangeError("thermostat_most", self.thermostat_most, self.thermostat_least, 1.0)

    @property
    def memory_bore_mm2(self) -> float:
        """The bore the idle memory was learned on [mm²]."""
        return self.bore_extra_area_mm2 if self.memory_from_bore_mm2 is None else self.memory_from_bore_mm2


RANGES: dict[str, tuple[float, float]] = {
    "displacement_l": (0.6, 6.0),
    "cylinders": (2, 12),
    "bore_extra_area_mm2": (-12.0, 12.0),
    "leak_mm": (0.0, 8.0),
    "fuel_scale": (0.5, 1.5),
    "misfire_guard": (0.0, 1.0),
    "long_trim_idle": (-0.25, 0.25),
    "after_run_s": (0.0, 120.0),
    "target_speed": (500.0, 1200.0),
    "coolant_start": (-30.0, 110.0),
    "charge": (0.0, 1.0),
    "lamp_test_s": (0.0, 10.0),
    "rest_error": (0.0, 0.05),
    "stop_error_mm2": (0.0, 8.0),
    "meter_scale": (0.3, 1.5),
    "pump_loss": (0.0, 0.95),
    "injector_dead_ms": (-0.5, 1.0),
    "ethanol": (0.0, 0.85),
    "misfire_rate": (0.0, 1.0),
    "battery_wear": (0.0, 1.0),
    "regulated_volts": (11.0, 16.0),
    "thermostat_least": (0.0, 1.0),
    "thermostat_most": (0.0, 1.0),
    "coolant_sensor_ohms": (0.0, 50_000.0),
    "coolant_sensor_bad": (0.0, 1.0),
    "rubbing": (0.6, 1.6),
}
"""Smallest and largest of every number in a spec, in its unit."""


def has_entry(spec: CarSpec, *kinds: type) -> bool:
    """Whether a car's controller has an entry of one of these kinds."""
    return any(isinstance(entry, kinds) for entry in spec.entries)


def healthy(spec: CarSpec | None = None) -> CarSpec:
    """A car whose memory fits its bore: idles at its target.

    Args:
        spec: what else the car should be; the default car where None.
    """
    return replace(spec or CarSpec(), bore_extra_area_mm2=0.0, memory_from_bore_mm2=None, leak_mm=0.0)


def old_memory_on_cleaned_bore(spec: CarSpec | None = None) -> CarSpec:
    """The bore was cleaned and passes 8 mm² more than the memory was learned for: idles high, and stays so.

    The correction takes back 3 mm², the rest stays beyond the 60 r/min within which the controller would learn.
    """
    return replace(spec or CarSpec(), bore_extra_area_mm2=0.0, memory_from_bore_mm2=-8.0)


def lost_memory_on_dirty_bore(spec: CarSpec | None = None) -> CarSpec:
    """The battery was flat, the memory is a new engine's, the bore is dirty by 8 mm²: idles low, may stall."""
    return replace(spec or CarSpec(), bore_extra_area_mm2=-8.0, memory_from_bore_mm2=0.0)


def with_leak(mm: float, spec: CarSpec | None = None) -> CarSpec:
    """A healthy memory, and a round hole of ``mm`` millimetres into the manifold."""
    return replace(spec or CarSpec(), leak_mm=mm)


def cured_misfire(spec: CarSpec | None = None) -> CarSpec:
    """A misfire was cured but its counters stayed high: idle raised by 120 r/min, trims frozen, the cell 8 % rich.

    This is what a power cycle heals; it leaves learned air alone.
    """
    return replace(spec or CarSpec(), misfire_guard=1.0, long_trim_idle=0.08)
