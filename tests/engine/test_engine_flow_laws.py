"""Laws of the flow through restrictions, and its refusals."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tickover.engine.flow import (
    LINEAR_ABOVE,
    choked_flux,
    equivalent_hole,
    isentropic,
    leak_flow,
    mass_flow,
    model_flow,
    relative_flow,
    speed_density,
)
from tickover.errors import SignalRangeError

ratios = st.floats(0.0, 1.0)


@given(ratios, ratios)
def test_more_back_pressure_never_gives_more_flow(a, b):
    lo, hi = sorted((a, b))
    assert relative_flow(lo) >= relative_flow(hi)


@given(st.lists(st.floats(0.0, 1.03), min_size=1, max_size=20))
def test_the_fast_form_is_the_plain_form(values):
    r = np.array(values)
    inside = np.minimum(r, 2 - LINEAR_ABOVE)
    np.testing.assert_allclose(model_flow(inside), relative_flow(inside, linear_above=LINEAR_ABOVE), atol=1e-12)


@given(st.floats(LINEAR_ABOVE - 1e-4, 1.02))
def test_the_line_is_smooth_through_one(r):
    slope = (relative_flow(r + 1e-6, linear_above=LINEAR_ABOVE) - relative_flow(r, linear_above=LINEAR_ABOVE)) / 1e-6
    assert -15.0 < float(slope) <= 0.0
    assert float(relative_flow(1.0, linear_above=LINEAR_ABOVE)) == 0.0


def test_the_law_alone_is_not_smooth_through_one():
    steep = (relative_flow(1.0) - relative_flow(1 - 1e-8)) / 1e-8
    assert float(steep) < -10_000


def test_the_line_meets_the_law():
    below, above = relative_flow([LINEAR_ABOVE, np.nextafter(LINEAR_ABOVE, 2)], linear_above=LINEAR_ABOVE)
    assert below == pytest.approx(above, rel=1e-9)


@given(st.floats(1e-4, 8e-3), st.floats(20e3, 99e3), st.floats(0.5, 1.0))
def test_a_hole_comes_back_from_its_flow(d, p, cd):
    assert float(equivalent_hole(leak_flow(d, p, cd=cd), p, cd=cd)) == pytest.approx(d, rel=1e-9)


@given(st.floats(0.05, 5.0))
def test_isentropic_relations_hold(mach):
    r = isentropic(mach)
    assert float(r.pressure) == pytest.approx(float(r.density * r.temperature), rel=1e-9)
    assert float(r.area) >= 1 - 1e-12


def test_shapes_broadcast():
    flow = mass_flow(np.full((3, 1), 1e-6), 101_325, np.array([30e3, 60e3, 90e3, 101_325]), 298.15, 0.8)
    assert flow.shape == (3, 4)
    assert np.all(flow[:, 3] == 0)
    assert mass_flow(1e-6, 101_325, 35e3, 298.15).shape == ()


def test_a_refusal_carries_its_index():
    with pytest.raises(SignalRangeError) as caught:
        mass_flow(1e-6, 101_325, np.array([30e3, -1.0]), 298.15)
    assert (caught.value.name, caught.value.value, caught.value.index) == ("pressure_down", -1.0, 1)


@pytest.mark.parametrize(
    "call",
    [
        lambda: mass_flow(1e-6, 100e3, 101e3, 298.15),
        lambda: mass_flow(-1e-6, 101e3, 35e3, 298.15),
        lambda: mass_flow(float("nan"), 101e3, 35e3, 298.15),
        lambda: choked_flux(101e3, 0.0),
        lambda: isentropic(0.0),
        lambda: equivalent_hole(-1e-3),
        lambda: equivalent_hole(1e-3, 101_325.0),
        lambda: speed_density(2e-3, 0.0, 300.0, 70.0, 0.7),
    ],
)
def test_nonsense_is_refused(call):
    with pytest.raises(SignalRangeError):
        call()


def test_the_examples_in_the_docstrings():
    assert float(mass_flow(3.1416e-6, 101_325, 35_000, 298.15, 0.8)) == pytest.approx(0.5960e-3, abs=5e-8)
    assert float(leak_flow(0.002)) == pytest.approx(0.5960e-3, abs=6e-8)
    assert float(equivalent_hole(0.5960e-3)) == pytest.approx(0.002, rel=1e-4)
    assert float(speed_density(2e-3, 35e3, 313.15, 73.304, 0.75)) == pytest.approx(3.407e-3, abs=1e-6)
