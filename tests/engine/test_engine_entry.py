"""The relearn entries: everything inside is taken, 0.1 s outside is not, nothing is promised between."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tickover.engine import (
    PEDAL_COUNT,
    PEDAL_HOLD,
    CarSpec,
    SimulatedCar,
    cured_misfire,
    old_memory_on_cleaned_bore,
)
from tickover.engine.entry import GREY
from tickover.engine.watch import machine

COUNT = old_memory_on_cleaned_bore(CarSpec(long_trim_idle=0.1))
HOLD = old_memory_on_cleaned_bore(CarSpec(entries=(PEDAL_HOLD,)))


def _inside():
    """The exact times, and every limit of every window."""
    from_limits = {"first": (2.0, 4.0), "wait": (6.0, 8.0), "release": (0.0, 3.0), "crank": (0.3, 3.0)}
    cases = [("exact", {})]
    cases += [(f"{name} {v}", {name: v}) for name, pair in from_limits.items() for v in pair]
    cases += [("shortest", {"press": (0.25,) * 5, "gap": (0.12,) * 4})]
    cases += [("longest press", {"press": (0.9, 0.5, 0.5, 0.5, 0.9)}), ("longest gap", {"gap": (0.9, 0.4, 0.4, 0.4)})]
    return [*cases, ("longest span", {"press": (0.68,) * 5, "gap": (0.4,) * 4})]


@pytest.mark.parametrize(("_name", "change"), _inside(), ids=[name for name, _ in _inside()])
def test_every_limit_is_taken(driver, _name, change):
    car = driver.car(COUNT)
    said = driver.pedal_count(car, driver.Presses(**change))
    assert car.entry_outcome == "written"
    assert [kind for kind, _ in said] == ["lamp flashing", "lamp lit", "running", "lamp off"]
    memory = car.memory()
    assert memory.learned_air_mm2 == pytest.approx(16.87, abs=0.01)
    assert memory.floor_mm2 == pytest.approx(memory.learned_air_mm2 - 4.0)
    assert memory.long_trim_idle == 0.0


def _outside():
    """Each step 0.15 s beyond its limit (a gap cannot be shorter than nothing: 0.11 s), and what the car says of it."""
    one = {"first": (1.85, 4.15), "wait": (5.85, 8.15), "crank": (0.15, 3.15)}
    why = {"first": "ignition on to first press", "wait": "last release to the held press", "crank": "release to start"}
    cases = [(f"{name} {v}", {name: v}, why[name]) for name, values in one.items() for v in values]
    cases.append(("release 3.15", {"release": 3.15}, "pedal held on"))
    for k in (0, 2, 4):
        for v in (0.10, 1.05):
            press = tuple(v if i == k else 0.5 for i in range(5))
            cases.append((f"press {k + 1} of {v}", {"press": press}, f"press {k + 1} took"))
    for k in (0, 3):
        for v in (0.01, 1.05):
            gap = tuple(v if i == k else 0.4 for i in range(4))
            cases.append((f"gap {k + 1} of {v}", {"gap": gap}, f"gap after press {k + 1}"))
    cases.append(("span 5.15", {"press": (0.71,) * 5, "gap": (0.4,) * 4}, "all presses took 5.15 s"))
    cases.append(("four presses", {"press": (0.5,) * 4, "gap": (0.4,) * 3}, "gap after press 4"))
    return [*cases, ("six presses", {"press": (0.4,) * 6, "gap": (0.3,) * 5}, "last release to the held press 0.30 s")]


@pytest.mark.parametrize(("_name", "change", "why"), _outside(), ids=[name for name, *_ in _outside()])
def test_one_miss_changes_nothing(driver, _name, change, why):
    car = driver.car(COUNT)
    before = car.memory()
    driver.pedal_count(car, driver.Presses(**change))
    assert car.running
    assert car.memory() == before
    assert [text.startswith(f"rejected: {why}") for _, _, text in car.cars.outcomes[0]] == [True]


def test_letting_go_before_the_lamp_stays_lit_aborts(driver):
    probe = driver.car(COUNT, seed=4)
    said = dict(driver.pedal_count(probe, driver.Presses()))
    pressed = 3.0 + 2.5 + 1.6 + 7.0
    car = driver.car(COUNT, seed=4)
    before = car.memory()
    late = said["lamp lit"] - pressed
    answers = driver.pedal_count(car, driver.Presses(release=-0.15), lit_after=late)
    assert [kind for kind, _ in answers] == ["lamp flashing", "lamp off", "running"]
    assert car.memory() == before
    assert "before the lamp stayed lit" in (car.entry_outcome or "")


def test_holding_on_too_long_closes_the_entry_by_itself(driver):
    car = driver.car(COUNT)
    driver.pedal_count(car, driver.Presses(release=6.0))
    assert car.entry_outcome == "rejected: pedal held on after the lamp stayed lit"
    assert car.lamp == "off"


def test_ignition_off_in_the_middle_closes_the_entry():
    car = SimulatedCar(COUNT)
    car.do("ignition on")
    car.advance(3.0)
    car.do("press")
    car.advance(0.5)
    car.do("ignition off")
    assert car.entry_outcome == "rejected: ignition switched off"


def _machine(seed):
    return machine(PEDAL_COUNT, 0.0, np.random.default_rng(seed))


def _perform(watching, first, presses, gaps, wait, release, crank):
    """Edges straight into the machine; returns its last outcome and the lamp's instants after the held press."""
    t, said = 100.0, list(watching.edge("on", 100.0))
    t += first
    for k in range(5):
        said += watching.edge("press", t)
        t += presses[k]
        said += watching.edge("release", t)
        t += gaps[k] if k < 4 else wait
    said += watching.edge("press", t)
    lamp = {}
    while watching.due < np.inf and "lit" not in lamp:
        new = watching.tick(watching.due)
        lamp |= {a.text: a.t - t for a in new if a.what == "lamp"}
        said += new
    t += lamp.get("lit", 20.0) + release
    said += watching.tick(t) + watching.edge("release", t)
    t += crank
    said += watching.tick(t) + watching.edge("crank", t) + watching.edge("running", t + 0.7)
    outcomes = [a.text for a in said if a.what == "outcome"]
    return outcomes, lamp, [a for a in said if a.what == "write"]


