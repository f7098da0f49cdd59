"""The law for "at most k open": exact against counting by hand, closed forms, simulation and a finer rule."""

from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import betaln
from scipy.stats import binom

from tickover.readiness import law as law_module
from tickover.readiness.law import Law, chance_nodes, open_count_law
from tickover.readiness.pace import Pace, pace_of

COUNTERS = {
    "OBDCOND": 200,
    "IGNCNTR": 400,
    "CATCOMP1": 90,
    "CATCOND1": 150,
    "CATCOMP2": 0,
    "CATCOND2": 0,
    "O2SCOMP1": 120,
    "O2SCOND1": 150,
    "SO2SCOMP1": 100,
    "SO2SCOND1": 140,
    "EVAPCOMP": 30,
    "EVAPCOND": 60,
}


def pace(monitor="catalyst", a=4.0, b=12.0):
    return Pace(monitor, a, b, counted=True, basis="")


FIVE = (pace("catalyst", 12, 41), pace("oxygen sensor", 16, 37), pace("evaporative system", 4, 49),
        pace("oxygen sensor heater", 1.5, 1.5), pace("EGR or valve timing", 0.4, 2.6))  # fmt: skip
CYCLES = np.array([0.0, 1, 2, 5, 10, 30, 100, 400, 1200])


@settings(max_examples=25, deadline=None)
@given(st.lists(st.floats(0, 1), max_size=6))
def test_how_many_are_open_equals_counting_every_case(chances):
    law = open_count_law(np.array(chances))
    counted = np.zeros(len(chances) + 1)
    for case in product((0, 1), repeat=len(chances)):
        counted[sum(case)] += np.prod([p if open_ else 1 - p for p, open_ in zip(chances, case, strict=True)])
    assert law == pytest.approx(counted, abs=1e-12)
    assert law.sum() == pytest.approx(1)


def test_equal_chances_give_the_binomial_law():
    assert open_count_law(np.full(9, 0.3)) == pytest.approx(binom.pmf(np.arange(10), 9, 0.3))


@pytest.mark.parametrize("one", FIVE, ids=lambda p: p.monitor)
def test_one_monitor_without_a_shared_term_has_a_closed_form(one):
    exact = 1 - np.exp(betaln(one.a, one.b + CYCLES) - betaln(one.a, one.b))
    assert Law((one,), 0, shared=0.0).chance(CYCLES) == pytest.approx(exact, abs=2e-4)


@pytest.mark.parametrize("one", FIVE, ids=lambda p: p.monitor)
def test_averaged_over_driving_the_chance_of_one_cycle_is_the_one_counted(one):
    assert Law((one,), 0).chance([1])[0] == pytest.approx(one.mean, abs=1e-4)
    _, weights = chance_nodes(one, 0.4)
    assert weights.sum() == pytest.approx(1)


@pytest.mark.parametrize(("at_most", "may_stay"), [(0, ()), (1, ()), (2, ()), (1, ("evaporative system",))])
def test_exact_equals_simulated(at_most, may_stay):
    law = Law(FIVE, at_most, frozenset(may_stay))
    exact = law.chance(CYCLES)
    drawn = law.simulate(CYCLES, np.random.default_rng(7), runs=20_000)
    spread = 4.5 * np.sqrt(exact * (1 - exact) / 20_000) + 5e-4
    assert np.all(np.abs(exact - drawn) <= spread)


def test_exact_equals_simulated_after_cycles_that_did_not_help():
    law = Law(FIVE[:3], 0, driven=10, finished=FIVE[3:])
    exact = law.chance(CYCLES)
    drawn = law.simulate(CYCLES, np.random.default_rng(7), runs=20_000)
    assert np.all(np.abs(exact - drawn) <= 4.5 * np.sqrt(exact * (1 - exact) / 20_000) + 2e-3)
    fresh = Law(FIVE[:3], 0).chance(CYCLES)
    assert np.all(exact[1:] < fresh[1:])


def test_a_finer_rule_gives_the_same(monkeypatch):
    coarse = [Law(FIVE, k).chance(CYCLES) for k in (0, 1, 2)]
    monkeypatch.setattr(law_module, "TERM_NODES", 301)
    monkeypatch.setattr(law_module, "CHANCE_NODES", 110)
    for k, found in enumerate(coarse):
        assert np.abs(Law(FIVE, k).chance(CYCLES) - found).max() < 1e-4


paces_drawn = st.lists(
    st.tuples(st.floats(0.2, 30), st.floats(0.2, 60)).map(lambda t: pace("catalyst", *t)), min_size=1, max_size=5
).map(tuple)


@settings(max_examples=12, deadline=None)
@given(paces_drawn, st.integers(0, 3))
def test_more_cycles_and_a_laxer_rule_never_lower_the_chance(some, at_most):
    chance = Law(some, at_most).chance(CYCLES)
    laxer = Law(some, at_most + 1).chance(CYCLES)
    fewer = Law(some[1:], at_most).chance(CYCLES)
    assert np.all((chance >= 0) & (chance <= 1))
    assert np.all(np.diff(chance) >= -1e-9)
    assert np.all(laxer >= chance - 1e-9)
    assert np.all(fewer >= chance - 1e-9)


def test_a_shared_term_ties_monitors_together():
    three = tuple(pace(n, 40, 120) for n in ("catalyst", "oxygen sensor", "EGR or valve timing"))
    alone = Law(three[:1], 0, shared=1.0).chance([4])[0]
    together = Law(three, 0, shared=1.0).chance([4])[0]
    assert together > alone**3 + 0.05


def test_the_band_holds_the_chance_and_is_the_same_for_one_seed():
    law = Law(FIVE, 1)
    lo, hi = law.band(CYCLES, np.random.default_rng(3))
    exact = law.chance(CYCLES)
    assert np.all(lo <= exact + 0.01)
    assert np.all(hi >= exact - 0.01)
    assert np.array_equal(law.band(CYCLES, np.random.default_rng(3)), [lo, hi])
    narrow = Law((pace("catalyst", 200, 600),), 0, shared=0.0)
    lo, hi = narrow.band([5.0], np.random.default_rng(3))
    assert hi[0] - lo[0] < 0.12


def test_no_monitor_to_wait_for_is_ready_at_once():
    assert Law((), 0).chance([0, 10]) == pytest.approx([1, 1])
    assert Law((), 0).simulate([0], np.random.default_rng(1)) == pytest.approx([1])
    assert Law(FIVE, 5).chance([0])[0] == 1
    assert Law(FIVE, 0).chance([0])[0] == pytest.approx(0, abs=1e-12)


def test_the_slowest_counter_in_use_decides_and_unused_ones_do_not():
    assert "CATCOMP1 90" in pace_of("catalyst", COUNTERS).basis
    assert "SO2SCOMP1 100" in pace_of("oxygen sensor", COUNTERS).basis
    assert pace_of("catalyst", COUNTERS).mean == pytest.approx(90 / 400, abs=0.01)
    for monitor in ("oxygen sensor heater", "secondary air"):
        assert not pace_of(monitor, COUNTERS).counted
    lo, hi = pace_of("oxygen sensor heater", COUNTERS).interval()
    assert hi - lo > 0.5
    lo, hi = pace_of("catalyst", COUNTERS).interval()
    assert hi - lo < 0.2
    assert pace_of("catalyst", {"IGNCNTR": 10, "CATCOMP1": 40, "CATCOND1": 1}).mean < 1
