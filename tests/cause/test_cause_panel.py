"""The reasoning about causes on cars of a second model: a small fixed part, and a panel of 1,200 for the soak.

The soak prints its report: ``pytest -m soak -s tests/cause/test_cause_panel.py``; docs/why/cause-panel.md quotes it.
"""

import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))
from cause_panel_cars import OUTSIDE, RATES, SETS, cases
from cause_panel_score import answers, bounds, calibration, covered, leaks_told, rate, report

POPULATIONS = tuple(RATES)
FEW_SETS = (SETS[0], SETS[1], SETS[3])
PER_SHOP = 600
SLACK = 0.08
"""What is said may lie so far outside the 95 % bounds of what came true [1]."""
SEED = 2026_11_29  # drawn once, after the last change of the reasoning; mend on others, then draw anew


@pytest.fixture(scope="module")
def few():
    return [a for p in POPULATIONS for a in answers(11, 20, p, FEW_SETS)]


@pytest.fixture(scope="module")
def many():
    found = [a for p in POPULATIONS for a in answers(SEED, PER_SHOP, p)]
    sys.stdout.write(report(found) + "\n")
    return found


@pytest.fixture(scope="module")
def shops():
    return {p: cases(SEED, PER_SHOP, p) for p in POPULATIONS}


def of(found, which):
    return [a for a in found if a.which == which]


def test_the_panel_has_both_meterings_enough_causes_outside_the_list_and_two_shops(shops):
    for found in shops.values():
        assert bounds(sum(c.what in OUTSIDE for c in found), PER_SHOP)[1] >= 0.15
        assert 0.4 < np.mean([c.paper["metering"] == "air" for c in found]) < 0.6
    assert np.mean([c.what in OUTSIDE for found in shops.values() for c in found]) >= 0.15
    stale = {p: np.mean([c.what.endswith("memory") for c in found]) for p, found in shops.items()}
    assert stale["stale common"] > 3 * stale["stale rare"]


def test_forty_cars_are_not_told_wrong_things_for_sure(few):
    assert len(few) == 3 * 40
    assert sum(a.wrong_and_sure for a in few) <= 2
    for a in few:
        assert sum(p for _, p in a.groups) == pytest.approx(1, abs=1e-6)
        assert any("something else" in names for names, _ in a.groups)


def test_more_evidence_tells_more_of_forty_cars(few):
    size = [np.mean([len(a.groups[0][0]) for a in of(few, which)]) for which in FEW_SETS]
    assert size[0] > size[1] > size[2]
    assert rate(few, lambda a: a.top_right)[2] > 0.55


@pytest.mark.soak
@pytest.mark.parametrize("which", SETS)
def test_wrong_and_sure_stays_under_two_per_cent(many, which):
    k, n, _, _, upper = rate(of(many, which), lambda a: a.wrong_and_sure)
    assert n >= 1000
    assert upper < 0.02, f"{k} of {n}"


@pytest.mark.soak
@pytest.mark.parametrize("which", SETS)
def test_what_is_said_comes_true_as_often(many, which):
    for stated, came, count, lo, hi in calibration(of(many, which)):
        if count >= 30:
            assert lo - SLACK <= stated <= hi + SLACK, (stated, came, count)


@pytest.mark.soak
def test_the_first_group_is_right_and_shrinks_with_evidence(many):
    size = [np.mean([len(a.groups[0][0]) for a in of(many, which)]) for which in SETS]
    assert size[0] > size[1] >= size[2] > size[3]
    for which in SETS:
        assert rate(of(many, which), lambda a: a.top_right)[3] > 0.55, which


@pytest.mark.soak
def test_the_hole_of_a_leak_lies_in_its_interval(many):
    for which in SETS:
        told = leaks_told(of(many, which))
        level = np.mean([a.hole[2] for a in told])
        assert rate(told, covered)[4] >= level, which


@pytest.mark.soak
def test_a_stale_memory_and_a_fault_are_seldom_taken_for_each_other(many):
    for which in SETS:
        found = of(many, which)
        stale = [a for a in found if a.kind == "stale"]
        fault = [a for a in found if a.kind == "fault"]
        assert rate(stale, lambda a: a.finding == "fault")[2] < 0.1, which
        assert rate(fault, lambda a: a.finding == "stale")[2] < 0.05, which