_seconds = {
    "first": st.floats(2, 4),
    "presses": st.lists(st.floats(0.25, 0.72), min_size=5, max_size=5),
    "gaps": st.lists(st.floats(0.12, 0.35), min_size=4, max_size=4),
    "wait": st.floats(6, 8),
    "release": st.floats(0, 3),
    "crank": st.floats(0.3, 3),
}


@given(st.integers(0, 2**32), st.fixed_dictionaries(_seconds))
def test_anything_inside_is_written(seed, way):
    outcomes, lamp, writes = _perform(_machine(seed), **way)
    assert outcomes == ["written"]
    assert len(writes) == 1
    assert 8 <= lamp["flashing"] <= 14
    assert 16 <= lamp["lit"] <= 25


WINDOWS = {
    "first": PEDAL_COUNT.first_press,
    "presses": PEDAL_COUNT.press,
    "gaps": PEDAL_COUNT.gap,
    "wait": PEDAL_COUNT.hold_after,
    "release": PEDAL_COUNT.release,
    "crank": PEDAL_COUNT.crank,
}


@given(
    st.integers(0, 2**32),
    st.fixed_dictionaries(_seconds),
    st.sampled_from(["first", "wait", "release", "crank", "presses", "gaps"]),
    st.floats(GREY, 2.0),
    st.integers(0, 3),
    st.booleans(),
)
def test_anything_well_outside_is_rejected(seed, way, which, by, k, above):
    window = WINDOWS[which]
    value = window[1] + by if above or window[0] < by else window[0] - by
    several = which in ("presses", "gaps")
    way = {**way, which: [value if i == k else v for i, v in enumerate(way[which])] if several else value}
    outcomes, _, writes = _perform(_machine(seed), **way)
    assert not writes
    assert outcomes
    assert all(text.startswith("rejected") for text in outcomes)


def test_nothing_is_promised_between():
    way = {"first": 3.0, "presses": [0.5] * 5, "gaps": [0.4] * 4, "wait": 8.05, "release": 1.0, "crank": 1.0}
    taken = [bool(_perform(_machine(seed), **way)[2]) for seed in range(60)]
    assert 15 <= sum(taken) <= 45


def test_the_lamp_is_drawn_anew_for_every_attempt():
    way = {"first": 3.0, "presses": [0.5] * 5, "gaps": [0.4] * 4, "wait": 7.0, "release": 1.0, "crank": 1.0}
    one = _machine(7)
    lit = [_perform(one, **way)[1]["lit"] for _ in range(30)]
    assert max(lit) - min(lit) > 5


def _hold(car, press=3.0, hold=30.0, crank=2.0):
    car.do("ignition on")
    car.advance(press)
    car.do("press")
    car.advance(hold)
    car.do("release")
    car.advance(crank)
    car.do("crank")
    while not car.running and car.now < 100:
        car.advance(0.02)


