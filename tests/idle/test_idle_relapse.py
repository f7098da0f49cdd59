"""The relapse watch."""

import numpy as np
import pytest

from tickover.errors import SignalRangeError
from tickover.idle.learning import Learning, fit_learning
from tickover.idle.relapse import TRIM_SHIFT, TRIM_SPREAD, Drive, watch
from tickover.results import CannotTell, Quantity


def drives(trims, **more):
    return [Drive(at=float(k), trim=float(x), **more) for k, x in enumerate(trims)]


@pytest.mark.parametrize(
    ("shift", "wrong"), [(0.0, "comes back"), (TRIM_SHIFT, "stays well"), (-TRIM_SHIFT, "stays well")]
)
def test_its_error_rates_are_the_stated_ones(shift, wrong):
    rng = np.random.default_rng(11)
    said = [watch(drives(rng.normal(shift, TRIM_SPREAD, 12)), normal_trim=0.0) for _ in range(200)]
    first = [w.watched[0] for w in said]
    share = np.mean([w.verdict == wrong and w.later_at is None for w in first])
    assert share <= 0.05 + 2.5 * (0.05 * 0.95 / 200) ** 0.5


def test_the_drives_it_foretells_are_about_the_drives_it_takes():
    rng = np.random.default_rng(2)
    said = [watch(drives(rng.normal(TRIM_SHIFT, TRIM_SPREAD, 40)), normal_trim=0.0).watched[0] for _ in range(120)]
    taken, foretold = np.mean([w.drives for w in said]), said[0].expected_back
    assert taken == pytest.approx(foretold, abs=0.6)


def test_a_fault_that_comes_back_later_is_still_found():
    found = watch(drives([0.0] * 10 + [7.0] * 8), normal_trim=0.0)
    assert found.verdict == "comes back"
    assert 11 < found.watched[0].later_at <= 16
    assert "well at first" in found.watched[0].says
    assert "cause" in found.sentence


def test_a_rougher_idle_alone_is_enough_and_a_smoother_one_is_not():
    rough = [Drive(at=float(k), trim=0.0, spread=14.0) for k in range(10)]
    assert watch(rough, normal_trim=0.0, normal_spread=7.0).verdict == "comes back"
    assert watch(rough, normal_trim=0.0).verdict == "stays well"  # without a normal the spread is not watched
    assert watch(rough, normal_trim=0.0, normal_spread=30.0).verdict == "stays well"


def test_a_trim_that_still_learns_is_foretold_and_does_not_count_as_come_back():
    t = np.arange(12.0)
    noise = np.random.default_rng(4).normal(0, 0.4, 12)
    found = watch(drives(9 * np.exp(-t / 2.5) - 1 + noise), normal_trim=0.0)
    assert isinstance(found.learning, Learning)
    assert found.learning.ends_at.lo <= -1 <= found.learning.ends_at.hi
    assert found.learning.learned_at.lo <= 2.5 * np.log(9) <= found.learning.learned_at.hi
    assert found.verdict == "stays well"
    assert any("still learning" in r for r in found.rests_on)


def test_the_foretold_end_holds_as_often_as_stated():
    rng, t = np.random.default_rng(8), np.arange(12.0)
    told = [
        fit_learning(list(zip(t, 8 * np.exp(-t / 3) - 2 + rng.normal(0, 0.6, 12), strict=True))) for _ in range(150)
    ]
    fits = [f for f in told if isinstance(f, Learning)]
    assert len(fits) > 64
    assert np.mean([f.ends_at.lo <= -2 <= f.ends_at.hi for f in fits]) > 0.82


def test_what_does_not_converge_is_not_foretold():
    rng, t = np.random.default_rng(1), np.arange(12.0)
    line = fit_learning(list(zip(t, 1.2 * t + rng.normal(0, 0.3, 12), strict=True)))
    still = fit_learning(list(zip(t, rng.normal(0, 1, 12), strict=True)))
    few = fit_learning([(0.0, 1.0), (1.0, 2.0)])
    assert isinstance(line, CannotTell)
    assert "bend" in line.reason
    assert isinstance(still, CannotTell)
    assert "not moved" in still.reason
    assert isinstance(few, CannotTell)


