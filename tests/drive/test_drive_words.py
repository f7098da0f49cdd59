"""What a drive says must stand by itself: why it cannot be told, how near it was, what a plan is for."""

import sys
from pathlib import Path

import numpy as np
import pytest

from tickover.drive import Situation, check_drive, load_conditions, load_roads, plan_drive, plan_sentence, strip
from tickover.drive.words import names

sys.path.insert(0, str(Path(__file__).parent))
from drive_logs import log, ramp

ALL = load_conditions().for_engine(diesel=False)


def driven(top=78.0, *, run_time=False, warm=False):
    """A drive whose engine runs from the first row on, cold, with 6:40 at one speed."""
    t = np.arange(0.0, 700.0)
    speed = ramp(t, (0, 0), (60, 0), (100, top), (500, top), (540, 0), (699, 0))
    more = {"run_time": t} if run_time else {}
    return log(t, engine=1200, speed=speed, coolant=85 if warm else np.minimum(90, 18 + 0.2 * t), **more)


def found(recording, name, **more):
    return next(c for c in check_drive(recording, ALL, **more).conditions if c.id == name)


def test_a_coolant_that_was_logged_is_not_called_unlogged():
    one = found(driven(), "warm-up")
    assert one.verdict == "cannot tell"
    assert "does not show the engine's start" in one.words
    assert "18 °C" in one.words
    assert "--whole" in one.cannot.way_out
    assert "Log or state: coolant" not in one.cannot.way_out
    assert found(driven(), "warm-up", whole=True).verdict == "met"
    assert found(driven(run_time=True), "warm-up").verdict == "met"


def test_a_start_that_is_not_shown_has_the_same_way_out():
    one = found(driven(), "evap-start", known={"ambient_temperature": 16.0})
    assert one.verdict == "cannot tell"
    assert "--whole" in one.cannot.way_out


def test_without_any_coolant_it_has_to_be_logged():
    t = np.arange(0.0, 300.0)
    one = found(log(t, engine=1200, speed=np.full(300, 40.0)), "warm-up")
    assert "Log or state: " in one.cannot.way_out


@pytest.mark.parametrize(("top", "words"), [(78.0, "2 km/h short of"), (79.5, "0.5 km/h short of")])
def test_a_speed_that_stayed_beside_its_limits_is_told_by_how_much(top, words):
    one = found(driven(top, warm=True), "cat-cruise", whole=True)
    assert one.verdict == "not met"
    assert one.words == f"It never held; speed at most {words} 80 to 100 km/h for 6:41, from 1:40."


def test_a_speed_above_its_limits_is_told_too():
    one = found(driven(103.0, warm=True), "cat-cruise", whole=True)
    assert "of 3:00; lost at" in one.words
    assert "Speed at most 3 km/h above 80 to 100 km/h for 6:" in one.words


def test_a_near_miss_counts_only_while_all_else_held():
    assert "at most 2 km/h short of 80 to 100 km/h for 4:01, from 4:20." in found(driven(), "cat-cruise").words


def test_a_speed_far_beside_its_limits_is_no_near_miss():
    assert found(driven(60.0), "cat-cruise").words == "It never held."


def test_a_short_stretch_within_a_long_near_miss_tells_both():
    recording = driven(78.0)
    speed = recording["vehicle_speed"].value.copy()
    speed[300:310] = 81.0
    t = recording["vehicle_speed"].t_hi
    one = found(log(t, engine=1200, speed=speed, coolant=85), "cat-cruise", whole=True)
    assert one.words.startswith("0:10 of 3:00; lost at 5:10 when speed fell to 78.")
    assert one.words.endswith("Speed at most 2 km/h short of 80 to 100 km/h for 6:41, from 1:40.")


def test_a_plan_names_what_it_is_for_and_that_the_engine_must_be_cold():
    roads = load_roads(("town", "country"), limit=100)
    cold = plan_drive(ALL, Situation(open=("catalyst", "evap"), coolant=15, fuel=60, ambient=15, soaked=12), roads)
    told = plan_sentence(cold)
    assert "for catalyst and evaporative system" in told
    assert told.endswith("start cold")
    warm = plan_drive(ALL, Situation(open=("catalyst",), coolant=85), roads)
    assert "cold" not in plan_sentence(warm)
    assert "for catalyst" in plan_sentence(warm)
    empty = plan_drive(ALL, Situation(open=("evap",), fuel=95), roads)
    assert plan_sentence(empty) == "no drive to plan for evaporative system"
    assert names(["Catalyst", "EGR", "General denominator"]) == "catalyst, EGR and general denominator"


@pytest.mark.parametrize("room", [320, 640, 920])
def test_no_outcome_in_the_picture_is_cut_off(room):
    t = np.arange(0.0, 700.0)
    speed = ramp(t, (0, 0), (35, 0), (40, 30), (200, 78), (600, 78), (640, 0), (699, 0))
    check = check_drive(log(t, engine=1200, speed=speed, coolant=np.minimum(90, 18 + t), run_time=t), ALL)
    picture = strip(check, room=room)
    assert picture.faults() == []
    texts = " ".join(label.text for label in picture.labels)
    assert "…" not in texts
    idle = next(c for c in check.conditions if c.id == "heater-idle")
    assert idle.words.split()[-1] in texts
