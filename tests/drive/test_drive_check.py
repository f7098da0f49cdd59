"""Recorded drives against conditions: verdicts, near misses in words, and what cannot be told."""

import sys
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tickover.drive import check_drive, load_conditions
from tickover.drive.conditions import Condition, Conditions, Limit
from tickover.drive.judge import judge
from tickover.drive.truth import prepare
from tickover.results import CannotTell, Quantity
from tickover.signals import Recording, Series

sys.path.insert(0, str(Path(__file__).parent))
from drive_logs import log, mock_drive, ramp

ALL = load_conditions().for_engine(diesel=False)


def found(recording, name, **more):
    return next(c for c in check_drive(recording, ALL, **more).conditions if c.id == name)


def cruise(seconds=180.0, lo=80.0, hi=100.0):
    return Condition("c", "Cruise", "stretch", (Limit("vehicle_speed", lo, hi),), seconds=seconds)


def total(seconds, lo=40.0):
    return Condition("t", "Total", "total", (Limit("vehicle_speed", lo),), seconds=seconds)


def of(condition, recording, whole=False, hold=5.0):
    return judge(condition, prepare(recording, {"vehicle_speed": hold}, whole=whole))


# --- words of a near miss ---


def test_a_near_miss_is_told_with_its_time_and_its_value():
    one = found(mock_drive(), "cat-cruise")
    assert one.verdict == "not met"
    assert one.words.startswith("2:41 of 3:00; lost at 12:04 when speed fell to 79.6")
    assert one.short == "short: 2:41 of 3:00"
    assert (one.margin, one.lost_at) == (-19.0, 724.0)


def test_what_was_not_logged_cannot_be_told():
    one = found(mock_drive(), "overrun")
    assert one.verdict == "cannot tell"
    assert "the pedal is not known" in one.words
    assert found(mock_drive(), "evap-soak").verdict == "cannot tell"
    assert found(mock_drive(), "evap-soak", known={"soaked": 9.0}).verdict == "met"
    assert found(mock_drive(), "evap-fuel", known={"fuel_level": 90.0}).words == (
        "Not so: fuel level 90 %, asked is 15 to 85 %."
    )


def test_a_speed_alone_judges_what_a_speed_can():
    t = np.arange(0.0, 1000.0)
    speed = ramp(t, (0, 0), (40, 0), (60, 50), (940, 50), (960, 0), (999, 0))
    check = check_drive(log(t, speed=speed), ALL, whole=True)
    general = next(m for m in check.monitors if m.id == "general")
    assert general.verdict == "met"
    assert any("pedal is taken to be up" in r for r in check.rests_on)
    assert any("engine is taken to run" in r for r in check.rests_on)
    dark = {m.id for m in check.monitors if m.verdict == "cannot tell"}
    assert dark == {"warm-up", "egr"}  # the others are refuted by the speed, whatever the coolant was
    cat = next(c for c in check.conditions if c.id == "cat-cruise")
    assert cat.verdict == "not met"


def test_a_stretch_cut_off_by_the_log_is_undecided():
    t = np.arange(0.0, 200.0)
    one = of(cruise(), log(t, speed=np.where(t < 50, 60.0, 90.0)))
    assert one.verdict == "cannot tell"
    assert one.stretches[0].state == "cut off"
    assert "cut off by the log after 2:29 of 3:00" in one.words
    assert of(cruise(), log(t, speed=np.where(t < 50, 60.0, 90.0)), whole=True).verdict == "not met"


def test_a_gap_is_undecided_where_it_could_matter():
    t = np.concatenate([np.arange(0.0, 100.0), np.arange(140.0, 400.0)])
    good = np.where((t >= 10) & (t < 250), 90.0, 50.0)
    one = of(cruise(), log(t, speed=good), whole=True)
    assert one.verdict == "cannot tell"
    assert "readings are missing" in one.words
    bad = np.where((t >= 10) & (t < 150), 90.0, 50.0)
    assert of(cruise(), log(t, speed=bad), whole=True).verdict == "not met"  # even the whole gap would not do


def test_readings_too_seldom_for_a_short_stretch():
    t = np.arange(0.0, 100.0, 2.0)
    speed = np.where((t >= 20) & (t < 28), 90.0, 50.0)
    condition = cruise(seconds=7.0)
    assert of(condition, log(t, speed=speed), whole=True).verdict == "met"
    one = of(condition, log(t, speed=speed, bracket=2.0), whole=True)
    assert one.verdict == "cannot tell"
    assert one.stretches[0].state == "too coarse"
    assert of(cruise(seconds=11.0), log(t, speed=speed, bracket=2.0), whole=True).verdict == "not met"


