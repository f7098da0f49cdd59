"""The second model itself: it must behave as published figures and the trade say, or it may judge nothing."""

import ast
import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))
import cause_panel_cars as panel
from cause_panel_model import POINTS, hole_flow, ratio_air_fuel, residual_efficiency, run, throttle_flow

HERE = Path(__file__).parent
MM2 = 1e-6


def fleet(n=60, seed=3, **changes):
    """Sound cars of the second model, all with the same changes."""
    c = panel._draw_sound(np.random.default_rng(seed), n)
    for name, value in changes.items():
        setattr(c, name, np.full(n, value))
    c.cal_slope[:] = 0
    c.ethanol, c.cal_ethanol = np.zeros(n), np.zeros(n)
    c.trim_limit, c.long_limit, c.short_limit = np.full(n, 0.9), np.full(n, 0.9), np.full(n, 0.9)
    return c


def trims(c):
    points, pct, pct_well = run(c)
    return {p: 100 * points[p].trim for p in POINTS}, points, pct, pct_well


def test_neither_file_of_the_second_model_imports_the_project():
    for name in ("cause_panel_model.py", "cause_panel_cars.py"):
        for node in ast.walk(ast.parse((HERE / name).read_text(encoding="utf-8"))):
            modules = [a.name for a in node.names] if isinstance(node, ast.Import) else []
            modules += [node.module or ""] if isinstance(node, ast.ImportFrom) else []
            assert not any(m.split(".")[0] == "tickover" for m in modules)


def test_leak_flow_has_the_figures_of_an_exact_nozzle():
    for d, grams in ((1, 0.1490), (2, 0.5960), (3, 1.3411), (5, 3.7253)):
        area = 0.8 * np.pi / 4 * d**2 * MM2
        assert hole_flow(area, 101_325.0, 35e3, 298.15) * 1e3 == pytest.approx(grams, abs=6e-5)
    choked = hole_flow(1.0, 101_325.0, 35e3, 298.15)
    for kpa, share in ((60, 0.9910), (80, 0.8339), (95, 0.4985), (100, 0.2345)):
        assert hole_flow(1.0, 101_325.0, kpa * 1e3, 298.15) / choked == pytest.approx(share, abs=6e-5)


def test_leak_flow_agrees_with_a_real_gas():
    cool = pytest.importorskip("CoolProp.CoolProp", reason="CoolProp is not installed")
    p0, t0 = 101_325.0, 298.15
    h0, s0 = cool.PropsSI("H", "P", p0, "T", t0, "Air"), cool.PropsSI("S", "P", p0, "T", t0, "Air")
    for p in (53.5e3, 70e3, 90e3):
        rho, h = (cool.PropsSI(x, "P", p, "S", s0, "Air") for x in "DH")
        assert hole_flow(1.0, p0, p, t0) == pytest.approx(rho * np.sqrt(2 * (h0 - h)), rel=1.5e-3)


def test_throttle_function_joins_where_its_constants_say_and_is_below_the_exact_law():
    whole = throttle_flow(1.0, 1e5, 0.41254e5, 300.0)
    assert throttle_flow(1.0, 1e5, 0.2e5, 300.0) == pytest.approx(whole, rel=1e-4)
    for ratio, share in ((0.6, 0.947), (0.8, 0.752), (0.9, 0.559)):
        assert throttle_flow(1.0, 1e5, ratio * 1e5, 300.0) / whole == pytest.approx(share, abs=6e-4)


def test_efficiency_and_mixture_have_the_published_values():
    for kpa, value in ((30, 0.8461), (35, 0.8737), (40, 0.8953)):
        assert residual_efficiency(kpa * 1e3, 101_325.0, 10.0, 1.4) == pytest.approx(value, abs=1e-3)
    assert ratio_air_fuel(0.10) == pytest.approx(14.01, abs=0.02)
    assert ratio_air_fuel(0.85) == pytest.approx(9.80, abs=0.03)


