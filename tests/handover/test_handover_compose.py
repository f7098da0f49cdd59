import pytest
from handover_job import BEGIN, CAR, attempt, cannot, comparison, entries, finished, quantity, reading
from hypothesis import given
from hypothesis import strategies as st

from tickover.errors import InputError
from tickover.handover import Sheet, erasing, sheet_from_entries
from tickover.handover.wording import HEADLINES, ordinal, spelt
from tickover.results import CannotTell, Quantity


def done(sheet):
    return [row.text for row in sheet.done]


def test_a_settled_job_says_so_with_its_figures():
    sheet = sheet_from_entries(finished(tries=(attempt(1, "missed", late=0.7), attempt(2))))
    assert sheet.headline == "Settled: it idles steadily again"
    assert sheet.lead.replace("\u00a0", " ") == (
        "842 turns a minute, swinging by 38, when it came in; 704, swinging by 5, now. Normal is 650 to 750."
    )
    assert (sheet.before.value, sheet.before.half_width) == (842, 14)
    assert (sheet.after.value, sheet.after.half_width) == (704, 8)
    assert sheet.normal == (650, 750)
    assert (sheet.shop, sheet.job, sheet.by) == ("Larkholm Garage", "0147", "R. H.")
    assert sheet.car == "2007 petrol car, 2.4 litres, 4 cylinders"
    assert sheet.date == "Tuesday 14 October 2025"
    assert sheet.invented
    assert sheet.wrong == (
        "You told us: hunts at idle since the battery went flat.",
        "The engine lost its idle memory with the flat battery.",
    )
    assert done(sheet) == [
        "Set up, 2 of 3 conditions met; not: key-on volts",
        "Idle-air relearn by pedal count: missed once, then every step in time",
        "Idle measured again: settled",
        "Nothing was erased",
    ]
    assert [row.when for row in sheet.done] == ["08:30", "08:50", "09:10", ""]
    assert len(sheet.tries) == 2
    assert "stays settled" in sheet.cannot_tell[0]


@pytest.mark.parametrize("verdict", HEADLINES)
def test_every_verdict_has_its_headline(verdict):
    sheet = sheet_from_entries(finished(verdict))
    assert sheet.verdict == verdict
    assert sheet.headline == HEADLINES[verdict]
    assert len(set(HEADLINES.values())) == 5
    assert bool(sheet.come_back) == (verdict != "settled")


def test_turns_a_minute_is_said_once():
    sheet = sheet_from_entries(finished("cannot tell", after=reading(speed=cannot("too few 842 r/min samples"))))
    said = " ".join([sheet.lead, *sheet.cannot_tell, *done(sheet)])
    assert said.count("turns a minute") == 1
    assert "r/min" not in said


def test_cannot_tell_carries_its_reason():
    refusal = {"reason": "the fan ran for 48 s of the minute", "way_out": "Record again"}
    job = finished("cannot tell", after=reading(speed=cannot(), refusals=[refusal]))
    sheet = sheet_from_entries(job)
    assert isinstance(sheet.after, CannotTell)
    assert sheet.cannot_tell == (
        "Whether it settled: the figures do not say.",
        "After: The fan ran for 48 seconds of the minute.",
    )
    assert "longer recording" in sheet.come_back


def test_an_undecided_comparison_says_why_in_the_customers_words():
    job = finished("cannot tell")
    refused = {**cannot("too few effective samples: 3, 10 are needed"), "way_out": "Record three minutes."}
    told = {**job[-1].data, "sentence": "Cannot tell: too few effective samples.", "difference": refused}
    sheet = sheet_from_entries([*job[:-1], job[-1].model_copy(update={"data": told})])
    assert sheet.cannot_tell == ("Whether it settled: too few independent measurements: 3, 10 are needed.",)
    assert "Cannot tell" not in sheet.lead


def test_a_miss_is_said_once_and_without_step_names():
    tried = {
        **attempt(1, "missed", late=0.7),
        "sentence": "Missed: let up came 2.25 s too early (up: hold after down).",
    }
    assert done(sheet_from_entries(finished(tries=(tried,))))[1] == (
        "Idle-air relearn by pedal count: missed. Let up came 2.25 seconds too early."
    )


def test_a_later_attempt_overtakes_the_verdict():
    rows = [(e.stage, e.kind, e.data) for e in finished()]
    sheet = sheet_from_entries(entries(*rows, ("relearn", "attempt", attempt(2))))
    assert sheet.verdict is None
    assert sheet.after is None
    assert sheet.headline == "Not measured since: no verdict yet"