@pytest.mark.parametrize(
    "way", [{}, {"press": 2.0}, {"press": 4.0}, {"hold": 27}, {"hold": 33}, {"crank": 1}, {"crank": 3}]
)
def test_pedal_hold_writes_the_same(way):
    car = SimulatedCar(HOLD)
    _hold(car, **way)
    assert car.entry_outcome == "written"
    assert car.memory().learned_air_mm2 == pytest.approx(16.87, abs=0.01)


@pytest.mark.parametrize(
    "way",
    [{"press": 1.85}, {"press": 4.15}, {"hold": 26.85}, {"hold": 33.15}, {"crank": 0.85}, {"crank": 3.15}],
)
def test_pedal_hold_missed_changes_nothing(way):
    car = SimulatedCar(HOLD)
    before = car.memory()
    _hold(car, **way)
    assert car.memory() == before
    assert "rejected" in (car.entry_outcome or "")


@pytest.mark.parametrize(("on", "off"), [(10.0, 2.0), (8.0, 1.0), (12.0, 3.0)])
def test_power_cycle_clears_counters_and_only_them(driver, on, off):
    car = driver.car(cured_misfire())
    learned = car.memory().learned_air_mm2
    driver.power_cycle(car, (on,) * 4, (off,) * 4)
    memory = car.memory()
    assert car.entry_outcome == "written"
    assert (memory.misfire_guard, memory.long_trim_idle, memory.integral_mm2) == (False, 0.0, 0.0)
    assert memory.learned_air_mm2 == learned


@pytest.mark.parametrize(
    ("k", "name", "value"),
    [(0, "on", 7.85), (1, "on", 12.15), (2, "on", 12.15), (0, "off", 3.15), (1, "off", 0.85), (2, "off", 3.15)],
)
def test_power_cycle_missed_changes_nothing(driver, k, name, value):
    car = driver.car(cured_misfire())
    before = car.memory()
    lengths = {"on": [10.0] * 3, "off": [2.0] * 3}
    lengths[name][k] = value
    driver.power_cycle(car, **lengths)
    assert car.memory() == before
    assert any("rejected" in text for _, _, text in car.cars.outcomes[0])


def test_power_cycle_leaves_an_old_memory_alone(driver):
    car = driver.car(COUNT)
    before = car.memory()
    driver.power_cycle(car)
    assert car.entry_outcome == "written"
    assert car.memory() == replace(before, long_trim_idle=0.0)


def test_power_cycle_is_spoiled_by_the_pedal(driver):
    car = driver.car(cured_misfire())
    for k in range(3):
        car.do("ignition on")
        car.advance(5.0)
        if k == 2:
            car.do("press")
            car.do("release")
        car.advance(5.0)
        car.do("ignition off")
        car.advance(2.0)
    car.do("ignition on")
    assert car.memory().misfire_guard
    assert car.entry_outcome == "rejected: press after 2 of the cycles"


def test_an_awake_controller_takes_no_short_off_for_an_off(driver):
    spec = cured_misfire(CarSpec(after_run_s=8.0))
    car = driver.car(spec)
    before = car.memory()
    driver.power_cycle(car, (10.0,) * 4, (2.0,) * 4)
    assert car.memory() == before
    assert "still awake" in (car.entry_outcome or "")
    patient = driver.car(spec)
    driver.power_cycle(patient, (10.0,) * 3, (15.0,) * 3)
    assert patient.entry_outcome == "written"
    assert not patient.memory().misfire_guard


def test_stops_come_before_idle_air(driver):
    car = driver.car(CarSpec(bore_extra_area_mm2=-8.0))
    car.disconnect_battery()
    driver.pedal_count(car, driver.Presses())
    assert "throttle stop is not learned" in (car.entry_outcome or "")
    assert car.memory().learned_air_mm2 == pytest.approx(16.87, abs=0.01)
    car.do("ignition off")
    car.advance(11.0)
    driver.pedal_count(car, driver.Presses())
    assert car.entry_outcome == "written"
    assert car.memory().learned_air_mm2 == pytest.approx(24.87, abs=0.01)


@settings(max_examples=200)
@given(st.lists(st.tuples(st.sampled_from(["on", "off", "press", "release", "crank", "running"]), st.floats(0, 12))))
def test_random_edges_never_write_without_five_presses(edges):
    watching, t, presses, writes = _machine(3), 0.0, 0, 0
    for kind, wait in edges:
        t += wait
        said = watching.tick(t) + watching.edge(kind, t)
        presses = 0 if kind == "on" else presses + (kind == "press")
        wrote = sum(a.what == "write" for a in said)
        assert not wrote or presses >= 6
        writes += wrote
    assert watching.due >= t
