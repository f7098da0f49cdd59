"""A simulated person performs on the simulated car: coach, judge and car, which share no windows, must agree."""

import pytest
from rehearsing import ENTRIES, SCRIPTS, car_for, perform

from tickover.coaching import judge_attempt
from tickover.timing import Person


@pytest.mark.parametrize("name", list(ENTRIES))
@pytest.mark.parametrize("seed", range(3))
def test_a_cued_person_hits_and_the_car_takes_it(name: str, seed: int) -> None:
    play = SCRIPTS[name]
    car = car_for(name, seed)
    state, attempt = perform(play, car, seed)
    assert state.phase == "done"
    assert judge_attempt(play.routine, attempt).verdict == "hit"
    assert car.entry_outcome == "written"
    car.advance(40.0)
    assert car.running
    assert abs(car.engine_speed - 750) < 50


SLIPS = [
    ("pedal-count", "presses.1.press", 1.4),
    ("pedal-count", "presses.3.release", 0.9),
    ("pedal-count", "down", 1.4),
    ("pedal-count", "down", -1.4),
    ("pedal-count", "start", 2.5),
    ("pedal-hold", "down", -1.3),
    ("pedal-hold", "up", -4.0),
    ("pedal-hold", "up", 4.0),
    ("pedal-hold", "start", 1.6),
    ("power-cycle", "off.2", -3.0),
    ("power-cycle", "on.3", 2.0),
]


@pytest.mark.parametrize(("name", "event", "slip"), SLIPS)
def test_one_slip_is_told_at_once_judged_missed_and_changes_nothing(name: str, event: str, slip: float) -> None:
    play = SCRIPTS[name]
    car = car_for(name, 1)
    before = car.memory()
    state, attempt = perform(play, car, 1, slips={event: slip})
    judgement = judge_attempt(play.routine, attempt)
    assert state.phase == "missed"
    assert state.miss is not None
    assert state.miss.event == event
    assert judgement.verdict == "missed"
    assert judgement.advice
    assert car.memory() == before
    assert car.entry_outcome != "written"


@pytest.mark.parametrize("name", ["pedal-count", "pedal-hold"])
def test_the_coach_never_contradicts_the_judge(name: str) -> None:
    """Over uncued, rather poor performances the live word and the judgement of the file are the same."""
    play = SCRIPTS[name]
    told = set()
    for seed in range(4):
        state, attempt = perform(play, car_for(name, seed), seed, Person(cv=0.13))
        verdict = judge_attempt(play.routine, attempt).verdict
        assert (state.phase == "missed") == (verdict == "missed"), (seed, state.miss)
        told.add(verdict)
    assert told == {"hit", "missed"}
