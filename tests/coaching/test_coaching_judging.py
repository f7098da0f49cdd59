"""The judgement of a recorded attempt: three values, words, and the one thing to change."""

import pytest
from rehearsing import SCRIPTS

from tickover.attempts import Attempt, ClockOffset, Event, Header
from tickover.coaching import AttemptJudgement, judge_attempt
from tickover.errors import InputError

HOLD = SCRIPTS["pedal-hold"].routine


def attempt(*rows: tuple[str, float, float], clock: ClockOffset | None = None, digest: str = HOLD.digest) -> Attempt:
    header = Header(routine="pedal-hold", routine_hash=digest, clocks={"main": clock or ClockOffset()})
    return Attempt(
        header=header, events=tuple(Event(seq=n, kind=k, t_lo=lo, t_hi=hi) for n, (k, lo, hi) in enumerate(rows))
    )


def judged(*times: float, width: float = 0.0, end: float = 60.0) -> AttemptJudgement:
    kinds = ["ignition on", "press", "release", "crank"][: len(times)]
    rows = [(k, t - width / 2, t + width / 2) for k, t in zip(kinds, times, strict=True)]
    return judge_attempt(HOLD, attempt(*rows, ("end", end, end)))


def test_exact_times_inside_are_a_hit_and_on_the_bound_too() -> None:
    assert judged(0, 3, 33, 35).verdict == "hit"
    assert judged(0, 2, 29, 30).verdict == "hit"
    assert judged(0, 4, 37, 40).verdict == "hit"


@pytest.mark.parametrize(
    ("times", "side", "seconds"),
    [((0, 3, 29.5, 31.5), "early", 0.5), ((0, 3, 36.4, 38.4), "late", 0.4), ((0, 4.25, 34, 36), "late", 0.25)],
)
def test_a_miss_says_which_side_and_by_how_much(times: tuple[float, ...], side: str, seconds: float) -> None:
    found = judged(*times)
    assert found.verdict == "missed"
    assert f"{seconds:.2f} s too {side}" in found.sentence
    assert "aim at" in found.advice


def test_brackets_that_cross_a_bound_are_undecided_and_say_what_would_decide() -> None:
    found = judged(0, 3, 29.95, 32.0, width=0.2)
    assert found.verdict == "undecided"
    assert "cannot tell" in found.sentence
    assert "50 Hz" in found.advice


def test_a_joint_miss_shows_although_no_bound_does_so_alone() -> None:
    """Each of two intervals may be kept for some instant of the shared edge, but not both for the same one."""
    on, down, up = 0.0, (3.8, 4.4), 36.9
    rows = [("ignition on", on, on), ("press", *down), ("release", up, up), ("crank", 38.9, 38.9), ("end", 60.0, 60.0)]
    found = judge_attempt(HOLD, attempt(*rows))
    assert found.verdict == "undecided"  # down in 3.9..4.0 keeps both
    rows[2] = ("release", 37.05, 37.05)  # now the hold wants down at 4.05 or later, the wait at 4.0 or earlier
    rows[3] = ("crank", 39.0, 39.0)
    found = judge_attempt(HOLD, attempt(*rows))
    assert not any(b.verdict == "missed" for b in found.bounds)
    assert found.verdict == "missed"
    assert found.joint


def test_what_was_not_seen_by_the_end_is_missed_only_once_its_window_has_closed() -> None:
    assert judged(0, 3, end=20).verdict == "undecided"
    assert judged(0, 3, end=40).verdict == "missed"


def test_a_shared_clock_offset_cancels_between_events_of_one_clock() -> None:
    rows = [("ignition on", 0, 0), ("press", 3, 3), ("release", 33, 33), ("crank", 35, 35), ("end", 60, 60)]
    found = judge_attempt(HOLD, attempt(*rows, clock=ClockOffset(lo=-5.0, hi=5.0)))
    assert found.verdict == "hit"


def test_an_act_nobody_asked_for_is_a_miss_with_its_name() -> None:
    rows = [("ignition on", 0, 0), ("press", 3, 3), ("ignition off", 10, 10), ("end", 60, 60)]
    found = judge_attempt(HOLD, attempt(*rows))
    assert found.verdict == "missed"
    assert found.extras == ("ignition off when let up was due",)


def test_an_attempt_of_another_version_of_the_routine_is_refused() -> None:
    with pytest.raises(InputError, match="another"):
        judge_attempt(HOLD, attempt(("ignition on", 0, 0), digest="0" * 64))


def test_pictures_get_every_event_with_its_window() -> None:
    found = judged(0, 3, 33, 35)
    assert [a.event for a in found.acts] == ["on", "down", "up", "start"]
    assert found.acts[1].window == (2.0, 4.0)
    assert found.acts[2].window == (30.0, 36.0)
    assert found.duration == 35.0