@pytest.mark.parametrize("kind", ["repair", "relapse"])
def test_a_repair_or_a_relapse_overtakes_the_verdict(kind):
    rows = [(e.stage, e.kind, e.data) for e in finished("no change")]
    sheet = sheet_from_entries(entries(*rows, ("cause", kind, {"text": "Brake hose replaced"})))
    assert (sheet.verdict, sheet.after) == (None, None)
    assert sheet.headline == "Not measured since: no verdict yet"
    assert ("Brake hose replaced" in done(sheet)) == (kind == "repair")
    again = [*rows, ("cause", kind, {"text": "x"}), ("after", "reading", reading(704.0))]
    assert sheet_from_entries(entries(*again)).headline == "Measured again, not compared yet"


def test_what_the_lamp_may_do():
    told = ("arrive", "answers", {"lamp": "lit", "codes": None})
    lit = sheet_from_entries(entries(*BEGIN, told, ("relearn", "attempt", attempt())))
    assert "are not read" in lit.lamp[0]
    read = sheet_from_entries(entries(*BEGIN, told, ("ready", "codes", {}), ("relearn", "attempt", attempt())))
    assert "were read and noted" in read.lamp[0]
    assert "stay dark" in sheet_from_entries(finished()).lamp[0]
    assert "may come on" in sheet_from_entries(finished("better")).lamp[0]
    assert any("self-checks" in t for t in sheet_from_entries(finished(tries=(attempt(may_erase=True),))).lamp)
    assert sheet_from_entries(entries(*BEGIN)).lamp == ()


def test_later_stages_are_read_leniently_and_left_out_where_they_say_nothing():
    silent = [("cause", "causes", {"groups": [1, {"x": 2}]}), ("drive", "plan", {"minutes": "many", "legs": 7}),
              ("ready", "verdict", {"between": None})]  # fmt: skip
    sheet = sheet_from_entries(entries(*BEGIN, *silent))
    assert (sheet.driving, sheet.drive_caution, sheet.inspection) == ((), "", ())
    legs = [{"words": f"leg {n}"} for n in range(7)]
    full = [
        ("cause", "causes", {"sentence": "A leak is likely", "unknown": {}}),
        ("drive", "plan", {"minutes": 34.2, "legs": legs, "cautions": ["Two persons"]}),
        ("ready", "verdict", {"sentence": "It would be turned away", "between": [{"what": "one monitor is open"}]}),
        ("ready", "forecast", {"sentence": "Ready in 3 to 9 days"}),
        ("drive", "skipped", {"reason": "rain"}),
    ]
    sheet = sheet_from_entries(entries(*BEGIN, *full))
    assert sheet.wrong[-1] == "A leak is likely."
    assert "34 minutes" in sheet.driving[0]
    assert sheet.driving[-1] == "And 3 more, in the shop’s record."
    assert sheet.drive_caution == "Two persons."
    assert sheet.inspection == ("It would be turned away.", "One monitor is open.", "Ready in 3 to 9 days.")
    assert sheet.cannot_tell[-1] == "Left out: the confirmation drive. Rain."


MONITORS = [
    {"id": "evap", "title": "Evaporative system", "verdict": "met", "words": "Held, at 9:59."},
    {"id": "catalyst", "title": "Catalyst", "verdict": "not met", "words": "Catalyst: short by 3 s."},
    {"id": "egr", "title": "EGR", "verdict": "cannot tell", "words": "The stretch from 11:47 is cut off by the log."},
    {"title": "General denominator", "verdict": "met"},
    None,
]
DROVE = {"duration": 1860.0, "distance": {"kind": "quantity", "value": 24.3}, "monitors": MONITORS}


def test_a_drive_is_one_line_of_what_it_was_for_and_whether_that_was_held():
    sheet = sheet_from_entries(entries(*BEGIN, ("drive", "check", {**DROVE, "planned": ["evap"]})))
    assert sheet.driving == (
        "A drive of 31 minutes and 24 km for the car’s self-checks. Held: evaporative system.",
    )  # fmt: skip
    told = {"monitors": MONITORS, "planned": []}
    sheet = sheet_from_entries(entries(*BEGIN, ("drive", "check", DROVE), ("drive", "check", told)))
    assert sheet.driving[1] == (
        "A drive for the car’s self-checks. Held: evaporative system and general denominator; not held: catalyst; "
        "cannot tell: EGR."
    )
    assert len(sheet.driving) == 2
    assert not any("11:47" in line or "3 seconds" in line for line in sheet.driving)


