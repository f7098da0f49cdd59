"""A recording over time: what counts shaded, what does not explained."""

import xml.etree.ElementTree as ET
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tickover.drawing.curve import Series
from tickover.drawing.record import Panel, Span, record
from tickover.drawing.still import png_file, svg_file

T = list(np.arange(0.0, 120, 0.5))
IDLE = Series(T, [0.0 if t < 5 else 1800.0 if t < 8 else 700 + 10 * np.sin(t) for t in T])
TRIM = Series(T, [2 * np.cos(t) for t in T])
SPANS = [Span(0, 5, "the engine does not run"), Span(5, 15, "first 10 s after a start"), Span(15, 120, None)]


def picture(room=688.0, **how):
    panels = [Panel("engine speed, r/min", IDLE, (650, 750), 150, 40), Panel("fuel trim, %", TRIM, None, 80, 8)]
    return record(how.get("panels", panels), how.get("spans", SPANS), room=room)


@given(st.floats(280, 1400), st.lists(st.floats(1, 60), min_size=1, max_size=14), st.data())
@settings(max_examples=40, deadline=None)
def test_law_labels_neither_meet_nor_leave(room, lengths, data):
    edges = np.concatenate([[0], np.cumsum(lengths)])
    whys = ["the car moves", "the pedal is pressed", "first 5 s after the pedal or the road", None]
    spans = [Span(a, b, data.draw(st.sampled_from(whys))) for a, b in pairwise(edges)]
    assert picture(room, spans=spans).faults() == []


def test_every_reason_stands_below_with_its_seconds():
    texts = [label.text for label in picture().labels]
    assert "the engine does not run, 5 s" in texts
    assert "first 10 s after a start, 10 s" in texts
    assert "used" in texts
    assert "105 seconds used" in picture().sentence
    assert "Not used: first 10 s after a start, 10 seconds." in picture().sentence


def test_a_start_does_not_squeeze_the_idle_flat_and_the_cut_is_said():
    texts = " ".join(label.text for label in picture().labels)
    assert "cut off" in texts
    assert "1000" not in [label.text for label in picture().labels]
    calm = Panel("engine speed, r/min", Series(T, [700 + 10 * np.sin(t) for t in T]), None, 150, 40)
    assert "cut off" not in " ".join(label.text for label in picture(panels=[calm]).labels)


def test_it_survives_a_grey_printer():
    svg = picture().svg("print")
    root = ET.fromstring(svg)
    assert root.get("role") == "img"
    paths = [e for e in root.iter() if e.tag.endswith("path")]
    assert any(p.get("stroke-width") == "1.2" for p in paths)  # the hatch is strokes, not a colour


def test_nothing_measured_or_too_narrow_is_refused():
    with pytest.raises(ValueError, match="no panel"):
        record([Panel("x", Series([0, 1], [None, None]))], [])
    with pytest.raises(ValueError, match="narrow"):
        picture(200)


def test_files():
    assert svg_file(picture()).startswith(b"<?xml")
    ET.fromstring(svg_file(picture()))
    png = png_file(picture(), ppi=96)
    assert png.startswith(b"\x89PNG")
    wide, high = (int.from_bytes(png[i : i + 4], "big") for i in (16, 20))
    assert wide == pytest.approx(688 + 32, abs=2)
    assert high == pytest.approx(picture().height + 32, abs=2)
    assert png_file(picture(), ppi=96) == png
