"""Our decoder against a general packet library: equal where that is right, and a list of where it is not.

The library rounds scaled figures to three decimals, so equal means to within 5e-4. Where it departs from the standard
the test asserts both: what it says, and what we say. A new release that mends a row fails here, and the row goes.
"""

import logging
import warnings

import pytest

from tickover.obd import SCALINGS, code_text, decode, figures, monitor_name
from tickover.obd.scalings import name_of_test

logging.getLogger("scapy").setLevel(logging.ERROR)
with warnings.catch_warnings():
    # Its import may touch deprecated corners of its own dependencies; what we call afterwards may not.
    warnings.simplefilter("ignore")
    scapy_config = pytest.importorskip("scapy.config", reason="the packet library is not installed")
    from scapy.contrib.automotive.obd.obd import OBD
    from scapy.contrib.automotive.obd.pid.pids import OBD_S01_PR_Record
    from scapy.contrib.automotive.obd.services import OBD_DTC

ROUNDED = 5e-4 * (1 + 1e-6)


def of(text):
    return bytes.fromhex(text)


def library(text):
    return OBD(of(text))


def record(pid, data):
    """The library's fields of one parameter, and the bytes it leaves over."""
    parsed = OBD_S01_PR_Record(bytes([pid]) + data)
    fields = {f.name: parsed.payload.getfieldval(f.name) for f in parsed.payload.fields_desc}
    return fields, bytes(parsed.payload.payload)


def test_the_library_is_the_one_that_was_read():
    """Reference library: the packet library of 2.8; other releases may mend rows below."""
    assert scapy_config.conf.version.startswith("2."), scapy_config.conf.version


ONE_BYTE = (0x04, 0x05, 0x06, 0x07, 0x08, 0x09, 0x0A, 0x0B, 0x0D, 0x0E, 0x0F, 0x11, 0x2C, 0x2D, 0x2E, 0x2F, 0x30, 0x33,
            0x45, 0x46, 0x47, 0x48, 0x49, 0x4A, 0x4B, 0x4C, 0x52, 0x5A, 0x5C)  # fmt: skip
TWO_BYTES = (0x0C, 0x1F, 0x21, 0x22, 0x23, 0x31, 0x32, 0x3C, 0x3D, 0x3E, 0x3F, 0x42, 0x43, 0x4D, 0x4E, 0x5E)


@pytest.mark.parametrize("pid", ONE_BYTE)
def test_parameters_of_one_byte(pid):
    """Reference library: every value of every parameter of one byte, to the library's own rounding."""
    for raw in range(256):
        fields, rest = record(pid, bytes([raw]))
        assert rest == b""
        ours = figures(pid, bytes([raw]))[0].value
        assert ours == pytest.approx(fields["data"], abs=ROUNDED), raw


@pytest.mark.parametrize("pid", TWO_BYTES)
def test_parameters_of_two_bytes(pid):
    """Reference library: parameters of two bytes, every 251st value and the ends, signed where the standard is."""
    for raw in {*range(0, 0x10000, 251), 0x7FFF, 0x8000, 0xFFFF}:
        data = raw.to_bytes(2, "big")
        fields, rest = record(pid, data)
        assert rest == b""
        assert figures(pid, data)[0].value == pytest.approx(fields["data"], abs=ROUNDED), raw


@pytest.mark.parametrize("pid", range(0x14, 0x1C))
def test_narrow_oxygen_sensors(pid):
    """Reference library: volts and trim of sensors 1 to 8; trim FF is not used, which the library takes for +99.2."""
    for raw in range(0, 255, 5):
        fields, _ = record(pid, bytes([raw, raw]))
        volts, trim = figures(pid, bytes([raw, raw]))
        assert volts.value == pytest.approx(fields["outputVoltage"], abs=ROUNDED)
        assert trim.value == pytest.approx(fields["trim"], abs=ROUNDED)
    assert figures(pid, b"\x00\xff")[1].value is None


def test_every_trouble_code():
    """Reference library: how two bytes split into letter and four figures; the first 600 and every 61st."""
    for word in range(0, 0x10000):
        data = word.to_bytes(2, "big")
        if word % 61 and word > 600:
            continue
        d = OBD_DTC(data)
        assert code_text(word) == f"{'PCBU'[d.location]}{d.code1}{d.code2:X}{d.code3:X}{d.code4:X}"


def test_counts_of_service_09():
    """Reference library: counters of information type 08 and a VIN, item by item."""
    data = "49 08 10" + "".join(f"{n * 1000:04X}" for n in range(16))
    theirs = library(data).data_records[0].payload.data
    assert list(decode(of(data)).counters.values()) == list(theirs)
    vin = "49 02 01" + b"1M8GDM9AXKP042788".hex()
    assert decode(of(vin)).texts[0].encode() == library(vin).data_records[0].payload.vehicle_identification_numbers[0]


_VOLTS_IN_MILLI = {0x0B: 1000, 0x0C: 1000, 0x8B: 1000, 0x8C: 1000, 0x0E: 1000, 0x0F: 1000, 0x8E: 1000}
"""Where the library counts in V or A and we in mV or mA."""


