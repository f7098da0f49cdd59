"""Counted time in a live attempt: it stands while its condition does not hold, and coach and judge agree on it."""

import pytest

from tickover.attempts import Attempt, ClockOffset, Event, Header
from tickover.coaching import CoachState, Cue, Seen, View, judge_attempt, look, open_attempt, script, step
from tickover.routines import compile_routine, load_routine, parse_routine

HEAD = 'id = "a"\ntitle = "A"\nkind = "run-in"\ndisturbs = 2\nmay_erase = false\nbasis = { kind = "common practice" }\n'


def of(*rows: str):
    text = HEAD + "steps = [\n" + "".join(f"  {r},\n" for r in rows) + "]\n"
    return script(compile_routine(parse_routine(text)))


FAST = script(compile_routine(load_routine("fast-run-in")))
FAN = of(
    '{ id = "start", do = "crank" }',
    '{ id = "off", do = "ignition off", at_least = 100, aim_by = 10, count_only_while = "fan off" }',
)
ROAD = of(
    '{ id = "start", do = "crank" }',
    '{ id = "go", do = "drive", at_least = 5 }',
    '{ id = "coast", do = "coast", between = [50, 80],'
    ' count_only_while = { signal = "vehicle_speed", at_least = 70 } }',
    '{ id = "stand", do = "stand", at_least = 0 }',
)
LOADS = of(
    '{ id = "start", do = "crank" }',
    '{ id = "a-on", do = "load on", load = "blower", at_least = 5 }',
    '{ id = "a-off", do = "load off", load = "blower", at_least = 5 }',
    '{ id = "off", do = "ignition off", after = "start", at_least = 60, count_only_while = "loads off" }',
)
News = tuple[str, float]


def run(play, news: list[News], until: float) -> tuple[CoachState, list[Cue], View]:
    """Half-second steps; the state goes through JSON each time, as a reload would make it."""
    state, heard, now = open_attempt(play, 0.0, 5.0), [], 0.0
    while now < until:
        now += 0.5
        seen = [Seen(what=k, t_lo=t, t_hi=t) for k, t in news if now - 0.5 < t <= now]
        state, cues = step(play, CoachState.model_validate_json(state.model_dump_json()), now, seen)
        heard += cues
    return state, heard, look(play, state, now)


def judged(play, news: list[News], watched: bool = True, width: float = 0.0):
    names = tuple(c.name for c in play.routine.conditions)
    header = Header(routine="a", routine_hash=play.routine.digest, watched=names if watched else ())
    rows = [*news, ("end", news[-1][1] + 1)]
    events = tuple(Event(seq=n, kind=k, t_lo=t - width / 2, t_hi=t + width / 2) for n, (k, t) in enumerate(rows))
    return judge_attempt(play.routine, Attempt(header=header, events=events))


def test_time_with_the_fan_running_does_not_count_and_the_aim_moves_by_its_length():
    state, _, view = run(FAN, [("crank", 5)], 55)
    assert state.aim == pytest.approx(115)
    assert view.now.counted == pytest.approx(50)
    state, heard, view = run(FAN, [("crank", 5), ("fan on", 45)], 75)
    assert state.aim is None
    assert (view.now.word, view.now.counting, view.now.counted) == ("Wait", False, 40)
    assert view.now.aim == pytest.approx(70)  # stands while the fan runs
    assert "not counting: fan on" in view.now.detail
    assert [c.words for c in heard if c.sound == "count"] == ["Not counting: fan on"]
    state, heard, view = run(FAN, [("crank", 5), ("fan on", 45), ("fan off", 80)], 85)
    assert state.aim == pytest.approx(115 + 35)
    assert view.now.counted == pytest.approx(45)
    assert heard[-1].words == "Counting again: fan off"


@pytest.mark.parametrize(("off", "verdict", "phase"), [(139.5, "missed", "missed"), (140.5, "hit", "done")])
def test_coach_and_judge_count_alike(off: float, verdict: str, phase: str):
    news = [("crank", 5.0), ("fan on", 45.0), ("fan off", 80.0), ("ignition off", off)]
    state, _, _ = run(FAN, news, 142)
    assert state.phase == phase
    found = judged(FAN, news)
    assert found.verdict == verdict
    line = found.bounds[-1]
    assert line.found == pytest.approx((off - 40, off - 40))


