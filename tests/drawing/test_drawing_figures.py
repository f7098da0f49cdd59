import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tickover.drawing.figures import in_words, interval, nice_step, plain, short, ticks


@pytest.mark.parametrize(
    ("value", "lo", "hi", "words"),
    [
        (842, 828, 856, "842 ± 14"),
        (704.2, 696.4, 712.1, "704 ± 8"),
        (842, 829, 871, "842 (829 to 871)"),
        (842, 829, None, "842 (at least 829)"),
        (842, None, 871, "842 (at most 871)"),
        (842, None, None, "842 (no range)"),
        (1.234, 1.204, 1.264, "1.23 ± 0.03"),
        (-138, -154, -122, "−138 ± 16"),
        (-0.2, -0.9, 0.5, "−0.2 ± 0.7"),
    ],
)
def test_a_number_is_written_with_its_range(value, lo, hi, words):
    assert in_words(value, lo, hi) == words


def test_an_uneven_interval_is_never_written_as_plus_or_minus():
    """A bar whose middle is not the estimate would lie as ±."""
    figure, range_ = interval(700, 690, 730)
    assert "±" not in figure
    assert range_ == "690 to 730"


@given(st.floats(-1e6, 1e6), st.floats(1e-3, 1e5), st.floats(1e-3, 1e5))
def test_the_range_that_is_written_is_the_range_to_its_own_rounding(value, below, above):
    words = in_words(value, value - below, value + above).replace("−", "-")
    half = (below + above) / 2
    if "±" in words:
        centre, spread = (float(part) for part in words.split(" ± "))
        assert abs(centre - value) <= 0.5 or half < 1
        assert abs(spread - half) <= max(0.5, 0.5 * half)
        assert abs(above - below) <= max(0.4 * half, 2.0)
    else:
        assert " to " in words


def test_negative_zero_has_no_sign():
    assert plain(-0.3) == "0"
    assert short(0.0) == "0"
    assert short(-0.0) == "0"


@given(st.floats(-1e5, 1e5), st.floats(1e-3, 1e5), st.integers(2, 10))
def test_ticks_are_multiples_of_one_honest_step_inside_the_range(lo, span, about):
    hi = lo + span
    found = ticks(lo, hi, about)
    step = nice_step(hi - lo, about)
    mantissa = step / 10 ** math.floor(math.log10(step) + 1e-9)
    assert min(abs(mantissa - m) for m in (1, 2, 5)) < 1e-6
    assert len(found) <= about + 1
    for value in found:
        assert abs(value / step - round(value / step)) < 1e-6
        assert lo - 1e-6 * span <= value <= hi + 1e-6 * span


def test_a_minute_has_a_tick_every_ten_seconds():
    assert ticks(0, 60, 6) == [0, 10, 20, 30, 40, 50, 60]


@pytest.mark.parametrize("span", [0, -1, math.inf, math.nan])
def test_no_ticks_without_a_span(span):
    with pytest.raises(ValueError, match="no ticks"):
        nice_step(span, 5)
