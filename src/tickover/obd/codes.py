"""Trouble codes: services 03 (confirmed), 07 (pending) and 0A (permanent)."""

from __future__ import annotations

import re

from tickover.errors import ReplyError
from tickover.obd.results import CodeKind, Codes

KINDS: dict[int, CodeKind] = {0x43: "confirmed", 0x47: "pending", 0x4A: "permanent"}
"""First byte of the answer to what it lists."""

_LETTERS = "PCBU"
_CODE = re.compile(r"([PCBU])([0-3])([0-9A-F]{3})\Z")


def code_text(word: int) -> str:
    """A code as people write it.

    Args:
        word: its two bytes, 0 to 65535.
    Source: SAE J2012: bits 15-14 letter, 13-12 first digit, then three hexadecimal digits.
    Example: ``code_text(0xC100)`` is ``"U0100"``.
    """
    return f"{_LETTERS[word >> 14 & 3]}{word >> 12 & 3}{word & 0xFFF:03X}"


def code_word(text: str) -> int:
    """The two bytes of a code; the inverse of ``code_text``.

    Raises: ReplyError for text that is no code.
    """
    found = _CODE.match(text.strip().upper())
    if found is None:
        raise ReplyError(f"“{text}” is not a trouble code", way_out="Write it like P0507.")
    return _LETTERS.index(found[1]) << 14 | int(found[2]) << 12 | int(found[3], 16)


def codes(data: bytes, *, line: int | None = None) -> Codes:
    """Decode a list of codes, from CAN (with a count) or from before it (three to a message, padded, no count).

    Args:
        data: the answer from its first byte, 43, 47 or 4A.
        line: for the error.
    Raises: ReplyError if the length fits neither, or the count is not kept.
    Source: SAE J1979; ISO 15765-4 puts the count in; the length tells the two apart, even with a count, odd without.
    Example: ``43 02 03 01 04 20`` is P0301, P0420.
    """
    kind = KINDS[data[0]]
    first = f"{data[0]:02X}"
    if len(data) % 2 == 0:
        count = data[1]
        if len(data) != 2 + 2 * count:
            raise ReplyError(
                f"the count says {count} codes, {(len(data) - 2) // 2} follow",
                line=line,
                byte=2,
                way_out=f"Type the whole answer, without padding: {first}, the count, two bytes a code.",
            )
        body = data[2:]
    else:
        if len(data) < 7 or (len(data) - 1) % 6:
            raise ReplyError(
                f"a list of codes with {len(data)} bytes is cut short or too long",
                line=line,
                byte=len(data),
                way_out=f"On CAN it is {first}, a count, two bytes a code; before CAN {first} and six bytes.",
            )
        body = data[1:]
    words = [int.from_bytes(body[i : i + 2], "big") for i in range(0, len(body), 2)]
    padded = len(data) % 2 == 1
    return Codes(of=kind, codes=tuple(code_text(w) for w in words if w or not padded))
