"""One line of typed or captured hex: what of it are bytes, and what stands around them."""

from __future__ import annotations

import re
from dataclasses import dataclass

from tickover.errors import ReplyError

_STAMP = re.compile(r"\s*(\d+\.\d+)\s*[:;,]\s*")
_LOG = re.compile(r"\s*(?:\((\d+\.\d+)\)\s+)?[a-z]+\d+\s+(?=[0-9A-Fa-f]{3,8}[\s#])")
_INDEX = re.compile(r"\s*([0-9A-Fa-f])\s*:\s*(?=[0-9A-Fa-f]{2})")
_LENGTH = re.compile(r"\s*([0-9A-Fa-f]{3})\s*\Z")
_ECHO = re.compile(r"\s*>?\s*0[1-9Aa](\s?[0-9A-Fa-f]{2}){1,2}\s?[0-9A-Fa-f]\s*\Z")
"""A request with the number of answers to wait for behind it, as an adapter repeats it."""
_SETTING = re.compile(r"\s*>?\s*(AT|ST)[A-Z\s]", re.IGNORECASE)
"""A setting of an adapter, as it repeats it."""
_WORD = re.compile(r"(?=.*[^0-9A-Fa-f])[^\W\d_]{4,}\Z")
_COUNT = re.compile(r"\[\d\]")
_PREFIX = re.compile(r"(?<![0-9A-Za-z])0[xX](?=[0-9A-Fa-f])")
_HEX = re.compile(r"[0-9A-Fa-f]+\Z")
_PAIR = re.compile(r"[0-9A-Fa-f]{2}\Z")
_SHORT_HEADER = re.compile(r"7[eE][0-9a-fA-F]\Z|7[dD][fF]\Z")
_LONG_HEADER = re.compile(r"18[dD][aAbB][0-9a-fA-F]{4}\Z")


@dataclass(frozen=True, slots=True)
class HexLine:
    """One line with bytes in it.

    Attributes:
        number: of the line, from 1.
        data: its bytes, without a controller's address.
        address: the address in front, upper case; empty where there is none.
        index: the figure before a colon that numbers the lines of a long answer.
        t: when [s], where it says so.
    """

    number: int
    data: bytes
    address: str = ""
    index: int | None = None
    t: float | None = None


@dataclass(frozen=True, slots=True)
class LengthLine:
    """A line with the length of the answer that follows, in bytes."""

    number: int
    length: int


def read_line(text: str, number: int) -> HexLine | LengthLine | None:
    """Read one line.

    Args:
        text: the line.
        number: its number, from 1.
    Returns: its bytes; a length; or None for a line without any: words, rules, prompts, remarks after ``#``.
    Raises: ReplyError, with line and byte, for a line that is hex but for a mistake.
    """
    rest, t = _front(text)
    if _ECHO.match(rest) or _SETTING.match(rest):
        return None
    if _LENGTH.match(rest) and not _SHORT_HEADER.match(rest.strip()):
        return LengthLine(number, int(rest.strip(), 16))
    index = None
    if found := _INDEX.match(rest):
        index, rest = int(found[1], 16), rest[found.end() :]
    rest = _COUNT.sub(" ", _PREFIX.sub("", rest)).replace("#", " ")
    tokens = [token for token in re.split(r"[\s,;:>|.\-–—_=]+", rest) if token]
    if len(tokens) > 1 and _WORD.match(tokens[0]) and all(_PAIR.match(t) for t in tokens[1:]):
        tokens = tokens[1:]  # what an adapter says while it waits runs into the answer
    if not _is_hex(tokens):
        return None
    address, tokens = _address(tokens)
    return HexLine(number, _bytes(tokens, number), address, index, t)


def _front(text: str) -> tuple[str, float | None]:
    """A time in front taken off, and remarks at the end."""
    stripped = text.lstrip()
    if stripped.startswith(("#", "//", ";")):
        return "", None
    text = re.split(r"\s#|\s//", text, maxsplit=1)[0]
    if (found := _STAMP.match(text)) or (found := _LOG.match(text)):
        return text[found.end() :], float(found[1]) if found[1] else None
    return text, None


def _is_hex(tokens: list[str]) -> bool:
    """Whether a line is hex, perhaps with a mistake in it, rather than words."""
    letters = "".join(tokens)
    if not letters:
        return False
    if all(_HEX.match(t) and len(t) <= 2 for t in tokens):
        return True
    if len(tokens) >= 3 and sum(len(t) == 2 for t in tokens) >= 0.8 * len(tokens):
        return True
    share = sum(c in "0123456789abcdefABCDEF" for c in letters) / len(letters)
    return share >= 0.7 and any(c.isdigit() for c in letters) and len(letters) >= 4


def _address(tokens: list[str]) -> tuple[str, list[str]]:
    """A controller's address on CAN, apart or run together with the bytes."""
    joined = "".join(tokens[:4])
    first = tokens[0]
    if _SHORT_HEADER.match(first):
        return first.upper(), tokens[1:]
    if _LONG_HEADER.match(first):
        return first.upper(), tokens[1:]
    if all(_PAIR.match(t) for t in tokens[:4]) and _LONG_HEADER.match(joined):
        return joined.upper(), tokens[4:]
    if len(tokens) == 1 and len(first) % 2 and _SHORT_HEADER.match(first[:3]):
        return first[:3].upper(), [first[3:]]
    if len(tokens) == 1 and len(first) > 8 and _LONG_HEADER.match(first[:8]):
        return first[:8].upper(), [first[8:]]
    return "", tokens


def _bytes(tokens: list[str], number: int) -> bytes:
    found = bytearray()
    for token in tokens:
        whole = _HEX.match(token) is not None
        if whole and len(token) % 2 == 0:
            found += bytes.fromhex(token)
            continue
        wrong = next((c for c in token if _HEX.match(c) is None), None)
        what = (
            f"“{token}” has {len(token)} digit{'s' if len(token) > 1 else ''}, half a byte too many or too few"
            if wrong is None
            else f"“{wrong}” in “{token}” is no hexadecimal digit"
        )
        before = 0 if wrong is None else token.index(wrong) // 2
        raise ReplyError(
            what,
            line=number,
            byte=len(found) + before + 1,
            way_out="Write each byte with two digits, 0 to 9 and A to F, like 41 01 00 07 65 04.",
        )
    return bytes(found)
