"""Typed and captured text in every common shape, and mistakes in it."""

from itertools import pairwise

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from tickover.errors import ReplyError
from tickover.obd import decode_file, decode_text, whole_answers

quick = settings(deadline=None, max_examples=60)

VIN = b"1M8GDM9AXKP042788"
STATUS = bytes.fromhex("410100076504")
COUNTERS = bytes.fromhex("490810") + bytes(range(32))


@pytest.mark.parametrize(
    "text",
    [
        "41 01 00 07 65 04",
        "410100076504",
        "41,01,00,07,65,04",
        "41-01-00-07-65-04",
        "0x41 0x01 0x00 0x07 0x65 0x04",
        "  41 01 00 07 65 04\r\n",
        "\ufeff41 01 00 07 65 04".lstrip("\ufeff"),
        "> 41 01 00 07 65 04",
        "01 01\n41 01 00 07 65 04\n>",
        "0101\r\r41 01 00 07 65 04\r\r>",
        "01011\nSEARCHING...\n41 01 00 07 65 04",
        "ATE0\nOK\nAT H1\nat sp 0\nSEARCHING...41 01 00 07 65 04\n>",
        "# typed by hand\n41 01 00 07 65 04  # the last one",
        "06 41 01 00 07 65 04",
        "06 41 01 00 07 65 04 AA",
        "7E8 06 41 01 00 07 65 04",
        "7E8 06 41 01 00 07 65 04 55",
        "7e806410100076504",
        "7DF 02 01 01 00 00 00 00 00\n7E8 06 41 01 00 07 65 04 00",
        "18 DA F1 10 06 41 01 00 07 65 04",
        "18DAF110 06 41 01 00 07 65 04",
        "18DAF11006410100076504",
        "18DB33F1 02 01 01\n18DAF110 06 41 01 00 07 65 04",
        "can0  7E8   [8]  06 41 01 00 07 65 04 AA",
        "(1436509052.249713) can0 7E8#0641010007650400",
        "12.5: 41 01 00 07 65 04",
        "48 6B 10 41 01 00 07 65 04 75",
        "86 F1 10 41 01 00 07 65 04 39",
        "41 01\n00 07 65 04",
        "41 01 00 07\n65\n04",
        "006\n0: 41 01 00 07 65 04",
    ],
)
def test_one_status_in_every_shape(text):
    found = decode_text(text)
    assert [one.data for one in whole_answers(text)] == [STATUS]
    assert [m.name for m in found[0].answer.open] == ["evaporative system"]


def isotp(address, data):
    if len(data) <= 7:
        return [f"{address} {len(data):02X} {data.hex(' ')}"]
    lines = [f"{address} {0x1000 | len(data):04X} {data[:6].hex(' ')}"]
    rest, number = data[6:], 1
    while rest:
        lines.append(f"{address} 2{number:X} {rest[:7].ljust(7, bytes([0xCC])).hex(' ')}")
        rest, number = rest[7:], (number + 1) % 16
    return lines


@quick
@given(
    st.lists(st.binary(min_size=1, max_size=200).map(lambda b: b"\x49" + b), min_size=1, max_size=3),
    st.randoms(use_true_random=False),
)
def test_frames_of_several_controllers_taking_turns(payloads, random):
    queues = [(f"7E{8 + i:X}", isotp(f"7E{8 + i:X}", data)) for i, data in enumerate(payloads)]
    lines = []
    waiting = [list(lines) for _, lines in queues]
    while any(waiting):
        lines.append(random.choice([q for q in waiting if q]).pop(0))
    found = {one.ecu: one.data for one in whole_answers("\n".join(lines))}
    assert found == {f"7E{8 + i:X}": data for i, data in enumerate(payloads)}


def test_long_answers_numbered_by_the_adapter():
    text = "014\n0: 49 02 01 31 4D 38\n1: 47 44 4D 39 41 58 4B\n2: 50 30 34 32 37 38 38"
    assert decode_text(text)[0].answer.texts == (VIN.decode(),)
    padded = "023\n" + "\n".join(
        f"{n % 16:X}: {chunk.hex(' ')}"
        for n, chunk in enumerate([COUNTERS[:6], *(COUNTERS[i : i + 7].ljust(7, b"\0") for i in range(6, 35, 7))])
    )
    assert whole_answers(padded)[0].data == COUNTERS


def test_messages_from_before_can_that_count_themselves():
    body = b"\0\0\0" + VIN
    lines = [f"49 02 0{n + 1} {body[4 * n : 4 * n + 4].hex(' ')}" for n in range(5)]
    assert decode_text("\n".join(lines))[0].answer.texts == (VIN.decode(),)
    counters = [f"49 08 0{n + 1} {bytes([0, 2 * n, 0, 2 * n + 1]).hex(' ')}" for n in range(8)]
    found = decode_text("\n".join(counters))[0].answer
    assert list(found.counters.values()) == list(range(16))


