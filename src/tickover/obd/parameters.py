"""Service 01: how the bytes of each parameter become figures."""

from __future__ import annotations

from dataclasses import dataclass

from tickover.errors import ReplyError
from tickover.obd.results import Value


@dataclass(frozen=True, slots=True)
class Field:
    """One figure inside a parameter: ``value = raw * scale + offset``.

    Attributes:
        name: the standard name, or ours.
        unit: of the value.
        scale, offset: as above.
        at: its first byte, from 0.
        size: its bytes, 1, 2 or 4.
        signed: whether two's complement.
        unused: the raw value that says "not used".
        words: meanings of a code.
    """

    name: str
    unit: str
    scale: float = 1.0
    offset: float = 0.0
    at: int = 0
    size: int = 1
    signed: bool = False
    unused: int | None = None
    words: tuple[tuple[int, str], ...] = ()


@dataclass(frozen=True, slots=True)
class Parameter:
    """One parameter: its bytes and its figures."""

    pid: int
    size: int
    fields: tuple[Field, ...]


_SHARE = 100 / 255
_RATIO = 2 / 65536
"""λ a bit: tables print 0.0000305, which makes 8000 come out 0.9994 instead of 1."""

FUEL_SYSTEM = (
    (0x01, "open loop, not yet warm"),
    (0x02, "closed loop"),
    (0x04, "open loop by load or overrun"),
    (0x08, "open loop by a fault"),
    (0x10, "closed loop with a fault"),
)
SECONDARY_AIR = ((0x01, "upstream"), (0x02, "downstream"), (0x04, "outside or off"), (0x08, "pump on for a test"))
OBD_TYPE = (
    (0x01, "OBD II (CARB)"),
    (0x02, "OBD (EPA)"),
    (0x03, "OBD and OBD II"),
    (0x06, "EOBD"),
    (0x07, "EOBD and OBD II"),
    (0x09, "EOBD, OBD and OBD II"),
    (0x0A, "JOBD"),
    (0x0D, "JOBD, EOBD and OBD II"),
    (0x21, "heavy-duty EOBD, stage VI"),
)


def _one(pid: int, name: str, unit: str, scale: float = 1.0, offset: float = 0.0) -> Parameter:
    return Parameter(pid, 1, (Field(name, unit, scale, offset),))


def _two(pid: int, name: str, unit: str, scale: float = 1.0, offset: float = 0.0, *, signed: bool = False) -> Parameter:
    return Parameter(pid, 2, (Field(name, unit, scale, offset, size=2, signed=signed),))


def _code(pid: int, name: str, words: tuple[tuple[int, str], ...] = (), *, size: int = 1) -> Parameter:
    return Parameter(pid, size, (Field(name, "code", size=size, words=words),))


def _narrow_sensor(pid: int) -> Parameter:
    n = pid - 0x13
    return Parameter(
        pid,
        2,
        (
            Field(f"oxygen_sensor_{n}_voltage", "V", 0.005),
            Field(f"oxygen_sensor_{n}_trim", "%", 100 / 128, -100.0, at=1, unused=0xFF),
        ),
    )


def _wide_sensor(pid: int, *, current: bool) -> Parameter:
    n = pid - (0x33 if current else 0x23)
    second = (
        Field(f"wide_sensor_{n}_current", "mA", 1 / 256, -128.0, at=2, size=2)
        if current
        else Field(f"wide_sensor_{n}_voltage", "V", 8 / 65536, at=2, size=2)
    )
    ratio = Field(f"wide_sensor_{n}_ratio", "λ", _RATIO, size=2)
    return Parameter(pid, 4, (ratio, second))


