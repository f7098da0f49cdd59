"""The thirteen families on the car each heals: performed right the stated effect, with one step wrong none."""

from dataclasses import replace

import numpy as np
import pytest

from tickover.engine import ENTRIES, STORIES, Cars, CarSpec, Inputs, SimulatedCar, car_for
from tickover.engine import parameters as par
from tickover.engine.cars import OFF, ON
from tickover.engine.watch import machine
from tickover.errors import OutOfOrderError, SignalRangeError

NEW = 16.87
"""Learned air of the default engine with a clean bore [mm²]."""


def _key(car, *times):
    """Ignition on, off, on … for so long each."""
    for k, seconds in enumerate(times):
        car.do("ignition off" if k % 2 else "ignition on")
        car.advance(seconds)


def _start(car, seconds=0.0):
    car.do("crank")
    began = car.now
    while not car.running and car.now < began + 8:
        car.advance(0.02)
    if seconds:
        car.advance(seconds)


def _presses(car, first, downs, gap, crank):
    car.do("ignition on")
    car.advance(first)
    for k, down in enumerate(downs):
        car.do("press")
        car.advance(down)
        car.do("release")
        car.advance(gap if k + 1 < len(downs) else crank)
    _start(car)


SHORT = {
    "slow-presses": (lambda car, **w: _presses(car, **{"first": 3, "downs": (2, 2), "gap": 2, "crank": 10} | w)),
    "double-hold": (lambda car, **w: _presses(car, **{"first": 3, "downs": (10, 10), "gap": 5, "crank": 2} | w)),
    "key-on-rest": (lambda car, t=(30, 15, 30, 15, 30, 15): _key(car, *t)),
    "pedal-rest": (lambda car, t=(3, 11, 3, 11): _key(car, *t)),
    "throttle-stop": (lambda car, t=(3, 11): _key(car, *t)),
}
INSIDE = [
    *(("slow-presses", w) for w in ({}, {"first": 2}, {"first": 4}, {"downs": (1, 3)}, {"gap": 1}, {"gap": 3})),
    *(("slow-presses", w) for w in ({"crank": 8}, {"crank": 12})),
    *(("double-hold", w) for w in ({}, {"first": 4}, {"downs": (8, 12)}, {"gap": 2}, {"gap": 8}, {"crank": 1})),
    *(("key-on-rest", {"t": t}) for t in ((30, 15, 30, 15, 30, 15), (26, 12, 40, 20, 26, 12))),
    *(("pedal-rest", {"t": t}) for t in ((2, 10, 2, 10), (20, 30, 10, 10))),
    *(("throttle-stop", {"t": t}) for t in ((2, 10), (20, 30))),
]
OUTSIDE = [
    *(("slow-presses", w) for w in ({"first": 4.15}, {"downs": (0.85, 2)}, {"downs": (2, 3.15)}, {"gap": 0.85})),
    *(("slow-presses", w) for w in ({"crank": 7.85}, {"crank": 12.15}, {"downs": (2,)}, {"downs": (2, 2, 2)})),
    *(("double-hold", w) for w in ({"first": 1.85}, {"downs": (7.85, 10)}, {"downs": (10, 12.15)}, {"gap": 8.15})),
    *(("double-hold", w) for w in ({"gap": 1.85}, {"crank": 0.85}, {"crank": 3.15}, {"downs": (10,)})),
    *(("key-on-rest", {"t": t}) for t in ((25.8, 15, 30, 15, 30, 15), (30, 11.8, 30, 15, 30, 15))),
    *(("key-on-rest", {"t": t}) for t in ((30, 15, 40.2, 15, 30, 15), (30, 15, 30, 20.2, 30, 15))),
    *(("key-on-rest", {"t": t}) for t in ((30, 15, 30, 15, 30, 11.8), (30, 15, 30, 15))),
    *(("pedal-rest", {"t": t}) for t in ((1.85, 11, 3, 11), (3, 9.8, 3, 11), (3, 11, 3, 9.8), (3, 11))),
    *(("throttle-stop", {"t": t}) for t in ((1.85, 11), (3, 9.8))),
]


def _healed(family, car):
    m = car.memory()
    if family == "key-on-rest" or family == "throttle-stop":
        return m.throttle_stop is not None
    if family == "pedal-rest":
        return m.pedal_rest is not None
    right = m.learned_air_mm2 == pytest.approx(NEW, abs=0.01)
    return right and m.floor_mm2 == pytest.approx(m.learned_air_mm2 - 4)