def test_brackets_of_the_news_widen_the_counted_time_and_may_leave_it_undecided():
    news = [("crank", 5.0), ("fan on", 45.0), ("fan off", 80.0), ("ignition off", 140.2)]
    found = judged(FAN, news, width=0.4)
    assert found.verdict == "undecided"
    lo, hi = found.bounds[-1].found
    assert (lo, hi) == pytest.approx((99.4, 101.0))


def test_clocks_that_disagree_widen_the_counted_time():
    header = Header(
        routine="a",
        routine_hash=FAN.routine.digest,
        clocks={"main": ClockOffset(), "helper": ClockOffset(lo=-1.0, hi=1.0)},
    )
    rows = [("crank", 5, "main"), ("fan on", 45, "helper"), ("fan off", 80, "helper"), ("ignition off", 150, "main")]
    events = tuple(Event(seq=n, kind=k, t_lo=t, t_hi=t, clock=c) for n, (k, t, c) in enumerate(rows))
    found = judge_attempt(FAN.routine, Attempt(header=header, events=events))
    assert found.verdict == "hit"
    assert found.bounds[-1].found == pytest.approx((108, 112))


def test_a_condition_nobody_watched_leaves_the_count_undecided():
    news = [("crank", 5.0), ("ignition off", 150.0)]
    assert judged(FAN, news).verdict == "hit"
    found = judged(FAN, news, watched=False)
    assert found.verdict == "undecided"
    assert "undecided" in found.sentence or "cannot tell" in found.sentence


def test_what_a_gauge_shows_is_told_and_begins_not_holding():
    news = [("crank", 5.0), ("drive", 15.0)]
    state, _, view = run(ROAD, news, 40)
    assert (view.now.counting, view.now.counted, state.aim) == (False, 0, None)
    news += [("time counts", 50.0), ("time stands", 80.0), ("time counts", 100.0)]
    state, _, view = run(ROAD, news, 110)
    assert view.now.counted == pytest.approx(40)
    assert state.aim == pytest.approx(100 + 35)  # the middle of 50 to 80
    early = [*news, ("coast", 118.0)]
    assert run(ROAD, early, 119)[0].phase == "missed"
    assert judged(ROAD, early).verdict == "missed"
    good = [*news, ("coast", 135.0), ("stand", 150.0)]
    assert run(ROAD, good, 151)[0].phase == "done"
    assert judged(ROAD, good).verdict == "hit"
    assert judged(ROAD, [*news, ("coast", 155.0), ("stand", 160.0)]).verdict == "missed"  # 85 s, over 80


def test_a_load_that_is_on_does_not_count_and_the_plan_itself_tells():
    news = [("crank", 5.0), ("load on", 15.0), ("load off", 45.0)]
    _, _, view = run(LOADS, news, 50)
    assert view.now.counted == pytest.approx(15)
    assert judged(LOADS, [*news, ("ignition off", 90.0)]).verdict == "missed"
    assert judged(LOADS, [*news, ("ignition off", 96.0)]).verdict == "hit"


def test_fast_run_in_holds_the_speed_until_the_fan_and_counts_from_its_stop():
    news = [("crank", 5.0), ("hold speed", 15.0)]
    _, _, view = run(FAST, news, 60)
    assert view.now.word == "Watch"
    assert view.now.detail.startswith("keep holding")
    assert "nobody under the bonnet" in run(FAST, news[:1], 8)[2].caution
    news += [("fan on", 200.0), ("let idle", 204.0)]
    state, _, view = run(FAST, news, 230)
    assert state.phase == "running"
    assert (view.now.counting, view.now.counted) == (False, 0)
    assert view.next is not None
    assert view.next.word == "Ignition off"
    news += [("fan off", 240.0)]
    state, _, view = run(FAST, news, 300)
    assert view.now.counted == pytest.approx(60)
    assert state.aim == pytest.approx(240 + 320)
    assert run(FAST, [*news, ("ignition off", 561.0)], 562)[0].phase == "done"
    assert judged(FAST, [*news, ("ignition off", 530.0)]).verdict == "missed"


def test_the_words_of_a_load_and_of_a_held_speed():
    _, _, view = run(LOADS, [("crank", 5.0)], 9.5)
    assert view.now.word == "Blower on"
    _, _, view = run(FAST, [("crank", 5.0)], 35.5)
    assert (view.now.word, view.now.detail) == ("Hold the speed", "2,700 to 3,300 r/min")
