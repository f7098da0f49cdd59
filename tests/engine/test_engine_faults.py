"""Faults in the moving model: what a recording, a counter or a hand on the radiator would show."""

from dataclasses import replace

import numpy as np
import pytest

from tickover.engine import CarArrays, Cars, CarSpec, Inputs, SimulatedCar, with_fault
from tickover.engine import parameters as par
from tickover.engine.control import TRIM_IDLE, TRIM_LOAD, TRIM_OFF_IDLE
from tickover.engine.heat import coolant_read
from tickover.engine.misfire import Misfire
from tickover.engine.supply import Metering, blend_factor, delivered, settle


def _running(specs, seconds=12.0, seed=2):
    """A batch, started."""
    cars = Cars(specs, seed=seed)
    inputs = Inputs.idle(len(specs))
    cars.step(inputs, 1.0)
    inputs.crank[:] = True
    cars.step(inputs, seconds)
    return cars


def _speeds(cars, seconds):
    """Speeds at every step [r/min], shape (steps, cars)."""
    return np.array([(cars.step(), cars.plant.speed / par.RPM)[1] for _ in range(round(seconds / par.STEP))])


def test_a_dead_coil_dips_the_speed_once_a_cycle_and_counts():
    cars = _running([CarSpec(), CarSpec(misfire_rate=1.0, misfire_cylinder=2)], 40.0)
    n = _speeds(cars, 10.0)
    sound, dead = n.std(axis=0)
    assert dead > 1.3 * sound
    spectrum = np.abs(np.fft.rfft(n - n.mean(axis=0), axis=0)) ** 2
    hertz = np.fft.rfftfreq(len(n), par.STEP)
    once_a_cycle = n.mean(axis=0) / 120
    power = [spectrum[np.abs(hertz - f) < 0.3, k].sum() for k, f in enumerate(once_a_cycle)]
    assert power[1] > 20 * power[0]
    counts, blocks = cars.plant.misfire.counts, cars.plant.misfire.last_block
    assert counts[0] == 0
    cycles = 50.0 * n[:, 1].mean() / 120
    assert counts[1] == pytest.approx(cycles, rel=0.1)
    assert np.isnan(blocks).all()


def test_counters_count_their_own_cylinder_per_thousand_revolutions(driver):
    car = driver.car(CarSpec(cylinders=4, misfire_rate=0.25, misfire_cylinder=3))
    driver.start(car, 100.0)
    assert car.misfires[2] > 100
    assert sum(car.misfires) == car.misfires[2]
    assert car.misfires_per_1000 == pytest.approx(125, abs=30)
    assert len(car.misfires) == 4


def test_the_power_lost_in_a_cycle_is_the_missed_cylinders():
    """Over whole cycles, in uneven steps across slot borders, the mean power is 1 − 1/n exactly."""
    cars = CarArrays.of([CarSpec(cylinders=c, misfire_cylinder=c, misfire_rate=1.0) for c in (3, 4, 6)])
    misfire, angle, done, power = Misfire(cars), np.zeros(3), 0.0, np.zeros(3)
    rng, cycle = np.random.default_rng(1), 4 * np.pi
    while done < 200 * cycle:
        step = float(rng.uniform(0.3, 5.0))
        end = angle + step
        turned = end >= cycle
        misfire.turn(angle, end, turned, rng.standard_normal(3))
        angle = np.where(turned, end - cycle, end)
        power += misfire.power * step
        done += step
    assert power / done == pytest.approx([2 / 3, 3 / 4, 5 / 6], abs=0.006)


def test_missed_charges_look_lean_to_the_sensor():
    cars = _running([CarSpec(fuel_scale=1.0), CarSpec(fuel_scale=1.0, misfire_rate=1.0)], 60.0)
    lam, sensed = np.array([(cars.step(), cars.plant.lam, cars.plant.sensed)[1:] for _ in range(500)]).mean(axis=0)
    assert sensed == pytest.approx([1, 1], abs=0.01)
    assert lam == pytest.approx([1, 0.85], abs=0.015)


def test_full_pedal_opens_the_loop_and_enriches():
    cars = _running([CarSpec(metering="air", fuel_scale=1.0)], 40.0)
    assert cars.controller.closed[0]
    cars.move_pedal(0, 1.0)
    cars.step(None, 0.3)
    assert not cars.controller.closed[0]
    assert cars.controller.short[0] == 0
    assert cars.plant.lam[0] == pytest.approx(1 / (1 + par.POWER_RICH), abs=0.03)


def test_each_load_has_its_own_cell():
    """A weak pump: the cells of idle, light and hard load learn different trims."""
    spec = CarSpec(fuel_scale=1.0, pump_loss=0.25, coolant_start=90.0)
    cars = _running([spec], 30.0)
    cars.drive(0, 80 / 3.6)
    cars.step(None, 70.0)
    cars.drive(0, 80 / 3.6, uphill=True)
    cars.step(None, 50.0)
    idle, light, hard = (100 * cars.controller.memory[row, 0] for row in (TRIM_IDLE, TRIM_OFF_IDLE, TRIM_LOAD))
    assert abs(idle) < 1.0
    assert 2 < light < 7
    assert hard > light + 4
    car = SimulatedCar(spec)
    assert car.memory().long_trim_load == 0.0


def test_gears_follow_the_road(driver):
    car = driver.car(CarSpec())
    driver.start(car, 12.0)
    assert car.gear == 0
    car.drive(100.0)
    gears, speeds = [], []
    for _ in range(80):
        car.advance(0.5)
        gears.append(car.gear)
        speeds.append(car.engine_speed)
    assert gears[-1] == 5
    assert set(gears) == {0, 1, 2, 3, 4, 5}
    assert np.all(np.diff(gears) >= 0)
    assert car.engine_speed == pytest.approx(2500, abs=20)
    assert max(speeds) < 3200