@pytest.mark.parametrize(("family", "way"), INSIDE)
def test_inside_every_window_it_is_written(family, way):
    car = SimulatedCar(car_for(family))
    assert not _healed(family, car)
    SHORT[family](car, **way)
    assert _healed(family, car)
    assert car.entry_outcome == "written"


@pytest.mark.parametrize(("family", "way"), OUTSIDE)
def test_outside_one_window_nothing_is(family, way):
    car = SimulatedCar(car_for(family))
    before = car.memory()
    SHORT[family](car, **way)
    if car.ignition == "off":
        car.do("ignition on")
        car.advance(1.0)
    assert car.memory() == before


@pytest.mark.parametrize("family", sorted(SHORT))
def test_the_idle_is_high_before_and_settles_after(driver, family):
    lost, healed = SimulatedCar(car_for(family)), SimulatedCar(car_for(family))
    driver.start(lost, 15.0)
    assert driver.mean_speed(lost, 5.0) > 850
    SHORT[family](healed)
    if not healed.running:
        if healed.ignition == "on":
            healed.do("ignition off")
            healed.advance(1)
        driver.start(healed, 0.0)
    healed.advance(20.0)
    assert driver.mean_speed(healed, 10.0) == pytest.approx(750, abs=20)


def test_a_key_rest_is_spoiled_by_the_pedal_and_the_start():
    for spoil in ("press", "crank"):
        car = SimulatedCar(car_for("throttle-stop"))
        car.do("ignition on")
        car.advance(3.0)
        car.do(spoil)
        if spoil == "press":
            car.do("release")
        car.advance(3.0)
        car.do("ignition off")
        car.advance(15.0)
        assert car.memory().throttle_stop is None
        assert "rejected" in (car.entry_outcome or "")


@pytest.mark.parametrize(("family", "way"), [("key-on-rest", (30, 15) * 3), ("pedal-rest", (3, 11) * 2)])
def test_ordinary_starts_after_a_written_rest_are_no_broken_try(driver, family, way):
    """Found in use: the second start after a written learning logged "rejected: the engine was started"."""
    car = SimulatedCar(car_for(family))
    _key(car, *way)
    assert car.entry_outcome == "written"
    for _ in range(3):
        driver.start(car, 5.0)
        car.do("press")
        car.do("release")
        car.do("ignition off")
        car.advance(1.0)
        _key(car, 1.0, 25.0)
    assert [text for _, _, text in car.outcomes] == ["written"]
    _key(car, *way[:2])
    driver.start(car, 5.0)
    assert "engine was started" in (car.entry_outcome or "")


def test_the_order_is_rest_then_stop_then_idle_air():
    families = ("pedal-rest", "throttle-stop", "pedal-hold")
    spec = replace(STORIES["pedal-hold"](None), rest_learned=False, stop_learned=False)
    car = SimulatedCar(replace(spec, entries=tuple(ENTRIES[f] for f in families)))

    def hold():
        _presses(car, 3, (30,), 0, 2)
        car.do("ignition off")
        car.advance(5.0)

    _key(car, 3, 11)
    assert "pedal rest is not learned" in (car.entry_outcome or "")
    hold()
    assert "pedal rest is not learned" in (car.entry_outcome or "")
    _key(car, 3, 11, 3, 9)
    _key(car, 3, 11, 3, 11)
    assert car.memory().pedal_rest is not None
    assert car.memory().throttle_stop is not None
    assert not _healed("pedal-hold", car)
    hold()
    assert _healed("pedal-hold", car)


# --- with the engine running, on the car ------------------------------------------------------------------------


def _run(car, seconds):
    car.do("ignition on")
    car.advance(3.0)
    _start(car, seconds)


@pytest.mark.soak
def test_run_in_idle_teaches_idle_air_and_loads():
    car = SimulatedCar(car_for("run-in-idle"))
    before = car.memory()
    _run(car, 60.0)
    assert car.engine_speed > 900
    car.advance(540.0)
    for load in ("blower", "lights", "compressor"):
        car.do("load on", load)
        car.advance(90.0)
        car.do("load off", load)
        car.advance(10.0)
    car.do("ignition off")
    after = car.memory()
    assert car.entry_outcome == "written"
    assert after.learned_air_mm2 == pytest.approx(NEW, abs=0.5)
    assert after.compressor_air_mm2 > 3 * before.compressor_air_mm2


