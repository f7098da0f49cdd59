"""A leak seen as trims, against the gas law of others."""

import numpy as np
import pytest

from tickover.cause import Car, Evidence, diagnose
from tickover.cause.bank import STRATA, bank
from tickover.cause.channels import INDEX
from tickover.cause.hypotheses import HYPOTHESES


def _through(d_mm, properties):
    """Choked real-gas flow through a round hole with discharge coefficient 0.8 [g/s]."""
    props = properties
    t, p = 298.15, 101_325.0
    h, s = (props.PropsSI(q, "T", t, "P", p, "Air") for q in ("H", "S"))
    flux = 0.0
    for down in np.linspace(0.45, 0.62, 400) * p:
        h2, rho = (props.PropsSI(q, "P", down, "S", s, "Air") for q in ("H", "D"))
        flux = max(flux, rho * np.sqrt(2 * (h - h2)))
    return 0.8 * np.pi / 4 * (d_mm * 1e-3) ** 2 * flux * 1e3


@pytest.mark.parametrize("d_mm", [1.0, 2.0])
def test_the_trim_of_a_leak_is_its_flow_over_what_is_metered(d_mm):
    """Reference library: CoolProp's real-gas flow through the hole, over the flow that the meter still sees, is the
    trim that is predicted; 2 mm at 3.4 g/s of idle air gives + 21 %."""
    props = pytest.importorskip("CoolProp.CoolProp", reason="CoolProp is not installed")
    leak = _through(d_mm, props)
    assert leak == pytest.approx({1.0: 0.1490, 2.0: 0.5960}[d_mm], rel=2e-3)
    one = bank("air")
    here = (one.cause == next(k for k, h in enumerate(HYPOTHESES) if h.name == "leak")) & (one.size < 3)
    k = int(np.argmin(np.abs(STRATA - 2.0)))
    predicted = np.interp(d_mm, one.size[here], one.means[k, here, INDEX["trim idle"]])
    metered = np.exp(np.interp(d_mm, one.size[here], one.means[k, here, INDEX["flow idle"]]))
    assert predicted == pytest.approx(100 * leak / metered, rel=0.04)


@pytest.mark.parametrize(("d_mm", "idle", "held"), [(1.0, 4.6, 1.5), (2.0, 21.3, 6.3)])
def test_the_hole_interval_holds_the_hole_of_the_facts(d_mm, idle, held):
    """From memory: an air meter does not see a leak: trim = leak over metered air; 3.4 g/s of idle air in all gives
    + 4.6 % for 1 mm and + 21.3 % for 2 mm, and 10 g/s + 1.5 and + 6.3 % (arithmetic reproduced)."""
    leak = 0.5960 * (d_mm / 2) ** 2
    assert (100 * leak / (3.4 - leak), 100 * leak / (10 - leak)) == pytest.approx((idle, held), abs=0.06)
    found = diagnose(Evidence(trims={"idle": idle, "2500": held}), Car(metering="air", displacement_l=2.0))
    if d_mm >= 2:
        assert found.hole.lo <= d_mm <= found.hole.hi
        assert found.hole.hi - found.hole.lo < 1.5
    else:
        assert found.hole.kind == "cannot tell" or found.hole.lo is None or found.hole.lo < 1.2
