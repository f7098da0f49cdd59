"""The bytes of one whole answer, decoded."""

from __future__ import annotations

from collections.abc import Callable

from tickover.errors import ReplyError
from tickover.obd.codes import KINDS, codes
from tickover.obd.monitors import monitor_status
from tickover.obd.outcomes import monitor_results
from tickover.obd.parameters import MONITORS, SUPPORT, figures, size_of
from tickover.obd.results import Answer, Refusal, Supported, Value, Values
from tickover.obd.vehicle import COUNTER_TYPES, TEXT_TYPES, identity, in_use, item_size

FIRST_BYTES = frozenset({0x41, 0x46, 0x49, 0x7F, *KINDS})
"""How an answer that is decoded here begins."""

_REASONS = {
    0x10: "general reject",
    0x11: "service not supported",
    0x12: "not supported, or wrong format",
    0x21: "busy, ask again",
    0x22: "conditions not right, or out of order",
    0x78: "taken, the answer will follow",
}


def decode(data: bytes, *, line: int | None = None) -> Answer:
    """Decode one answer.

    Args:
        data: the whole answer from its first byte (41, 43, 46, 47, 49, 4A or 7F), without header and padding.
        line: where it was typed, for the error.
    Returns: what it says.
    Raises: ReplyError, with the byte, for anything that is cut short, too long or not known here.
    Example: ``decode(bytes.fromhex("410100076504")).open[0].name`` is ``"evaporative system"``.
    """
    if not data:
        raise ReplyError("an empty answer", line=line, byte=1, way_out="Type the bytes that came back.")
    reader = _READERS.get(data[0])
    if reader is None:
        raise ReplyError(
            f"{data[0]:02X} begins no answer that is read here",
            line=line,
            byte=1,
            way_out="Answers begin with 41, 43, 46, 47, 49, 4A or 7F; type them whole.",
        )
    if len(data) < 2:
        raise ReplyError(f"{data[0]:02X} alone is cut short", line=line, byte=2, way_out="Type the whole answer.")
    return reader(data, line)


def _current(data: bytes, line: int | None) -> Answer:
    pid = data[1]
    if pid in MONITORS:
        return monitor_status(pid, data[2:], line=line)
    if pid in SUPPORT:
        return _supported(1, data, 5, line)
    found: list[Value] = []
    at = 1
    while at < len(data):
        pid = data[at]
        size = size_of(pid)
        if size is None or pid in MONITORS or pid in SUPPORT:
            what = f"parameter {pid:02X} is not known here" if at == 1 else "there is more than one answer's bytes"
            raise ReplyError(what, line=line, byte=at + 1, way_out="One answer a line, without padding.")
        body = data[at + 1 : at + 1 + size]
        if len(body) < size:
            what = "is cut short" if at == 1 else "has bytes after its end, or is cut short"
            raise ReplyError(
                f"the answer {what}: parameter {pid:02X} has {size} data byte{'s' if size > 1 else ''}",
                line=line,
                byte=len(data) + 1 if at == 1 else at + 1,
                way_out="Type the whole answer and nothing after it.",
            )
        found += figures(pid, body, line=line)
        at += 1 + size
    return Values(values=tuple(found))


def _supported(service: int, data: bytes, record: int, line: int | None) -> Supported:
    body = data[1:]
    if len(body) % record:
        raise ReplyError(
            f"a list of what is supported has a number and four bytes, not {len(body)} bytes",
            line=line,
            byte=len(data),
            way_out="Type the whole answer and nothing after it.",
        )
    numbers: list[int] = []
    for i in range(0, len(body), record):
        first = body[i]
        if first not in SUPPORT:
            raise ReplyError(f"{first:02X} does not begin a list of what is supported", line=line, byte=i + 2)
        bits = int.from_bytes(body[i + record - 4 : i + record], "big")
        numbers += [first + n for n in range(1, 33) if bits >> (32 - n) & 1]
    return Supported(service=service, numbers=tuple(numbers))


def _outcomes(data: bytes, line: int | None) -> Answer:
    if data[1] in SUPPORT:
        return _supported(6, data, 5, line)
    return monitor_results(data, line=line)


def _vehicle(data: bytes, line: int | None) -> Answer:
    info, body = data[1], data[2:]
    if info == 0x00:
        # On CAN the four bytes follow at once; before CAN a message number stands between.
        return _supported(9, data[:2] + data[3:] if len(data) == 7 else data, 5, line)
    if info in COUNTER_TYPES:
        return in_use(info, body, line=line)
    if info in TEXT_TYPES:
        return identity(info, body, line=line)
    raise ReplyError(
        f"information type {info:02X} is not known here",
        line=line,
        byte=2,
        way_out="Known are 00, 02, 04, 06, 08, 0A and 0B.",
    )


def _codes(data: bytes, line: int | None) -> Answer:
    return codes(data, line=line)


def _refusal(data: bytes, line: int | None) -> Answer:
    if len(data) != 3:
        raise ReplyError(
            f"a refusal has three bytes, not {len(data)}",
            line=line,
            byte=min(len(data), 3) + 1,
            way_out="Type it whole.",
        )
    words = _REASONS.get(data[2], f"reason {data[2]:02X}")
    return Refusal(service=data[1], code=data[2], words=words)


_READERS: dict[int, Callable[[bytes, int | None], Answer]] = {
    0x41: _current,
    0x46: _outcomes,
    0x49: _vehicle,
    0x7F: _refusal,
    **dict.fromkeys(KINDS, _codes),
}


def wanted(data: bytes) -> int | None:
    """How long an answer that begins like this becomes.

    Args:
        data: its first bytes.
    Returns: bytes in all; None where the beginning does not say.
    """
    first = data[0]
    if first == 0x7F:
        return 3
    if len(data) < 2:
        return None
    if first == 0x41:
        size = size_of(data[1])
        return None if size is None else 2 + size
    if first in KINDS:
        return None if len(data) % 2 else 2 + 2 * data[1]
    if first == 0x46:
        return 1 + -(-(len(data) - 1) // 9) * 9 if data[1] not in SUPPORT else None
    item = item_size(data[1]) if first == 0x49 else None
    return None if item is None or len(data) < 3 else 3 + item * data[2]