def test_a_stopped_engine_soaks_and_then_cools():
    """After a drive the coolant rises some kelvin with the engine off, then falls; after an idle hardly at all."""
    cars = _running([CarSpec(coolant_start=88.0), CarSpec(coolant_start=88.0)], 5.0)
    cars.drive(0, 80 / 3.6)
    cars.step(None, 90.0)
    cars.drive(0, 0.0)
    cars.step(None, 40.0)
    assert cars.seat.road[0] == 0
    for k in (0, 1):
        cars.act(k, "ignition off")
    cars.step(None, 2.0)
    assert not cars.turning.any()
    stopped, plant = cars.plant.coolant.copy(), cars.plant
    rows = np.array([(plant.warm(1.0, cars.running), plant.coolant.copy())[1] for _ in range(2400)])
    rise = rows.max(axis=0) - stopped
    assert 2 < rise[0] < 15
    assert rise[1] < 2
    assert 60 < np.argmax(rows[:, 0]) < 600
    assert rows[-1, 0] < stopped[0]


def test_a_thermostat_stuck_shut_boils_and_one_stuck_open_warms_late():
    specs = [
        CarSpec(coolant_start=80.0),
        CarSpec(coolant_start=60.0, thermostat_least=1.0),
        CarSpec(coolant_start=85.0, thermostat_most=0.0),
    ]
    cars = _running(specs, 12.0)
    for k in range(3):
        cars.drive(k, 80 / 3.6)
    cars.step(None, 120.0)
    sound, stuck, shut = cars.plant.coolant - 273.15
    assert 85 < sound < 96
    assert stuck < 72
    assert shut > 100


def test_a_bad_contact_reads_cold_and_comes_and_goes():
    always = CarSpec(coolant_sensor_ohms=300.0, coolant_start=90.0)
    at_times = replace(always, coolant_sensor_bad=0.4)
    cars = _running([always, at_times, CarSpec(coolant_start=90.0)], 5.0)
    rows = np.array([(cars.step(None, 0.2), cars.plant.read - 273.15)[1] for _ in range(300)])
    true = cars.plant.coolant - 273.15
    assert rows[:, 0].max() < 70
    assert rows[-1, 2] == pytest.approx(true[2], abs=1e-9)
    jumps = np.abs(np.diff(rows[:, 1])) > 10
    assert 3 < jumps.sum() < 40
    assert np.mean(rows[:, 1] < 75) == pytest.approx(0.4, abs=0.25)
    assert float(coolant_read(365.15, 0.0)) == pytest.approx(365.15)


def test_a_tired_battery_sags_and_drains():
    new, worn = SimulatedCar(CarSpec()), SimulatedCar(replace(CarSpec(), battery_wear=1.0))
    for car in (new, worn):
        car.do("ignition on")
        car.advance(60.0)
    assert worn.volts < new.volts - 1.0
    spent = [0.85 - float(c.cars.plant.charge[0]) for c in (new, worn)]
    assert spent[1] == pytest.approx(5 * spent[0], rel=0.01)
    for car in (new, worn):
        car.do("crank")
        car.advance(0.3)
    assert new.volts > 9.6 > worn.volts


def test_ethanol_wants_more_fuel_and_late_injectors_too():
    still = Metering(np.ones(1), np.full(1, 22.8e3), np.full(1, 3.2e-3))
    for share, percent in ((0.10, 4.2), (0.85, 49.0)):
        got = settle(CarArrays.of([CarSpec(fuel_scale=1.0, ethanol=share)]), still)
        assert 100 * (got.asked[0] - 1) == pytest.approx(percent, abs=0.1)
    late = CarArrays.of([CarSpec(fuel_scale=1.0, injector_dead_ms=0.2)])
    pulse_ms = 22.8e3 * par.PULSE * 1e3
    assert 100 * (settle(late, still).asked[0] - 1) == pytest.approx(100 * 0.2 / pulse_ms, abs=0.01)
    assert float(blend_factor(np.zeros(1))[0]) == 1.0
    sound = CarArrays.of([CarSpec(fuel_scale=1.0)])
    assert delivered(sound, np.full(1, 1.2), still)[0] == 1.2


def test_a_faulty_car_in_a_batch_is_the_car_alone():
    specs = [
        with_fault("dead coil", 0.5, CarSpec(noise_seed=1)),
        with_fault("weak pump", 0.3, CarSpec(noise_seed=2, metering="air")),
        CarSpec(noise_seed=3, coolant_sensor_ohms=200.0, coolant_sensor_bad=0.5),
        CarSpec(noise_seed=4),
    ]
    together, alone = _running(specs, 20.0, seed=6), [_running([s], 20.0, seed=6) for s in specs]
    for k, one in enumerate(alone):
        for name in ("speed", "pressure", "lam", "sensed", "read", "volts"):
            assert getattr(together.plant, name)[k] == getattr(one.plant, name)[0], (k, name)
        assert np.array_equal(together.controller.memory[:, k], one.controller.memory[:, 0])


def test_what_the_car_reports_is_what_its_sensors_read(driver):
    spec = CarSpec(metering="air", meter_scale=0.8, coolant_sensor_ohms=300.0, coolant_start=90.0)
    car = driver.car(spec)
    driver.start(car, 20.0)
    car.record(0.5)
    car.advance(5.0)
    got = car.recording()
    flow = np.mean(got.series["air_flow"].value)
    assert flow == pytest.approx(0.8e3 * float(car.cars.plant.flow_throttle[0]), rel=0.06)
    assert np.max(got.series["coolant_temperature"].value) < 70 < car.coolant
