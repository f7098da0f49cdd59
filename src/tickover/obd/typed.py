"""Answers of a car as people have them: typed or captured hex, in any common shape.

Lines may carry spaces or none, a controller's address, a time, the numbering of a long answer, echoes of the request,
prompts and words. Several controllers may take turns.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from tickover.errors import ReplyError
from tickover.obd.frames import Frames, Whole, without_old_header
from tickover.obd.lines import HexLine, LengthLine, read_line
from tickover.obd.parameters import size_of
from tickover.obd.reply import FIRST_BYTES, decode, wanted
from tickover.obd.results import Decoded
from tickover.obd.vehicle import item_size

_LARGEST = 1_000_000
_MANY_LINES = 20_000
_WAY_OUT = "Type the bytes that came back, like 41 01 00 07 65 04."


def decode_text(text: str, *, file: str | None = None) -> tuple[Decoded, ...]:
    """Decode every answer in a text.

    Args:
        text: one or more lines.
        file: its name, for errors.
    Returns: the answers, in the order of their lines.
    Raises: ReplyError, one, with line, byte and way out, for the first answer that is cut short, too long or not
        known; or if there is none at all.
    Example: ``decode_text("7E8 06 41 01 00 07 65 04")[0].ecu`` is ``"7E8"``.
    """
    try:
        found = tuple(
            Decoded(ecu=w.ecu, line=w.line, t=w.t, answer=decode(w.data, line=w.line)) for w in whole_answers(text)
        )
    except ReplyError as why:
        why.file = why.file or file
        raise
    return found


def decode_file(path: Path) -> tuple[Decoded, ...]:
    """Decode every answer in a file; as ``decode_text``.

    Raises: ReplyError also if the file cannot be read.
    """
    try:
        with path.open("rb") as opened:
            content = opened.read(_LARGEST + 1)
    except OSError as why:
        what = f"cannot be read: {why.strerror or why}"
        raise ReplyError(what, file=str(path), way_out="Name a file of answers, or type the hex.") from None
    if len(content) > _LARGEST:
        raise ReplyError("is larger than a megabyte", file=str(path), way_out="Cut it to the answers that matter.")
    return decode_text(content.decode("utf-8-sig", errors="replace"), file=str(path))


def whole_answers(text: str) -> list[Whole]:
    """The bytes of every answer in a text, not decoded.

    Args:
        text: one or more lines.
    Returns: the answers by line, without addresses, padding, echoes and words.
    Raises: ReplyError as ``decode_text``.
    """
    lines: list[HexLine | LengthLine] = []
    for number, written in enumerate(text.splitlines(), 1):
        if number > _MANY_LINES:
            raise ReplyError(f"there are more than {_MANY_LINES} lines", line=number, way_out="Cut it to what matters.")
        if (one := read_line(written, number)) is not None:
            lines.append(one)
    hexes = [line for line in lines if isinstance(line, HexLine)]
    if not hexes:
        raise ReplyError(
            "there is no answer in it",
            way_out=f"{_WAY_OUT} If the adapter says it got none: ignition on, and is the plug home?",
        )
    if _is_bare_capture(hexes):
        return [Whole("", b"\x41" + line.data, line.number, line.t) for line in hexes]
    frames = Frames()
    plain: list[HexLine | LengthLine] = []
    for line in lines:
        if isinstance(line, HexLine) and line.address:
            if not _is_request(line.address):
                frames.take(line)
        else:
            plain.append(line)
    found = [*frames.end(), *_Plain(plain).whole()]
    if not found:
        raise ReplyError("there are requests in it, but no answer", line=hexes[0].number, way_out=_WAY_OUT)
    return sorted(found, key=lambda w: w.line)


def _is_request(address: str) -> bool:
    """An address of the asking side: 7DF, 7E0 to 7E7, or 29 bits that end in no tester's F1."""
    if len(address) == 3:
        return int(address, 16) < 0x7E8
    return address[4:6] != "F1"


def _is_bare_capture(lines: Sequence[HexLine]) -> bool:
    """Whether lines are a time, a parameter and its data, with no 41 in front."""
    if any(line.t is None or line.address or line.index is not None for line in lines):
        return False
    bare = sum(size_of(line.data[0]) == len(line.data) - 1 for line in lines)
    whole = sum(line.data[0] in FIRST_BYTES and wanted(line.data) == len(line.data) for line in lines)
    return 2 * bare > len(lines) and bare > whole


