"""A recorded drive against the counted steps of a plan."""

import sys
from pathlib import Path

import numpy as np
import pytest

from tickover.drive import Situation, check_drive, counted_steps, load_conditions, load_roads, plan_drive, plan_routine
from tickover.routines import compile_routine, load_routine

sys.path.insert(0, str(Path(__file__).parent))
from drive_logs import log, ramp

ALL = load_conditions().for_engine(diesel=False)


@pytest.fixture(scope="module")
def steps():
    roads = load_roads(("country",), limit=100)
    situation = Situation(open=("catalyst", "egr"), coolant=20, limit=100)
    routine = plan_routine(plan_drive(ALL, situation, roads), ALL, situation, roads)
    return counted_steps(compile_routine(routine))


def driven(*, brake_at=None, pedal_up=3):
    t = np.arange(0.0, 1300.0)
    speed = ramp(t, (0, 0), (30, 0), (60, 70), (460, 70), (470, 90), (1200, 90), (1230, 0), (1299, 0))
    speed[700:1190] = 75.0
    if brake_at is not None:
        speed[brake_at : brake_at + 15] = 60.0
    pedal = np.full(len(t), 25.0)
    pedal[:30] = pedal[1230:] = 16.0
    for k in range(pedal_up):
        pedal[720 + 40 * k : 729 + 40 * k] = 16.0
    engine = np.where((t >= 1) & (t < 1290), 1500.0, 0.0)
    return log(t, engine=engine, speed=speed, coolant=np.minimum(88, 20 + 0.15 * t), pedal=pedal,
               run_time=np.maximum(0, t - 1))  # fmt: skip


def verdicts(steps, **how):
    return [s.verdict for s in check_drive(driven(**how), ALL, steps=steps).steps]


def test_the_steps_of_the_plan_come_in_their_order(steps):
    titles = [s.title for s in steps]
    assert [s.kind for s in steps] == ["total", "stretch", "stretch", "stretch", "stretch"]
    assert sum("Coast" in t for t in titles) == 3
    assert steps[0].limits[0].of == "coolant_temperature"
    assert verdicts(steps) == ["met"] * 5


def test_the_idle_before_moving_off_is_a_step():
    roads = load_roads(("country",), limit=100)
    situation = Situation(open=("heater", "catalyst"), coolant=20, limit=100)
    routine = plan_routine(plan_drive(ALL, situation, roads), ALL, situation, roads)
    steps = counted_steps(compile_routine(routine))
    assert (steps[0].title, steps[0].seconds) == ("Idle before moving off", 120)
    found = check_drive(driven(), ALL, steps=steps).steps[0]
    assert found.verdict == "not met"
    assert found.words.startswith("1:00 of 2:00; lost at 21:30 when the engine stopped.")  # the stand at the end


def test_a_built_in_drive_can_be_checked_too():
    steps = counted_steps(compile_routine(load_routine("drive-in")))
    assert [s.seconds for s in steps if s.kind == "total"] == [60, 60, 60]
    assert sum(s.id.startswith("coast:") for s in steps) == 3


def test_a_broken_cruise_is_not_made_up_of_its_pieces(steps):
    assert verdicts(steps, brake_at=600) == ["met", "not met", "met", "met", "met"]


def test_each_coast_counts_once(steps):
    found = check_drive(driven(pedal_up=2), ALL, steps=steps).steps
    assert [s.verdict for s in found[2:4]] == ["met", "met"]
    assert found[4].met_at is None or found[4].met_at > 1190  # only the last standstill's lift is left
    assert found[2].basis == "As the plan “confirmation-drive” asks."
