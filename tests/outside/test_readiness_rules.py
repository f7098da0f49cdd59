"""The rules that come with the program, at their edges, against the texts they stand on."""

import datetime

import pytest

from tickover.readiness import CarState, evaluate, load_rules

RULES = load_rules()
BEFORE_CHANGE = datetime.date(2025, 9, 30)
SPARK = ("catalyst", "evaporative system", "oxygen sensor", "EGR or valve timing")


def word(rule, year, fuel="petrol", on=BEFORE_CHANGE, **known):
    known = {"lamp": False, "stored": (), "permanent": ()} | known
    return evaluate(RULES[rule], CarState(**known), year=year, fuel=fuel, on=on).word


READY, AWAY, UNKNOWN = "would be ready", "would be turned away", "cannot tell"


@pytest.mark.parametrize(
    ("year", "count", "expected"),
    [
        (1996, 0, READY),
        (1996, 2, READY),
        (1996, 3, AWAY),
        (2000, 2, READY),
        (2000, 3, AWAY),
        (2001, 1, READY),
        (2001, 2, AWAY),
        (2020, 0, READY),
        (2020, 2, AWAY),
    ],
)
def test_federal_counts(year, count, expected):
    """From memory: 40 CFR 85.2222(c)(2): two unset to model year 2000, one from 2001; only its lead was read."""
    assert word("us-federal", year, open_count=count) == expected
    assert word("us-federal", year, open=SPARK[:count]) == expected


def test_federal_lamp():
    """Published: 40 CFR 85.2207(b), (c): fails if the lamp is commanded on for a code, or on and not visibly lit."""
    assert word("us-federal", 2010, open=(), lamp=True, stored=("P0301",)) == AWAY
    assert word("us-federal", 2010, open=(), lamp=False, stored=("P0301",)) == READY
    assert word("us-federal", 2010, open=(), lamp_seen="stays dark") == AWAY


def test_federal_text_starts_with_1996():
    """Published: 40 CFR 85.2207(a): model year 1996 and newer."""
    assert word("us-federal", 1995, open=()) == UNKNOWN


def test_federal_unset_means_supported_and_not_complete():
    """Published: 40 CFR 85.2222(c), lead: supported monitors; continuous ones are among them."""
    assert word("us-federal", 2005, open=("misfire", "catalyst")) == AWAY
    assert word("us-federal", 2005, open=("misfire",)) == READY


@pytest.mark.parametrize(
    ("year", "fuel", "opened", "expected"),
    [
        (1996, "petrol", (), READY),
        (1996, "petrol", ("catalyst",), READY),
        (1999, "petrol", ("catalyst",), READY),
        (1999, "petrol", ("catalyst", "evaporative system"), AWAY),
        (2000, "petrol", ("evaporative system",), READY),
        (2000, "petrol", ("catalyst",), AWAY),
        (2000, "petrol", ("catalyst", "evaporative system"), AWAY),
        (2015, "hybrid", ("evaporative system",), READY),
        (2015, "hybrid", ("oxygen sensor",), AWAY),
        (1998, "diesel", (), READY),
        (1998, "diesel", ("PM filter",), AWAY),
        (2006, "diesel", ("PM filter",), AWAY),
        (2007, "diesel", ("PM filter", "NMHC catalyst"), READY),
        (2007, "diesel", ("boost pressure",), AWAY),
        (2007, "diesel", ("PM filter", "NMHC catalyst", "boost pressure"), AWAY),
        (1997, "diesel", (), UNKNOWN),
        (2004, "petrol", ("misfire", "components", "evaporative system"), READY),
    ],
)
def test_california_counts(year, fuel, opened, expected):
    """Published: 16 CCR 3340.42.2 with the counts in use since 4 May 2015, by two public excerpts."""
    assert word("us-california", year, fuel, open=opened) == expected


@pytest.mark.parametrize(
    ("year", "warm_ups", "km", "expected"),
    [
        (2010, 14, 1000.0, AWAY),
        (2010, 200, 321.0, AWAY),
        (2010, 15, 322.0, READY),
        (2010, 255, 5000.0, READY),
        (2009, 0, 0.0, READY),
        (2010, None, 5000.0, UNKNOWN),
        (2010, 15, None, UNKNOWN),
        (2010, 3, None, AWAY),
    ],
)
def test_california_permanent_codes(year, warm_ups, km, expected):
    """Published: the bureau's newsletter of spring 2019: from model year 2010; 15 warm-ups AND 200 miles, not OR."""
    known = {"open": (), "permanent": ("P0420",), "warm_ups": warm_ups, "km": km}
    assert word("us-california", year, **known) == expected


def test_california_permanent_codes_date_from_july_2019():
    """Published: the bureau's newsletter of spring 2019: from 1 July 2019."""
    known = {"open": (), "permanent": ("P0420",), "warm_ups": 3, "km": 10.0}
    assert word("us-california", 2012, on=datetime.date(2019, 6, 30), **known) == READY
    assert word("us-california", 2012, on=datetime.date(2019, 7, 1), **known) == AWAY


def test_california_fails_on_a_code_and_on_the_lamp():
    """Published: 16 CCR 3340.42.2(c): the lamp commanded, a code, the lamp dark with the ignition on."""
    assert word("us-california", 2012, open=(), lamp=True) == AWAY
    assert word("us-california", 2012, open=(), stored=("P0171",)) == AWAY
    assert word("us-california", 2012, open=(), lamp_seen="stays dark") == AWAY


def test_the_change_that_one_trade_page_tells_of_makes_an_open_monitor_uncertain():
    """Common practice, no source: one trade excerpt says all monitors from 1 October 2025, phased in by vehicle."""
    first = datetime.date(2025, 10, 1)
    assert word("us-california", 2004, open=("evaporative system",)) == READY
    assert word("us-california", 2004, open=("evaporative system",), on=first) == UNKNOWN
    assert word("us-california", 2004, open=(), on=first) == READY
    assert word("us-california", 2004, open=("catalyst",), on=first) == AWAY
    found = evaluate(RULES["us-california"], CarState(open=(), lamp=False), year=2004, fuel="petrol", on=first)
    assert any("Basis: one trade excerpt" in note for note in found.notes)
