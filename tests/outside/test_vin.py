"""The number of a car against worked examples."""

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tickover.errors import InputError
from tickover.signals.vin import LETTERS, WEIGHTS, check_digit, masked, read_vin

GOOD = "1M8GDM9AXKP042788"


def test_weights_and_letter_values():
    """Published: 49 CFR 565.15, Table IV and the values of letters, as held in several stored copies."""
    assert WEIGHTS == (8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2)
    pairs = "A1B2C3D4E5F6G7H8J1K2L3M4N5P7R9S2T3U4V5W6X7Y8Z9"
    assert {pairs[i]: int(pairs[i + 1]) for i in range(0, len(pairs), 2)} == LETTERS


def test_worked_sums():
    """From memory: two numbers in common use as examples; sums 351, 89 and 353 were computed from the table."""
    assert check_digit(GOOD) == "X"  # 351 = 31 · 11 + 10
    assert check_digit("1" * 17) == "1"  # 89 = 8 · 11 + 1
    assert check_digit("1M8GDM9AXKP042789") == "1"  # 353: one more at a weight of two
    assert read_vin(GOOD).check == "matches"
    with pytest.raises(InputError, match="X, and 1 would fit"):
        read_vin("1M8GDM9AXKP042789")


def test_i_o_and_q_are_never_used():
    """Published: 49 CFR 565.15: the letters I, O and Q are not used."""
    for letter, digit in (("I", "1"), ("O", "0"), ("Q", "0")):
        with pytest.raises(InputError, match=f"{letter} at place 12.*Is it {digit}"):
            read_vin(f"1M8GDM9AXKP{letter}42788")


@pytest.mark.parametrize(
    ("code", "digit", "letter"),
    [
        ("A", 1980, 2010),
        ("H", 1987, 2017),
        ("J", 1988, 2018),
        ("N", 1992, 2022),
        ("P", 1993, 2023),
        ("R", 1994, 2024),
        ("T", 1996, 2026),
        ("V", 1997, 2027),
        ("Y", 2000, 2030),
        ("1", 2001, 2031),
        ("9", 2009, 2039),
    ],
)
def test_the_model_year(code, digit, letter):
    """From memory: 49 CFR 565.15, codes of the tenth position; a digit at the seventh is the first thirty years."""
    for seventh, year in (("9", digit), ("A", letter)):
        number = f"1M8GDM{seventh}A0{code}P042788"
        number = number[:8] + check_digit(number) + number[9:]
        found = read_vin(number)
        assert (found.year, found.other_year, found.warnings) == (year, None, ())


@pytest.mark.parametrize("code", "UZ0")
def test_codes_that_are_no_model_year(code):
    """From memory: 49 CFR 565.15: U, Z and 0 do not stand at the tenth position."""
    found = read_vin(f"W00000{0}00{code}0000000")
    assert found.year is None
    assert any("no code of a model year" in w for w in found.warnings)


def test_outside_north_america_a_check_digit_is_not_asked():
    """Common practice, no source: numbers from elsewhere often carry a filler at the ninth position."""
    found = read_vin("WAAZZZ00Z5A000001")
    assert found.check == "none"
    assert "need not" in found.warnings[0]
    assert (found.year, found.other_year) == (2005, 2035)


def test_a_wrong_digit_is_taken_when_a_person_says_that_it_stands_so():
    """Common practice, no source: a number on a car is what it is."""
    found = read_vin("1M8GDM9AXKP042789", as_it_stands=True)
    assert found.check == "none"
    assert "Look again" in found.warnings[0]


def test_a_filler_at_place_nine_is_no_typing_error():
    """Common practice, no source: cars built in North America for other markets may carry a filler there."""
    found = read_vin("3AAZZZ16ZFM000001")
    assert found.check == "none"
    assert found.warnings


_ANY = st.text(alphabet="ABCDEFGHJKLMNPRSTUVWXYZ0123456789", min_size=17, max_size=17)


@given(_ANY, st.integers(0, 16), st.sampled_from("ABCDEFGHJKLMNPRSTUVWXYZ0123456789"))
def test_one_changed_character_is_seen_unless_its_value_is_the_same(number, place, other):
    """From memory: 11 is prime and divides no weight, so one change of value always changes the digit."""
    if place == 8:
        return
    value = dict(LETTERS, **{d: int(d) for d in "0123456789"})
    changed = number[:place] + other + number[place + 1 :]
    assert (check_digit(changed) == check_digit(number)) == (value[other] == value[number[place]])


@given(_ANY)
def test_masked_shows_four(number):
    """Common practice, no source: a print that others see shows the last four."""
    shown = masked(number)
    assert len(shown) == 17
    assert shown.endswith(number[-4:])
    assert set(shown[:13]) == {"•"}
    assert masked(shown) == shown
    assert set(masked("ABC")) == {"•"}


def test_what_is_no_number_says_why():
    """From memory: 49 CFR 565.15: seventeen characters."""
    for text, why in (("1M8", "3 characters"), ("1M8GDM9AXKP04278é", "“É” at place 17"), ("", "0 characters")):
        with pytest.raises(InputError, match=re.escape(why)):
            read_vin(text)
