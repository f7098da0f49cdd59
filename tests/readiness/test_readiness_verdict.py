"""Verdicts: counts by hand, what stands between in order, what is said when something is not known."""

import datetime

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tickover.errors import InputError
from tickover.obd import SPARK, decode_text
from tickover.readiness import CarState, evaluate, load_rule, load_rules, monitor_called, read_rule, state_of

RULES = load_rules()
ON = datetime.date(2025, 9, 1)


def of(rule, year=2005, fuel="petrol", on=ON, **known):
    return evaluate(RULES[rule], CarState(**known), year=year, fuel=fuel, on=on)


@pytest.mark.parametrize(
    ("rule", "year", "fuel", "count", "word"),
    [
        ("us-federal", 2000, None, 2, "would be ready"),
        ("us-california", 1998, "petrol", 1, "would be ready"),
        ("us-california", 1998, "petrol", 2, "would be turned away"),
        ("us-california", 2004, "petrol", 0, "would be ready"),
        ("us-california", 2004, "petrol", 1, "cannot tell"),
        ("us-california", 2004, "petrol", 2, "would be turned away"),
        ("us-california", 2010, "diesel", 2, "cannot tell"),
        ("us-california", 2010, "diesel", 3, "would be turned away"),
        ("us-california", 2004, None, 1, "cannot tell"),
        ("us-california", 2004, None, 0, "would be ready"),
        ("all-complete", None, None, 1, "would be turned away"),
        ("all-complete", None, None, 0, "would be ready"),
        ("none", None, None, 9, "would be ready"),
    ],
)
def test_the_station_said_how_many_were_open(rule, year, fuel, count, word):
    found = of(rule, year, fuel, open_count=count)
    assert found.word == word
    if word == "cannot tell" and fuel:
        assert "which of them matters" in found.sentence


def test_a_count_alone_never_says_the_lamp_is_dark():
    found = of("us-federal", 2000, open_count=1)
    assert found.word == "would be ready"
    assert "provided the engine lamp goes out after the start" in found.sentence
    assert of("lamp-only").word == "cannot tell"
    assert of("lamp-only", lamp=False).word == "would be ready"
    assert of("lamp-only", lamp_seen="on while running").word == "would be turned away"
    assert (
        of("lamp-only", lamp=True, stored=("P0301",)).between[0].what.startswith("The engine lamp is asked for (P0301)")
    )


def test_what_stands_between_is_one_sentence_and_an_ordered_list():
    known = {"lamp": True, "stored": ("P0420",), "permanent": ("P0420",), "warm_ups": 2, "km": 30.0}
    found = of("us-california", 2012, open=("oxygen sensor", "catalyst"), **known)
    assert found.sentence == "It would be turned away: the engine lamp is asked for (P0420), and 3 things more."
    certain = [one.what for one in found.between if one.certain]
    assert [text.split()[1] for text in certain] == ["engine", "is", "catalyst", "oxygen"]
    assert certain[1].startswith("P0420 is a permanent code")
    assert "so far 2 and 30 km" in certain[1]
    assert not found.between[-1].certain


def test_every_verdict_says_to_check_with_the_programme():
    for rule in RULES.values():
        found = evaluate(rule, CarState(), on=ON)
        assert found.check.startswith("Check with the programme.")
        assert found.sentence.endswith(".")


def test_the_lowest_letter_of_a_code_stays_high():
    found = of("us-california", 2012, lamp=False, open=(), stored=(), permanent=("P0301",), warm_ups=3, km=500.0)
    assert found.sentence.startswith("It would be turned away: P0301 is")


def test_tailpipe_limits():
    assert of("lamp-and-tailpipe", lamp=False, lambda_fast=1.05).word == "would be turned away"
    assert of("lamp-and-tailpipe", lamp=False, lambda_fast=1.03).word == "cannot tell"
    own = RULES["lamp-and-tailpipe"].tailpipe.model_copy(update={"co_natural_idle": 0.3, "co_fast_idle": 0.2})
    rule = RULES["lamp-and-tailpipe"].model_copy(update={"tailpipe": own})
    known = {"lamp": False, "lambda_fast": 0.97, "co_natural": 0.3, "co_fast": 0.2}
    assert evaluate(rule, CarState(**known), on=ON).word == "would be ready"
    assert evaluate(rule, CarState(**known | {"co_fast": 0.21}), on=ON).word == "would be turned away"
    known.pop("co_natural")
    assert evaluate(rule, CarState(**known), on=ON).word == "cannot tell"


def test_a_rule_is_judged_on_its_day():
    assert of("us-california", 2004, on=datetime.date(2015, 5, 3), lamp=False, open=()).word == "cannot tell"
    assert of("us-california", 2004, on=datetime.date(2015, 5, 4), lamp=False, open=()).word == "would be ready"
    found = of("us-california", 2004, on=ON, lamp=False, open=())
    assert any("To come: From 1 October 2025" in note for note in found.notes)


def test_bytes_of_several_controllers_are_one_car():
    state = state_of(decode_text("7E8 06 41 01 00 07 65 04\n7E9 06 41 01 81 04 01 01\n7E8 04 4A 01 01 71"))
    assert state.open == ("evaporative system", "catalyst")
    assert (state.lamp, state.stored_count, state.permanent) == (True, 1, ("P0171",))
    assert "7E8, 7E9" in state.says[0]
    assert state_of(decode_text("41 01 00 0F 01 01")).ignition == "compression"
    assert state_of(decode_text("41 41 00 07 65 04")).open is None
    assert state_of(decode_text("7E8 03 41 30 02\n7E9 03 41 30 FF\n7E8 03 41 30 03")).warm_ups == 3


