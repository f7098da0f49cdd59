"""The forecast: its days, its refusals, what helps, its words and its picture."""

import datetime
import xml.etree.ElementTree as ET

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tickover.drawing.still import png_file
from tickover.obd import decode_text
from tickover.readiness import CarState, forecast, forecast_figure, load_rules, state_of
from tickover.readiness.forecast import percent
from tickover.readiness.results import Forecast
from tickover.readiness.words import decoded_rows, forecast_rows
from tickover.results import CannotTell, Quantity

TODAY = datetime.date(2025, 6, 2)
RULES = load_rules()
BYTES = (
    "41 01 00 07 E5 A5\n"
    "49 08 10 00C8 0190 005A 0096 0000 0000 0078 0096 0000 0000 0064 0096 0000 0000 001E 003C\n"
    "41 30 02"
)
STATE = state_of(decode_text(BYTES))


def of(state=STATE, *, days=10, per_day=3, rule=None, year=2004, fuel=None, seed=1):
    return forecast(
        state,
        rule=RULES[rule] if rule else None,
        year=year,
        fuel=fuel,
        per_day=per_day,
        today=TODAY,
        by=TODAY + datetime.timedelta(days=days),
        rng=np.random.default_rng(seed),
    )


def test_the_day_of_a_level_is_the_first_on_which_it_is_reached():
    found = of()
    for level, day in ((0.80, found.day_80), (0.95, found.day_95)):
        assert isinstance(day, Quantity)
        on, before = of(days=int(day.value)), of(days=int(day.value) - 1)
        assert on.chance.value >= level > before.chance.value
        assert day.lo <= day.value
        assert day.hi is None or day.hi >= day.value


def test_a_laxer_rule_and_more_driving_come_sooner():
    all_complete, one_open = of(), of(rule="us-federal")
    assert one_open.chance.value > all_complete.chance.value
    assert one_open.day_80.value < all_complete.day_80.value
    assert of(per_day=6).day_80.value < of(per_day=2).day_80.value


def test_only_the_evaporative_system_may_stay_open_in_california():
    federal, california = of(rule="us-federal"), of(rule="us-california")
    assert california.allowed == "only the evaporative system may be open"
    # The slowest monitor is the one that may stay open: much the same as one of any.
    assert federal.chance.value - 0.03 < california.chance.value < federal.chance.value


def test_what_helps_most_is_what_is_missing_most():
    found = of()
    assert found.helps[0].monitor == "evaporative system"
    assert found.helps[0].gain == max(h.gain for h in found.helps)
    assert {h.monitor for h in found.helps} == set(STATE.open)
    assert of(rule="us-california").helps[-1].monitor == "evaporative system"
    assert forecast_rows(found)[0][1].startswith("Drive for this first: evaporative system")


def test_continuous_monitors_wait_only_where_the_rule_counts_them():
    state = CarState(open=("misfire", "evaporative system"))
    assert [r.monitor for r in of(state).rates] == ["evaporative system", "misfire"] or len(of(state).rates) == 2
    assert [r.monitor for r in of(state, rule="us-california", fuel="petrol").rates] == ["evaporative system"]


def test_counters_alone_stand_for_a_memory_just_cleared():
    state = state_of(decode_text(BYTES.splitlines()[1]))
    found = of(state)
    assert {r.monitor for r in found.rates} == {
        "catalyst",
        "oxygen sensor",
        "EGR or valve timing",
        "evaporative system",
    }
    assert any("as after a clear" in text for text in found.rests_on)


def test_without_counters_the_answer_is_wide_and_says_so():
    guess = of(CarState(open=("catalyst", "evaporative system")))
    known = of(STATE.model_copy(update={"open": ("catalyst", "evaporative system"), "complete": ()}))
    width = [f.chance.hi - f.chance.lo for f in (guess, known)]
    assert width[0] > width[1] + 0.1
    assert any("wide guess" in text for text in guess.cannot)
    assert not any("wide guess" in text for text in known.cannot)


def test_warm_ups_that_did_not_help_lower_the_chance_until_they_contradict_the_counters():
    chances = [of(STATE.model_copy(update={"warm_ups": n})).chance.value for n in (0, 3, 6)]
    assert chances == sorted(chances, reverse=True)
    odd = of(STATE.model_copy(update={"warm_ups": 6}))
    assert any("may keep them from running" in text for text in odd.cannot)
    strange = of(STATE.model_copy(update={"warm_ups": 60}))
    assert isinstance(strange, CannotTell)
    assert "something keeps them from running" in strange.reason


