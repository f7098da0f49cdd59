"""Words and figures that every door shares."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tickover.idle import words
from tickover.results import CannotTell, Quantity


def q(value, lo, hi):
    return Quantity(value=value, lo=lo, hi=hi, unit="r/min")


@pytest.mark.parametrize(("value", "text"), [(842.4, "842"), (-1.86, "−2"), (-0.2, "0"), (0.0, "0")])
def test_numbers_have_a_true_minus_and_no_minus_zero(value, text):
    assert words.number(value) == text


def test_plus_minus_takes_the_larger_side():
    assert words.plus_minus(q(842, 830, 856)) == "842 ± 14"
    assert words.plus_minus(q(842, 841.9, 842.1)) == "842.0 ± 0.1"
    assert words.plus_minus(q(842, 830, None)) == "at least 830"
    assert words.plus_minus(q(842, None, 856)) == "at most 856"


@pytest.mark.parametrize(
    ("value", "half", "places", "text"),
    [
        (0.04, 0.004, 2, "0.040 ± 0.004"),  # was 0.04 ± 0.00, then 0.04 ± 0.01
        (-2.1, 33.4, 1, "−2 ± 33"),
        (35.42, 3.26, 1, "35.4 ± 3.3"),
        (1.4666, 2.08, 2, "1.5 ± 2.1"),
        (702.3, 0.32, 0, "702.3 ± 0.3"),
        (651.3, 1.8, 0, "651 ± 2"),
        (14.1, 0.0, 1, "14.1"),  # every measurement the same: no width to state
    ],
)
def test_a_range_never_reads_as_nothing_nor_as_more_than_it_is(value, half, places, text):
    assert words.plus_minus(q(value, value - half, value + half), places) == text


def test_measurements_all_alike_are_said_to_be():
    assert words.measured(q(14.1, 14.1, 14.1), 1) == "14.1 r/min, all alike"


@given(st.floats(-1e4, 1e4), st.floats(1e-6, 1e4), st.integers(0, 2))
def test_law_a_range_is_never_printed_as_nought(value, half, places):
    value_text, _, half_text = words.plus_minus(q(value, value - half, value + half), places).partition(" ± ")
    if half_text:
        assert float(half_text) > 0
        assert abs(float(value_text.replace("−", "-")) - value) <= max(half, 10.0**-places)


def test_the_sentence_of_a_change():
    text = words.speed_words(q(842, 830, 854), q(702, 690, 714), q(-140, -157, -123))
    assert text == "It idled at 842, it now idles at 702 r/min (140 ± 17 slower)."
    same = words.speed_words(q(749, 742, 756), q(749, 742, 756), q(0, -9, 9))
    assert same == "It idled at 749, it now idles at 749 r/min: no difference seen (0 ± 9 r/min)."


def test_a_refusal_in_one_line():
    assert words.cannot_tell(CannotTell(reason="How fast it swings", way_out="Log faster.")) == (
        "how fast it swings. Log faster."
    )


@given(
    st.floats(300, 3000), st.floats(0.1, 400), st.one_of(st.none(), st.tuples(st.floats(300, 900), st.floats(1, 300)))
)
def test_law_the_ruled_line_keeps_its_order(value, half, band):
    normal = None if band is None else (band[0], band[0] + band[1])
    drawn = words.ruled_line(q(value, value - half, value + half), normal)
    assert len(drawn.rule) == 60
    assert drawn.rule.count("◆") == 1
    if normal is not None:
        left, mark, right = (drawn.rule.index(c) for c in "[◆]")
        assert left < right
        assert (mark < left) == (value < normal[0])
        assert (mark > right) == (value > normal[1])
    assert words.plus_minus(q(value, value - half, value + half)) in drawn.says


def test_the_mark_stands_between_the_jaws_where_it_is_normal():
    drawn = words.ruled_line(q(700, 690, 710), (650, 750))
    assert drawn.rule.index("[") < drawn.rule.index("◆") < drawn.rule.index("]")
    assert "700" in drawn.scale


def test_an_idle_is_said_against_its_normal_only_where_the_whole_interval_allows():
    def said(value, half):
        return words.against_normal(Quantity(value=value, lo=value - half, hi=value + half, unit="r/min"), (700, 800))

    assert said(989, 6) == "above its normal 700 to 800, by 183 to 195"
    assert said(640, 10) == "below its normal 700 to 800, by 50 to 70"
    assert said(750, 10) == "inside its normal 700 to 800"
    assert said(795, 10).startswith("cannot tell")