_TRIM = 100 / 128
_ROWS: tuple[Parameter, ...] = (
    Parameter(
        0x03,
        2,
        (
            Field("fuel_system_status", "code", words=FUEL_SYSTEM),
            Field("fuel_system_status_2", "code", at=1, words=FUEL_SYSTEM),
        ),
    ),
    _one(0x04, "engine_load", "%", _SHARE),
    _one(0x05, "coolant_temperature", "°C", 1, -40),
    _one(0x06, "short_trim_1", "%", _TRIM, -100),
    _one(0x07, "long_trim_1", "%", _TRIM, -100),
    _one(0x08, "short_trim_2", "%", _TRIM, -100),
    _one(0x09, "long_trim_2", "%", _TRIM, -100),
    _one(0x0A, "fuel_pressure", "kPa", 3),
    _one(0x0B, "manifold_pressure", "kPa"),
    _two(0x0C, "engine_speed", "r/min", 0.25),
    _one(0x0D, "vehicle_speed", "km/h"),
    _one(0x0E, "spark_advance", "°", 0.5, -64),
    _one(0x0F, "intake_temperature", "°C", 1, -40),
    _two(0x10, "air_flow", "g/s", 0.01),
    _one(0x11, "throttle_position", "%", _SHARE),
    _code(0x12, "secondary_air_status", SECONDARY_AIR),
    _code(0x13, "oxygen_sensors_present"),
    *(_narrow_sensor(pid) for pid in range(0x14, 0x1C)),
    _code(0x1C, "obd_type", OBD_TYPE),
    _code(0x1D, "oxygen_sensors_present"),
    _code(0x1E, "auxiliary_input"),
    _two(0x1F, "run_time", "s"),
    _two(0x21, "distance_lamp_on", "km"),
    _two(0x22, "fuel_rail_pressure_relative", "kPa", 0.079),
    _two(0x23, "fuel_rail_pressure", "kPa", 10),
    *(_wide_sensor(pid, current=False) for pid in range(0x24, 0x2C)),
    _one(0x2C, "commanded_egr", "%", _SHARE),
    _one(0x2D, "egr_error", "%", _TRIM, -100),
    _one(0x2E, "purge_command", "%", _SHARE),
    _one(0x2F, "fuel_level", "%", _SHARE),
    _one(0x30, "warm_ups", "count"),
    _two(0x31, "distance_since_clear", "km"),
    _two(0x32, "evaporative_pressure", "Pa", 0.25, signed=True),
    _one(0x33, "barometric_pressure", "kPa"),
    *(_wide_sensor(pid, current=True) for pid in range(0x34, 0x3C)),
    _two(0x3C, "catalyst_temperature_1", "°C", 0.1, -40),
    _two(0x3D, "catalyst_temperature_bank_2", "°C", 0.1, -40),
    _two(0x3E, "catalyst_temperature_2", "°C", 0.1, -40),
    _two(0x3F, "catalyst_temperature_2_bank_2", "°C", 0.1, -40),
    _two(0x42, "module_voltage", "V", 0.001),
    _two(0x43, "absolute_load", "%", _SHARE),
    _two(0x44, "equivalence_ratio", "λ", _RATIO),
    _one(0x45, "relative_throttle", "%", _SHARE),
    _one(0x46, "ambient_temperature", "°C", 1, -40),
    _one(0x47, "throttle_position_b", "%", _SHARE),
    _one(0x48, "throttle_position_c", "%", _SHARE),
    _one(0x49, "pedal_d", "%", _SHARE),
    _one(0x4A, "pedal_e", "%", _SHARE),
    _one(0x4B, "pedal_f", "%", _SHARE),
    _one(0x4C, "commanded_throttle", "%", _SHARE),
    _two(0x4D, "time_lamp_on", "min"),
    _two(0x4E, "time_since_clear", "min"),
    _code(0x51, "fuel_type"),
    _one(0x52, "ethanol_share", "%", _SHARE),
    _one(0x5A, "relative_pedal", "%", _SHARE),
    _one(0x5C, "oil_temperature", "°C", 1, -40),
    _two(0x5E, "fuel_rate", "l/h", 0.05),
)

PARAMETERS: dict[int, Parameter] = {row.pid: row for row in _ROWS}
"""Parameters that become figures, by number. Monitors and lists of what is supported are decoded apart."""

MONITORS = (0x01, 0x41)
SUPPORT = tuple(range(0x00, 0x100, 0x20))


def size_of(pid: int) -> int | None:
    """Data bytes of a parameter; None where it is not known here."""
    if pid in MONITORS or pid in SUPPORT:
        return 4
    row = PARAMETERS.get(pid)
    return row.size if row is not None else None


def figures(pid: int, data: bytes, *, line: int | None = None) -> tuple[Value, ...]:
    """Decode the data bytes of one parameter.

    Args:
        pid: the parameter.
        data: its bytes, all of them.
        line: for the error.
    Returns: its figures, in the order of the bytes.
    Raises: ReplyError if the parameter is not known here or the number of bytes is wrong.
    Source: SAE J1979 appendix B, by public tables of parameters; ratios as 2/65536, from memory.
    Example: ``figures(0x0C, bytes.fromhex("0BB8"))[0].value`` is 750.
    """
    row = PARAMETERS.get(pid)
    if row is None:
        raise ReplyError(f"parameter {pid:02X} is not known here", line=line, byte=2)
    if len(data) != row.size:
        raise ReplyError(
            f"parameter {pid:02X} has {row.size} data bytes, not {len(data)}",
            line=line,
            byte=2 + min(len(data), row.size) + 1,
            way_out="Type the whole answer and nothing after it.",
        )
    return tuple(_figure(pid, field, data) for field in row.fields)


def _figure(pid: int, field: Field, data: bytes) -> Value:
    raw = int.from_bytes(data[field.at : field.at + field.size], "big", signed=field.signed)
    if raw == field.unused:
        return Value(pid=pid, name=field.name, value=None, unit=field.unit, words="not used")
    words = dict(field.words).get(raw, "")
    # Nine decimals are finer than any step above; 14.296000000000001 V would only puzzle.
    value = round(raw * field.scale + field.offset, 9)
    return Value(pid=pid, name=field.name, value=value, unit=field.unit, words=words)
