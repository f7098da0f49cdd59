"""The car as a machine to sit in: switch, starter, lamp, heat, battery, refusals; and batch against single."""

import numpy as np
import pytest

from tickover.engine import (
    Cars,
    CarSpec,
    Inputs,
    SimulatedCar,
    healthy,
    lost_memory_on_dirty_bore,
    old_memory_on_cleaned_bore,
    with_leak,
)
from tickover.engine import parameters as par
from tickover.engine.cars import OFF, ON
from tickover.errors import OutOfOrderError, SignalRangeError


def test_it_starts_runs_and_stops(driver):
    car = driver.car(CarSpec())
    said = driver.start(car, 20.0)
    assert [k for k, _ in said] == ["running"]
    assert 3.3 < said[0][1] < 4.5
    assert car.running
    assert car.volts == pytest.approx(14.2, abs=0.1)
    car.do("ignition off")
    off = car.now
    said = car.advance(5.0)
    assert [k for k, _ in said] == ["stopped"]
    assert off < said[0][1] < off + 3
    assert car.engine_speed == 0
    assert car.manifold_pressure == pytest.approx(101.3, abs=0.5)


def test_the_starter_is_let_go_when_it_will_not_run(driver):
    car = driver.car(with_leak(6.0, CarSpec(metering="air", displacement_l=1.0)))
    said = driver.start(car, 20.0)
    assert car.engine_speed == 0
    assert said[-1][0] == "stopped"


def test_the_battery_sags_at_key_on_and_under_the_starter(driver):
    car = driver.car(CarSpec())
    rested = car.volts
    car.do("ignition on")
    car.advance(1.0)
    begun = car.volts
    car.advance(60.0)
    assert rested - begun == pytest.approx(0.17, abs=0.05)
    assert 0.15 < begun - car.volts < 0.4
    car.do("crank")
    car.advance(0.4)
    assert 9.6 < car.volts < 11.0
    weak = driver.car(CarSpec(charge=0.2))
    assert weak.volts < 12.1


def test_a_cold_engine_idles_fast_and_warms(driver):
    car = driver.car(CarSpec(coolant_start=20.0))
    driver.start(car, 20.0)
    assert driver.mean_speed(car, 10.0) == pytest.approx(1200, abs=60)
    assert not car.cars.controller.closed[0]
    cold = car.coolant
    car.advance(60.0)
    assert 3 < car.coolant - cold < 15


def test_the_fan_comes_and_goes(driver):
    car = driver.car(CarSpec(coolant_start=93.0))
    driver.start(car, 5.0)
    seen = [(car.advance(1.0), car.fan, car.coolant)[1:] for _ in range(240)]
    fans = np.array([f for f, _ in seen])
    assert np.count_nonzero(np.diff(fans.astype(int)) == 1) >= 2
    assert 87 < min(c for _, c in seen) < max(c for _, c in seen) < 98


def test_the_lamp_test_is_a_lamp_lit_by_itself():
    car = SimulatedCar(CarSpec(lamp_test_s=3.0))
    car.do("ignition on")
    assert car.advance(2.0) == [("lamp lit", 0.0)]
    assert car.advance(2.0) == [("lamp off", 3.0)]


def test_lamp_answers_come_at_their_own_instant_whatever_the_step(driver):
    fine, coarse = driver.car(CarSpec(), seed=9), driver.car(CarSpec(), seed=9)
    instants = []
    for car, slices in ((fine, 3000), (coarse, 1)):
        said = []
        car.do("ignition on")
        car.advance(3.0)
        for _ in range(5):
            car.do("press")
            car.advance(0.5)
            car.do("release")
            car.advance(0.4)
        car.advance(6.6)
        car.do("press")
        for _ in range(slices):
            said += car.advance(30.0 / slices)
        instants.append([(k, round(t, 6)) for k, t in said])
    assert instants[0] == instants[1]
    assert [k for k, _ in instants[0]] == ["lamp flashing", "lamp lit", "lamp off"]


def test_pedal_travel_makes_presses_and_releases_with_hysteresis():
    car = SimulatedCar(CarSpec())
    car.do("ignition on")
    car.advance(3.0)
    for travel in (0.5, 0.89, 0.95, 0.5, 0.11):
        car.pedal(travel)
    with pytest.raises(OutOfOrderError):
        car.do("press")
    car.pedal(0.05)
    with pytest.raises(OutOfOrderError):
        car.do("release")