@pytest.mark.soak
def test_a_run_in_idle_broken_off_puts_the_old_values_back():
    car = SimulatedCar(car_for("run-in-idle"))
    before = car.memory()
    _run(car, 560.0)
    assert car.memory().learned_air_mm2 < before.learned_air_mm2 - 7
    car.do("load on", "lights")
    car.advance(5.0)
    car.do("load off", "lights")
    car.advance(1.0)
    assert car.memory().learned_air_mm2 == pytest.approx(before.learned_air_mm2, abs=0.02)
    assert "load on 5.00 s" in (car.entry_outcome or "")


def test_fast_run_in_heats_to_the_fan_and_waits_for_it():
    car = SimulatedCar(car_for("fast-run-in"))
    _run(car, 2.0)
    car.hold_speed(3000)
    began, said = car.now, []
    while not any(kind == "fan on" for kind, _ in said) and car.now < began + 600:
        said += car.advance(0.2)
    assert 60 < car.now - began < 300
    assert car.engine_speed == pytest.approx(3000, abs=60)
    assert car.coolant == pytest.approx(96, abs=0.5)
    car.hold_speed(None)
    idle = car.now
    while car.entry_outcome is None and car.now < idle + 900:
        said += car.advance(1.0)
    fans = sum(car.now - idle if k == "fan off" else 0 for k, _ in said)
    assert fans > 0
    assert car.entry_outcome == "written"
    assert car.now - idle > 340
    assert _healed("fast-run-in", car)


@pytest.mark.soak
@pytest.mark.parametrize(("dirt", "rounds"), [(8.0, 1), (12.0, 2)])
def test_rest_and_idle_again_where_once_was_not_enough(dirt, rounds):
    car = SimulatedCar(replace(car_for("rest-and-idle"), bore_extra_area_mm2=-dirt))
    _run(car, 175.0)
    for wanted in (NEW + 5, NEW + 10)[:rounds]:
        car.do("ignition off")
        car.advance(60.0)
        _run(car, 175.0)
        assert car.memory().learned_air_mm2 == pytest.approx(wanted, abs=0.6)
    car.advance(20.0)
    assert car.engine_speed == pytest.approx(750, abs=30)


def test_loads_in_turn_hold_the_idle_in_gear(driver):
    lows = []
    for perform in (False, True):
        car = SimulatedCar(car_for("loads-in-turn"))
        if perform:
            _key(car, 5, 15, 5, 15)
            _run(car, 20.0)
            car.do("load on")
            car.advance(10.0)
            car.do("brake press")
            car.do("gear drive")
            car.advance(10.0)
            car.do("load off")
            car.advance(10.0)
            car.do("gear neutral")
            car.do("brake release")
            car.do("ignition off")
            assert car.entry_outcome == "written"
            car.advance(10.0)
        _run(car, 20.0)
        car.do("load on")
        car.do("brake press")
        car.do("gear drive")
        car.advance(10.0)
        lows.append(driver.mean_speed(car, 10.0))
    assert lows[0] < 690
    assert lows[1] == pytest.approx(750, abs=25)


@pytest.mark.soak
def test_drive_in_is_learned_on_the_road():
    car = SimulatedCar(car_for("drive-in"))
    _run(car, 180.0)
    car.do("ignition off")
    car.advance(60.0)
    _run(car, 180.0)
    assert car.entry_outcome is None
    for _ in range(3):
        car.drive(95)
        car.advance(55.0)
        car.drive(72)
        car.advance(15.0)
    assert car.road_speed == pytest.approx(85, abs=15)
    car.drive(0)
    car.advance(90.0)
    assert car.road_speed == 0
    assert car.entry_outcome == "written"
    assert car.memory().learned_air_mm2 == pytest.approx(NEW, abs=0.5)


def test_every_family_has_a_story_and_a_machine():
    assert set(STORIES) == set(ENTRIES)
    assert len(ENTRIES) == 13
    for family, entry in ENTRIES.items():
        assert car_for(family).entries == (entry,)
        assert machine(entry, 0.0, np.random.default_rng(0)).name == entry.name


