"""Service 09: what the car calls itself, and its in-use counters."""

from __future__ import annotations

from typing import Literal

from tickover.errors import ReplyError
from tickover.obd.results import Identity, Ignition, InUse

_FIRST = ("OBDCOND", "IGNCNTR")


def _pairs(*names: str) -> tuple[str, ...]:
    return tuple(f"{base}{kind}{bank}" for name in names for base, bank in [_split(name)] for kind in ("COMP", "COND"))


def _split(name: str) -> tuple[str, str]:
    return (name[:-1], name[-1]) if name[-1].isdigit() else (name, "")


SPARK_COUNTERS: tuple[str, ...] = (
    *_FIRST,
    *_pairs("CAT1", "CAT2", "O2S1", "O2S2", "EGR", "AIR", "EVAP"),
    *_pairs("SO2S1", "SO2S2"),
    *_pairs("AFRI1", "AFRI2", "PF1", "PF2"),
)
"""Information type 08: 16 counters, 20 from about model year 2010, 28 in later editions (the last from memory)."""

COMPRESSION_COUNTERS: tuple[str, ...] = (
    *_FIRST,
    *_pairs("HCCAT", "NCAT", "NADS", "PM", "EGS", "EGR", "BP"),
    *_pairs("FUEL"),
)
"""Information type 0B: 16 counters, or 18 (the last pair from memory)."""

_LENGTHS = {0x08: (16, 20, 28), 0x0B: (16, 18)}
_COUNTERS: dict[int, tuple[Ignition, tuple[str, ...]]] = {
    0x08: ("spark", SPARK_COUNTERS),
    0x0B: ("compression", COMPRESSION_COUNTERS),
}
_What = Literal["VIN", "calibration", "calibration check", "controller name"]
_TEXTS: dict[int, tuple[_What, int]] = {
    0x02: ("VIN", 17),
    0x04: ("calibration", 16),
    0x06: ("calibration check", 4),
    0x0A: ("controller name", 20),
}
TEXT_TYPES = tuple(_TEXTS)
COUNTER_TYPES = tuple(_COUNTERS)
_VIN_LETTERS = set("ABCDEFGHJKLMNPRSTUVWXYZ0123456789")


def item_size(info: int) -> int | None:
    """Bytes of one item of an information type; None where it is not known here."""
    if info in _COUNTERS:
        return 2
    return _TEXTS[info][1] if info in _TEXTS else None


def in_use(info: int, body: bytes, *, line: int | None = None) -> InUse:
    """Decode in-use counters.

    Args:
        info: 0x08 (spark) or 0x0B (compression).
        body: what follows 49 and the type: the count, then two bytes a counter.
        line: for the error.
    Returns: counters by the standard's short names. They hold at 65535 and are then halved (from memory).
    Raises: ReplyError for a number of counters that no edition has, or a length that breaks the count.
    Source: SAE J1979, order of the names read in several excerpts.
    """
    count, rest = _count(info, body, 2, line)
    ignition, names = _COUNTERS[info]
    if count not in _LENGTHS[info]:
        known = ", ".join(str(n) for n in _LENGTHS[info])
        raise ReplyError(
            f"type {info:02X} with {count} counters is in no edition; known are {known}",
            line=line,
            byte=3,
            way_out="Type the whole answer from 49; the third byte counts the counters (10 hexadecimal is 16).",
        )
    values = [int.from_bytes(rest[i : i + 2], "big") for i in range(0, len(rest), 2)]
    return InUse(ignition=ignition, counters=dict(zip(names, values, strict=False)))


def _count(info: int, body: bytes, size: int, line: int | None) -> tuple[int, bytes]:
    if not body:
        raise ReplyError(f"type {info:02X} lacks its count", line=line, byte=3, way_out="Type the whole answer.")
    count, rest = body[0], body[1:]
    if len(rest) != count * size:
        raise ReplyError(
            f"type {info:02X} promises {count} items of {size} bytes, {len(rest)} bytes follow",
            line=line,
            byte=3 + len(rest) + 1 if len(rest) < count * size else 3 + count * size + 1,
            way_out="Type the whole answer and nothing after it.",
        )
    return count, rest


def identity(info: int, body: bytes, *, line: int | None = None) -> Identity:
    """Decode VIN, calibration, its check number or the controller's name.

    Args:
        info: 0x02, 0x04, 0x06 or 0x0A.
        body: what follows 49 and the type: the count, then the items.
        line: for the error.
    Returns: the texts; check numbers in hexadecimal. A VIN of odd letters or length is noted, not refused.
    Raises: ReplyError if the length breaks the count.
    Source: SAE J1979; ISO 3779 for the letters of a VIN (no I, O, Q).
    """
    what, size = _TEXTS[info]
    count, rest = _count(info, body, size, line)
    items = [rest[i * size : (i + 1) * size] for i in range(count)]
    if what == "calibration check":
        return Identity(of=what, texts=tuple(item.hex().upper() for item in items))
    texts = tuple(_text(item) for item in items)
    notes: tuple[str, ...] = ()
    if what == "VIN":
        odd = [t for t in texts if len(t) != 17 or not set(t) <= _VIN_LETTERS]
        notes = tuple(f"“{t}” is no VIN as ISO 3779 writes it; read the plate" for t in odd)
    return Identity(of=what, texts=texts, notes=notes)


def _text(item: bytes) -> str:
    return "".join(chr(b) if 0x20 <= b < 0x7F else "·" for b in item.strip(b"\0"))