def test_the_misfire_counter_says_how_many_clean_cycles():
    found = watch([Drive(at=1.0, misfires=100.0)])
    assert isinstance(found.clean_cycles, Quantity)
    assert (found.clean_cycles.lo, found.clean_cycles.hi) == (22, 24)
    assert found.sentence.startswith("Cannot tell")
    assert isinstance(watch([Drive(at=1.0, misfires=9.0)], below=4).clean_cycles, CannotTell)
    assert isinstance(watch([]).clean_cycles, CannotTell)


def test_drives_out_of_order_and_rates_that_cannot_be_are_refused():
    with pytest.raises(SignalRangeError):
        watch([Drive(at=2.0, trim=0.0), Drive(at=2.0, trim=0.0)])
    with pytest.raises(SignalRangeError):
        watch(drives([0.0]), alpha=0.7)
    with pytest.raises(SignalRangeError):
        watch([Drive(at=1.0, spread=5.0)], normal_spread=0.0)


def test_a_trim_that_stands_off_zero_is_no_relapse_where_nobody_said_what_was_normal():
    found = watch(drives([5.0] * 12))
    assert found.verdict == "watch on"
    assert found.sentence.startswith("Cannot tell")
    assert any("not watched" in r for r in found.rests_on)
    assert watch(drives([5.0] * 12), normal_trim=5.0).verdict == "stays well"


def test_the_drives_still_to_come_shrink_as_the_sum_nears_its_bound():
    first, then = (watch(drives([0.0] * n), normal_trim=0.0).watched[0] for n in (1, 3))
    assert first.more_well > then.more_well >= 1
    assert watch(drives([0.0] * 12), normal_trim=0.0).watched[0].more_well is None
    rng = np.random.default_rng(5)
    taken = [watch(drives(rng.normal(0, TRIM_SPREAD, 40)), normal_trim=0.0, normal_spread=None) for _ in range(80)]
    assert np.mean([w.watched[0].drives for w in taken]) == pytest.approx(first.expected_well, abs=0.9)


def test_what_the_misfire_counter_says_names_its_level_and_its_drives():
    said = watch([Drive(at=1.0, misfires=17.0)]).counter_says
    assert said.startswith("It stands at 17. 6 to 7 drives in a row without a missed firing bring it below 10")
    assert watch([Drive(at=1.0, misfires=8.0)]).counter_says == "It stands at 8, below 10 already."
    assert "stops falling at 5" in watch([Drive(at=1.0, misfires=9.0)], below=5).counter_says
    assert watch([Drive(at=1.0, trim=0.0)]).counter_says == ""


def test_the_newest_drives_say_where_it_stands_with_their_spread():
    found = watch(drives([0.0] * 9 + [8.0, 9.0, 10.0]), normal_trim=0.0)
    assert found.newest_trim.value == pytest.approx(9)
    assert found.newest_trim.half_width == pytest.approx(1.96 * TRIM_SPREAD / 3**0.5)
    assert isinstance(found.newest_spread, CannotTell)
    rough = watch([Drive(at=1.0, spread=14.0)], normal_spread=7.0).newest_spread
    assert (rough.value, rough.lo) == (14, pytest.approx(14 * (1 - 1.96 * 0.35)))


def test_come_back_is_called_a_relapse_and_no_proof_of_a_fault():
    said = watch(drives([10.0] * 6), normal_trim=0.0).sentence
    assert "a relapse" in said
    assert "stale" in said
    assert "is acting" not in said


def test_a_normal_that_was_given_is_compared_and_not_asked_for():
    flat = list(np.random.default_rng(1).normal(2, 1, 12))
    given, bare = (fit_learning(list(enumerate(flat)), normal) for normal in (2.0, None))
    assert "its normal is +2.0 %" in given.way_out
    assert "compare it" not in given.way_out
    assert "compare it with its normal" in bare.way_out
