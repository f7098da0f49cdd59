"""The model's physics and idle against worked figures, the metered-leak table, and what the trade takes for normal."""

from dataclasses import replace

import numpy as np
import pytest

from tickover.engine import POINTS, CarArrays, CarSpec, OperatingPoint, population, predict
from tickover.engine import parameters as par
from tickover.engine.balance import area_for, engine_flow
from tickover.engine.flow import critical_ratio, leak_flow, relative_flow
from tickover.engine.plant import Plant
from tickover.engine.supply import Metering, blend_factor, settle

AIR = CarSpec(metering="air", fuel_scale=1.0)


def _beta2(ratio, p1=0.4404, p2=2.3143, p_n=0.7404):
    """The empirical throttle function of Hendricks & Sorenson, for ratios above its critical one."""
    return np.sqrt(ratio**p1 - ratio**p2) / p_n


def test_constants_of_the_throttle_function_agree():
    """From memory: Hendricks & Sorenson, SAE 900616 (1990): p_c and p_n follow from p_1 and p_2 as its maximum."""
    p1, p2 = 0.4404, 2.3143
    at = (p1 / p2) ** (1 / (p2 - p1))
    assert at == pytest.approx(0.412543, abs=5e-6)
    assert np.sqrt(at**p1 - at**p2) == pytest.approx(0.740440, abs=5e-6)


@pytest.mark.parametrize(
    ("ratio", "empirical", "exact"), [(0.6, 0.947, 0.989), (0.8, 0.752, 0.819), (0.9, 0.559, 0.617)]
)
def test_our_throttle_law_lies_above_the_empirical_one(ratio, empirical, exact):
    """From memory: SAE 900616's throttle function against the gas law the model uses, worked at three ratios."""
    assert _beta2(ratio) == pytest.approx(empirical, abs=6e-4)
    assert float(relative_flow(ratio)) == pytest.approx(exact, abs=6e-4)
    assert critical_ratio() > 0.4125


@pytest.mark.parametrize(("rpm", "seconds"), [(700, 0.178), (1500, 0.083), (2500, 0.050)])
def test_time_constant_of_the_manifold(rpm, seconds):
    """From memory: SAE 900616: 120 V_i / (V_d s n), read off the moving manifold after a step of the blade."""
    plant = Plant([CarSpec()], [(0, 0, 0)])
    plant.speed[:] = rpm * par.RPM
    plant.area[:] = 12e-6
    h, wanted = 2e-4, np.full(1, 12e-6)
    for _ in range(20_000):
        plant.breathe(wanted, h)
    settled = plant.pressure[0]
    plant.pressure[:] = settled + 4e3
    steps = round(seconds / h)
    for _ in range(steps):
        plant.breathe(wanted, h)
    assert plant.pressure[0] < 50e3
    measured = steps * h / np.log(4e3 / (plant.pressure[0] - settled))
    assert measured == pytest.approx(seconds, rel=0.006)


def test_a_leak_beside_the_meter_gives_the_tabled_trims():
    """From memory: choked flow through round holes (Heywood C.9) over what is metered: 3.4 g/s at idle, 10 g/s off it.

    1, 2 and 3 mm: 4.6, 21.3 and 65 % at idle, the last where the idle does not rise; 1.5, 6.3, 15.5 % at 10 g/s.
    """
    speed = np.interp(3.4, *_idle_air_by_speed())
    got = predict(CarArrays.grid(AIR, leak_mm=[0.0, 1.0, 2.0, 3.0], target_speed=speed), POINTS["idle"])
    assert got.engine_air[:3] == pytest.approx([3.4] * 3, abs=0.01)
    assert got.manifold_pressure[0] < 53.5
    assert got.trim[:3] == pytest.approx([0, 4.6, 21.3], abs=0.12)
    assert got.long_spent[3]
    assert got.trim[3] > 45
    leak = 1e3 * leak_flow(np.array([1, 2, 3]) * 1e-3)
    assert 100 * leak / (3.4 - leak) == pytest.approx([4.6, 21.3, 65], abs=0.2)
    held = np.linspace(1800, 2600, 81)
    air = [predict(CarArrays.of([AIR]), OperatingPoint("held", held=float(n))).engine_air[0] for n in held]
    at = OperatingPoint("held", held=float(np.interp(10.0, air, held)))
    off = predict(CarArrays.grid(AIR, leak_mm=[1.0, 2.0, 3.0]), at)
    assert off.engine_air == pytest.approx([10.0] * 3, abs=0.01)
    assert off.trim == pytest.approx([1.5, 6.3, 15.5], abs=0.06)


def _idle_air_by_speed():
    speeds = np.linspace(650, 900, 26)
    return predict(CarArrays.grid(AIR, target_speed=speeds), POINTS["idle"]).engine_air, speeds


def test_the_same_leak_leaves_a_pressure_engine_its_trims():
    """From memory: speed and density meter what the manifold holds, leak included: trims stay, commanded air falls."""
    cars = CarArrays.grid(CarSpec(metering="pressure", fuel_scale=1.0), leak_mm=[0.0, 1.0, 2.0])
    for point in POINTS.values():
        assert predict(cars, point).trim == pytest.approx([0, 0, 0], abs=0.01)
    idle = predict(cars, POINTS["idle"])
    assert idle.idle_air[0] - idle.idle_air == pytest.approx([0, 0.7854, 3.1416], abs=0.02)


