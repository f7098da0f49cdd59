"""Stop signs and what no relearn mends."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tickover.arrival import Answers, answers_of, arrive, stops
from tickover.arrival.stops import AIR_CODES, MISFIRE_CODES, THROTTLE_CODES, codes_in
from tickover.arrival.words import arrival_lines
from tickover.results import CannotTell
from tickover.routines import load_library

LIBRARY = load_library()
GOOD = ["drive=petrol", "complaint=high", "before=cleaned", "throttle=electronic", "lamp=dark", "codes=none"]


def names(*pairs):
    return [s.name for s in stops(answers_of(pairs))]


@pytest.mark.parametrize(
    ("pair", "name"),
    [
        ("danger=fuel", "smell of fuel"),
        ("danger=oil", "oil lamp"),
        ("danger=overheating", "overheating"),
        ("danger=power", "reduced power"),
        ("danger=security", "security lamp"),
        ("lamp=flashing", "flashing lamp"),
        ("complaint=races", "races above 2,000 r/min"),
        ("complaint=no start", "will not start"),
        ("battery=weak", "weak battery"),
        ("battery=not charging", "not charging"),
        ("misfire=yes", "live misfire"),
        ("codes=P0302", "live misfire"),
        ("codes=P2111", "throttle codes"),
        ("codes=P0121", "throttle codes"),
        ("codes=P0102", "air-meter codes"),
        ("leak=yes", "known leak"),
        ("screws=turned", "idle-stop screw turned"),
        ("screws=forced", "throttle plate forced"),
        ("screws=loose", "loose screw at the throttle"),
        ("drive=gas", "running on gas"),
        ("drive=carburettor", "carburettor"),
        ("drive=diesel", "diesel"),
        ("drive=hybrid", "hybrid"),
        ("drive=electric", "electric drive"),
    ],
)
def test_each_stop_has_its_reason_and_empties_the_ladder(pair, name):
    name_of = pair.partition("=")[0]
    pairs = [p for p in GOOD if not p.startswith(f"{name_of}=")] + [pair]
    found = arrive(answers_of(pairs), LIBRARY)
    assert [s.name for s in found.stops] == [name]
    assert found.stops[0].why
    assert found.stops[0].instead
    assert found.ladder.rungs == ()
    assert name in found.ladder.none.reason
    assert found.ladder.none.way_out == found.stops[0].instead
    assert found.commands == ()


def test_without_the_stop_the_same_car_has_a_ladder():
    found = arrive(answers_of(GOOD), LIBRARY)
    assert found.stops == ()
    assert found.ladder.first is not None


def test_danger_comes_first():
    assert names("drive=diesel", "leak=yes", "codes=P2100,P0300", "danger=oil,fuel", "lamp=flashing") == [
        "smell of fuel", "oil lamp", "flashing lamp", "throttle codes", "known leak", "diesel",
    ]  # fmt: skip


def test_idle_codes_are_no_stop():
    assert names("codes=P0505,P0506,P0507,P0420,P0171,P2176") == []


@pytest.mark.parametrize(
    ("group", "inside", "outside"),
    [
        (THROTTLE_CODES, ("P2100", "P2119", "P2135", "P0120", "P0223", "P0638"), ("P20FF", "P2141", "P0125", "P2176")),
        (AIR_CODES, ("P0100", "P0104", "P010B", "P0107"), ("P00FF", "P0110", "U0100", "B0101")),
        (MISFIRE_CODES, ("P0300", "P030A", "P0312"), ("P02FF", "P0313", "C0300")),
    ],
)
def test_edges_of_the_groups(group, inside, outside):
    assert codes_in(group, Answers(codes=inside + outside)) == inside


def test_a_cured_misfire_leaves_its_code_and_that_is_no_stop():
    told = ["before=misfire", "complaint=high", "drive=petrol", "codes=P0302"]
    assert names(*told, "misfire=no") == []
    assert names(*told) == ["live misfire"]  # nobody has looked
    assert names(*told, "misfire=yes") == ["live misfire"]
    assert names("codes=P0302", "misfire=no") == ["live misfire"]  # it may miss now and then: nobody cured it
    found = arrive(answers_of([*told, "misfire=no"]), LIBRARY)
    assert found.story.name == "counters of a cured misfire"
    assert any("P0302" in note and "remembers" in note for note in found.notes)


def test_a_flashing_lamp_s_misfire_code_is_not_called_a_memory():
    found = arrive(answers_of(["lamp=flashing", "codes=P0302", "drive=petrol", "complaint=rough"]), LIBRARY)
    assert [s.codes for s in found.stops] == [("P0302",)]
    assert found.notes == ()


@pytest.mark.parametrize("pair", ["danger=oil", "danger=overheating", "danger=fuel", "drive=diesel"])
@pytest.mark.parametrize("complaint", ["high", "rough", "none"])
def test_behind_a_stop_nobody_is_sent_to_run_the_engine(pair, complaint):
    found = arrive(answers_of([pair, f"complaint={complaint}", "codes=none"]), LIBRARY)
    assert isinstance(found.story, CannotTell)
    assert found.story.way_out == found.stops[0].instead
    assert not any("tickover idle" in line.text for line in arrival_lines(found))
    assert "tickover idle" not in found.model_dump_json()


@pytest.mark.parametrize("drive", ["diesel", "hybrid", "electric", "carburettor"])
def test_no_story_of_a_learned_idle_where_there_is_none(drive):
    assert isinstance(arrive(answers_of([*GOOD[1:], f"drive={drive}"]), LIBRARY).story, CannotTell)


def test_a_charger_lifts_the_stop_of_a_weak_battery():
    assert names("battery=weak") == ["weak battery"]
    assert names("battery=charger") == []


@given(st.sets(st.sampled_from(["danger=fuel", "leak=yes", "drive=diesel", "misfire=yes", "battery=weak"])))
def test_every_stop_is_said_once_and_none_is_lost(pairs):
    found = names(*pairs)
    assert len(found) == len(set(found)) == len(pairs)
