"""What is laid down when: acts at their aims, pips before them, words that overlap nothing, parts for answers."""

import itertools

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tickover.cues.track import Part, Track, cue_track
from tickover.routines import CompiledRoutine, compile_routine, load_library, parse_routine
from tickover.routines.aiming import aims_for
from tickover.timing import Observation, judge

LIBRARY = load_library()


def track_of(routine: CompiledRoutine, speak=None) -> Track:
    return cue_track(routine, aims=aims_for(routine, "sound file"), speak=speak)


def built_in(name: str) -> CompiledRoutine:
    return compile_routine(LIBRARY[name])


def moments(part: Part) -> dict[str, float]:
    acts = {"press", "let up", "key on", "key off", "start", "other act"}
    return {c.event: c.at - part.zero for c in part.cues if c.sound in acts}


@pytest.mark.parametrize("name", list(LIBRARY))
def test_every_act_sounds_once_and_every_judged_bound_is_kept_whatever_the_car_answers(name):
    routine = built_in(name)
    track = track_of(routine)
    acts = [e.name for e in routine.events if not e.answer]
    assert sorted(itertools.chain.from_iterable(moments(p) for p in track.parts)) == sorted(acts)
    for share in (0.0, 0.5, 1.0):
        times: dict[str, float] = {routine.events[0].name: 0.0}
        for part in track.parts:
            times |= {e: times[part.begins] + t for e, t in moments(part).items()}
            for w in routine.answers:
                if w.after in times:
                    times.setdefault(w.event, times[w.after] + w.lo + share * (w.hi - w.lo))
        seen = [Observation(e, t, t) for e, t in sorted(times.items(), key=lambda pair: pair[1])]
        counted = {k.event: (times[k.event] - times[k.start],) * 2 for k in routine.counters}
        assert judge(routine.plan(), seen, counted=counted).verdict == "hit", share


def test_the_count_in_is_at_the_tempo_of_what_follows():
    part = track_of(built_in("pedal-count")).parts[0]
    pips = {}
    for c in part.cues:
        if c.sound == "pip":
            pips.setdefault(c.event, []).append(c.at - part.zero)
    assert pips["on"] == pytest.approx([-2.4, -1.6, -0.8])
    at = moments(part)
    first, period = at["presses.1.press"], at["presses.2.press"] - at["presses.1.press"]
    room = [k for k in (3, 2, 1) if first - k * min(1.0, period) > 0.3]  # after the two notes of the key
    assert len(room) >= 2
    assert pips["presses.1.press"] == pytest.approx([first - k * min(1.0, period) for k in room], abs=1e-4)
    assert "presses.2.press" not in pips


def test_an_answer_that_something_waits_for_begins_its_own_part_and_is_asked_for_until_it_no_longer_may_come():
    track = track_of(built_in("pedal-count"))
    first, second = track.parts
    assert first.then == {"stays": 2}
    assert second.begins == "stays"
    assert second.zero == 0
    asked = [c.at - first.zero for c in first.cues if c.sound == "look out" and c.event == "stays"]
    down = moments(first)["down"]
    assert asked[0] < down + 16 + 0.3
    assert asked[-1] > down + 25 - 3.5
    stop = [c for c in first.cues if c.sound == "stop"]
    assert len(stop) == 1
    assert stop[0].at - first.zero > down + 25
    assert [c.sound for c in second.cues if c.sound in {"let up", "start", "done"}] == ["let up", "start", "done"]


def test_the_pedal_held_sounds_until_the_first_pip():
    part = track_of(built_in("pedal-hold")).parts[0]
    holds = [c for c in part.cues if c.sound == "hold"]
    first_pip = min(c.at for c in part.cues if c.sound == "pip" and c.event == "up")
    assert len(holds) == 1
    assert holds[0].at + holds[0].length == pytest.approx(first_pip)


def two_presses(gap: float, at: float) -> CompiledRoutine:
    text = f"""
id = "r"
title = "R"
kind = "relearn"
disturbs = 1
may_erase = false
basis = {{ kind = "common practice" }}
[[steps]]
id = "on"
do = "ignition on"
[[steps]]
id = "p"
do = "press"
about = {at}
give = {at / 4}
times = 3
press = {{ between = [0.25, {gap}] }}
gap = {{ between = [0.12, {gap}] }}
span = {{ at_most = {5 * gap} }}
[[steps]]
id = "off"
do = "ignition off"
about = {at}
give = {at / 4}
"""
    return compile_routine(parse_routine(text, file="r.toml"))


@settings(max_examples=40, deadline=None)
@given(gap=st.floats(0.3, 2.5), at=st.floats(1.0, 9.0), pace=st.floats(0.01, 0.12))
def test_words_end_before_the_pips_and_overlap_no_other_sound(gap, at, pace):
    routine = two_presses(round(gap, 2), round(at, 2))
    (part,) = track_of(routine, speak=lambda words: pace * len(words)).parts
    front = [c for c in part.cues if c.sound not in {"hold", "tick", "words"}]
    words = [c for c in part.cues if c.sound == "words"]
    assert words
    for w in words:
        assert all(w.at + w.length <= c.at + 1e-6 or c.at + c.length <= w.at + 1e-6 for c in front)
        pips = [c.at for c in front if c.sound == "pip" and c.event == w.event and c.at > w.at]
        if pips:
            assert min(pips) - (w.at + w.length) >= 0.4 - 1e-5
    assert all(c.at >= 0 and c.at + c.length <= part.length for c in part.cues)
    for one, other in itertools.pairwise(sorted(front, key=lambda c: c.at)):
        assert one.at + one.length <= other.at + 1e-6
