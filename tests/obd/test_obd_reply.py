"""Bytes of one answer: the worked examples, and laws that hold for all."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tickover.errors import ReplyError, TickoverError
from tickover.obd import (
    MISFIRE_COUNT,
    MISFIRE_EWMA,
    PARAMETERS,
    SCALINGS,
    code_text,
    code_word,
    decode,
    figures,
    misfire_ewma,
    misfires,
    monitor_bytes,
    monitor_name,
    monitor_status,
)
from tickover.signals.vocabulary import VOCABULARY

quick = settings(deadline=None, max_examples=60)


def of(text):
    return decode(bytes.fromhex(text))


def names(monitors):
    return [m.name for m in monitors]


def test_worked_status_of_a_spark_engine():
    status = of("41 01 00 07 65 04")
    assert (status.lamp, status.stored, status.ignition) == (False, 0, "spark")
    assert names(m for m in status.monitors if m.continuous) == ["misfire", "fuel system", "components"]
    assert names(m for m in status.monitors if not m.continuous) == [
        "catalyst",
        "evaporative system",
        "oxygen sensor",
        "oxygen sensor heater",
    ]
    assert names(status.open) == ["evaporative system"]


def test_worked_status_with_the_lamp_on():
    status = of("41 01 81 07 65 00")
    assert (status.lamp, status.stored, status.open) == (True, 1, ())


def test_a_compression_engine_has_its_own_layout():
    status = of("41 01 00 0F EB 41")
    assert status.ignition == "compression"
    assert names(m for m in status.monitors if not m.continuous) == [
        "NMHC catalyst",
        "NOx aftertreatment",
        "boost pressure",
        "exhaust gas sensor",
        "PM filter",
        "EGR or valve timing",
    ]
    assert names(status.open) == ["NMHC catalyst", "PM filter"]


def test_a_bit_that_is_not_supported_never_counts_as_open():
    assert of("41 01 00 00 00 FF").open == ()
    assert of("41 01 00 70 00 FF").open == ()
    assert names(of("41 01 00 77 00 00").open) == ["misfire", "fuel system", "components"]


def test_parameter_41_speaks_of_this_cycle_and_has_no_lamp():
    status = of("41 41 00 07 65 04")
    assert (status.pid, status.lamp, status.stored) == (0x41, None, None)
    assert names(status.open) == ["evaporative system"]


@quick
@given(st.binary(min_size=4, max_size=4))
def test_a_status_written_back_is_the_same_save_for_bits_without_a_meaning(data):
    status = monitor_status(1, data)
    if any("reserved" in m.name for m in status.monitors):
        return
    a, b, c, d = data
    supported = b & 0x07
    assert monitor_bytes(status) == bytes((a, b & 0x08 | supported | b & (supported << 4), c, d & c))


@pytest.mark.parametrize(
    ("pid", "data", "value"),
    [
        (0x0C, "0BB8", 750),
        (0x05, "7B", 83),
        (0x10, "012C", 3.00),
        (0x06, "86", 4.6875),
        (0x07, "9A", 20.3125),
        (0x42, "3714", 14.100),
        (0x44, "8000", 1.0),
        (0x11, "26", 14.902),
        (0x0E, "80", 0),
        (0x1F, "0258", 600),
        (0x43, "0033", 20.0),
        (0x5C, "82", 90),
        (0x30, "FF", 255),
        (0x31, "0918", 2328),
        (0x21, "0000", 0),
        (0x4D, "0102", 258),
        (0x4E, "FFFF", 65535),
        (0x06, "00", -100),
        (0x06, "FF", 99.21875),
        (0x32, "FFFC", -1),
    ],
)
def test_worked_figures(pid, data, value):
    assert figures(pid, bytes.fromhex(data))[0].value == pytest.approx(value, abs=5e-4)


@pytest.mark.parametrize(("code", "words"), [("01", "OBD II (CARB)"), ("06", "EOBD"), ("0D", "JOBD, EOBD and OBD II")])
def test_type_of_diagnosis_in_words(code, words):
    assert of(f"41 1C {code}").values[0].words == words


def test_names_of_the_vocabulary_keep_their_unit():
    for row in PARAMETERS.values():
        for field in row.fields:
            if field.name in VOCABULARY:
                assert field.unit == VOCABULARY[field.name].unit, field.name
                assert VOCABULARY[field.name].pid in (row.pid, None)


def test_several_parameters_in_one_answer():
    assert [v.value for v in of("41 0C 0B B8 05 7B 0D 00").values] == [750, 83, 0]


@pytest.mark.parametrize(
    ("word", "text"),
    [
        (0x0301, "P0301"),
        (0x0420, "P0420"),
        (0x0507, "P0507"),
        (0x2118, "P2118"),
        (0x4123, "C0123"),
        (0x9234, "B1234"),
        (0xC100, "U0100"),
    ],
)
def test_worked_codes(word, text):
    assert code_text(word) == text
    assert code_word(text) == word


def test_every_code_is_read_back():
    assert all(code_word(code_text(word)) == word for word in range(0x10000))


def test_lists_of_codes_with_a_count_and_without():
    assert of("43 02 03 01 04 20").codes == ("P0301", "P0420")
    assert of("43 00").codes == ()
    assert of("43 03 01 04 20 00 00").codes == ("P0301", "P0420")
    assert of("43 00 00 00 00 00 00").codes == ()
    assert (of("47 01 01 71").of, of("4A 01 05 07").of) == ("pending", "permanent")


def test_misfires_by_cylinder():
    found = of("46 A2 0B 24 0005 0000 FFFF A2 0C 24 0007 0000 FFFF A3 0B 24 0001 0000 FFFF A1 0B 24 0006 0000 FFFF")
    assert misfires(found.results, MISFIRE_EWMA) == {1: 5, 2: 1}
    assert misfires(found.results, MISFIRE_COUNT) == {1: 7}
    assert [monitor_name(n) for n in (0xA1, 0xA2, 0xAD)] == [
        "misfire, general",
        "misfire, cylinder 1",
        "misfire, cylinder 12",
    ]


def test_three_zeros_mean_not_run_and_limits_are_inclusive():
    states = [
        of(f"46 21 80 01 {v}").results[0].state
        for v in ("0000 0000 0000", "0005 0005 0009", "0009 0005 0009", "000A 0005 0009")
    ]
    assert states == ["not run", "inside its limits", "inside its limits", "outside its limits"]


@pytest.mark.parametrize(
    ("uas", "raw", "value", "unit"),
    [
        ("01", "0010", 16, ""),
        ("05", "8000", 0.999424, ""),
        ("07", "0BB8", 750, "r/min"),
        ("0A", "0064", 12.2, "mV"),
        ("0B", "0064", 100, "mV"),
        ("10", "0064", 100, "ms"),
        ("11", "0002", 200, "ms"),
        ("12", "000A", 10, "s"),
        ("16", "01F4", 10, "°C"),
        ("17", "0064", 1, "kPa"),
        ("1A", "0064", 100, "kPa"),
        ("20", "0100", 1, ""),
        ("24", "0005", 5, "count"),
        ("27", "0154", 3.4, "g/s"),
        ("2F", "2710", 100, "%"),
        ("81", "FFFF", -1, ""),
        ("96", "FF9C", -10, "°C"),
        ("FD", "FFFF", -0.001, "kPa"),
        ("FE", "FFFC", -1, "Pa"),
    ],
)
def test_scalings(uas, raw, value, unit):
    found = of(f"46 3D 80 {uas} {raw} 0000 7FFF").results[0]
    assert (found.value, found.unit) == (pytest.approx(value, abs=1e-9), unit)


def test_scalings_from_80_up_are_signed_for_the_limits_too():
    found = of("46 3D 80 FE FFFC FFF8 0004").results[0]
    assert (found.lo, found.hi, found.state) == (-2, 1, "inside its limits")
    assert of("46 3D 80 17 FFFC FFF8 0004").results[0].state == "outside its limits"


def test_a_scaling_that_is_not_known_gives_no_figure_but_a_state():
    found = of("46 3D 80 70 0005 0000 0009").results[0]
    assert 0x70 not in SCALINGS
    assert (found.value, found.raw, found.state) == (None, (5, 0, 9), "inside its limits")


def test_smoothed_misfire_counts():
    assert misfire_ewma([100] * 5) == pytest.approx([10, 19, 27.1, 34.39, 40.951])
    assert misfire_ewma([100] * 4, rounded=True) == [10, 19, 27, 34]
    assert misfire_ewma([1] * 10)[-1] == pytest.approx(1 - 0.9**10)
    assert misfire_ewma([0, 0], start=100) == pytest.approx([90, 81])


def counters(info, values):
    return bytes([0x49, info, len(values)]) + b"".join(v.to_bytes(2, "big") for v in values)


@pytest.mark.parametrize(("info", "lengths"), [(0x08, (16, 20, 28)), (0x0B, (16, 18))])
def test_in_use_counters_of_every_length(info, lengths):
    for length in range(0, 40):
        data = counters(info, list(range(length)))
        if length not in lengths:
            with pytest.raises(ReplyError):
                decode(data)
            continue
        found = decode(data)
        assert list(found.counters.values()) == list(range(length))
        assert list(found.counters)[:2] == ["OBDCOND", "IGNCNTR"]


def test_in_use_counters_by_name():
    spark = decode(counters(0x08, list(range(28)))).counters
    assert (spark["CATCOMP1"], spark["EVAPCOND"], spark["SO2SCOND2"], spark["PFCOND2"]) == (2, 15, 19, 27)
    diesel = decode(counters(0x0B, list(range(18)))).counters
    assert (diesel["HCCATCOMP"], diesel["PMCOMP"], diesel["BPCOND"], diesel["FUELCOND"]) == (2, 8, 15, 17)


def test_what_the_car_calls_itself():
    assert of("49 02 01" + b"1M8GDM9AXKP042788".hex()).texts == ("1M8GDM9AXKP042788",)
    assert of("49 02 01" + b"OM8GDM9AXKP042788".hex()).notes
    assert of("49 04 01" + b"CAL-17".ljust(16, b"\0").hex()).texts == ("CAL-17",)
    assert of("49 06 02 01 02 03 04 AA BB CC DD").texts == ("01020304", "AABBCCDD")


def test_what_is_supported():
    assert of("41 00 80 00 00 01").numbers == (0x01, 0x20)
    assert of("46 A0 40 00 00 00").numbers == (0xA2,)
    assert of("49 00 41 00 00 00").numbers == (0x02, 0x08)


def test_a_refusal_says_why():
    assert of("7F 01 12").words.startswith("not supported")


whole = st.one_of(
    st.sampled_from(sorted(PARAMETERS)).flatmap(
        lambda pid: st.binary(min_size=PARAMETERS[pid].size, max_size=PARAMETERS[pid].size).map(
            lambda data: bytes([0x41, pid]) + data
        )
    ),
    st.binary(min_size=4, max_size=4).map(lambda data: b"\x41\x01" + data),
    st.lists(st.integers(0, 0xFFFF), max_size=9).map(
        lambda words: bytes([0x43, len(words)]) + b"".join(w.to_bytes(2, "big") for w in words)
    ),
    st.lists(st.integers(0, 0xFFFF), min_size=16, max_size=16).map(lambda words: counters(0x08, words)),
    st.binary(min_size=1, max_size=2).map(lambda b: b"\x7f" + b.ljust(2, b"\0")),
)


@quick
@given(whole)
def test_an_answer_cut_short_anywhere_is_refused_with_its_byte(data):
    decode(data)
    for end in range(len(data)):
        short = data[:end]
        if short[:1] == b"\x43" and end >= 7 and end % 2:
            continue  # looks like the form from before CAN, which has no count
        with pytest.raises(ReplyError) as refused:
            decode(short)
        assert 1 <= refused.value.byte <= end + 2


@quick
@given(whole, st.integers(1, 3).flatmap(lambda n: st.just(b"\0" * n)))
def test_an_answer_with_padding_after_it_is_refused(data, more):
    if data[0] == 0x43 and len(data + more) % 2 and (len(data + more) - 1) % 6 == 0:
        return  # read as the form from before CAN
    if data[0] == 0x41 and data[1] not in (0x01, 0x41):
        more = b"\0"
    with pytest.raises(ReplyError):
        decode(data + more)


def refusal(data):
    """The error of an answer that cannot be decoded, or None; anything but our own error passes through."""
    try:
        decode(data)
    except TickoverError as why:
        return why
    return None


@quick
@given(st.one_of(st.just(b""), st.sampled_from([bytes([b]) for b in (0x41, 0x43, 0x46, 0x47, 0x49, 0x4A, 0x7F)])),
       st.binary(max_size=64))  # fmt: skip
def test_any_bytes_are_decoded_or_refused_with_one_clear_error(first, data):
    why = refusal(first + data)
    assert why is None or (isinstance(why, ReplyError) and why.byte >= 1 and "\n" not in str(why))
