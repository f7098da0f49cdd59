"""Air flow of the engine room against printed tables and independent libraries."""

import fluids
import numpy as np
import pytest
from CoolProp.CoolProp import PropsSI
from scipy.optimize import minimize_scalar

from tickover.engine.flow import (
    GAS_CONSTANT,
    choked_flux,
    critical_ratio,
    equivalent_hole,
    flow_number,
    isentropic,
    leak_flow,
    mass_flow,
    relative_flow,
    speed_density,
)
from tickover.engine.parameters import STOICHIOMETRIC
from tickover.engine.steady import charge_pressure

P0 = 101_325.0


@pytest.mark.parametrize(
    ("mach", "pressure", "temperature", "density", "area"),
    [
        (0.2, 0.9725, None, None, 2.9635),
        (0.5, 0.8430, 0.9524, None, 1.3398),
        (0.8, 0.6560, None, None, 1.0382),
        (1.0, 0.5283, 0.8333, 0.6339, 1.0000),
        (1.5, 0.2724, None, None, 1.1762),
        (2.0, 0.1278, 0.5556, 0.2300, 1.6875),
        (3.0, 0.0272, None, None, 4.2346),
    ],
)
def test_isentropic_ratios_to_the_printed_digits(mach, pressure, temperature, density, area):
    """From memory: NACA report 1135 (1953), tables I and II for γ = 1.4, every figure to its last digit."""
    got = isentropic(mach)
    wanted = {"pressure": pressure, "temperature": temperature, "density": density, "area": area}
    for name, value in wanted.items():
        if value is not None:
            assert float(getattr(got, name)) == pytest.approx(value, abs=0.95e-4), name


def test_choked_constants():
    """From memory: Heywood 1988, appendix C, equations C.8 and C.9: critical ratio and flow number at three γ."""
    assert critical_ratio() == pytest.approx(0.528282, abs=5e-7)
    assert critical_ratio(1.35) == pytest.approx(0.53685, abs=5e-6)
    assert critical_ratio(1.3) == pytest.approx(0.54573, abs=5e-6)
    assert flow_number() == pytest.approx(0.684731, abs=5e-7)
    assert critical_ratio() * P0 == pytest.approx(53_530, abs=5)


@pytest.mark.parametrize(
    ("kelvin", "flux"),
    [(288.15, 241.24), (293.15, 239.17), (298.0, 237.22), (298.15, 237.16), (313.15, 231.41)],
)
def test_choked_flux(kelvin, flux):
    """From memory: Heywood 1988, equation C.9, for air at 101,325 Pa; 298 and 298.15 K must differ as printed."""
    assert float(choked_flux(P0, kelvin)) == pytest.approx(flux, abs=0.0051)


def test_real_gas_at_the_throat():
    """Reference library: CoolProp, air at constant entropy; its greatest flux is 237.289 kg/(s m²), 0.05 % up."""
    enthalpy, entropy = (PropsSI(q, "T", 298.15, "P", P0, "Air") for q in "HS")

    def minus_flux(pressure):
        h, density = (PropsSI(q, "P", pressure, "S", entropy, "Air") for q in "HD")
        return -density * np.sqrt(2 * (enthalpy - h))

    best = minimize_scalar(minus_flux, bounds=(0.3 * P0, 0.9 * P0), method="bounded")
    assert -best.fun == pytest.approx(237.289, abs=0.01)
    assert -best.fun / float(choked_flux(P0, 298.15)) == pytest.approx(1.0005, abs=2e-4)
    assert best.x / P0 == pytest.approx(critical_ratio(), abs=1e-3)


def _area_by_sizing(flow, ratio, cd):
    molar = 8314.462618 / GAS_CONSTANT
    return fluids.API520_A_g(m=flow, T=298.15, Z=1.0, MW=molar, k=1.4, P1=P0, P2=ratio * P0, Kd=cd)


@pytest.mark.parametrize("ratio", [0.1, 0.2, 0.5])
def test_sizing_equation_gives_the_choked_area_back(ratio):
    """Reference library: fluids, API 520 sizing of a gas valve in critical flow, gives the area back within 3e-5."""
    flow = float(mass_flow(3.1416e-6, P0, ratio * P0, 298.15, 0.8))
    assert _area_by_sizing(flow, ratio, 0.8) == pytest.approx(3.1416e-6, rel=3e-5)


def test_sizing_equation_gives_the_subsonic_area_back():
    """Reference library: fluids, API 520, subcritical: its printed 17.9 is 0.06 % off, the same at any ratio."""
    ratios = np.array([0.60, 0.70, 0.80, 0.90, 0.97])
    flows = mass_flow(3.1416e-6, P0, ratios * P0, 298.15, 0.8)
    back = np.array([_area_by_sizing(float(m), float(r), 0.8) for m, r in zip(flows, ratios, strict=True)]) / 3.1416e-6
    assert back == pytest.approx(np.full(5, back[0]), rel=1e-9)
    assert back[0] == pytest.approx(1.0, abs=6e-4)


