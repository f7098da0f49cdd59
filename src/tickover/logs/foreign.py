"""A file that is no log, by its first bytes: what it looks like, and the way out that fits."""

from __future__ import annotations

import io
import zipfile

EXPORT = "Export the log itself as CSV from the program that recorded it."
UNPACK = "Unpack it, and take the log inside."
SHEET = "Open it and save the sheet with the log as CSV."
TABLE = "Write its rows out as CSV."

_PICTURE, _FILM, _SOUND, _SHEET = "a picture", "a film", "a sound", "a spreadsheet"

_MAGIC: tuple[tuple[bytes, str, str], ...] = (
    (b"\x89PNG", _PICTURE, EXPORT),
    (b"\xff\xd8\xff", _PICTURE, EXPORT),
    (b"GIF8", _PICTURE, EXPORT),
    (b"II*\0", _PICTURE, EXPORT),
    (b"MM\0*", _PICTURE, EXPORT),
    (b"%PDF", "a PDF", EXPORT),
    (b"OggS", _SOUND, EXPORT),
    (b"fLaC", _SOUND, EXPORT),
    (b"\x1aE\xdf\xa3", _FILM, EXPORT),
    (b"\x1f\x8b", "a gzip archive", UNPACK),
    (b"PK\x05\x06", "an empty zip archive", "Take the log itself."),
    (b"7z\xbc\xaf\x27\x1c", "a 7z archive", UNPACK),
    (b"\xfd7zXZ\x00", "an xz archive", UNPACK),
    (b"BZh", "a bzip2 archive", UNPACK),
    (b"\x28\xb5\x2f\xfd", "a zstd archive", UNPACK),
    (b"Rar!", "a rar archive", UNPACK),
    (b"SQLite format 3", "a database", TABLE),
    (b"PAR1", "a Parquet file", TABLE),
    (b"\x89HDF", "an HDF5 file", TABLE),
)
_RIFF = {b"WAVE": _SOUND, b"AVI ": _FILM, b"WEBP": _PICTURE}
_FTYP = {b"heic": _PICTURE, b"heix": _PICTURE, b"mif1": _PICTURE, b"avif": _PICTURE, b"M4A ": _SOUND}


def foreign(data: bytes) -> tuple[str, str] | None:
    """What a file looks like that is no log, such as “a picture”, and the way out; None where it may be one.

    Args:
        data: the whole file.
    """
    for magic, what, way_out in _MAGIC:
        if data.startswith(magic):
            return what, way_out
    if data.startswith(b"RIFF") and data[8:12] in _RIFF:
        return _RIFF[data[8:12]], EXPORT
    if data[4:8] == b"ftyp" and b"\0" in data[:4]:
        return _FTYP.get(data[8:12], _FILM), EXPORT
    if data[:2] == b"BM" and data[6:10] == bytes(4):
        return _PICTURE, EXPORT
    if data[:3] == b"ID3" and b"\0" in data[3:10]:
        return _SOUND, EXPORT
    if data.startswith(b"\xd0\xcf\x11\xe0"):  # older office programs
        return (_SHEET, SHEET) if "Workbook".encode("utf-16-le") in data else ("an office document", EXPORT)
    return _zipped(data) if data.startswith(b"PK\x03\x04") else None


def _zipped(data: bytes) -> tuple[str, str]:
    """A zip archive, or an office document, which is one too."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            names = archive.namelist()
    except (zipfile.BadZipFile, ValueError, NotImplementedError, OSError):
        return "a zip archive, cut off or damaged", "Fetch it again and unpack it."
    if any(n.startswith("xl/") for n in names) or b"opendocument.spreadsheet" in data[:200]:
        return _SHEET, SHEET
    if any(n.startswith(("word/", "ppt/")) for n in names) or b"opendocument" in data[:200]:
        return "an office document", EXPORT
    logs = [n for n in names if n.lower().endswith((".csv", ".txt", ".mf4", ".mdf", ".gpx", ".log"))]
    name = "".join(c for c in logs[0] if c.isprintable())[-60:] if len(logs) == 1 else ""
    return "a zip archive", f"Unpack it, and take “{name}” out of it." if name else UNPACK
