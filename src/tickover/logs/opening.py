"""A file -> plain text, or one clear refusal: what it is by its first bytes, its size against memory, its encoding."""

from __future__ import annotations

import codecs
from dataclasses import dataclass
from pathlib import Path

from tickover.errors import LogFileError
from tickover.logs.foreign import foreign
from tickover.logs.memory import GPX, READ, available_memory, holds, refuse_too_large, text_needs
from tickover.logs.own import is_own

_MDF = (b"MDF     ", b"UnFinMF ")
_FEW = 0.01  # with more stray bytes than this a file is not text


@dataclass(frozen=True)
class Opened:
    """A file's content and what it is.

    Attributes:
        kind: ``text``, ``mdf`` or ``gpx``.
        data: UTF-8 without a byte-order mark, lines ended by a line feed, if it is text; else as it stands.
        remarks: what had to be mended on the way, in sentences.
    """

    kind: str
    data: bytes
    remarks: tuple[str, ...] = ()


def open_log(path: Path) -> Opened:
    """Read a file whole, once it is known that it fits.

    Raises: LogFileError if it is not there, not readable, empty, too large for the memory, packed, or not text.
    """
    try:
        if path.exists() and not path.is_file() and not path.is_dir():
            raise LogFileError("is not a regular file", file=str(path), way_out="Save it into a file first.")
        size = path.stat().st_size
        with path.open("rb") as stream:
            first = stream.read(64)
            if first.startswith(_MDF):  # its library reads blocks as they are needed
                return Opened("mdf", first)
            refuse_too_large(READ * size, str(path), available_memory(), f"{size / 1e6:,.0f} MB")
            data = first + stream.read()
    except (OSError, ValueError) as why:
        words = why.strerror if isinstance(why, OSError) and why.strerror else str(why)
        raise LogFileError(f"cannot be read: {words}", file=str(path), way_out="Name a log that is there.") from None
    if not data[:4096].strip() and not data.strip():
        raise LogFileError("is empty", file=str(path), way_out="Record again, or name another log.")
    what = foreign(data)
    if what is not None:
        raise LogFileError(f"is {what[0]}, not a log", file=str(path), way_out=what[1])
    if b"<gpx" in data[:4096]:
        refuse_too_large(GPX * len(data), str(path), available_memory(), f"{len(data) / 1e6:,.0f} MB")
        return Opened("gpx", data)
    opened = _text(data, str(path))
    need, memory = text_needs(opened.data, own=is_own(opened.data)), available_memory()
    if memory is not None and need > memory:
        refuse_too_large(need, str(path), memory, holds(opened.data))
    return opened


def _text(data: bytes, file: str) -> Opened:
    remarks: list[str] = []
    try:
        data = _from_utf16(data).removeprefix(codecs.BOM_UTF8)
        zeros = data.count(b"\0")
        if zeros:
            data = data.replace(b"\0", b"")
            if not data.strip():
                raise LogFileError("holds zero bytes only", file=file, way_out="Record again, or name another log.")
            remarks.append(f"{zeros} zero bytes were in the file and are left out; the recorder may have lost power.")
        if not data.isascii():
            data, stray = _as_utf8(data)
            if stray:
                remarks.append(f"{stray} bytes are no letter in any usual encoding; what they stood for is lost.")
    except UnicodeDecodeError:
        raise LogFileError(
            "is not text", file=file, way_out="Export the log as CSV from the program that made it."
        ) from None
    if b"\r" in data:
        data = data.replace(b"\r\n", b"\n")
    if b"\r" in data:
        data = data.replace(b"\r", b"\n")
    return Opened("text", data, tuple(remarks))


def _from_utf16(data: bytes) -> bytes:
    """Two bytes a letter, with or without a mark at the start, as UTF-8; anything else as it is."""
    if data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return data.decode("utf-16", "replace").encode()
    head = data[:2000]
    for form, zero in (("utf-16-le", 1), ("utf-16-be", 0)):
        if len(head) >= 8 and head[zero::2].count(0) > 0.8 * len(head[zero::2]) and head[1 - zero :: 2].count(0) == 0:
            return data.decode(form, "replace").encode()
    return data


def _as_utf8(data: bytes) -> tuple[bytes, int]:
    """As UTF-8, and how many bytes had no meaning."""
    try:
        data.decode("utf-8")
    except UnicodeDecodeError:
        stray_text = data.decode("utf-8", "replace")
        stray = stray_text.count("\ufffd")
        sound = sum(c > "\x7f" for c in stray_text[:20_000]) - stray_text[:20_000].count("\ufffd")
        if sound and stray <= max(3, sound):
            return stray_text.encode(), stray  # UTF-8 with a few damaged bytes
        try:
            text = data.decode("cp1252")  # a degree sign written by an older desktop
        except UnicodeDecodeError:
            if stray > _FEW * len(data) or not _printable(stray_text):
                raise
            return stray_text.encode(), stray
        if not _printable(text):
            raise
        return text.encode(), 0
    return data, 0


def _printable(text: str) -> bool:
    head = text[:4000]
    return sum(c.isprintable() or c in "\t\n\r" for c in head) >= 0.95 * len(head)
