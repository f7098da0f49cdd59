"""Practice: what to produce, when there is enough, and what it says in words."""

import numpy as np
import pytest

from tickover.coaching.practice import (
    CUED,
    FIND_BEAT,
    TARGETS,
    enough,
    practice_lines,
    practised,
    simulated_taps,
    tasks,
)
from tickover.timing import Person
from tickover.timing.learn import Tap, learn


def test_every_target_comes_once_a_round_and_in_no_fixed_order() -> None:
    todo = tasks(np.random.default_rng(1), 42)
    beats = [t for t in todo if t.cued]
    own = [t.seconds for t in todo if not t.cued]
    assert [b.seconds for b in beats] == [float(k) for k in range(1, CUED + 1)]
    rounds = [own[k : k + 3] for k in range(0, 42, 3)]
    assert all(sorted(r) == sorted(TARGETS) for r in rounds)
    assert len({tuple(r) for r in rounds}) > 2
    assert len([t for t in tasks(np.random.default_rng(1), 4) if not t.cued]) == 4


def test_enough_comes_with_taps_and_not_before() -> None:
    taps = simulated_taps(
        Person(cv=0.12, event_sd=0.035), tasks(np.random.default_rng(2), 60), np.random.default_rng(3)
    )
    cued = [t for t in taps if t.cued]
    assert len(cued) == CUED - FIND_BEAT
    own = [t for t in taps if not t.cued]
    done = [enough(learn(cued + own[:n], model="timed"))[0] for n in (13, 60)]
    assert done == [False, True]
    one, why = enough(learn([Tap(2.0, 2.0 + 0.1 * k / 40) for k in range(-20, 20)]))
    assert not one
    assert "two well separated" in why


def test_lines_say_what_is_known_and_what_is_not() -> None:
    taps = simulated_taps(Person(cv=0.12), tasks(np.random.default_rng(2)), np.random.default_rng(3))
    lines = dict(practice_lines(practised(learn(taps, model="timed"))))
    assert lines["Way of timing"].startswith("by feel")
    assert lines["Spread of the movement"].startswith("not determined: ")
    assert lines["Spread at 2 s"].endswith(" ms")
    assert lines["Spread, share of the interval"].endswith(" %")
    assert "Spread of one counted second" not in lines
    counted = dict(practice_lines(practised(learn(taps, model="counted"))))
    assert "Spread of one counted second" in counted


@pytest.mark.parametrize("lapse", [0.0, 1.0])
def test_a_simulated_person_is_the_one_asked_for(lapse: float) -> None:
    person = Person(cv=0.1, motor_sd=0.0, bias=0.05, scale=0.1, event_sd=0.04, lapse=lapse)
    taps = simulated_taps(person, tasks(np.random.default_rng(0), 6000), np.random.default_rng(1))
    at_two = [t.made for t in taps if t.aimed == 2.0 and not t.cued]
    wide = 5.0 if lapse else 1.0
    assert np.mean(at_two) == pytest.approx(2.25, abs=0.05 * wide)
    assert np.std(at_two) == pytest.approx(0.2 * wide, rel=0.08)