def test_a_total_is_short_only_of_a_whole_drive():
    t = np.arange(0.0, 400.0)
    drive = log(t, speed=np.where(t < 260, 50.0, 0.0))
    assert of(total(300), drive, whole=True).short == "short: 4:20 of 5:00"
    one = of(total(300), drive)
    assert (one.verdict, one.short) == ("cannot tell", "4:20 of 5:00")
    assert of(total(250), drive).verdict == "met"


def test_a_total_with_a_gap():
    t = np.concatenate([np.arange(0.0, 100.0), np.arange(200.0, 300.0)])
    one = of(total(250), log(t, speed=50.0), whole=True)
    assert one.verdict == "cannot tell"
    assert "missing from the log" in one.words


def test_values_at_the_start():
    t = np.arange(0.0, 60.0)
    cold = log(t, engine=np.where(t < 2, 0, 900), speed=0, coolant=20, run_time=np.maximum(0, t - 2),
               ambient_temperature=15)  # fmt: skip
    assert found(cold, "evap-start").verdict == "met"
    warm = log(t, engine=np.where(t < 2, 0, 900), speed=0, coolant=40, run_time=np.maximum(0, t - 2),
               ambient_temperature=15)  # fmt: skip
    assert found(warm, "evap-start").verdict == "not met"
    later = log(t, engine=900, speed=0, coolant=20, run_time=t + 300, ambient_temperature=15)
    assert found(later, "evap-start").verdict == "cannot tell"


def test_the_warm_up_needs_the_rise_and_the_value():
    t = np.arange(0.0, 800.0)
    base = {"engine": np.where(t < 2, 0, 900), "speed": 0, "run_time": np.maximum(0, t - 2)}
    risen = log(t, coolant=np.minimum(90, 30 + np.floor(0.1 * t)), **base)
    assert found(risen, "warm-up").met_at == pytest.approx(410, abs=1)
    warm = log(t, coolant=np.minimum(90, 75 + np.floor(0.1 * t)), **base)
    assert found(warm, "warm-up").verdict == "cannot tell"  # a rise of 15 °C so far, and the log ends
    diesel = load_conditions().for_engine(diesel=True)
    slow = log(t, coolant=np.minimum(65, 30 + np.floor(0.1 * t)), **base)
    met = {c.id: c.verdict for c in check_drive(slow, diesel).conditions}
    assert met["warm-up"] == "met"
    assert found(slow, "warm-up").verdict == "cannot tell"


def test_coasts_are_counted():
    t = np.arange(0.0, 600.0)
    pedal = np.where((t % 100 > 50) & (t % 100 < 59), 16.0, 30.0)
    pedal[:20] = 16.0
    drive = log(t, engine=np.where(t < 1, 0, 1500), speed=np.where(t < 40, 0, 70), coolant=85, pedal=pedal,
                run_time=np.maximum(0, t - 1))  # fmt: skip
    one = found(drive, "overrun")
    assert (one.verdict, one.times, one.times_needed) == ("met", 6, 3)
    assert one.met_at == pytest.approx(256, abs=1)


def test_two_drives_in_one_log_are_not_added_up():
    t = np.arange(0.0, 1000.0)
    run = np.where(t < 400, t, t - 400)
    check = check_drive(log(t, engine=900, speed=50, run_time=run), ALL)
    assert any("holds 2 drives" in r for r in check.rests_on)
    assert check.duration == pytest.approx(599, abs=1)


def test_nothing_recorded_is_nothing_met():
    check = check_drive(Recording({}), ALL)
    assert {m.verdict for m in check.monitors} <= {"cannot tell", "not met"}
    holes = Series.at([0.0, 1.0, 2.0], [50.0, np.nan, 50.0])
    assert of(total(1.5), Recording({"vehicle_speed": holes}), whole=True).verdict == "met"


def test_distance_by_the_held_speed():
    t = np.array([0.0, 10.0, 30.0])
    km = check_drive(Recording({"vehicle_speed": Series.at(t, [36.0, 72.0, 0.0])}), ALL).distance
    assert isinstance(km, Quantity)
    assert km.value == pytest.approx(0.1 + 0.4)
    none = check_drive(log(t, engine=900), ALL).distance
    assert isinstance(none, CannotTell)


