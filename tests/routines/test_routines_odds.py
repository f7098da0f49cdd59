"""Odds of the built-in routines, step by step, in words and as a picture that nothing falls out of."""

import numpy as np
import pytest

from tickover.errors import InputError
from tickover.routines import compile_routine, load_library
from tickover.routines.aiming import aims_for
from tickover.routines.chances import odds_of
from tickover.routines.odds_picture import PHONE, WIDE, odds_picture
from tickover.routines.words import odds_lines, step_words
from tickover.timing import Person, aims, odds, odds_by_sampling, prepare

ROUTINES = {name: compile_routine(r) for name, r in load_library().items()}


@pytest.mark.parametrize("name", sorted(ROUTINES))
def test_the_picture_of_every_routine_fits_a_sheet_and_a_phone(name):
    for person in (Person(), Person(cv=0.3), Person(cv=0.01, motor_sd=0.002)):
        found = odds_of(ROUTINES[name], person)
        for room in (WIDE, PHONE):
            picture = odds_picture(found, room)
            assert picture.faults() == []
            assert picture.width == room
        assert all(step_words(s, found) in picture.sentence for s in found.steps)


@pytest.mark.parametrize("name", sorted(ROUTINES))
def test_best_aims_are_nowhere_worse_than_even_shares(name):
    routine = ROUTINES[name]
    plan, ready = routine.plan(), prepare(routine.plan())
    even = aims(ready, margins=routine.margins())
    for help_by, cued, cue_from in (
        ("none", set(), "schedule"),
        ("coach", set(even), "last act"),
        ("sound file", set(even), "schedule"),
    ):
        best = aims_for(routine, help_by, prepared=ready)
        chances = [odds(plan, Person(), a, cued, cue_from=cue_from).p for a in (even, best)]
        assert chances[1] >= chances[0] - 1e-4, (help_by, chances)  # sums taken as normal only steer


def test_what_cueing_a_step_gains_agrees_with_drawn_attempts():
    routine, person = ROUTINES["pedal-count"], Person()
    for cue_from in ("last act", "schedule"):
        found = odds_of(routine, person, cue_from=cue_from)
        down = next(s for s in found.steps if s.step == "down")
        assert found.weak == "down"
        assert down.p_if_cued == found.p_if_cued == max(s.p_if_cued for s in found.steps)
        again = odds_of(routine, person, ("down",), cue_from=cue_from)
        assert again.p == pytest.approx(found.p_if_cued, abs=3e-3)
        events = {e.name for e in routine.events if e.step == "down"}
        best = aims_for(routine, "none", person)
        drawn = odds_by_sampling(routine.plan(), person, best, np.random.default_rng(2), 20_000, events, cue_from)
        assert found.p_if_cued > drawn.p - 3 * drawn.se  # aims made for the cue are no worse


def test_of_somebody_known_by_draws_the_range_is_theirs():
    routine = ROUTINES["pedal-hold"]
    people = [Person(cv=cv) for cv in np.linspace(0.06, 0.14, 17)]
    found = odds_of(routine, Person(cv=0.1), people=people)
    each = [odds_of(routine, p).p for p in (people[0], people[-1])]
    assert each[1] < found.lo < found.p < found.hi < each[0] + 1e-3
    assert found.learned
    assert any("what is known of this person" in line.text for line in odds_lines(found))
    assert any("a quarter smaller or larger" in line.text for line in odds_lines(odds_of(routine, Person())))


def test_a_step_that_is_not_there_cannot_be_cued():
    with pytest.raises(InputError, match="no step is called"):
        odds_of(ROUTINES["pedal-hold"], Person(), ("nothing",))
