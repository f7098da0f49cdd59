"""The ruled line and the emptying bar of a terminal."""

from hypothesis import given
from hypothesis import strategies as st

from tickover.drawing.textline import emptying_bar, text_line


def test_jaws_and_mark_on_a_line():
    assert text_line((0, 10), 11, jaws=(2, 8), mark=5) == "──[──◆──]──"
    assert text_line((0, 10), 11, jaws=(2, 8), mark=9, filled=False) == "──[─────]◇─"
    assert text_line((0, 10), 11, jaws=(2, None), now=0) == "┃─[────────"


def test_a_mark_never_covers_a_jaw_and_stands_on_the_side_where_it_was_found():
    assert text_line((0, 10), 11, jaws=(2, 8), mark=2.1) == "──[◆────]──"
    assert text_line((0, 10), 11, jaws=(2, 8), mark=1.9, filled=False) == "─◇[─────]──"
    assert text_line((0, 10), 11, jaws=(2, 8), mark=8.2, filled=False) == "──[─────]◇─"
    assert text_line((0, 10), 11, jaws=(2, 8), mark=7.9) == "──[────◆]──"


@given(st.floats(0, 10), st.integers(20, 60))
def test_a_line_keeps_its_width_both_jaws_and_the_mark(mark, width):
    row = text_line((0, 10), width, jaws=(3, 7), mark=mark)
    assert len(row) == width
    assert (row.count("["), row.count("]"), row.count("◆")) == (1, 1, 1)
    assert (row.index("[") < row.index("◆") < row.index("]")) == (3 <= mark <= 7)


def test_the_bar_empties_from_the_left():
    assert emptying_bar(5, 10, 8) == "    ████"
    assert emptying_bar(-1, 10, 4) == "    "
    assert emptying_bar(20, 10, 4) == "████"
