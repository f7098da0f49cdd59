"""Attempt files: written as things happen, readable however they end."""

import io
import json
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from tickover.attempts import (
    KINDS,
    Attempt,
    AttemptWriter,
    ClockOffset,
    Event,
    Header,
    parse_attempt,
    read_attempt,
    write_attempt,
)
from tickover.errors import AttemptFileError

HEADER = Header(
    routine="pedal-count", routine_hash="abc", clocks={"main": ClockOffset(), "film": ClockOffset(lo=-0.2, hi=0.1)}
)


def written(events: int = 3) -> str:
    stream = io.StringIO()
    writer = AttemptWriter(stream, HEADER)
    for number in range(events):
        writer.event("press", number - 0.02, float(number))
    return stream.getvalue()


def test_each_event_is_flushed_before_the_call_returns(tmp_path: Path) -> None:
    path = tmp_path / "attempt.jsonl"
    with path.open("w", encoding="utf-8") as stream:
        writer = AttemptWriter(stream, HEADER)
        writer.event("ignition on", 0.0, 0.0)
        assert len(read_attempt(path).events) == 1  # read while the writer still holds the file open


@given(cut=st.integers(min_value=0, max_value=200))
def test_a_file_cut_anywhere_in_its_last_line_keeps_every_earlier_event(cut: int) -> None:
    text = written(3)
    last = text.splitlines()[-1]
    kept = text[: len(text) - 1 - min(cut, len(last))]
    attempt = parse_attempt(kept)
    whole = kept.endswith(last)
    assert len(attempt.events) == (3 if whole else 2)
    assert (attempt.torn is None) == (whole or kept.endswith("\n"))


@pytest.mark.parametrize(
    ("edit", "line", "word"),
    [
        (lambda lines: ["not json", *lines[1:]], 1, "JSON"),
        (lambda lines: [lines[0], "{broken", *lines[2:]], 2, "JSON"),
        (lambda lines: [*lines[:2], lines[2].replace('"press"', '"prss"'), lines[3]], 3, "kind"),
        (lambda lines: [*lines[:2], lines[2].replace('"main"', '"watch"'), lines[3]], 3, "watch"),
        (lambda lines: [*lines[:3], lines[3].replace('"seq":2', '"seq":0')], 4, "comes after"),
        (lambda lines: [*lines[:2], lines[2].replace('"t_hi":1.0', '"t_hi":-9.0'), lines[3]], 3, "t_lo is after t_hi"),
        (lambda lines: [*lines[:2], "[1, 2]", lines[3]], 3, "dictionary"),
    ],
)
def test_a_broken_line_is_named(edit, line: int, word: str) -> None:
    text = "\n".join(edit(written(3).splitlines())) + "\n"
    with pytest.raises(AttemptFileError) as caught:
        parse_attempt(text, file="try.jsonl")
    assert caught.value.line == line
    assert word in str(caught.value)
    assert "try.jsonl" in str(caught.value)


def test_no_such_file_and_no_text_are_told_apart(tmp_path: Path) -> None:
    with pytest.raises(AttemptFileError, match="No such file"):
        read_attempt(tmp_path / "none.jsonl")
    (tmp_path / "bytes.jsonl").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(AttemptFileError, match="UTF-8"):
        read_attempt(tmp_path / "bytes.jsonl")
    with pytest.raises(AttemptFileError, match="empty"):
        parse_attempt("")


def test_writing_names_a_clock_of_the_header() -> None:
    writer = AttemptWriter(io.StringIO(), HEADER)
    with pytest.raises(KeyError):
        writer.event("press", 0.0, 0.1, clock="watch")


def test_an_attempt_reads_back_as_it_was_written(tmp_path: Path) -> None:
    events = tuple(Event(seq=n, kind=kind, t_lo=n - 0.1, t_hi=float(n)) for n, kind in enumerate(KINDS))
    attempt = Attempt(header=HEADER, events=events)
    write_attempt(tmp_path / "a.jsonl", attempt)
    assert read_attempt(tmp_path / "a.jsonl") == attempt
    assert all(json.loads(line)["v"] == 1 for line in (tmp_path / "a.jsonl").read_text().splitlines())


def test_numbers_that_are_not_finite_are_refused() -> None:
    with pytest.raises(ValidationError):
        Event(seq=0, kind="press", t_lo=0.0, t_hi=float("inf"))