@pytest.mark.soak
def test_a_batch_takes_held_inputs_as_a_car_does_acts():
    """Brake, gear, compressor, held and road speed as inputs, for three cars at once and each alone."""
    specs = [replace(car_for(f), noise_seed=k) for k, f in enumerate(("loads-in-turn", "drive-in", "throttle-stop"))]
    traces = []
    for batch in (Cars(specs, 4), *(Cars([s], 4) for s in specs)):
        n = len(batch)
        held = Inputs.idle(n, OFF)
        batch.step(held, 0.2)
        held.ignition = np.full(n, ON)
        held.crank[:] = True
        batch.step(held, 4.0)
        held.hold = np.full(n, 2500 * par.RPM)
        batch.step(held, 8.0)
        assert batch.plant.speed == pytest.approx(2500 * par.RPM, rel=0.03)
        held.hold = np.full(n, np.nan)
        batch.step(held, 5.0)
        held.brake = held.drive_gear = held.compressor = np.ones(n, dtype=bool)
        batch.step(held, 5.0)
        held.drive_gear = held.compressor = np.zeros(n, dtype=bool)
        batch.step(held, 2.0)
        held.brake = np.zeros(n, dtype=bool)
        held.road = np.full(n, 80 / 3.6)
        batch.step(held, 30.0)
        assert batch.seat.road * 3.6 == pytest.approx(80.0)
        traces.append((batch.plant.speed, batch.plant.coolant, batch.seat.road, *batch.controller.memory))
    assert np.array_equal(np.array(traces[0]), np.hstack([np.array(t) for t in traces[1:]]))


# --- loads, gear, speeds -----------------------------------------------------------------------------------------


def test_loads_raise_or_hold_the_idle_within_trade_ranges(driver):
    """Compressor a little up, gear a little down, electric loads held; manifold pressure rises with each."""
    car = SimulatedCar(CarSpec())
    _run(car, 30.0)
    free = car.manifold_pressure
    car.do("load on")
    car.advance(5.0)
    assert driver.mean_speed(car, 5.0) == pytest.approx(800, abs=20)
    assert 2 < car.manifold_pressure - free < 12
    car.do("load off")
    car.do("brake press")
    car.do("gear drive")
    car.advance(5.0)
    assert driver.mean_speed(car, 5.0) == pytest.approx(700, abs=20)
    car.do("gear neutral")
    for load in ("blower", "lights"):
        car.do("load on", load)
    car.advance(8.0)
    assert driver.mean_speed(car, 5.0) == pytest.approx(750, abs=20)
    assert car.manifold_pressure > free + 1.2  # the alternator is capped at 11 N m


def test_a_coast_cuts_the_fuel_and_a_drive_is_recorded():
    car = SimulatedCar(CarSpec())
    _run(car, 5.0)
    car.record(0.2, 0.0, ["vehicle_speed", "engine_speed", "fuel_system_status", "pedal_d"])
    car.do("drive")
    car.advance(40.0)
    assert car.road_speed == pytest.approx(80)
    assert 1600 < car.engine_speed < 2400
    with pytest.raises(OutOfOrderError):
        car.do("ignition off")
    car.do("coast")
    car.advance(6.0)
    assert 60 < car.road_speed < 75
    car.do("stand")
    car.advance(20.0)
    assert car.road_speed == 0
    assert car.running
    recording = car.recording()
    assert recording["vehicle_speed"].value.max() == 80
    assert 4 in recording["fuel_system_status"].value


def test_a_car_in_gear_creeps_when_the_brake_is_let_go():
    car = SimulatedCar(CarSpec())
    _run(car, 5.0)
    car.do("brake press")
    car.do("gear drive")
    car.do("brake release")
    car.advance(6.0)
    assert car.road_speed == pytest.approx(6)
    car.do("brake press")
    car.advance(3.0)
    assert car.road_speed == 0
    assert car.running


def test_what_hands_and_feet_cannot_do_is_refused():
    car, manual = SimulatedCar(CarSpec()), SimulatedCar(CarSpec(gearbox="manual"))
    for doing in ("hold speed", "drive", "brake release", "gear neutral", "load off", "gear drive"):
        with pytest.raises(OutOfOrderError):
            car.do(doing)
    manual.do("brake press")
    with pytest.raises(OutOfOrderError):
        manual.do("gear drive")
    with pytest.raises(OutOfOrderError):
        car.do("load on", "kettle")
    car.do("brake press")
    car.do("ignition on")
    car.do("gear drive")
    with pytest.raises(OutOfOrderError):
        car.do("crank")
    car.do("gear neutral")
    car.do("crank")
    car.advance(3.0)
    with pytest.raises(SignalRangeError):
        car.hold_speed(500.0)
    with pytest.raises(SignalRangeError):
        car.drive(300.0)
    with pytest.raises(OutOfOrderError):
        car.drive(20.0)