def test_an_idle_of_three_point_four_grams_is_a_hole_of_five_millimetres():
    """From memory: Heywood C.9: 3.4 g/s at 35 kPa passes 17.9 mm², a hole of 4.78 mm; a 5 mm hole races the engine."""
    area = 1e6 * float(area_for(np.array(3.4e-3), np.array(35e3)))
    assert area == pytest.approx(17.9, abs=0.05)
    assert np.sqrt(4 * area / np.pi) == pytest.approx(4.78, abs=0.005)
    got = predict(CarArrays.grid(CarSpec(), leak_mm=[5.0]), POINTS["idle"])
    assert got.air_spent_down[0]
    assert got.speed[0] > 1200


@pytest.mark.parametrize(("share", "ratio"), [(0.10, 14.01), (0.15, 13.72), (0.20, 13.43), (0.85, 9.80)])
def test_stoichiometry_of_blends(share, ratio):
    """From memory: masses of the atoms and densities 0.789 and 0.745; base petrol 14.6 to 1."""
    assert 14.6 * float(blend_factor(np.array(share))) == pytest.approx(ratio, abs=0.0051)


def test_moving_to_a_tenth_of_ethanol_costs_four_percent():
    """From memory: 14.7 over 14.10 asks for 4.3 % more fuel, and E85 for 50 %; from a base of 14.6, 4.2 and 49."""
    metering = Metering(np.ones(2), np.full(2, 25e3), np.full(2, 3.4e-3))
    got = settle(CarArrays.grid(AIR, ethanol=[0.10, 0.85]), metering)
    assert 100 * (got.asked - 1) == pytest.approx([4.2, 49.0], abs=0.15)


def test_idle_air_per_litre_at_thirty_five_kilopascals():
    """From memory: SAE 900616's port flow at 35 kPa and 700 r/min: 1.4 to 1.9 g/s per litre, at e_v 0.761 1.73."""
    flow = 1e3 * float(engine_flow(1e-3, 700 * par.RPM, np.array(35e3)))
    assert 1.4 <= flow <= 1.9
    assert flow == pytest.approx(1.728, abs=0.004)


@pytest.fixture(scope="module")
def fleet():
    return CarArrays.of([d.spec for d in population(600, np.random.default_rng(12))])


def test_healthy_idles_lie_in_the_trades_ranges(fleet):
    """Common practice, no source: warm idle 25 to 40 kPa, 600 to 850 r/min, 1 to 1.9 g/s per litre, trims to 10 %."""
    got = predict(fleet, POINTS["idle"])
    assert np.all((got.manifold_pressure > 25) & (got.manifold_pressure < 40))
    assert np.all((got.speed > 600) & (got.speed < 850))
    per_litre = got.engine_air / fleet.displacement_l
    assert np.mean((per_litre >= 1.0) & (per_litre <= 1.9)) > 0.97
    assert np.all(per_litre < 2.1)
    assert np.mean(np.abs(got.trim) <= 10) > 0.99
    assert np.mean(np.abs(got.trim) <= 5) > 0.75
    assert not np.any(got.stalls | got.surges | got.air_spent_up | got.air_spent_down | got.long_spent)
    assert np.all(np.abs(got.speed - fleet.target_speed) < 5)


def test_healthy_cars_keep_their_trims_over_the_points(fleet):
    """Common practice, no source: a sound car's trims do not depend on load; 13.3 to 14.8 V; fan holds 89 to 96 °C."""
    all_points = [predict(fleet, point) for point in POINTS.values()]
    trims = np.array([got.trim for got in all_points])
    assert np.ptp(trims, axis=0).max() < 0.05
    for got in all_points:
        assert not np.any(got.out_of_breath | got.stalls)
        assert np.all((got.volts >= 13.3) & (got.volts <= 14.8))
        assert np.all((got.coolant > 86) & (got.coolant < 96))


def test_patterns_of_the_trade():
    """Common practice, no source: lean at idle and normal at 2,500: leak (air meter); lean with load: fuel delivery."""
    by_air = CarArrays.of([d.spec for d in population(200, np.random.default_rng(5), metering="air")])
    sound, leak, pump = ({p: predict(_with(by_air, **f), POINTS[p]).trim for p in POINTS} for f in _PATTERNS)
    extra = {p: leak[p] - sound[p] for p in POINTS}
    assert np.all(extra["idle"] > 2.5 * extra["2500"])
    assert np.median(extra["idle"]) > 15
    assert np.median(extra["2500"]) < 7
    more = {p: pump[p] - sound[p] for p in POINTS}
    assert np.all(more["idle"] < 1.5)
    assert np.all(more["hard load"] > 4)
    assert np.all(np.diff([more[p] for p in ("idle", "2500", "hard load")], axis=0) > 0)


_PATTERNS: tuple[dict[str, float], ...] = ({}, {"leak_mm": 2.0}, {"pump_loss": 0.15})


def _with(cars, **varied):
    return replace(cars, **{name: np.full(cars.shape, value) for name, value in varied.items()})