@pytest.mark.parametrize("uas", sorted(SCALINGS))
def test_scalings_of_service_06(uas):
    """Reference library: every scaling, all three figures, signed from 80 up; 20 is 1/256, printed as 0.0039062."""
    for raw in ("0000", "0001", "0064", "7FFF", "8000", "FFFF"):
        text = f"46 21 80 {uas:02X} {raw} {raw} {raw}"
        theirs = library(text).data_records[0].payload
        ours = decode(of(text)).results[0]
        factor = _VOLTS_IN_MILLI.get(uas, 1)
        loose = max(ROUNDED * factor, 0.004 if uas == 0x20 else 0)
        assert ours.value == pytest.approx(factor * float(theirs.test_value), abs=loose)
        assert ours.lo == pytest.approx(factor * float(theirs.min_limit), abs=loose)
        assert ours.hi == pytest.approx(factor * float(theirs.max_limit), abs=loose)


def test_names_of_misfire_monitors():
    """Reference library: monitors A2 to AD are cylinders 1 to 12."""
    names = library("46 A2 0B 24 0001 0000 FFFF").data_records[0].on_board_monitoring_ids
    for cylinder in range(1, 13):
        assert names[0xA1 + cylinder] == f"Misfire Cylinder {cylinder} Data"
        assert monitor_name(0xA1 + cylinder) == f"misfire, cylinder {cylinder}"


# --- where the library departs from the standard: (number of the row, what it says, what is right) ------------------


def row_1():
    fields, left = record(0x10, of("012C"))
    return (fields["data"], left), (0.01, b"\x2c"), figures(0x10, of("012C"))[0].value, 3.0


def row_2():
    fields, _ = record(0x01, of("00070100"))
    ours = [m.name for m in decode(of("410100070100")).monitors if not m.continuous]
    return str(fields["once_per_trip_tests_supported"]), "egr", ours, ["catalyst"]


def row_2_other_end():
    fields, _ = record(0x01, of("00078000"))
    ours = [m.name for m in decode(of("410100078000")).monitors if not m.continuous]
    return str(fields["once_per_trip_tests_supported"]), "catalyst", ours, ["EGR or valve timing"]


def row_3():
    fields, _ = record(0x01, of("00070404"))
    ours = [m.name for m in decode(of("410100070404")).open]
    return str(fields["once_per_trip_tests_ready"]), "oxygenSensor", ours, ["evaporative system"]


def row_4():
    fields, _ = record(0x01, of("000F0808"))
    ours = decode(of("4101000F0808"))
    theirs = (fields["reserved2"], str(fields["once_per_trip_tests_supported"]))
    return theirs, (1, "acSystemRefrigerant"), (ours.ignition, ours.open[0].name), ("compression", "boost pressure")


def row_5():
    names = dict(OBD_S01_PR_Record(of("030100")).payload.get_field("fuel_system1").i2s)
    ours = figures(0x03, of("0100"))[0].words
    return (names.get(0x00), names.get(0x01)), ("OpenLoopInsufficientEngineTemperature", None), ours, (
        "open loop, not yet warm"
    )  # fmt: skip


def row_6():
    names = dict(OBD_S01_PR_Record(of("1201")).payload.get_field("data").i2s)
    return (names.get(0x00), names.get(0x01)), ("upstream", None), figures(0x12, of("01"))[0].words, "upstream"


def row_7():
    fields, _ = record(0x34, of("80008000"))
    return fields["current"], 128.0, figures(0x34, of("80008000"))[1].value, 0.0


def row_8():
    fields, _ = record(0x44, of("8000"))
    return fields["data"], 0.999, figures(0x44, of("8000"))[0].value, 1.0


def row_8_sensor():
    fields, _ = record(0x24, of("80000000"))
    return fields["equivalence_ratio"], 0.999, figures(0x24, of("80000000"))[0].value, 1.0


def row_9():
    parsed = library("46 31 80 01 0005 0000 0009").data_records[0]
    theirs = (0x31 in parsed.on_board_monitoring_ids, type(parsed.payload).__name__)
    ours = decode(of("46318001000500000009")).results[0]
    return theirs, (False, "Raw"), (ours.monitor, ours.value), ("EGR, bank 1", 5.0)


def row_10():
    payload = library("46 A2 0B 24 0005 0000 FFFF").data_records[0].payload
    theirs = (max(payload.standardized_test_ids), payload.test_value)
    ours = name_of_test(0x0B), name_of_test(0x0C)
    right = "misfires, smoothed over the last ten driving cycles", "misfires in the last or present driving cycle"
    return theirs, (0x0A, 5), ours, right


def row_11():
    names = dict(OBD_S01_PR_Record(of("1C21")).payload.get_field("data").i2s)
    ours = figures(0x1C, of("21"))[0].words
    return names[0x21], "Heavy Duty Euro OBD Stage VI (HD EOBD-IV)", ours, "heavy-duty EOBD, stage VI"


def row_12():
    fields, _ = record(0x04, of("55"))
    fine, _ = record(0x06, of("87"))
    ours = figures(0x06, of("87"))[0].value
    return (fields["data"], fine["data"]), (33.333, 5.469), ours, 5.46875


ROWS = (row_1, row_2, row_2_other_end, row_3, row_4, row_5, row_6, row_7, row_8, row_8_sensor, row_9, row_10, row_11,
        row_12)  # fmt: skip


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row.__name__)
def test_where_the_library_is_not_right(row):
    """Reference library: twelve departures from SAE J1979 (its tables by public copies, part from memory)."""
    theirs, expected_of_them, ours, right = row()
    assert theirs == expected_of_them
    assert ours == right
