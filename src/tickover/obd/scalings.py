"""Service 06: unit and scaling of a test result, names of monitors and tests."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Scaling:
    """``value = raw * scale + offset`` in ``unit``; identifiers from 80 up are signed."""

    scale: float
    unit: str
    offset: float = 0.0


SCALINGS: dict[int, Scaling] = {
    0x01: Scaling(1, ""),
    0x02: Scaling(0.1, ""),
    0x03: Scaling(0.01, ""),
    0x04: Scaling(0.001, ""),
    0x05: Scaling(0.0000305, ""),
    0x06: Scaling(0.000305, ""),
    0x07: Scaling(0.25, "r/min"),
    0x08: Scaling(0.01, "km/h"),
    0x09: Scaling(1, "km/h"),
    0x0A: Scaling(0.122, "mV"),
    0x0B: Scaling(1, "mV"),
    0x0C: Scaling(10, "mV"),
    0x0D: Scaling(1 / 256, "mA"),
    0x0E: Scaling(1, "mA"),
    0x0F: Scaling(10, "mA"),
    0x10: Scaling(1, "ms"),
    0x11: Scaling(100, "ms"),
    0x12: Scaling(1, "s"),
    0x13: Scaling(1, "mΩ"),
    0x14: Scaling(1, "Ω"),
    0x15: Scaling(1, "kΩ"),
    0x16: Scaling(0.1, "°C", -40.0),
    0x17: Scaling(0.01, "kPa"),
    0x18: Scaling(0.0117, "kPa"),
    0x19: Scaling(0.079, "kPa"),
    0x1A: Scaling(1, "kPa"),
    0x1B: Scaling(10, "kPa"),
    0x1C: Scaling(0.01, "°"),
    0x1D: Scaling(0.5, "°"),
    0x1E: Scaling(0.0000305, "λ"),
    0x1F: Scaling(0.05, "air to fuel"),
    0x20: Scaling(1 / 256, ""),
    0x21: Scaling(1, "mHz"),
    0x22: Scaling(1, "Hz"),
    0x23: Scaling(1, "kHz"),
    0x24: Scaling(1, "count"),
    0x25: Scaling(1, "km"),
    0x26: Scaling(0.1, "mV/ms"),
    0x27: Scaling(0.01, "g/s"),
    0x28: Scaling(1, "g/s"),
    0x29: Scaling(0.25, "Pa/s"),
    0x2A: Scaling(0.001, "kg/h"),
    0x2B: Scaling(1, "switches"),
    0x2C: Scaling(0.01, "g/cylinder"),
    0x2D: Scaling(0.01, "mg/stroke"),
    0x2F: Scaling(0.01, "%"),
    0x30: Scaling(0.001526, "%"),
    0x31: Scaling(0.001, "l"),
    0x34: Scaling(1, "min"),
    0x35: Scaling(10, "ms"),
    0x36: Scaling(0.01, "g"),
    0x37: Scaling(0.1, "g"),
    0x38: Scaling(1, "g"),
    0x39: Scaling(0.01, "%", -327.68),
    0x81: Scaling(1, ""),
    0x82: Scaling(0.1, ""),
    0x83: Scaling(0.01, ""),
    0x84: Scaling(0.001, ""),
    0x85: Scaling(0.0000305, ""),
    0x86: Scaling(0.000305, ""),
    0x8A: Scaling(0.122, "mV"),
    0x8B: Scaling(1, "mV"),
    0x8C: Scaling(10, "mV"),
    0x8D: Scaling(1 / 256, "mA"),
    0x8E: Scaling(1, "mA"),
    0x90: Scaling(1, "ms"),
    0x96: Scaling(0.1, "°C"),
    0x9C: Scaling(0.01, "°"),
    0x9D: Scaling(0.5, "°"),
    0xA8: Scaling(1, "g/s"),
    0xA9: Scaling(0.25, "Pa/s"),
    0xAF: Scaling(0.01, "%"),
    0xB0: Scaling(0.003052, "%"),
    0xFD: Scaling(0.001, "kPa"),
    0xFE: Scaling(0.25, "Pa"),
}
"""By identifier. Source: SAE J1979 appendix E, from memory, agreeing with a public packet library; 20 is 1/256."""

MISFIRE_GENERAL = 0xA1
"""Monitor of the misfire general data; cylinder n is this plus n, to cylinder 12."""

MISFIRE_EWMA, MISFIRE_COUNT = 0x0B, 0x0C
"""Tests of a misfire monitor: smoothed over the last ten driving cycles; counted in the last or present one."""

_TESTS = {
    0x01: "rich to lean threshold voltage",
    0x02: "lean to rich threshold voltage",
    0x03: "low voltage for switch time",
    0x04: "high voltage for switch time",
    0x05: "rich to lean switch time",
    0x06: "lean to rich switch time",
    0x07: "lowest voltage in the test",
    0x08: "highest voltage in the test",
    0x09: "time between transitions",
    0x0A: "sensor period",
    MISFIRE_EWMA: "misfires, smoothed over the last ten driving cycles",
    MISFIRE_COUNT: "misfires in the last or present driving cycle",
}

_BANKED = (
    (0x21, 4, "catalyst, bank {}"),
    (0x31, 4, "EGR, bank {}"),
    (0x35, 4, "valve timing, bank {}"),
    (0x61, 4, "heated catalyst, bank {}"),
    (0x71, 4, "secondary air {}"),
    (0x81, 4, "fuel system, bank {}"),
    (0x85, 2, "boost pressure, bank {}"),
    (0x90, 2, "NOx adsorber, bank {}"),
    (0x98, 2, "NOx catalyst, bank {}"),
    (0xB0, 2, "PM filter, bank {}"),
)
_SINGLE = {
    0x39: "evaporative system, cap off or 0.150 inch",
    0x3A: "evaporative system, 0.090 inch",
    0x3B: "evaporative system, 0.040 inch",
    0x3C: "evaporative system, 0.020 inch",
    0x3D: "evaporative purge flow",
    MISFIRE_GENERAL: "misfire, general",
}


def monitor_name(mid: int) -> str:
    """The name of a monitor of service 06; ``monitor XX`` where it is a maker's own.

    Source: SAE J1979 appendix D, from memory, agreeing with a public packet library save 31, which that lacks.
    Example: ``monitor_name(0xA3)`` is ``"misfire, cylinder 2"``.
    """
    if mid in _SINGLE:
        return _SINGLE[mid]
    if 0xA2 <= mid <= 0xAD:
        return f"misfire, cylinder {mid - MISFIRE_GENERAL}"
    for first, name in ((0x01, "oxygen sensor"), (0x41, "oxygen sensor heater")):
        if first <= mid < first + 16:
            bank, sensor = divmod(mid - first, 4)
            return f"{name}, bank {bank + 1} sensor {sensor + 1}"
    for first, count, name in _BANKED:
        if first <= mid < first + count:
            return name.format(mid - first + 1)
    return f"monitor {mid:02X}"


def name_of_test(tid: int) -> str:
    """The name of a standard test; ``test XX`` where it is a maker's own."""
    return _TESTS.get(tid, f"test {tid:02X}")


def is_misfire(mid: int) -> bool:
    """Whether a monitor is one of misfire, general or of a cylinder."""
    return MISFIRE_GENERAL <= mid <= 0xAD
