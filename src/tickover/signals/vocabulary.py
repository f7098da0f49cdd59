"""The one list of quantity names. Foreign names stop at the readers.

Units are those of the service standard for car data (SAE J1979); the encodable ranges follow its scaling, the plausible
ranges are ours: a value outside them on a running car wants a second look, it is not dropped.
"""

from __future__ import annotations

import difflib
from dataclasses import dataclass

from tickover.errors import UnknownSignalError


@dataclass(frozen=True, slots=True)
class Signal:
    """One quantity.

    Attributes:
        name: the standard name, used in code, columns and docs.
        unit: its unit.
        lo, hi: plausible range, in ``unit``.
        meaning: what it measures, in one sentence.
        pid: parameter of service 01 that carries it, where one does.
        label: what a person reads on a page.
    """

    name: str
    unit: str
    lo: float
    hi: float
    meaning: str
    label: str
    pid: int | None = None


_ROWS: tuple[Signal, ...] = (
    Signal("engine_speed", "r/min", 0, 8000, "Crankshaft speed; 0 while the engine stands.", "engine speed", 0x0C),
    Signal("vehicle_speed", "km/h", 0, 250, "Road speed.", "road speed", 0x0D),
    Signal("coolant_temperature", "°C", -40, 130, "Engine coolant at the controller's sensor.", "coolant", 0x05),
    Signal("intake_temperature", "°C", -40, 90, "Intake air at the sensor.", "intake air", 0x0F),
    Signal("ambient_temperature", "°C", -40, 60, "Outside air.", "outside air", 0x46),
    Signal("oil_temperature", "°C", -40, 160, "Engine oil.", "oil", 0x5C),
    Signal(
        "catalyst_temperature_1", "°C", -40, 1000, "Catalyst, bank 1 sensor 1; often stale at key on.", "catalyst", 0x3C
    ),
    Signal(
        "catalyst_temperature_2",
        "°C",
        -40,
        1000,
        "Catalyst, bank 1 sensor 2; often stale at key on.",
        "catalyst 2",
        0x3E,
    ),
    Signal("manifold_pressure", "kPa", 10, 255, "Absolute pressure in the intake manifold.", "manifold pressure", 0x0B),
    Signal("barometric_pressure", "kPa", 60, 110, "Absolute pressure outside.", "outside pressure", 0x33),
    Signal("air_flow", "g/s", 0, 500, "Air mass flow at the air meter.", "air flow", 0x10),
    Signal("throttle_position", "%", 0, 100, "Throttle, absolute; warm idle is 10 to 20, not 0.", "throttle", 0x11),
    Signal("throttle_position_b", "%", 0, 100, "Throttle, second track.", "throttle B", 0x47),
    Signal(
        "relative_throttle",
        "%",
        0,
        100,
        "Throttle against its learned stop; 0 does not prove it closed.",
        "relative throttle",
        0x45,
    ),
    Signal("commanded_throttle", "%", 0, 100, "Throttle the controller asks for.", "commanded throttle", 0x4C),
    Signal("commanded_idle_air", "%", 0, 100, "Share of the idle air authority in use.", "commanded idle air"),
    Signal("pedal_d", "%", 0, 100, "Accelerator pedal, track D.", "pedal", 0x49),
    Signal("pedal_e", "%", 0, 100, "Accelerator pedal, track E.", "pedal E", 0x4A),
    Signal(
        "short_trim_1",
        "%",
        -50,
        50,
        "Short-term fuel trim, bank 1; positive adds fuel; 0 in open loop.",
        "short trim",
        0x06,
    ),
    Signal(
        "long_trim_1", "%", -50, 50, "Long-term fuel trim, bank 1; a table by cell, so it jumps.", "long trim", 0x07
    ),
    Signal("short_trim_2", "%", -50, 50, "Short-term fuel trim, bank 2.", "short trim 2", 0x08),
    Signal("long_trim_2", "%", -50, 50, "Long-term fuel trim, bank 2.", "long trim 2", 0x09),
    Signal(
        "fuel_system_status",
        "code",
        0,
        16,
        "1 open loop cold, 2 closed loop, 4 open loop by load, 8 by fault, 16 closed with fault.",
        "fuel system",
        0x03,
    ),
    Signal("engine_load", "%", 0, 100, "Calculated load.", "load", 0x04),
    Signal(
        "absolute_load",
        "%",
        0,
        400,
        "Air per stroke against a full cylinder at 25 °C, 101.325 kPa.",
        "absolute load",
        0x43,
    ),
    Signal("spark_advance", "°", -64, 64, "Spark before top dead centre, cylinder 1.", "spark advance", 0x0E),
    Signal("equivalence_ratio", "λ", 0, 2, "Commanded λ.", "commanded λ", 0x44),
    Signal("module_voltage", "V", 0, 18, "Supply at the controller.", "volts", 0x42),
    Signal("fuel_level", "%", 0, 100, "Fuel in the tank.", "fuel level", 0x2F),
    Signal("purge_command", "%", 0, 100, "Commanded evaporative purge.", "purge", 0x2E),
    Signal("run_time", "s", 0, 65535, "Time since the engine started.", "run time", 0x1F),
    Signal("warm_ups", "count", 0, 255, "Warm-ups since codes were cleared; 255 means 255 or more.", "warm-ups", 0x30),
    Signal("distance_since_clear", "km", 0, 65535, "Distance since codes were cleared.", "distance since clear", 0x31),
    Signal("time_since_clear", "min", 0, 65535, "Running time since codes were cleared.", "time since clear", 0x4E),
    Signal("distance_lamp_on", "km", 0, 65535, "Distance driven with the engine lamp on.", "distance with lamp", 0x21),
    Signal("time_lamp_on", "min", 0, 65535, "Running time with the engine lamp on.", "time with lamp", 0x4D),
    Signal("lamp", "code", 0, 2, "Engine lamp: 0 dark, 1 lit, 2 flashing.", "engine lamp"),
)

VOCABULARY: dict[str, Signal] = {row.name: row for row in _ROWS}
"""Every quantity by its standard name."""


def signal(name: str) -> Signal:
    """Look a quantity up.

    Args:
        name: a standard name.
    Returns: its entry.
    Raises: UnknownSignalError with near names.
    Example: ``signal("engine_speed").unit`` is ``"r/min"``.
    """
    try:
        return VOCABULARY[name]
    except KeyError:
        raise UnknownSignalError(name, difflib.get_close_matches(name, VOCABULARY, n=3)) from None
