"""Explanations of real routines in the words of somebody who reads the routine."""

import re

import pytest
from rehearsing import SCRIPTS

from tickover.attempts import Attempt, Event, Header
from tickover.coaching import AttemptJudgement, judge_attempt
from tickover.coaching.explaining import Namer
from tickover.routines import compile_routine, load_library
from tickover.timing import Person
from tickover.timing.network import bounds_of

COUNT = SCRIPTS["pedal-count"].routine
HOLD = SCRIPTS["pedal-hold"].routine
PRESSES = [3.0 + 0.3739 * k for k in range(10)]


def judged(
    presses=PRESSES, down=7.0, up=18.5, *, flash=9.0, lit=17.0, w=0.0, person=None, until=40.0, cued=None
) -> AttemptJudgement:
    d = presses[-1] + down
    rows = [("ignition on", 0.0, 0.0)]
    rows += [(("press", "release")[k % 2], t - w, t + w) for k, t in enumerate(presses)]
    rows += [("press", d - w, d + w), ("lamp flashing", d + flash, d + flash), ("lamp lit", d + lit, d + lit)]
    rows += [("release", d + up - w, d + up + w), ("crank", d + up + 1.5, d + up + 1.5), ("end", d + until, d + until)]
    events = tuple(Event(seq=n, kind=k, t_lo=lo, t_hi=hi) for n, (k, lo, hi) in enumerate(rows))
    header = Header(routine="pedal-count", routine_hash=COUNT.digest, cued=cued)
    return judge_attempt(COUNT, Attempt(header=header, events=events), person)


def test_a_late_act_is_told_with_what_to_do_and_to_have_it_cued() -> None:
    found = judged(down=8.3)
    assert found.verdict == "missed"
    assert found.broken == ("press, 6 to 8 s after let up 5 of 5",)
    assert found.nearest == ("press 0.30 s earlier after let up 5 of 5",)
    assert "0.30 s earlier" in found.advice
    assert "aim at 7 s, it was 8.30 s" in found.advice
    assert "Have it cued" in found.advice
    assert "cued" not in judged(down=8.3, person=Person(cv=0.02)).advice


def test_to_have_it_cued_is_no_advice_where_it_was() -> None:
    found = judged(down=8.3, cued=True)
    assert "cued" not in found.advice
    assert "aim at 7 s, it was 8.30 s. Let its tone lead" in found.advice


def test_a_span_is_explained_by_the_change_that_shortens_it() -> None:
    found = judged([3 + 0.56 * k for k in range(10)])
    assert found.broken == ("let up 5 of 5, within 5 s after press 1 of 5",)
    assert "0.04 s earlier" in found.advice


def test_the_car_s_answer_out_of_its_window_is_not_put_on_the_person() -> None:
    found = judged(flash=7.0)
    assert found.verdict == "missed"
    assert found.nearest == ()
    assert found.advice.startswith("The car answered outside its window")


def test_an_undecided_attempt_names_the_instant_to_look_at() -> None:
    found = judged(down=8.02, w=0.05)
    assert found.verdict == "undecided"
    assert found.advice == found.deciding
    assert "Let up 5 of 5 and press, known to within" in found.deciding
    assert "poll at" in found.deciding
    one = judged([*PRESSES[:3], PRESSES[2] + 0.27, *PRESSES[4:]], w=0.06)
    assert "2 of 5" in one.deciding


def test_what_was_not_seen_is_named() -> None:
    rows = [("ignition on", 0.0, 0.0), ("press", 3.0, 3.0), ("end", 20.0, 20.0)]
    events = tuple(Event(seq=n, kind=k, t_lo=lo, t_hi=hi) for n, (k, lo, hi) in enumerate(rows))
    header = Header(routine="pedal-hold", routine_hash=HOLD.digest)
    found = judge_attempt(HOLD, Attempt(header=header, events=events))
    assert found.verdict == "undecided"
    assert found.deciding.startswith("Let up and start were not seen")


@pytest.mark.parametrize("name", sorted(load_library()))
def test_no_bound_is_named_by_an_id(name: str) -> None:
    routine = compile_routine(load_library()[name])
    names = Namer(routine)
    for bound in bounds_of(routine.plan()):
        words = names.bound(bound)
        assert not re.search(r"\w\.\w|_", re.sub(r"\d\.\d+", "", words)), words
        assert "inf" not in words