@settings(deadline=None, max_examples=60)
@given(st.sets(st.sampled_from(SPARK)), st.sampled_from(SPARK), st.integers(1996, 2030), st.sampled_from(sorted(RULES)))
def test_completing_a_monitor_never_turns_a_car_away(opened, done, year, rule):
    order = {"would be ready": 0, "cannot tell": 1, "would be turned away": 2}
    before = of(rule, year, lamp=False, open=tuple(opened))
    after = of(rule, year, lamp=False, open=tuple(opened - {done}))
    assert order[after.word] <= order[before.word]


@settings(deadline=None, max_examples=60)
@given(st.integers(0, 11), st.integers(1990, 2030), st.sampled_from([None, "petrol", "hybrid", "diesel"]),
       st.sampled_from(sorted(RULES)), st.sets(st.sampled_from(SPARK), max_size=8))  # fmt: skip
def test_a_count_never_contradicts_the_names(count, year, fuel, rule, opened):
    named = of(rule, year, fuel, lamp=False, open=tuple(opened)).word
    counted = of(rule, year, fuel, lamp=False, open_count=len(opened)).word
    assert counted in (named, "cannot tell")
    assert of(rule, year, fuel, lamp=False, open_count=count).sentence


@pytest.mark.parametrize(
    ("known", "word"),
    [
        ({"warm_ups": 2, "km": 18.0, "minutes": 40.0}, "recently cleared"),
        ({"warm_ups": 2}, "recently cleared"),
        ({"warm_ups": 3, "km": 50.0, "minutes": 60.0}, "not recently cleared"),
        ({"warm_ups": 255, "km": 2328.0}, "not recently cleared"),
        ({"warm_ups": 2, "km": 600.0}, "cannot tell"),
        ({}, "cannot tell"),
    ],
)
def test_a_memory_cleared_not_long_ago_is_recognised(known, word):
    found = of("us-federal", lamp=False, open=("catalyst",), **known)
    assert found.clearing.word == word
    assert len(found.clearing.reasons) == len(known)
    assert all("our threshold" in reason for reason in found.clearing.reasons)


def test_a_new_car_is_told_from_a_cleared_one_by_its_in_use_counters():
    old = of("us-federal", lamp=False, open=(), warm_ups=1, counters={"IGNCNTR": 900}).clearing
    new = of("us-federal", lamp=False, open=(), warm_ups=1, counters={"IGNCNTR": 4}).clearing
    assert "no new car" in old.reasons[-1]
    assert "is new" in new.sentence


@pytest.mark.parametrize(
    ("word", "name"),
    [
        ("evap", "evaporative system"),
        ("EVAP monitor", "evaporative system"),
        ("O2-sensor", "oxygen sensor"),
        ("Catalyst", "catalyst"),
        ("egr", "EGR or valve timing"),
        ("NMHC catalyst", "NMHC catalyst"),
    ],
)
def test_monitors_by_what_people_call_them(word, name):
    assert monitor_called(word) == name


def test_a_monitor_that_is_none_is_refused_with_near_ones():
    with pytest.raises(InputError, match="catalyst"):
        monitor_called("katalyst")


RULE = """
id = "{id}"
title = "Mine"
kind = "count"
source = "the station's leaflet"
tag = "M"
check_with = "Ask the station."
[[limits]]
model_years = [1996]
open_at_most = 3
source = "leaflet"
"""


def test_a_rule_of_ones_own_takes_the_place_of_a_built_in_one(tmp_path):
    (tmp_path / "mine.toml").write_text(RULE.format(id="us-federal"))
    (tmp_path / "other.toml").write_text(RULE.format(id="village"))
    rules = load_rules(tmp_path)
    assert set(rules) == {*RULES, "village"}
    assert rules["us-federal"].title == "Mine"
    assert load_rule(str(tmp_path / "other.toml")).id == "village"
    with pytest.raises(InputError, match="us-federal"):
        load_rule("us-federale")
    with pytest.raises(InputError, match="no rule is called"):
        load_rule("village")
    with pytest.raises(InputError, match="not a folder"):
        load_rules(tmp_path / "none")
    (tmp_path / "twice.toml").write_text(RULE.format(id="village"))
    with pytest.raises(InputError, match="two files"):
        load_rules(tmp_path)


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (("open_at_most = 3", 'open_at_most = "few"'), "limits.0.open_at_most"),
        (("[1996]", "[2000, 1996]"), "backwards"),
        (('source = "leaflet"', 'source = "leaflet"\nonly = ["evap"]'), "evaporative system"),
        (('source = "leaflet"', 'source = "leaflet"\nonly = ["katalyst"]'), "catalyst"),
        (('kind = "count"', 'kind = "none"'), "limits"),
        (('kind = "count"', 'kind = "score"'), "kind"),
        (('id = "mine"', 'id = "my rule"'), "id"),
        (('tag = "M"', 'tag = "M"\ncolour = "blue"'), "colour"),
        (('title = "Mine"', "title = Mine"), "not TOML"),
        (('title = "Mine"', 'file = "x"\ntitle = "Mine"'), "not for you"),
    ],
)
def test_a_faulty_rule_is_refused_with_its_file_and_place(tmp_path, change, says):
    path = tmp_path / "mine.toml"
    path.write_text(RULE.format(id="mine").replace(*change))
    with pytest.raises(InputError, match=says) as refused:
        read_rule(path)
    assert refused.value.file == str(path)


def test_built_in_rules_name_their_source_and_how_well_it_is_known():
    for rule in RULES.values():
        assert rule.source
        assert rule.tag
        assert all(limit.source for limit in rule.limits)
    assert {rule.kind for rule in RULES.values()} == {"none", "lamp only", "lamp and tailpipe", "count", "all complete"}
