"""Files that are packed, damaged, huge or something else: one clear message, or a reading with its report."""

import bz2
import gzip
import io
import lzma
import zipfile

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tickover.errors import LogFileError, MissingExtraError
from tickover.logs import read_log, read_log_report

TEXT = "\n".join(
    ["Time (s),Engine RPM (rpm),Coolant (°C)", *(f"{i / 10:.1f},{700 + i % 7},{88 + i % 2}" for i in range(60))]
)


def put(tmp_path, data):
    path = tmp_path / "log.csv"
    path.write_bytes(data if isinstance(data, bytes) else data.encode())
    return path


def zipped(data):
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as z:
        z.writestr("log.csv", data)
    return out.getvalue()


@pytest.mark.parametrize(
    ("pack", "says"), [(gzip.compress, "gzip"), (zipped, "zip"), (bz2.compress, "bzip2"), (lzma.compress, "xz")]
)
def test_packed_files_are_refused_unopened(tmp_path, pack, says):
    with pytest.raises(LogFileError, match=says) as error:
        read_log(put(tmp_path, pack(b"0" * 50_000_000)))  # a bomb: a thousand times its size
    assert "Unpack" in error.value.way_out


def test_a_line_of_ten_million_characters(tmp_path):
    for long in ("x" * 10**7, "1," * (5 * 10**6), '"' + "x" * 10**7, "9" * 10**7):
        lines = TEXT.split("\n")
        lines[20] = long
        _, report = read_log_report(put(tmp_path, "\n".join(lines)))
        assert [b.line for b in report.broken] == [21]
        with pytest.raises(LogFileError):
            read_log(put(tmp_path, long))
        with pytest.raises(LogFileError):
            read_log(put(tmp_path, "# tickover recording v1 " + long + "\n" + long))


@pytest.mark.parametrize("form", ["utf-16", "utf-16-le", "utf-16-be"])
def test_two_bytes_a_letter(tmp_path, form):
    rec = read_log(put(tmp_path, TEXT.encode(form)))
    assert len(rec["engine_speed"]) == 60
    assert "coolant_temperature" in rec
    rec = read_log(put(tmp_path, TEXT.encode(form)[:-3]))  # cut inside a letter
    assert 58 <= len(rec["engine_speed"]) <= 60


def test_zero_bytes_are_taken_out_and_said(tmp_path):
    data = TEXT.encode()
    _, report = read_log_report(put(tmp_path, data + b"\0" * 4096))
    assert report.rows_out == 60
    assert any("4096 zero bytes" in s for s in report.sentences())
    with pytest.raises(LogFileError, match="zero bytes only"):
        read_log(put(tmp_path, b"\0" * 4096))


def test_a_stray_byte_does_not_spoil_the_degree_signs(tmp_path):
    data = TEXT.encode()
    _, report = read_log_report(put(tmp_path, data[:200] + b"\xff" + data[201:]))
    assert any(c.unit_given for c in report.used if c.name == "coolant_temperature")
    assert any("no letter" in s for s in report.sentences())


def test_swapped_columns_are_not_read_as_an_idle(tmp_path):
    swapped = TEXT.replace("Engine RPM (rpm),Coolant (°C)", "Coolant (°C),Engine RPM (rpm)")
    _, report = read_log_report(put(tmp_path, swapped))
    assert any(c.header == "Coolant (°C)" and "outside" in c.reason for c in report.left)
    assert {s.name for s in report.suspicions} == {"engine_speed", "coolant_temperature"}


def test_a_device_is_not_read():
    with pytest.raises(LogFileError, match="not a regular file"):
        read_log("/dev/zero")


@given(st.integers(0, len(TEXT.encode())))
@settings(max_examples=80, deadline=None)
def test_law_a_cut_file_is_read_up_to_the_cut(tmp_path_factory, at):
    path = put(tmp_path_factory.mktemp("cut"), TEXT.encode()[:at])
    whole = TEXT.encode()[:at].count(b"\n") - 1
    try:
        rec, report = read_log_report(path)
    except LogFileError:
        assert whole <= 2
        return
    assert whole <= report.rows_out <= whole + 1
    assert np.all(rec["engine_speed"].value[:whole] >= 700)


@given(st.binary(max_size=3000))
@settings(max_examples=150, deadline=None)
def test_law_random_bytes_give_one_message(tmp_path_factory, data):
    path = put(tmp_path_factory.mktemp("random"), data)
    with pytest.raises((LogFileError, MissingExtraError)) as error:  # bytes that begin like MDF ask for its library
        read_log(path)
    assert error.value.way_out
    if isinstance(error.value, LogFileError):
        assert error.value.file == str(path)


def test_the_report_tells_gaps_impossible_values_and_full_counters(tmp_path):
    lines = ["Time (s),Engine RPM,Coolant (°C),Warm ups since cleared"]
    for i in range(200):
        t = i / 10 + (30 if i >= 100 else 0)
        lines.append(f"{t},{700 + i % 7},{215 if i == 50 else 88},255")
    said = " ".join(read_log_report(put(tmp_path, "\n".join(lines)))[1].sentences())
    assert "1 gap without rows: 30.1 s at 10 s" in said
    assert "1 value of coolant is outside -40 to 130 °C (such as 215)" in said
    assert "leaps 2 times" in said
    assert "255 or more" in said
