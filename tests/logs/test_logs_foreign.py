"""A file that is no log: what it looks like is said, with a way out that fits."""

from __future__ import annotations

import io
import struct
import wave
import zipfile
import zlib
from pathlib import Path

import pytest

from tickover.errors import LogFileError
from tickover.logs import read_log


def png() -> bytes:
    def part(kind: bytes, body: bytes) -> bytes:
        return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))

    head = struct.pack(">IIBBBBB", 1, 1, 8, 0, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + part(b"IHDR", head) + part(b"IDAT", zlib.compress(b"\0\0")) + part(b"IEND", b"")


def zipped(*names: str) -> bytes:
    made = io.BytesIO()
    with zipfile.ZipFile(made, "w") as archive:
        for name in names:
            archive.writestr(name, "time,rpm\n0,700\n")
    return made.getvalue()


def sound() -> bytes:
    made = io.BytesIO()
    with wave.open(made, "wb") as out:
        out.setparams((1, 2, 8000, 0, "NONE", ""))
        out.writeframes(bytes(200))
    return made.getvalue()


EXPORT, SHEET = "Export the log itself as CSV", "save the sheet with the log as CSV"
FILES = {
    "idle.png": (png(), "is a picture, not a log", EXPORT),
    "photo.jpg": (b"\xff\xd8\xff\xe0\0\x10JFIF\0" + bytes(100), "is a picture, not a log", EXPORT),
    "photo.heic": (b"\0\0\0\x18ftypheic" + bytes(100), "is a picture, not a log", EXPORT),
    "idle.bmp": (b"BM" + struct.pack("<IIII", 58, 0, 54, 40) + bytes(40), "is a picture, not a log", EXPORT),
    "film.mp4": (b"\0\0\0\x18ftypisom" + bytes(100), "is a film, not a log", EXPORT),
    "idle.wav": (sound(), "is a sound, not a log", EXPORT),
    "report.pdf": (b"%PDF-1.7\n" + bytes(100), "is a PDF, not a log", EXPORT),
    "trip.zip": (zipped("trip.csv"), "is a zip archive, not a log", "Unpack it, and take “trip.csv” out of it."),
    "trips.zip": (zipped("a.csv", "b.csv"), "is a zip archive, not a log", "take the log inside"),
    "half.zip": (zipped("trip.csv")[:40], "is a zip archive, cut off or damaged", "Fetch it again"),
    "log.xlsx": (zipped("[Content_Types].xml", "xl/workbook.xml"), "is a spreadsheet, not a log", SHEET),
    "log.xls": (b"\xd0\xcf\x11\xe0" + bytes(60) + "Workbook".encode("utf-16-le"), "is a spreadsheet, not a log", SHEET),
    "letter.docx": (zipped("[Content_Types].xml", "word/document.xml"), "is an office document, not a log", EXPORT),
    "log.gz": (b"\x1f\x8b\x08" + bytes(20), "is a gzip archive, not a log", "Unpack it"),
}


@pytest.mark.parametrize("name", FILES)
def test_what_is_no_log_is_named_with_a_way_out_that_fits(name: str, tmp_path: Path) -> None:
    data, what, way_out = FILES[name]
    path = tmp_path / name
    path.write_bytes(data)
    with pytest.raises(LogFileError) as refused:
        read_log(path)
    assert what in refused.value.what
    assert way_out in refused.value.way_out
    assert ("npack" in refused.value.way_out) == (name in {"trip.zip", "trips.zip", "half.zip", "log.gz"})


@pytest.mark.parametrize("first", ["BMS", "ID3 of the car", "GIF", "MM", "PK"])
def test_a_log_whose_first_column_has_a_name_like_that_is_still_a_log(first: str, tmp_path: Path) -> None:
    rows = [f"{first},time (s),engine speed (rpm)", *(f"1,{k / 10:.1f},{700 + k % 3}" for k in range(50))]
    path = tmp_path / "idle.csv"
    path.write_text("\n".join(rows) + "\n")
    assert len(read_log(path)["engine_speed"]) == 50
