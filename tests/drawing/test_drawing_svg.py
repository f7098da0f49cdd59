import xml.etree.ElementTree as ET

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tickover.drawing.picture import Label, Picture
from tickover.drawing.svg import clean, el, hatch, number, points
from tickover.drawing.tokens import PALETTES, Token

SVG = "{http://www.w3.org/2000/svg}"
any_text = st.text(max_size=60)


def paint(token):
    return PALETTES["print"][token]


@given(any_text)
def test_text_comes_back_as_text_and_never_as_markup(text):
    written = el("text", text, aria_label=text).render(paint)
    read = ET.fromstring(written)
    # XML itself turns a carriage return into a line feed, and white space in an attribute into spaces.
    assert (read.text or "").replace("\n", "\r") == clean(text).replace("\r\n", "\r").replace("\n", "\r")
    assert len(read) == 0
    assert read.get("aria-label").split() == clean(text).split()


@pytest.mark.parametrize("text", ["<script>alert(1)</script>", "\"'&<>", "a\x00b", "\ud800", "]]>", "&lt;"])
def test_hostile_words_in_a_picture_stay_words(text):
    picture = Picture(100, 20, (), (Label(0, 14, text),), text)
    root = ET.fromstring(picture.svg())
    assert [child.tag for child in root] == [f"{SVG}text"]
    assert root[0].text == clean(text)
    assert root.get("aria-label") == clean(text)
    assert root.get("role") == "img"


def test_a_name_that_is_none_is_refused():
    with pytest.raises(ValueError, match="not a name"):
        el("a b")
    with pytest.raises(ValueError, match="not a name"):
        el("path", **{"d><script": "x"})


@given(st.floats(-1e9, 1e9))
def test_a_number_is_never_written_with_an_exponent(value):
    text = number(value)
    assert "e" not in text
    assert abs(float(text) - value) <= 0.005 + 1e-9 * abs(value)


@pytest.mark.parametrize("value", [float("nan"), float("inf")])
def test_a_coordinate_that_is_not_finite_is_refused(value):
    with pytest.raises(ValueError, match="finite"):
        number(value)


def test_one_drawing_serves_every_theme():
    picture = Picture(10, 10, (el("path", d=points([(0, 0), (9, 9)]), stroke=Token.INK),), (), "A line.")
    assert PALETTES["print"][Token.INK] in picture.svg("print")
    assert PALETTES["night"][Token.INK] in picture.svg("night")
    assert "var(--ink)" in picture.svg("css")


@given(st.floats(4, 60), st.floats(4, 60), st.floats(2, 9))
def test_hatch_stays_inside_its_outline(wide, high, gap):
    node = hatch([(0, 0), (wide, 0), (wide, high), (0, high)], gap, Token.BAD, 1)
    if node is None:
        return
    d = dict(node.attributes)["d"]
    for part in d.replace("M", " ").replace("L", " ").split():
        assert -0.01 <= float(part) <= max(wide, high) + 0.01
    strokes = d.count("M")
    assert strokes == pytest.approx((wide + high) / gap, abs=1.01)


def test_faults_names_words_that_leave_the_picture_or_meet():
    good = Picture(200, 40, (), (Label(0, 14, "one"), Label(0, 34, "two")), "")
    assert good.faults() == []
    clipped = Picture(200, 40, (), (Label(190, 14, "a long word"),), "")
    assert clipped.faults() == ["“a long word” leaves the picture"]
    met = Picture(200, 40, (), (Label(0, 14, "one"), Label(4, 20, "two")), "")
    assert met.faults() == ["“one” meets “two”"]