def test_critical_pressure_of_the_library():
    """Reference library: fluids.P_critical_flow, 53,528.15 Pa for air from the standard atmosphere."""
    assert fluids.P_critical_flow(P0, 1.4) == pytest.approx(critical_ratio() * P0, rel=1e-9)
    assert critical_ratio() * P0 == pytest.approx(53_528.15, abs=0.01)


def test_stagnation_of_the_library():
    """Reference library: fluids.P_stagnation brings our temperature ratio at Mach 0.8 back to our pressure ratio."""
    got = isentropic(0.8)
    total = fluids.P_stagnation(P=P0, T=300.0, Tst=300.0 / float(got.temperature), k=1.4)
    assert P0 / total == pytest.approx(float(got.pressure), rel=1e-9)


@pytest.mark.parametrize(
    ("mm", "flows"),
    [
        (1, (0.1118, 0.1490, 0.1583, 0.1863)),
        (2, (0.4470, 0.5960, 0.6333, 0.7451)),
        (3, (1.0058, 1.3411, 1.4249, 1.6764)),
        (4, (1.7881, 2.3842, 2.5332, 2.9802)),
        (5, (2.7940, 3.7253, 3.9581, 4.6566)),
    ],
)
def test_leak_table(mm, flows):
    """From memory: Heywood 1988, equation C.9, worked for round holes at 35 kPa, 298.15 K; g/s to the printed digit."""
    for cd, wanted in zip((0.60, 0.80, 0.85, 1.0), flows, strict=True):
        got = float(leak_flow(mm * 1e-3, cd=cd))
        assert 1e3 * got == pytest.approx(wanted, abs=0.00011)
        assert float(equivalent_hole(got, cd=cd)) == pytest.approx(mm * 1e-3, rel=1e-9)


@pytest.mark.parametrize(
    ("kpa", "share"),
    [(30, 1.0), (53.5, 1.0), (60, 0.9910), (70, 0.9395), (80, 0.8339), (90, 0.6478), (95, 0.4985), (100, 0.2345)],
)
def test_relative_flow(kpa, share):
    """From memory: Heywood 1988, equation C.8 over C.9, worked from 101.325 kPa: the exact law, no straight line."""
    assert float(relative_flow(kpa / 101.325)) == pytest.approx(share, abs=0.00011)


def test_the_straight_line_is_not_the_law():
    """From memory: equation C.8 at ratio 0.987; the model's straight line reads a fifth less there and must say so."""
    law = float(mass_flow(1.0, P0, 100e3, 298.15, linear_above=1.0))
    assert law / float(choked_flux(P0, 298.15)) == pytest.approx(0.2345, abs=1e-4)
    assert float(mass_flow(1.0, P0, 100e3, 298.15)) / law == pytest.approx(0.805, abs=0.01)


@pytest.mark.parametrize(
    ("litres", "rpm", "kpa", "kelvin", "efficiency", "flow"),
    [
        (2.0, 700, 35, 313.15, 0.60, 2.726),
        (2.0, 700, 35, 313.15, 0.70, 3.180),
        (2.0, 700, 35, 313.15, 0.75, 3.407),
        (2.0, 700, 35, 313.15, 0.80, 3.634),
        (2.0, 700, 35, 313.15, 0.85, 3.861),
        (2.0, 700, 35, 313.15, 1.00, 4.543),
        (1.0, 600, 100, 298.15, 1.00, 5.8422),
    ],
)
def test_speed_density(litres, rpm, kpa, kelvin, efficiency, flow):
    """From memory: Heywood 1988, equation 2.27 for a four-stroke engine, worked; g/s to the printed digit."""
    got = float(speed_density(litres * 1e-3, kpa * 1e3, kelvin, rpm * np.pi / 30, efficiency))
    assert 1e3 * got == pytest.approx(flow, abs=0.0006)


@pytest.mark.parametrize(("bar", "efficiency"), [(0.35, 0.761), (0.40, 0.786), (0.90, 0.883)])
def test_port_flow(bar, efficiency):
    """From memory: Hendricks & Sorenson, SAE 900616 (1990): e_v p = 0.961 p − 0.07 bar, worked at three pressures."""
    assert float(charge_pressure(np.array(bar * 1e5))) / (bar * 1e5) == pytest.approx(efficiency, abs=6e-4)


def test_air_to_fuel():
    """From memory: Heywood 1988, equation 3.6: stoichiometric air to fuel of CH1.87 from the masses of its atoms."""
    y = 1.87
    ratio = 34.56 * (4 + y) / (12.011 + 1.008 * y)
    assert ratio == pytest.approx(14.6, abs=0.06)
    assert pytest.approx(ratio, abs=0.06) == STOICHIOMETRIC
