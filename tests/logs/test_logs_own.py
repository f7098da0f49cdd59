"""Our own CSV reads back exactly the same."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tickover.errors import LogFileError
from tickover.logs import format_log, read_log, read_log_report, write_log
from tickover.signals import VOCABULARY, Recording, Series


def same(a, b):
    assert list(a) == list(b)
    assert (a.source, a.simulated, tuple(a.notes)) == (b.source, b.simulated, tuple(b.notes))
    for name in a:
        for field in ("t_lo", "t_hi", "value"):
            assert np.array_equal(getattr(a[name], field), getattr(b[name], field)), (name, field)


finite = st.floats(-1e9, 1e9)


@st.composite
def recordings(draw):
    series = {}
    for name in draw(st.lists(st.sampled_from(sorted(VOCABULARY)), unique=True, max_size=4)):
        n = draw(st.integers(0, 6))
        t_hi = np.sort(draw(st.lists(finite, min_size=n, max_size=n)))
        value = draw(st.lists(finite, min_size=n, max_size=n))
        kind = draw(st.sampled_from(["exact", "previous", "free"]))
        if kind == "exact" or n == 0:
            t_lo = t_hi
        elif kind == "previous":
            t_lo = np.concatenate([[t_hi[0] - 1.0], t_hi[:-1]])
        else:
            t_lo = np.minimum(np.sort(draw(st.lists(finite, min_size=n, max_size=n))), t_hi)
        series[name] = Series.of(t_lo, t_hi, value)
    return Recording(
        series,
        source=draw(st.text(max_size=8)),
        simulated=draw(st.booleans()),
        notes=tuple(draw(st.lists(st.text(max_size=8), max_size=2))),
    )


@given(recordings())
@settings(max_examples=120, deadline=None)
def test_law_a_recording_survives_the_file(tmp_path_factory, recording):
    path = tmp_path_factory.mktemp("own") / "r.csv"
    write_log(recording, path)
    same(recording, read_log(path))


def example():
    t = np.arange(0, 5, 0.05)
    return Recording(
        {
            "engine_speed": Series.at(t, 700 + np.sin(t)),
            "coolant_temperature": Series.of(t[::20] - 1.0, t[::20], np.full(5, 88.0)),
        },
        source="bench, line\nbreak",
        simulated=True,
    )


def test_the_report_counts(tmp_path):
    write_log(example(), tmp_path / "r.csv")
    recording, report = read_log_report(tmp_path / "r.csv")
    assert recording.simulated
    assert report.rows_in == report.rows_out == 100
    assert report.refreshes == {"engine_speed": 100, "coolant_temperature": 5}


@pytest.mark.parametrize(
    ("old", "new", "line"),
    [
        ('"simulated": true', '"simulated"', 1),
        ('"engine_speed": "exact"', '"engine_speed": "when?"', 1),
        ("engine_speed [r/min]", "engine_speed [Hz]", 2),
        ("engine_speed [r/min]", "engine_sped [r/min]", 2),
        ("time [s]", "zeit", 2),
        ("0.05,", "x,", 4),
        ("0.05,", "99.0,", 2),
        ("0.05,", "0.05,,,,", 4),
    ],
)
def test_damage_names_the_line(tmp_path, old, new, line):
    text = format_log(example())
    assert old in text
    (tmp_path / "r.csv").write_text(text.replace(old, new, 1))
    with pytest.raises(LogFileError) as error:
        read_log(tmp_path / "r.csv")
    assert error.value.line == line
    assert error.value.way_out


def test_a_folder_that_is_not_there(tmp_path):
    with pytest.raises(LogFileError, match="cannot be written"):
        write_log(example(), tmp_path / "none" / "r.csv")


@given(st.integers(0, 10_000), st.binary(min_size=1, max_size=6))
@settings(max_examples=150, deadline=None)
def test_law_damage_gives_a_message_or_a_recording(tmp_path_factory, at, patch):
    data = bytearray(format_log(example()).encode())
    at %= len(data)
    data[at : at + len(patch)] = patch
    path = tmp_path_factory.mktemp("own") / "r.csv"
    path.write_bytes(bytes(data))
    try:
        file = read_log_report(path)[1].file
    except LogFileError as error:
        file = error.file
    assert file == str(path)