@pytest.mark.parametrize(
    ("state", "rule", "year", "says"),
    [
        (CarState(), None, None, "neither which monitors are open"),
        (STATE, "lamp-only", 2004, "asks for no monitors"),
        (STATE, "us-federal", None, "model year"),
        (CarState(open=("catalyst",)), "us-california", 2004, "fuel"),
        (CarState(open=("catalyst",), ignition="compression"), "us-california", 1997, "no count"),
    ],
)
def test_what_cannot_be_told_is_said(state, rule, year, says):
    found = of(state, rule=rule, year=year)
    assert isinstance(found, CannotTell)
    assert says in found.reason
    assert found.way_out


def test_a_change_that_is_not_certain_is_reckoned_beside():
    after = forecast(STATE, rule=RULES["us-california"], year=2004, per_day=3, today=datetime.date(2026, 1, 1),
                     by=datetime.date(2026, 1, 11), rng=np.random.default_rng(1))  # fmt: skip
    beside = next(text for text in after.cannot if "one trade excerpt" in text)
    assert beside.endswith(f"If so: {percent(of().chance.value)} %")


def test_nothing_open_is_ready_now():
    found = of(CarState(open=()))
    assert found.chance.value == 1
    assert found.day_95.value == 0
    assert "No open monitor" in found.sentence
    assert forecast_figure(found).faults() == []


def test_a_day_that_is_not_reached_within_a_year_is_said():
    found = of(CarState(open=("PM filter", "evaporative system")), per_day=0.05)
    assert isinstance(found.day_95, CannotTell)
    assert "not reached within a year" in found.sentence


@pytest.mark.parametrize("per_day", [0, -1, 51, float("nan")])
def test_figures_out_of_range_are_refused(per_day):
    with pytest.raises(ValueError, match="ignition cycles a day"):
        of(per_day=per_day)
    with pytest.raises(ValueError, match="past"):
        of(days=-1)


def test_one_seed_gives_one_answer():
    assert of().model_dump_json() == of().model_dump_json()


@pytest.mark.parametrize(
    ("chance", "words"), [(0, "0"), (0.001, "under 1"), (0.424, "42"), (0.9951, "over 99"), (1, "100")]
)
def test_a_chance_in_words_never_claims_certainty(chance, words):
    assert percent(chance) == words


@settings(max_examples=12, deadline=None)
@given(st.integers(0, 120), st.sampled_from([0.3, 1, 4]), st.sampled_from([360.0, 688.0]),
       st.sets(st.sampled_from(["catalyst", "evaporative system", "PM filter", "oxygen sensor"])))  # fmt: skip
def test_the_picture_keeps_its_words_apart_and_inside(days, per_day, room, opened):
    found = of(STATE.model_copy(update={"open": tuple(opened), "warm_ups": 0}), days=days, per_day=per_day)
    assert isinstance(found, Forecast)
    picture = forecast_figure(found, room=room)
    assert picture.faults() == []
    ET.fromstring(picture.svg())
    assert found.sentence in picture.sentence


def test_the_picture_has_curve_band_dashes_line_and_mark():
    found = of()
    svg = forecast_figure(found).svg("day")
    assert svg.count("stroke-dasharray") == 2
    assert "#D6E6F2" in svg
    assert "#0072B2" in svg
    assert png_file(forecast_figure(found), ppi=48).startswith(b"\x89PNG")
    with pytest.raises(ValueError, match="too small"):
        forecast_figure(found, room=200)


def test_decoded_answers_in_words_have_no_grid():
    text = BYTES
    rows = decoded_rows(decode_text(text))
    assert rows[0][1].startswith("lamp dark, 0 codes stored; still open since the last clear: catalyst, ")
    assert ("", "EVAPCOMP: 30 completed in 60 that met its conditions, ratio 0.500") in rows
    others = (
        "43 01 03 01\n46 A2 0C 24 0000 0000 0000\n46 3D 80 70 0005 0000 0009\n7F 01 12\n41 00 80 00 00 00\n41 1C 06"
    )
    words = [text for _, text in decoded_rows(decode_text(others))]
    assert words == [
        "confirmed codes: P0301",
        "misfire, cylinder 1, misfires in the last or present driving cycle: not run since the last clear",
        "evaporative purge flow, test 80: 5 as sent, limits 0 to 9, inside its limits (scaling 70 not known)",
        "refused service 01: not supported, or wrong format",
        "service 01 answers to 01",
        "obd type: EOBD",
    ]
