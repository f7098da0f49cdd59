"""The steady prediction: the same as the moving model's long run, and what the trade knows of trims."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tickover.engine import (
    FAULTS,
    POINTS,
    CarArrays,
    Cars,
    CarSpec,
    Inputs,
    OperatingPoint,
    key_on_volts,
    lost_memory_on_dirty_bore,
    old_memory_on_cleaned_bore,
    population,
    predict,
    with_fault,
    with_leak,
)
from tickover.engine import parameters as par
from tickover.engine.heat import coolant_read
from tickover.engine.road import crank_at
from tickover.engine.steady import engine_flow, needed_area
from tickover.errors import SignalRangeError

AIR, PRESSURE = CarSpec(metering="air", fuel_scale=1.0), CarSpec(metering="pressure", fuel_scale=1.0)
IDLE, LOADED, HELD, CRUISE, HARD = (POINTS[p] for p in ("idle", "idle with load", "2500", "cruise", "hard load"))

PANEL = {
    "sound": CarSpec(metering="air"),
    "leak, metered by air": CarSpec(metering="air", leak_mm=2.0),
    "leak, metered by pressure": CarSpec(leak_mm=2.0),
    "large leak": CarSpec(leak_mm=3.5),
    "old memory": old_memory_on_cleaned_bore(CarSpec(metering="air")),
    "lost memory": lost_memory_on_dirty_bore(CarSpec(displacement_l=2.4, cylinders=6)),
    "meter": CarSpec(metering="air", meter_scale=0.85, displacement_l=1.4),
    "pump": CarSpec(pump_loss=0.15),
    "injectors": CarSpec(metering="air", injector_dead_ms=0.25),
    "coil": CarSpec(misfire_rate=1.0, misfire_cylinder=3, displacement_l=3.0, cylinders=6),
    "blend": CarSpec(ethanol=0.4, displacement_l=1.2, cylinders=3),
    "contact": CarSpec(metering="air", coolant_sensor_ohms=120.0),
    "guard": CarSpec(metering="air", misfire_guard=1.0, long_trim_idle=0.08),
    "rubbing": CarSpec(rubbing=1.3),
}


class Stepped:
    """Every car of the panel at every point in one batch, stepped until settled; means over the last half minute."""

    SETTLE, READ = 130.0, 30.0

    def __init__(self):
        self.keys = [(name, point) for point in POINTS for name in PANEL]
        specs = [replace(PANEL[name], coolant_start=90.0, noise_seed=k % 17) for k, (name, _) in enumerate(self.keys)]
        cars = Cars(specs, seed=4)
        inputs = Inputs.idle(len(specs))
        cars.step(inputs, 1.0)
        inputs.crank[:] = True
        cars.step(inputs, 12.0)
        for k, (_, point) in enumerate(self.keys):
            self._go(cars, k, POINTS[point])
        cars.step(None, self.SETTLE)
        rows = []
        for _ in range(round(self.READ / 0.1)):
            cars.step(None, 0.1)
            plant, control = cars.plant, cars.controller
            trim = 100 * (control.short + control.long(cars.shut))
            rows.append(
                (
                    plant.speed / par.RPM,
                    plant.pressure / 1e3,
                    trim,
                    1e3 * plant.metered,
                    plant.lam,
                    control.command / par.MM2,
                    par.FAN_LOAD * plant.fan,
                )
            )
        self.mean = dict(zip(self.keys, np.array(rows).mean(axis=0).T, strict=True))

    @staticmethod
    def _go(cars, k, point):
        if point.held is not None:
            cars.hold(k, point.held * par.RPM)
        elif point.road:
            cars.drive(k, point.road / 3.6, uphill=point.uphill)
        if point.compressor:
            cars.act(k, "load on")
            cars.act(k, "load on", load="blower")


@pytest.fixture(scope="module")
def stepped():
    return Stepped()


@pytest.mark.parametrize("name", PANEL)
@pytest.mark.parametrize("point", POINTS)
def test_what_is_predicted_is_what_the_moving_model_settles_at(stepped, name, point):
    speed, pressure, trim, metered, lam, idle_air, fan = stepped.mean[name, point]
    wanted = POINTS[point]
    wanted = replace(wanted, electric=wanted.electric + fan)
    got = predict(CarArrays.of([PANEL[name]]), wanted)
    assert not got.stalls[0]
    held = not wanted.idles or abs(got.authority[0]) < 0.999
    assert speed == pytest.approx(got.speed[0], abs=6 if held else 16)
    assert pressure == pytest.approx(got.manifold_pressure[0], abs=0.6)
    assert trim == pytest.approx(got.trim[0], abs=0.6)
    assert lam == pytest.approx(got.lam[0], abs=0.012)
    if PANEL[name].metering == "air":
        assert metered == pytest.approx(got.air_flow[0], rel=0.02)
    else:
        assert np.isnan(got.air_flow[0])
    if wanted.idles:
        assert idle_air == pytest.approx(got.idle_air[0], abs=0.4)


def test_on_a_pressure_engine_two_millimetres_are_absorbed_and_four_raise_the_idle():
    got = predict(CarArrays.grid(PRESSURE, leak_mm=[0.0, 2.0, 4.0]), IDLE)
    assert got.trim == pytest.approx([0, 0, 0], abs=0.05)
    assert got.speed[:2] == pytest.approx([750, 750], abs=1)
    assert got.idle_air[0] - got.idle_air[1] == pytest.approx(np.pi, abs=0.05)
    assert got.speed[2] > 1150
    assert list(got.air_spent_down) == [False, False, True]
    assert got.authority[2] == pytest.approx(-1.0, abs=1e-4)


def test_the_floor_bounds_what_slow_learning_gives_back():
    """A hole between authority (3 mm²) and floor (4 mm²) is learned away, one just beyond the floor is not."""
    areas = np.array([2.5, 3.6, 4.1])
    got = predict(CarArrays.grid(PRESSURE, leak_mm=np.sqrt(4 * areas / np.pi)), IDLE)
    assert got.speed[:2] == pytest.approx([750, 750], abs=1)
    assert 753 < got.speed[2] < 760
    assert list(got.at_floor) == [False, False, True]
    assert got.idle_correction == pytest.approx([-2.5, -3.6, -4.0], abs=0.05)


def test_a_dirty_bore_is_learned_only_from_nearby():
    bores = np.array([-2.5, -3.5, -8.0])
    got = predict(CarArrays.grid(PRESSURE, bore_extra_area_mm2=bores, memory_bore_mm2=0.0), IDLE)
    assert got.speed[:2] == pytest.approx([750, 750], abs=1)
    assert got.speed[2] < 560
    assert list(got.air_spent_up) == [False, False, True]
    assert got.idle_correction == pytest.approx([2.5, 3.5, 3.0], abs=0.05)


@settings(max_examples=6, deadline=None)
@given(st.floats(5, 33), st.floats(1.0, 3.5), st.floats(620, 850))
def test_air_meter_and_fuel_error_cannot_be_told_apart_by_trims(percent, litres, target):
    spec = replace(AIR, displacement_l=litres, target_speed=target)
    meter = CarArrays.of([with_fault("air meter", percent, spec)])
    fuel = CarArrays.of([with_fault("fuel error", percent, spec)])
    for point in POINTS.values():
        a, b = predict(meter, point), predict(fuel, point)
        assert a.trim == pytest.approx(b.trim, abs=1e-6)
        assert a.air_flow == pytest.approx(b.air_flow * (1 - percent / 100), rel=1e-6)


def test_the_shapes_of_the_faults_over_the_points():
    """Leak: lean at idle, less with flow. Pump: the other way about. Injectors: by charge, so idle and 2,500 alike."""
    trims = {
        name: np.array([predict(CarArrays.of([with_fault(name, severity, AIR)]), p).trim[0] for p in POINTS.values()])
        for name, severity in (("leak", 2.0), ("weak pump", 0.2), ("injector dead time", 0.2), ("air meter", 15.0))
    }
    idle, loaded, held, cruise, hard = trims["leak"]
    assert idle > 20
    assert 0 < hard < cruise < held < loaded < idle
    idle, loaded, held, cruise, hard = trims["weak pump"]
    assert idle < 0.5
    assert idle <= loaded < held < cruise < hard
    assert hard > 8
    idle, loaded, held, cruise, hard = trims["injector dead time"]
    assert held == pytest.approx(idle, abs=1.5)
    assert hard < cruise < 0.6 * idle
    assert trims["air meter"] == pytest.approx(np.full(5, 100 / 0.85 - 100), abs=0.01)


def test_spent_trims_say_at_least():
    got = predict(CarArrays.grid(AIR, fuel_scale=[1.0, 0.85, 0.75, 0.6], meter_scale=1.0), HELD)
    assert list(got.long_spent) == [False, False, True, True]
    assert list(got.lean_spent) == [False, False, False, True]
    assert got.long_trim == pytest.approx([0, 17.65, 25, 25], abs=0.01)
    assert got.short_trim == pytest.approx([0, 0, 8.33, 25], abs=0.01)
    assert got.lam == pytest.approx([1, 1, 1, 1 / 0.9], abs=1e-4)
    rich = predict(CarArrays.grid(AIR, meter_scale=[1.2, 1.5], fuel_scale=1.5), HELD)
    assert list(rich.rich_spent) == [False, True]
    assert rich.lam[1] == pytest.approx(1 / (1.5 * 1.5 * 0.5), abs=1e-4)


def test_a_dead_coil_runs_rich_to_please_the_sensor():
    got = predict(CarArrays.grid(AIR, misfire_rate=[0.0, 1.0], cylinders=4.0), HELD)
    assert got.trim == pytest.approx([0, 17.65], abs=0.05)
    assert got.lam == pytest.approx([1, 0.85], abs=1e-3)
    assert got.misfires == pytest.approx([0, 500])
    assert got.manifold_pressure[1] > got.manifold_pressure[0] + 5


def test_a_bad_contact_raises_the_idle_and_a_stuck_thermostat_cools_the_road():
    contact = predict(CarArrays.grid(PRESSURE, coolant_sensor_ohms=[0.0, 40.0, 300.0]), IDLE)
    assert contact.coolant == pytest.approx([92.5, 86.2, 63.1], abs=0.5)
    assert contact.speed[1] == pytest.approx(750, abs=1)
    assert contact.speed[2] > 820
    stuck = predict(CarArrays.grid(PRESSURE, thermostat_least=[0.0, 1.0]), CRUISE)
    assert stuck.coolant[0] > 86
    assert stuck.coolant[1] < 70


def test_no_torque_left_is_said():
    got = predict(CarArrays.grid(AIR, misfire_rate=[0.0, 1.0], displacement_l=1.0), HARD)
    assert list(got.out_of_breath) == [False, True]
    stall = predict(CarArrays.grid(PRESSURE, bore_extra_area_mm2=-12.0, memory_bore_mm2=0.0, rubbing=1.5), IDLE)
    assert bool(stall.stalls)
    assert np.isnan(stall.speed)
    assert np.isnan(stall.trim)
    assert not stall.lean_spent
    fast = predict(CarArrays.of([with_leak(7.0)]), IDLE)
    assert fast.surges[0]


def test_unlearned_rest_and_stop_stand_high():
    from_stories = {
        "stop": replace(PRESSURE, stop_learned=False, stop_error_mm2=6.0),
        "rest": replace(PRESSURE, rest_learned=False, rest_error=0.03),
    }
    assert predict(CarArrays.of(list(from_stories.values())), IDLE).speed == pytest.approx([750, 750], abs=1)
    cars = CarArrays.grid(PRESSURE, stop_unlearned=[True, False], rest_unlearned=[False, True], stop_error_mm2=6.0)
    cars = replace(cars, rest_error=np.array([0.0, 0.03]))
    assert np.all(predict(cars, IDLE).speed > 850)


def test_a_grid_is_its_cars_one_by_one():
    mm, scale = np.array([0.0, 2.5])[:, None], np.array([0.7, 1.0, 1.1])
    whole = predict(CarArrays.grid(AIR, leak_mm=mm, meter_scale=scale), IDLE)
    assert whole.trim.shape == (2, 3)
    for i in range(2):
        for j in range(3):
            one = predict(CarArrays.of([replace(AIR, leak_mm=float(mm[i, 0]), meter_scale=scale[j])]), IDLE)
            np.testing.assert_array_equal(one.trim[0], whole.trim[i, j])
            np.testing.assert_array_equal(one.speed[0], whole.speed[i, j])


def test_a_varied_bore_takes_its_memory_along_unless_the_spec_has_one():
    assert CarArrays.grid(CarSpec(), bore_extra_area_mm2=[-6.0, 2.0]).memory_bore_mm2 == pytest.approx([-6, 2])
    stale = CarArrays.grid(CarSpec(memory_from_bore_mm2=-8.0), bore_extra_area_mm2=[-6.0, 2.0])
    assert stale.memory_bore_mm2 == pytest.approx([-8, -8])


def test_nonsense_is_refused():
    with pytest.raises(SignalRangeError) as caught:
        CarArrays.grid(CarSpec(), leak_mm=[0.0, 9.0])
    assert (caught.value.name, caught.value.index) == ("leak_mm", 1)
    with pytest.raises(TypeError, match="leak_mm"):
        CarArrays.grid(CarSpec(), leek_mm=1.0)
    with pytest.raises(SignalRangeError):
        CarArrays.of([])
    with pytest.raises(SignalRangeError):
        with_fault("air meter", 15.0, CarSpec(metering="pressure"))
    with pytest.raises(KeyError):
        with_fault("gremlins", 1.0)
    with pytest.raises(SignalRangeError):
        CarSpec(cylinders=3, misfire_cylinder=4)
    with pytest.raises(SignalRangeError):
        CarSpec(thermostat_least=0.5, thermostat_most=0.2)
    with pytest.raises(SignalRangeError):
        population(3, np.random.default_rng(1), {"leak": 0.7, "fuel error": 0.7})


def test_key_on_volts_are_the_moving_models(driver):
    for wear in (0.0, 0.8):
        spec = with_fault("tired battery", wear)
        car = driver.car(spec)
        car.do("ignition on")
        for seconds in (10.0, 60.0):
            car.advance(seconds - car.now)
            assert car.volts == pytest.approx(float(key_on_volts(CarArrays.of([spec]), seconds)[0]), abs=0.03)
        car.do("crank")
        car.advance(0.3)
        cranking = float(key_on_volts(CarArrays.of([spec]), 60.3, cranking=True)[0])
        assert car.volts == pytest.approx(cranking, abs=0.25)


def test_populations_are_drawn_as_asked():
    rates = {"leak": 0.3, "air meter": 0.2, "old memory": 0.2}
    drawn, again = (population(600, np.random.default_rng(3), rates) for _ in range(2))
    assert drawn == again
    assert [d.spec.noise_seed for d in drawn] == list(range(600))
    share = {name: np.mean([d.fault == name for d in drawn]) for name in rates}
    assert share["leak"] == pytest.approx(0.3, abs=0.06)
    assert share["air meter"] == pytest.approx(0.1, abs=0.04)
    assert {d.spec.metering for d in drawn if d.fault == "air meter"} == {"air"}
    for d in drawn:
        if d.fault is not None:
            assert FAULTS[d.fault].least <= d.severity <= FAULTS[d.fault].most
    leaks = [d for d in drawn if d.fault == "leak"]
    assert all(d.spec.leak_mm == d.severity for d in leaks)
    assert len({d.spec.metering for d in population(40, np.random.default_rng(1), metering="air")}) == 1


@pytest.mark.parametrize("name", FAULTS)
def test_every_fault_shows_somewhere(name):
    """At its largest each fault moves at least one figure that a technician can get, by more than two healthy cars."""
    fault = FAULTS[name]
    spec = CarSpec(metering=fault.only or "pressure")
    cars = CarArrays.of([spec, with_fault(name, fault.most, spec)])
    seen = []
    for point in (IDLE, LOADED, HELD, CRUISE, HARD, OperatingPoint("in gear", geared=True)):
        got = predict(cars, point)
        for figure, least in (("trim", 8.0), ("speed", 60.0), ("idle_air", 1.5), ("coolant", 10.0), ("misfires", 50.0)):
            values = getattr(got, figure)
            seen.append(bool(abs(values[1] - values[0]) > least) or bool(got.stalls[1]))
    volts = key_on_volts(cars, 60.0)
    seen.append(bool(volts[0] - volts[1] > 0.4))
    assert any(seen)


def test_the_examples_in_the_docstrings():
    assert float(coolant_read(365.15, 200.0)) - 273.15 == pytest.approx(69.8, abs=0.05)
    assert predict(CarArrays.grid(CarSpec(metering="air"), leak_mm=[0, 2]), IDLE).trim == pytest.approx(
        [-1.5, 21.1], abs=0.05
    )
    volts = [float(key_on_volts(CarArrays.of([CarSpec()]), s)[0]) for s in (0, 60)]
    assert volts == pytest.approx([12.36, 12.13], abs=0.005)
    assert 1e6 * float(needed_area(2e-3, 750 * par.RPM)) == pytest.approx(16.9, abs=0.05)
    assert 1e3 * float(engine_flow(2e-3, 750 * par.RPM, np.array(31e3))) == pytest.approx(3.17, abs=0.005)
    assert float(crank_at(80 / 3.6)) / par.RPM == pytest.approx(2000)
    assert CarArrays.grid(CarSpec(metering="air"), leak_mm=[0, 1, 2, 3]).shape == (4,)