def of_routine(routine, *met):
    return ("set up", "needs", {"routine": routine, "needs": [{"need": f"Need {n}", "met": m}
            for n, m in enumerate(met)]})  # fmt: skip


def test_the_set_up_is_that_of_the_routine_that_was_attempted():
    tried = {**attempt(), "routine": "pedal-hold"}
    other = of_routine("power-cycle", True, True)
    assert not any("ready" in t or "Set up" in t for t in done(sheet_from_entries(
        entries(other, ("relearn", "attempt", tried)))))  # fmt: skip
    own = [other, of_routine("pedal-hold", True, True), ("relearn", "attempt", tried)]
    assert done(sheet_from_entries(entries(*own)))[0] == "Car made ready, all 2 conditions met"


def test_what_was_not_met_is_named_and_where_nothing_was_met_nothing_is_said():
    tried = {**attempt(), "routine": "pedal-hold"}
    some = [of_routine("pedal-hold", True, False, False, False), ("relearn", "attempt", tried)]
    told = "Set up, 1 of 4 conditions met; not: need 1; need 2 and 1 more"
    assert done(sheet_from_entries(entries(*some)))[0] == told
    none = [of_routine("pedal-hold", False, False), ("relearn", "attempt", tried)]
    assert "onditions" not in done(sheet_from_entries(entries(*none)))[0]


@pytest.mark.parametrize(
    ("verdicts", "said"),
    [
        (["missed"], "missed. Press 4 came 0.4 seconds late."),
        (["missed", "missed"], "missed twice. Press 4 came 0.4 seconds late."),
        (["missed", "missed", "hit"], "missed twice, then every step in time"),
        (["hit", "hit"], "every step in time, twice"),
        (["missed", "undecided"], "missed once, then done, cannot tell whether every step was in time"),
    ],
)
def test_tries_at_one_routine_are_one_line(verdicts, said):
    tries = [attempt(k, v, late=0.7 if v == "missed" else 0.0) for k, v in enumerate(verdicts, start=1)]
    assert done(sheet_from_entries(entries(*(("relearn", "attempt", t) for t in tries))))[0] == (
        f"Idle-air relearn by pedal count: {said}"
    )


def test_tries_before_and_after_a_repair_are_two_lines():
    rows = [("relearn", "attempt", attempt(1, "missed")), ("cause", "repair", {"text": "Hose replaced"}),
            ("relearn", "attempt", attempt(1))]  # fmt: skip
    assert [t.split(": ")[-1] for t in done(sheet_from_entries(entries(*rows)))[:3]] == [
        "missed. Press 4 came 0.4 seconds late.", "Hose replaced", "every step in time"]  # fmt: skip


def test_a_later_reading_overtakes_the_verdict():
    rows = [(e.stage, e.kind, e.data) for e in finished()]
    sheet = sheet_from_entries(entries(*rows, ("after", "reading", reading(900.0))))
    assert sheet.verdict is None
    assert sheet.after.value == 900
    assert sheet.headline == "Measured again, not compared yet"


def test_the_readings_are_of_the_same_load_state():
    before = reading(842, name="loads off")
    after = reading(704, name="fan on")
    job = finished(after=after)
    sheet = sheet_from_entries(job)
    # "loads on" is the only state both hold, though it is the shorter one in each.
    assert sheet.before.value == sheet.after.value == 600
    assert before["states"][0]["seconds"] > before["states"][1]["seconds"]
    # The swing is the first state's, so it is not said of this one.
    assert "swinging" not in sheet.lead


def test_the_figures_are_those_that_were_compared():
    job = finished()
    told = {**job[-1].data, "state": "loads on", "before": quantity(611, 9), "after": quantity(622, 9)}
    sheet = sheet_from_entries([*job[:-1], job[-1].model_copy(update={"data": told})])
    assert (sheet.before.value, sheet.after.value) == (611, 622)


def test_a_reading_that_is_itself_cannot_tell_gives_its_reason():
    job = finished("cannot tell", after=cannot("the engine never runs in this recording"))
    sheet = sheet_from_entries(job)
    assert sheet.after.reason == "the engine never runs in this recording"
    assert sheet.after_trace is None
    assert sheet.cannot_tell[-1] == "After: The engine never runs in this recording."


