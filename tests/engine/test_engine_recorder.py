"""The recorder: encoded as the service standard does, bracketed truthfully, silent while the controller sleeps."""

import numpy as np
import pytest

from tickover.engine import CarSpec, old_memory_on_cleaned_bore
from tickover.engine import parameters as par
from tickover.engine.recorder import CHANNELS, signals_of
from tickover.errors import SignalRangeError, UnknownSignalError
from tickover.signals import VOCABULARY


def _idle(driver, seconds=40.0, period=0.1, jitter=0.01, **spec):
    car = driver.car(CarSpec(**spec))
    driver.start(car, 30.0)
    car.record(period, jitter)
    car.advance(seconds)
    return car.recording()


def test_it_records_what_its_metering_allows(driver):
    by_air, by_pressure = _idle(driver, 2.0, metering="air"), _idle(driver, 2.0)
    assert set(by_air) - set(by_pressure) == {"air_flow"}
    assert set(by_pressure) == set(signals_of("pressure")) <= set(VOCABULARY)
    assert by_air.simulated
    assert by_pressure.simulated


def test_values_come_in_the_grain_of_their_encoding(driver):
    recording = _idle(driver, 10.0, metering="air")
    for name, series in recording.series.items():
        grains = series.value / CHANNELS[name].grain
        np.testing.assert_allclose(grains, np.round(grains), atol=1e-6)
        row = VOCABULARY[name]
        assert np.all((series.value >= row.lo) & (series.value <= row.hi)), name


def test_a_warm_idle_reads_like_one(driver):
    recording = _idle(driver, 60.0, metering="air")
    mean = {name: float(s.value.mean()) for name, s in recording.series.items()}
    assert mean["engine_speed"] == pytest.approx(750, abs=15)
    assert 4 < recording["engine_speed"].value.std() < 10
    assert mean["manifold_pressure"] == pytest.approx(31, abs=1)
    assert 10 < mean["throttle_position"] < 17.6
    assert mean["pedal_d"] == pytest.approx(16.08, abs=0.2)
    assert mean["fuel_system_status"] == 2
    assert mean["air_flow"] == pytest.approx(3.17, abs=0.15)
    assert mean["commanded_idle_air"] == pytest.approx(28, abs=2)
    assert np.all(recording["vehicle_speed"].value == 0)
    assert np.ptp(recording["short_trim_1"].value) > 1
    assert recording["run_time"].value[-1] - recording["run_time"].value[0] == pytest.approx(60, abs=1)


@pytest.mark.parametrize(("period", "jitter"), [(0.1, 0.0), (0.1, 0.03), (0.02, 0.0), (1.8, 0.2)])
def test_brackets_hold_the_instant_of_measurement(driver, period, jitter):
    """Every value was the car's value, to its grain, at some step within the sample's bracket; also across blips."""
    car = driver.car(CarSpec())
    driver.start(car, 5.0)
    car.record(period, jitter, ["engine_speed", "pedal_d"])
    truth = []
    rng = np.random.default_rng(2)
    for k in range(900):
        travel = 0.3 if k % 97 < 20 else 0.0
        car.pedal(travel)
        truth.append((car.now, car.engine_speed, travel))
        car.advance(float(rng.uniform(0.001, 0.0199)))
        truth.append((car.now, car.engine_speed, travel))
    recording = car.recording()
    t, speed, travel = np.array(truth).T
    pedal = 100 * (par.PEDAL_REST + par.PEDAL_SPAN * travel)
    for name, true, grain in (("engine_speed", speed, 0.25), ("pedal_d", pedal, 100 / 255)):
        series = recording[name]
        assert len(series) > 0.5 * (car.now - 8.0) / (period + jitter)
        assert series.t_lo[1:] == pytest.approx(series.t_hi[:-1], abs=par.STEP)
        for lo, hi, value in zip(series.t_lo, series.t_hi, series.value, strict=True):
            near = true[max(np.searchsorted(t, lo) - 1, 0) : np.searchsorted(t, hi, side="right") + 1]
            assert np.min(np.abs(near - value)) <= grain / 2 + 1e-6


def test_a_sleeping_controller_does_not_answer(driver):
    for after_run, answers in ((0.0, 0), (8.0, 80)):
        car = driver.car(CarSpec(after_run_s=after_run))
        car.do("ignition on")
        car.advance(1.0)
        car.do("ignition off")
        car.record(0.1)
        car.advance(20.0)
        recording = car.recording()
        assert len(recording.get("module_voltage") or ()) == pytest.approx(answers, abs=1)


def test_throttle_at_key_on_is_the_spring_rest_above_warm_idle(driver):
    car = driver.car(old_memory_on_cleaned_bore())
    car.do("ignition on")
    car.advance(1.0)
    car.record(0.1)
    car.advance(1.0)
    assert car.recording()["throttle_position"].value == pytest.approx(17.65, abs=0.3)


def test_wrong_wishes_are_refused(driver):
    car = driver.car(CarSpec())
    with pytest.raises(UnknownSignalError):
        car.record(names=["air_flow"])
    with pytest.raises(SignalRangeError):
        car.record(period=0.001)
    with pytest.raises(SignalRangeError):
        car.record(jitter=-0.1)
