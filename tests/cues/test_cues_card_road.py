"""The card of a drive: what time counts stands under the step during which it is counted."""

import io

import pytest
from pypdf import PdfReader

from tickover.cues.card import card_pdf, rows_of
from tickover.cues.plan_picture import plan_picture
from tickover.cues.when import clock, notes_of, when_of
from tickover.drawing.timeline import Timeline, Track, timeline
from tickover.drive import Situation, load_conditions, load_roads, plan_drive, plan_routine
from tickover.routines import compile_routine, load_library
from tickover.routines.aiming import aims_for
from tickover.routines.phrases import CAUTION_ROAD

ALL = load_conditions().for_engine(diesel=False)


def planned(*names, **more):
    roads = load_roads(("town", "country"), limit=100)
    situation = Situation(open=names, coolant=20, fuel=60, ambient=15, limit=100, **more)
    return compile_routine(plan_routine(plan_drive(ALL, situation, roads), ALL, situation, roads))


@pytest.fixture(scope="module")
def drive():
    return planned("catalyst", "evap", "general", soaked=2)


def test_counted_time_stands_under_the_step_during_which_it_is_counted(drive):
    numbers = rows_of(drive)[1]
    notes = notes_of(drive, numbers)
    first, second, stop = (drive.step(name) for name in ("keep-1", "keep-2", "stop"))
    assert "vehicle speed 65 to 95 km/h" in notes[numbers["keep-1"]][0]
    assert "vehicle speed 80 to 100 km/h" in notes[numbers["keep-2"]][0]
    assert numbers["stop"] not in notes
    assert when_of(drive, first, numbers) == "after step 2, when road and traffic allow"
    assert when_of(drive, second, numbers) == "after step 3, once 5:00 at 65 to 95 km/h is done"
    assert when_of(drive, stop, numbers) == "after step 4, once 3:00 at 80 to 100 km/h is done"
    assert when_of(drive, drive.step("end"), numbers) == "at least 10:00 after step 1"


def test_the_page_reads_so_and_warns_of_the_passenger_once(drive):
    page = " ".join(PdfReader(io.BytesIO(card_pdf(drive))).pages[0].extract_text().split())
    third, fourth = page.index("Keep 65 to 95 km/h, 5:00"), page.index("Keep 80 to 100 km/h, 3:00")
    assert third < page.index("this holds: vehicle speed 65 to 95") < fourth
    assert fourth < page.index("this holds: vehicle speed 80 to 100") < page.index("Stop and stand")
    assert "these minutes begin again" in page[third:fourth]
    assert "0 s after the car drives" not in page
    assert page.count("A passenger works the coach") == 1
    assert "never reads or types" in page
    assert "min:s" in page


def test_a_warm_up_is_waited_for_not_counted():
    routine = planned("catalyst")
    numbers = rows_of(routine)[1]
    whens = [when_of(routine, s, numbers) for s in routine.steps]
    assert any(w.endswith("once this holds: coolant temperature at least 70 °C") for w in whens)


def test_a_routine_without_a_road_keeps_its_words():
    routine = compile_routine(load_library()["fast-run-in"])
    numbers = rows_of(routine)[1]
    assert when_of(routine, routine.step("off"), numbers) == "after step 4, once 5:00 with fan off is done"
    assert notes_of(routine, numbers) == {4: ("Time counts only while this holds: fan off.",)}


def test_the_road_caution_stands_without_one_in_the_file(drive):
    bare = drive.model_copy(update={"cautions": ()})
    page = " ".join(PdfReader(io.BytesIO(card_pdf(bare))).pages[0].extract_text().split())
    assert page.count(CAUTION_ROAD[:40]) == 1


def test_the_picture_counts_minutes_and_has_no_lone_jaw(drive):
    picture = plan_picture(drive, aims_for(drive, "none"), rows_of(drive)[1], room=687)
    assert picture.faults() == []
    texts = [label.text for label in picture.labels]
    assert {"0:00", "5:00", "10:00", "min:s"} <= set(texts)
    assert "not before" not in picture.sentence


def test_a_clock_axis_is_asked_for():
    track = (Track("Key", "off", "on", ((10.0, 1),), start=0),)
    plain = {label.text for label in timeline(Timeline(600.0, track, apart=3)).labels}
    minutes = {label.text for label in timeline(Timeline(600.0, track, clock=True, apart=3)).labels}
    assert "5:00" in minutes
    assert not any(":" in text for text in plain)


def test_times_above_ninety_seconds_are_said_in_minutes():
    assert (clock(30), clock(90), clock(91), clock(600), clock(3725)) == ("30 s", "90 s", "1:31", "10:00", "1:02:05")