def test_sound_cars_idle_on_target_in_the_trade_s_ranges():
    c = fleet()
    t, points, pct, pct_well = trims(c)
    assert points["idle"].rpm == pytest.approx(c.target)
    assert np.all((points["idle"].p_man > 20e3) & (points["idle"].p_man < 42e3))
    per_litre = points["idle"].air * 1e3 / (c.vd * 1e3)
    assert np.all((per_litre > 0.8) & (per_litre < 2.2))
    assert all(np.all(np.abs(t[p]) < 3) for p in POINTS)
    assert pct == pytest.approx(pct_well, rel=1e-3)


def test_a_leak_on_an_air_meter_is_lean_at_idle_and_fades_with_flow():
    c = fleet(meter=True, leak_area=0.8 * np.pi * MM2)  # 2 mm
    t, points, *_ = trims(c)
    for name in POINTS:
        metered = points[name].metered
        exact = 100 * (points[name].air - metered) / metered
        assert t[name] == pytest.approx(exact, abs=0.2)
    assert np.all(t["idle"] > t["2500"])
    assert np.all(t["2500"] > t["cruise"])
    assert np.all(t["hard load"] < 3.5)


def test_a_leak_on_manifold_pressure_leaves_the_trims_and_takes_idle_air():
    c = fleet(meter=False, leak_area=0.8 * np.pi / 4 * MM2)  # 1 mm
    t, points, pct, well = trims(c)
    assert all(np.all(np.abs(t[p]) < 3) for p in POINTS)
    assert np.all(pct < well)
    assert points["idle"].rpm == pytest.approx(c.target)
    big = fleet(meter=False, leak_area=0.8 * np.pi * 4 * MM2)  # 4 mm: more than the authority takes back
    _, points, *_ = trims(big)
    assert np.mean(points["idle"].rpm > big.target + 50) > 0.9


def test_each_fault_has_the_pattern_of_the_trade():
    at = {
        "meter": trims(fleet(meter=True, meter_low=0.15))[0],
        "fuel": trims(fleet(fuel_scale=0.9))[0],
        "pump": trims(fleet(fuel_room=0.5))[0],
        "dead": trims(fleet(dead_ms=0.3))[0],
        "drip": trims(fleet(drip=0.15))[0],
        "pipe": trims(fleet(pipe_leak=0.15))[0],
    }
    mean = {k: {p: float(np.mean(v[p])) for p in POINTS} for k, v in at.items()}
    for p in POINTS:
        assert mean["meter"][p] == pytest.approx(100 * (1 / 0.85 - 1), abs=1)
        assert mean["fuel"][p] == pytest.approx(100 * (1 / 0.9 - 1), abs=1)
    assert abs(mean["pump"]["idle"]) < 2 < 10 < mean["pump"]["hard load"]
    assert mean["dead"]["idle"] > 2 * mean["dead"]["hard load"] > 2
    assert mean["drip"]["idle"] < -8 < -3 < mean["drip"]["hard load"]
    assert mean["pipe"]["idle"] > 10 > 4 > mean["pipe"]["hard load"]


def test_memory_is_kept_from_healing_itself_by_its_authority():
    c = fleet(n=40)
    c.bore = c.down_room + 3 * MM2
    _, points, pct, well = trims(c)
    assert np.all(points["idle"].rpm > c.target + 5)
    assert np.all(pct < well)
    c = fleet(n=40)
    c.bore = 0.8 * c.down_room
    assert trims(c)[1]["idle"].rpm == pytest.approx(c.target)
    c = fleet(n=40)
    c.bore = -(c.up_room + 2 * MM2)
    _, points, pct, well = trims(c)
    assert np.all(points["idle"].rpm < c.target - 5)
    assert np.all(pct > well)


def test_trims_stop_at_their_limits_and_the_mixture_is_left_lean():
    c = fleet(meter=True, leak_area=0.8 * np.pi * MM2 * 2.25)  # 3 mm
    c.trim_limit[:] = 0.2
    points, *_ = run(c)
    assert np.max(points["idle"].trim) <= 0.2 + 1e-9
    assert np.mean(points["idle"].at_limit) > 0.8
    assert np.all(points["idle"].lam[points["idle"].at_limit] > 1.0)


def test_a_panel_can_be_made_again():
    one, two = panel.cases(5, 12, "stale rare"), panel.cases(5, 12, "stale rare")
    assert one == two
    assert [panel.evidence(c, panel.SETS[3], 1) for c in one] == [panel.evidence(c, panel.SETS[3], 1) for c in two]