class _Plain:
    """Joins lines without addresses: wrapped ones, numbered ones, messages that count themselves."""

    def __init__(self, lines: Sequence[HexLine | LengthLine]) -> None:
        self._lines = lines
        self._whole: list[Whole] = []
        self._growing: Whole | None = None
        self._last = b""
        self._length: int | None = None
        self._next = 0
        self._numbered = False

    def whole(self) -> list[Whole]:
        for line in self._lines:
            if isinstance(line, LengthLine):
                self._finish()
                self._length = line.length
            elif line.index is not None:
                self._numbered_line(line)
            else:
                self._line(line)
        self._finish()
        return self._whole

    def _finish(self) -> None:
        grown, self._growing = self._growing, None
        length, self._length = self._length, None
        if grown is None:
            self._numbered = False
            return
        data = grown.data
        if self._numbered:
            length = wanted(data) if length is None else length
            if length is not None and len(data) < length:
                raise ReplyError(
                    f"the answer has {length} bytes, only {len(data)} are here",
                    line=grown.line,
                    byte=len(data) + 1,
                    way_out="Copy every line of the answer.",
                )
            data = data[:length]
        self._numbered = False
        self._whole.append(Whole(grown.ecu, _counted(data), grown.line, grown.t))

    def _numbered_line(self, line: HexLine) -> None:
        if line.index == 0:
            length = self._length
            self._length = None
            self._finish()
            self._length, self._numbered, self._next = length, True, 1
            self._growing = Whole("", line.data, line.number, line.t)
            return
        if not self._numbered or self._growing is None or line.index != self._next & 15:
            raise ReplyError(
                f"line “{line.index:X}:” does not follow the one before",
                line=line.number,
                byte=1,
                way_out="Copy every line, or let the adapter show each controller's address.",
            )
        self._next += 1
        self._grow(line.data)

    def _line(self, line: HexLine) -> None:
        data = line.data
        if (old := without_old_header(data)) is not None:
            ecu, data = old
            line = HexLine(line.number, data, "", None, line.t)
        else:
            ecu, data = "", _without_length(data)
        if self._numbered:
            self._finish()
        grown = self._growing
        if grown is not None and _continues(grown, self._last, ecu, data):
            self._grow(data)
        elif data[0] in FIRST_BYTES:
            self._finish()
            self._growing = Whole(ecu, data, line.number, line.t)
        elif 0x01 <= data[0] <= 0x0A and len(data) <= 7:
            self._finish()  # what was asked, repeated by the adapter
        else:
            raise ReplyError(
                f"{data[0]:02X} begins no answer and continues none",
                line=line.number,
                byte=1,
                way_out="Answers begin with 41, 43, 46, 47, 49, 4A or 7F; type them whole.",
            )
        self._last = data

    def _grow(self, data: bytes) -> None:
        grown = self._growing
        if grown is not None:
            self._growing = Whole(grown.ecu, grown.data + data, grown.line, grown.t)


def _continues(grown: Whole, last: bytes, ecu: str, data: bytes) -> bool:
    """Whether a line goes on with the answer before it."""
    if _is_counted(last) and _is_counted(data):
        return grown.ecu == ecu and data[1] == last[1] and data[2] == last[2] + 1
    if ecu or grown.ecu:
        return False
    length = wanted(grown.data)
    return length is not None and len(grown.data) < length and (data[0] not in FIRST_BYTES or grown.data[0] == 0x49)


def _is_counted(data: bytes) -> bool:
    """A message from before CAN: 49, type, its own number from 1, four bytes."""
    return len(data) == 7 and data[0] == 0x49 and item_size(data[1]) is not None and data[2] > 0


def _counted(data: bytes) -> bytes:
    """Messages that count themselves, put together as CAN would send them; anything else unchanged."""
    pieces = [data[i : i + 7] for i in range(0, len(data), 7)]
    alone = len(pieces) == 1 and wanted(data) == len(data)
    if alone or not all(_is_counted(p) and p[1] == data[1] and p[2] == n for n, p in enumerate(pieces, 1)):
        return data
    body = b"".join(p[3:] for p in pieces)
    size = item_size(data[1]) or 1
    if data[1] == 0x02:
        body = body.lstrip(b"\0") if len(body) == 20 else body
    return data[:2] + bytes([len(body) // size]) + body


def _without_length(data: bytes) -> bytes:
    """A single frame of CAN whose address was left off: the length, then the answer."""
    length = data[0]
    answer = len(data) > 2 and 2 <= length <= 7 and data[1] in FIRST_BYTES
    fits = len(data) == length + 1 or len(data) == 8
    return data[1 : length + 1] if answer and fits and (length > 2 or data[1] not in (0x41, 0x46, 0x49)) else data