# --- laws ---

runs = st.lists(st.tuples(st.integers(3, 60), st.sampled_from([30.0, 50.0, 79.0, 80.0, 90.0, 101.0])), min_size=1,
                max_size=8)  # fmt: skip


def signal_of(parts):
    return np.concatenate([np.full(n, v) for n, v in parts])


def both(seconds):
    return cruise(seconds=float(seconds)), total(float(seconds))


@given(runs, st.integers(2, 120), st.floats(0.1, 0.9), st.booleans())
@settings(max_examples=60, deadline=None)
def test_resampling_a_held_signal_does_not_change_a_verdict(parts, seconds, share, whole):
    speed = signal_of(parts)
    t = np.arange(len(speed), dtype=float)
    more = np.sort(np.concatenate([t, t[:-1] + share]))
    held = speed[np.searchsorted(t, more, side="right") - 1]
    for condition in both(seconds):
        one, two = of(condition, log(t, speed=speed), whole), of(condition, log(more, speed=held), whole)
        assert (one.verdict, one.margin) == (two.verdict, pytest.approx(two.margin))


@given(runs, st.integers(2, 120), st.integers(2, 120), st.booleans())
@settings(max_examples=60, deadline=None)
def test_asking_less_never_turns_met_into_anything_else(parts, a, b, whole):
    speed = signal_of(parts)
    drive = log(np.arange(len(speed)), speed=speed)
    for easy, hard in zip(both(min(a, b)), both(max(a, b)), strict=True):
        one, two = of(easy, drive, whole), of(hard, drive, whole)
        assert one.margin >= two.margin
        assert two.verdict != "met" or one.verdict == "met"
        assert one.verdict != "not met" or two.verdict == "not met"


@given(runs, st.integers(5, 90), st.floats(0.02, 0.98), st.sampled_from([0.0, 1.0, 3.0]), st.booleans())
@settings(max_examples=80, deadline=None)
def test_splitting_a_log_never_turns_undecided_into_met(parts, seconds, share, bracket, holes):
    speed = signal_of(parts)
    t = np.arange(len(speed), dtype=float) * (1.0 if not holes else 1.6)
    if holes:
        t[len(t) // 2 :] += 12.0
    engine_t = t + 0.4
    whole_log = Recording({
        "vehicle_speed": Series.of(t - bracket, t, speed),
        "engine_speed": Series.of(engine_t - bracket, engine_t, np.full(len(t), 900.0)),
    })  # fmt: skip
    at = share * whole_log.span[1]
    halves = [part for part in (cut(whole_log, -1e9, at), cut(whole_log, at, 1e9)) if part.series]
    limits = (Limit("vehicle_speed", 80.0, 100.0), Limit("engine_speed", 400.0))
    for kind in ("stretch", "total"):
        condition = Condition("x", "X", kind, limits, seconds=float(seconds))
        if of(condition, whole_log).verdict != "met":
            assert all(of(condition, half).verdict != "met" for half in halves)


def cut(recording, start, stop):
    parts = {}
    for name in recording:
        one = recording[name]
        keep = (one.t_hi > start) & (one.t_hi <= stop)
        if keep.any():
            parts[name] = Series(one.t_lo[keep], one.t_hi[keep], one.value[keep])
    return Recording(parts)


def test_conditions_can_be_overridden_for_a_car(tmp_path):
    own = tmp_path / "car.toml"
    own.write_text(
        '[[condition]]\nid = "cat-cruise"\nseconds = 150\nbasis = "service information"\nsource = "page 12"\n'
        '[[condition]]\nid = "own"\nkind = "total"\nseconds = 60\n'
        'limits = [{ of = "engine_load", at_least = 40 }]\n'
        '[[monitor]]\nid = "mine"\nconditions = ["own"]\n'
    )
    found_ = load_conditions(own)
    assert found_.conditions["cat-cruise"].seconds == 150
    assert found_.conditions["cat-cruise"].limits == load_conditions().conditions["cat-cruise"].limits
    assert found_.conditions["cat-cruise"].basis_words == "Service information: page 12."
    assert isinstance(found_, Conditions)
    check = check_drive(mock_drive(), found_.for_engine(diesel=False))
    assert {c.id: c.verdict for c in check.conditions}["cat-cruise"] == "met"
    assert {m.id: m.verdict for m in check.monitors}["mine"] == "cannot tell"