def test_what_it_rests_on_is_said_by_the_verdict_first():
    job = finished()
    told = {**job[-1].data, "rests_on": ["60 s before and 60 s after.", "A difference below 25 r/min counts as none."]}
    sheet = sheet_from_entries([*job[:-1], job[-1].model_copy(update={"data": told})])
    assert sheet.rests_on == ("60 seconds before and 60 seconds after", "A difference below 25 counts as none")
    assert sheet_from_entries(job).rests_on == ("one warm minute, loads off",)


same, other = {"before": [7, 101], "after": [7, 101]}, {"before": [7, 101], "after": [7, 0]}


@pytest.mark.parametrize(
    ("may_erase", "readiness", "said"),
    [
        (False, None, "Nothing was erased"),
        (False, other, "Nothing was erased"),
        (True, same, "Nothing was erased: readiness for inspection read the same before and after"),
        (
            True,
            other,
            "Readiness for inspection reads otherwise than before: some of it was erased, or has changed since",
        ),
        (
            True,
            {"before": [7, 101], "after": None},
            "This routine may clear fault codes and readiness for inspection; they were read before",
        ),
        (True, None, "This routine may clear fault codes and readiness for inspection; they were not read before"),
        (
            True,
            {"before": None, "after": [7, 0]},
            "This routine may clear fault codes and readiness for inspection; they were not read before",
        ),
        (
            True,
            {"before": None, "after": None},
            "This routine may clear fault codes and readiness for inspection; they were not read before",
        ),
    ],
)
def test_nothing_was_erased_is_said_only_where_it_is_known(may_erase, readiness, said):
    extra = (("ready", "readiness", readiness),) if readiness is not None else ()
    sheet = sheet_from_entries(finished(tries=(attempt(may_erase=may_erase),), extra=extra))
    assert done(sheet)[-1] == said
    # what nobody read is said to be unknown, and only that
    assert (erasing.UNKNOWN in sheet.cannot_tell) == ("may clear" in said)


READY = {"open": [], "complete": ["catalyst", "EVAP"], "stored": [], "warm_ups": 31, "at": "08:00"}


@pytest.mark.parametrize(
    ("before", "after", "nothing"),
    [
        (READY, {**READY, "warm_ups": 32, "at": "09:00"}, True),
        (READY, {**READY, "complete": ["EVAP", "catalyst"]}, True),  # the order does not matter
        (READY, {**READY, "warm_ups": 0}, False),  # the counter since the last clear has fallen
        (READY, {**READY, "open": ["EVAP"], "complete": ["catalyst"]}, False),
        (READY, {**READY, "stored": ["P0505"]}, False),
        ({"kind": "cannot tell", "reason": "no answer"}, {"kind": "cannot tell", "reason": "no answer"}, False),
        ({}, {}, False),
        ("", "", False),
        ({"open": None, "complete": []}, {"open": None, "complete": []}, False),
        # nothing was complete and no code stored: there was nothing to lose, and reading the same shows nothing
        ({"open": ["EVAP"], "complete": []}, {"open": ["EVAP"], "complete": []}, False),
        ({"open": ["EVAP"], "complete": [], "warm_ups": 5}, {"open": ["EVAP"], "complete": [], "warm_ups": 6}, True),
    ],
)
def test_readiness_before_and_after_an_erasing_routine(before, after, nothing):
    extra = (("ready", "readiness", {"before": before, "after": after}),)
    sheet = sheet_from_entries(finished(tries=(attempt(may_erase=True),), extra=extra))
    assert any("Nothing was erased" in text for text in done(sheet)) == nothing


def test_readiness_read_before_a_later_attempt_says_nothing_of_it():
    tried = attempt(may_erase=True)
    rows = [("relearn", "attempt", tried), ("ready", "readiness", {"before": READY, "after": READY})]
    assert "Nothing was erased" in done(sheet_from_entries(entries(*BEGIN, *rows)))[-1]
    again = sheet_from_entries(entries(*BEGIN, *rows, ("relearn", "attempt", attempt(2, may_erase=True))))
    assert "Nothing was erased" not in " ".join(done(again))
    assert erasing.UNKNOWN in again.cannot_tell


