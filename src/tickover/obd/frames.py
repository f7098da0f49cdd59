"""Frames of CAN and messages from before it, joined to whole answers."""

from __future__ import annotations

from dataclasses import dataclass, field

from tickover.errors import ReplyError
from tickover.obd.lines import HexLine

_WAY_OUT = "Copy every line of the answer, or read it again."


@dataclass(frozen=True, slots=True)
class Whole:
    """One whole answer: from which controller, its bytes, its first line, when."""

    ecu: str
    data: bytes
    line: int
    t: float | None = None


@dataclass
class _Open:
    """A long answer that is still growing."""

    line: HexLine
    length: int
    data: bytearray = field(default_factory=bytearray)
    next: int = 1


class Frames:
    """Joins the frames of each controller, in whatever order controllers take turns.

    Source: ISO 15765-2: single 0L, first 1L LL, consecutive 2N with N rising by one from 1, 15 followed by 0.
    """

    def __init__(self) -> None:
        self._open: dict[str, _Open] = {}
        self.whole: list[Whole] = []

    def take(self, line: HexLine) -> None:
        """Take one frame.

        Raises: ReplyError if it is none, or does not follow the one before.
        """
        if not line.data:
            raise ReplyError(f"{line.address} is followed by no bytes", line=line.number, byte=1, way_out=_WAY_OUT)
        kind = line.data[0] >> 4
        if kind == 0:
            self._single(line)
        elif kind == 1:
            self._first(line)
        elif kind == 2:
            self._consecutive(line)
        elif kind != 3:  # a flow control is the asking side's
            raise ReplyError(f"{line.data[0]:02X} begins no frame of CAN", line=line.number, byte=1, way_out=_WAY_OUT)

    def _single(self, line: HexLine) -> None:
        length = line.data[0]
        if length == 0 or len(line.data) < 1 + length:
            raise ReplyError(
                f"the frame promises {length} bytes, {len(line.data) - 1} follow",
                line=line.number,
                byte=len(line.data) + 1,
                way_out=_WAY_OUT,
            )
        if line.data[1] >= 0x40:  # a request of the asking side is not an answer
            self.whole.append(Whole(line.address, line.data[1 : 1 + length], line.number, line.t))

    def _first(self, line: HexLine) -> None:
        if line.address in self._open:
            self._unfinished(line.address)
        if len(line.data) < 8:
            raise ReplyError(
                "the first frame of a long answer has eight bytes",
                line=line.number,
                byte=len(line.data) + 1,
                way_out=_WAY_OUT,
            )
        length = (line.data[0] & 0x0F) << 8 | line.data[1]
        self._open[line.address] = _Open(line, length, bytearray(line.data[2:]))
        self._close(line.address)

    def _consecutive(self, line: HexLine) -> None:
        growing = self._open.get(line.address)
        number = line.data[0] & 0x0F
        if growing is None:
            raise ReplyError(
                f"frame {line.data[0]:02X} of {line.address or 'no address'} continues nothing",
                line=line.number,
                byte=1,
                way_out=_WAY_OUT,
            )
        if number != growing.next:
            raise ReplyError(
                f"after frame 2{(growing.next - 1) & 15:X} comes 2{growing.next:X}, not 2{number:X}",
                line=line.number,
                byte=1,
                way_out=_WAY_OUT,
            )
        growing.next = (number + 1) & 15
        growing.data += line.data[1:]
        self._close(line.address)

    def _close(self, address: str) -> None:
        growing = self._open[address]
        if len(growing.data) >= growing.length:
            data = bytes(growing.data[: growing.length])
            self.whole.append(Whole(address, data, growing.line.number, growing.line.t))
            del self._open[address]

    def end(self) -> list[Whole]:
        """All whole answers, by line.

        Raises: ReplyError if one is not finished.
        """
        for address in self._open:
            self._unfinished(address)
        return sorted(self.whole, key=lambda w: w.line)

    def _unfinished(self, address: str) -> None:
        growing = self._open[address]
        raise ReplyError(
            f"the answer has {growing.length} bytes, only {len(growing.data)} are here",
            line=growing.line.number,
            byte=len(growing.data) + 1,
            way_out=_WAY_OUT,
        )


def without_old_header(data: bytes) -> tuple[str, bytes] | None:
    """A message from before CAN with its three-byte header and its check byte taken off.

    Args:
        data: the line's bytes.
    Returns: the sender's address and the bytes; None where the check byte does not fit such a message.
    Source: ISO 9141-2 and ISO 14230 add up all bytes; SAE J1850 has a remainder with polynomial 1D; from memory.
    """
    if len(data) < 6 or not (data[:2] == b"\x48\x6b" or (data[0] & 0xC0 == 0x80 and data[1] == 0xF1)):
        return None
    body, check = data[:-1], data[-1]
    if check not in (sum(body) & 0xFF, _remainder(body)):
        return None
    return f"{data[2]:02X}", body[3:]


def _remainder(data: bytes) -> int:
    crc = 0xFF
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = (crc << 1 ^ 0x1D) & 0xFF if crc & 0x80 else crc << 1
    return crc ^ 0xFF