def test_what_a_driver_cannot_do_is_refused():
    car = SimulatedCar(CarSpec())
    for kind in ("crank", "release", "ignition off", "running", "lamp lit", "end"):
        with pytest.raises(OutOfOrderError):
            car.do(kind)
    car.do("ignition on")
    with pytest.raises(OutOfOrderError):
        car.disconnect_battery()
    with pytest.raises(OutOfOrderError):
        car.recording()
    car.do("crank")
    with pytest.raises(OutOfOrderError):
        car.do("crank")
    with pytest.raises(SignalRangeError):
        car.advance(-1.0)
    with pytest.raises(SignalRangeError):
        car.pedal(1.2)
    car.record()
    with pytest.raises(OutOfOrderError):
        car.record()


@pytest.mark.parametrize(
    "wrong", [{"leak_mm": -1.0}, {"displacement_l": 0.0}, {"charge": 2.0}, {"leak_mm": float("nan")}]
)
def test_a_car_outside_its_ranges_is_refused(wrong):
    with pytest.raises(SignalRangeError):
        CarSpec(**wrong)


def test_a_batch_needs_cars_and_whole_steps():
    with pytest.raises(SignalRangeError):
        Cars([])
    with pytest.raises(SignalRangeError):
        Cars([CarSpec()]).step(dt=0.013)


def test_a_car_in_a_batch_is_the_car_alone():
    specs = [
        healthy(),
        old_memory_on_cleaned_bore(CarSpec(metering="air", noise_seed=1)),
        lost_memory_on_dirty_bore(CarSpec(noise_seed=2)),
        with_leak(2.0, CarSpec(metering="air", displacement_l=1.6, noise_seed=3, coolant_start=30.0)),
    ]
    together, alone = Cars(specs, seed=8), [Cars([s], seed=8) for s in specs]
    traces = []
    for batch in (together, *alone):
        n = len(batch)
        held = Inputs.idle(n)
        batch.step(held, 3.0)
        held.crank[:] = True
        batch.step(held, 20.0)
        held.pedal[:] = 1.0
        batch.step(held, 1.0)
        held.pedal[:] = 0.0
        batch.step(held, 12.0)
        traces.append((batch.plant.speed, batch.plant.pressure, *batch.controller.memory, batch.plant.lam))
    assert np.array_equal(np.array(traces[0]), np.hstack([np.array(t) for t in traces[1:]]))


def test_a_batch_takes_the_same_entry_as_one_car():
    """Edges on the model's grid, held as inputs: three cycles clear the counters of one, not of the other."""
    cars = Cars([CarSpec(misfire_guard=1.0), CarSpec(misfire_guard=1.0, noise_seed=1)])
    held = Inputs.idle(2, OFF)
    cars.step(held, 1.0)
    for _ in range(3):
        held.ignition = np.array([ON, ON])
        cars.step(held, 6.0)
        held.ignition = np.array([ON, OFF])
        cars.step(held, 4.0)
        held.ignition = np.array([OFF, OFF])
        cars.step(held, 2.0)
    held.ignition = np.array([ON, ON])
    cars.step(held, 1.0)
    assert [o[-1][2] for o in cars.outcomes] == ["written", "rejected: ignition was on 6.00 s, wanted 8 to 12 s"]


def test_equal_seeds_are_twins_and_others_are_not():
    a, b, c = (SimulatedCar(CarSpec(noise_seed=k), seed=s) for k, s in ((0, 1), (0, 1), (5, 1)))
    for car in (a, b, c):
        car.do("ignition on")
        car.do("crank")
        car.advance(8.0)
    assert a.engine_speed == b.engine_speed
    assert a.engine_speed != c.engine_speed


def test_pressure_never_passes_outside_and_speed_never_falls_below_rest():
    rng = np.random.default_rng(1)
    cars = Cars([CarSpec(noise_seed=k, displacement_l=1.0 + k / 4) for k in range(12)])
    held = Inputs.idle(12)
    held.crank[:] = True
    cars.step(held, 3.0)
    for _ in range(400):
        held.pedal[:] = rng.choice([0.0, 0.1, 0.4, 1.0], 12)
        cars.step(held, 0.04)
        assert np.all(cars.plant.pressure <= par.AMBIENT_PRESSURE)
        assert np.all(cars.plant.pressure > 7e3)
        assert np.all((cars.plant.speed >= 0) & (cars.plant.speed < 4600 * par.RPM))