def test_before_and_after_may_come_from_two_entries():
    first, then = ("ready", "readiness", {"before": READY}), ("ready", "readiness", {"after": READY})
    sheet = sheet_from_entries(entries(*BEGIN, first, ("relearn", "attempt", attempt(may_erase=True)), then))
    assert "read the same" in done(sheet)[-1]
    wrong = sheet_from_entries(entries(*BEGIN, first, then, ("relearn", "attempt", attempt(may_erase=True))))
    assert "read the same" not in done(wrong)[-1]


def test_a_routine_that_does_not_say_is_taken_to_erase():
    quiet = {k: v for k, v in attempt().items() if k != "may_erase"}
    assert done(sheet_from_entries(finished(tries=(quiet,))))[-1].startswith("This routine may clear")
    mixed = (attempt(1), attempt(2, may_erase=True))
    assert done(sheet_from_entries(finished(tries=mixed)))[-1].startswith("This routine may clear")


def test_nothing_is_said_of_erasing_where_nothing_was_tried():
    assert done(sheet_from_entries(entries(*BEGIN))) == ["Set up, 2 of 3 conditions met; not: key-on volts"]


def test_a_real_car_is_not_called_invented():
    rows = [(e.stage, e.kind, e.data) for e in finished()]
    assert not sheet_from_entries(entries(*rows, simulated=False)).invented


def test_a_broken_entry_is_named_with_its_field():
    job = finished()
    bad = [e if e.kind != "comparison" else e.model_copy(update={"data": {"verdict": "splendid"}}) for e in job]
    with pytest.raises(InputError, match=r"entry 7 of the job \(after, comparison\) has a broken verdict"):
        sheet_from_entries(bad)
    wrong = attempt()
    wrong["acts"][2]["window"] = [5, 4]
    with pytest.raises(InputError, match="window is upside down"):
        sheet_from_entries(finished(tries=(wrong,)))


def test_an_empty_job_is_a_bare_sheet():
    sheet = sheet_from_entries([])
    assert sheet == Sheet(headline="Nothing measured yet")


def test_a_reading_without_a_state_cannot_tell():
    empty = {**reading(), "states": []}
    assert isinstance(sheet_from_entries(finished(after=empty)).after, CannotTell)
    assert isinstance(sheet_from_entries(finished()).after, Quantity)


POOL = [
    *((e.stage, e.kind, e.data) for e in finished(tries=(attempt(1, "missed", late=0.7), attempt(2, may_erase=True)))),
    ("before", "reading", reading(speed=cannot(), refusals=[{"reason": "too short", "way_out": ""}])),
    ("after", "comparison", comparison("cannot tell", "The fan ran too long.")),
    ("after", "comparison", {"verdict": "worse", "sentence": ""}),
    ("relearn", "attempt", attempt(3, "undecided", blur=0.3)),
    ("ready", "readiness", same),
    ("cause", "note", {"text": "anything"}),
    ("arrive", "car", {"shop": "", "complaint": ["stalls", "hunts"]}),
    ("arrive", "car", {**CAR, "year": None, "fuel": "", "job": 12}),
]


@given(st.lists(st.sampled_from(range(len(POOL))), max_size=14))
def test_any_entries_make_a_sheet_without_empty_lines(order):
    sheet = sheet_from_entries(entries(*(POOL[i] for i in order)))
    assert sheet.headline
    for texts in (sheet.wrong, sheet.cannot_tell, sheet.rests_on, tuple(r.text for r in (*sheet.done, *sheet.watch))):
        assert all(text.strip() for text in texts)
    kinds = [POOL[i][:2] for i in order]
    assert (sheet.verdict is None) or ("after", "comparison") in kinds
    assert bool(sheet.tries) == (("relearn", "attempt") in kinds)
    assert (sheet.before is None) == (("before", "reading") not in kinds) or sheet.verdict is not None
    assert Sheet.model_validate_json(sheet.model_dump_json()) == sheet


def test_entries_in_any_order_give_the_same_sheet():
    job = finished()
    assert sheet_from_entries(job[::-1]) == sheet_from_entries(job)


def test_small_words():
    assert [ordinal(n) for n in (1, 3, 11, 12, 21, 22, 103)] == [
        "first",
        "third",
        "11th",
        "12th",
        "21st",
        "22nd",
        "103rd",
    ]
    assert (
        spelt("Hold 5 s, then 2 min at 842 r/min and 1.2 Hz")
        == "Hold 5 seconds, then 2 minutes at 842 and 1.2 times a second"
    )
    assert spelt("miss 4 slow ones") == "miss 4 slow ones"