@quick
@given(st.lists(st.integers(1, 35), max_size=6))
def test_an_answer_wrapped_anywhere(cuts):
    cuts = sorted({0, *(c for c in cuts if c > 3), 35})
    text = "\n".join(COUNTERS[a:b].hex(" ") for a, b in pairwise(cuts))
    assert [one.data for one in whole_answers(text)] == [COUNTERS]


def test_many_answers_keep_their_lines_and_controllers():
    found = decode_text("0101\n7E8 06 41 01 00 07 65 04\n7E9 06 41 01 81 07 65 00\n\n41 30 02")
    assert [(one.ecu, one.line) for one in found] == [("7E8", 2), ("7E9", 3), ("", 5)]


def test_a_capture_without_service_byte():
    found = decode_text("264.5:4500,\n-----\n277.5:0c0f0a,\n")
    assert [one.t for one in found] == [264.5, 277.5]
    assert found[1].answer.values[0].value == 962.5
    assert decode_text("1.0:4100076504\n2.0:0501")[0].answer.pid == 0x41


@pytest.mark.parametrize(
    ("text", "line", "byte", "says"),
    [
        ("41 O1 00 07 65 04", 1, 2, "hexadecimal digit"),
        ("41 01 00 07 65 04\n41 30 0G", 2, 3, "hexadecimal digit"),
        ("4l Ol OO O7 65 O4", 1, 1, "hexadecimal digit"),
        ("4 1 01 00", 1, 1, "two digits"),
        ("41010007650", 1, 1, "half a byte"),
        ("41 01 00 07 65", 1, 6, "four bytes"),
        ("41 01 00 07 65 04 00", 1, 7, "four bytes"),
        ("41 05", 1, 3, "cut short"),
        ("41 05 7B 7B", 1, 4, "more than one answer's"),
        ("43 02 03 01", 1, 2, "count says 2"),
        ("43 02 03 01 04 20 00 00", 1, 2, "without padding"),
        ("46 A2 0B 24 00 05 00 00 FF", 1, 9, "nine bytes"),
        ("49 08 0F 00", 1, 5, "promises 15"),
        ("49 0C 01 00", 1, 2, "not known"),
        ("62 F4 01 00", 1, 1, "begins no answer"),
        ("7E8 06 41 01 00 07", 1, 6, "promises 6 bytes"),
        ("7E8 10 14 49 02 01 31 4D 38\n7E8 22 44", 2, 1, "comes 21, not 22"),
        ("7E8 10 14 49 02 01 31 4D 38", 1, 7, "only 6 are here"),
        ("7E8 21 44", 1, 1, "continues nothing"),
        ("014\n0: 49 02 01 31 4D 38\n2: 50 30 34 32 37 38 38", 3, 1, "does not follow"),
        ("014\n0: 49 02 01 31 4D 38", 2, 7, "only 6"),
        ("0101", 1, None, "no answer"),
        ("NO DATA", None, None, "no answer in it"),
        ("", None, None, "no answer in it"),
    ],
)
def test_a_mistake_is_named_with_its_line_its_byte_and_the_way_out(text, line, byte, says):
    with pytest.raises(ReplyError) as refused:
        decode_text(text)
    assert (refused.value.line, refused.value.byte) == (line, byte)
    assert says in str(refused.value)
    assert refused.value.way_out


def test_a_file_names_itself_in_its_error(tmp_path):
    path = tmp_path / "car.txt"
    path.write_text("41 01 00 07 65 04\n41 05\n")
    with pytest.raises(ReplyError, match=r"car\.txt, line 2"):
        decode_file(path)
    with pytest.raises(ReplyError, match="cannot be read"):
        decode_file(tmp_path / "none.txt")
    path.write_bytes(b"\xef\xbb\xbf41 30 02\r\n")
    assert decode_file(path)[0].answer.values[0].value == 2
    path.write_bytes(b"0" * 1_000_001)
    with pytest.raises(ReplyError, match="megabyte"):
        decode_file(path)


def refusal(text):
    """Our error for a text, or None; any other error passes through and fails the test."""
    try:
        decode_text(text)
    except ReplyError as why:
        return why
    return None


lines = st.one_of(
    st.binary(max_size=16).map(lambda b: b.hex(" ")),
    st.binary(max_size=12).map(lambda b: b.hex()),
    st.tuples(st.sampled_from(["7E8 ", "7E9", "18DAF110", "0: ", "1:", "41 ", "49 02 01 ", "12.5:", "48 6B 10 "]),
              st.binary(max_size=9)).map(lambda t: t[0] + t[1].hex(" ")),
    st.text(max_size=20),
    st.text("0123456789abcdefABCDEF :>-#\n", max_size=30),
)  # fmt: skip


@quick
@given(st.lists(lines, max_size=6).map("\n".join))
@example("7E8")
@example("7E8 \n")
@example("0:")
@example("014")
@example("12.5:")
@example("7E8 00")
@example("12.5: \n12.6:41")
def test_any_text_is_decoded_or_refused_with_one_clear_error(text):
    why = refusal(text)
    assert why is None or (why.what and "\n" not in str(why))
