"""Margins against an independent library for the robustness of temporal logic."""

import warnings

import numpy as np
import pytest

from tickover.drive.margins import all_of, sliding_max, sliding_min, within

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    rtamt = pytest.importorskip("rtamt", exc_type=ImportError, reason="rtamt imports only on Python below 3.13")


def discrete(formula, **signals):
    """Robustness at each second, by the library."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        spec = rtamt.STLDiscreteTimeSpecification()
        for name in signals:
            spec.declare_var(name, "float")
        spec.spec = formula
        spec.parse()
        n = len(next(iter(signals.values())))
        data = {"time": list(range(n)), **{name: list(map(float, v)) for name, v in signals.items()}}
        return np.array([value for _, value in spec.evaluate(data)])


def dense(formula, t, v):
    """Robustness over real time, by the library, as a held signal: instants and values."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        spec = rtamt.STLDenseTimeSpecification()
        spec.declare_var("v", "float")
        spec.spec = formula
        spec.parse()
        return np.array(spec.evaluate(["v", [[float(a), float(b)] for a, b in zip(t, v, strict=True)]]))


def drive(n, seed):
    rng = np.random.default_rng(seed)
    speed = np.abs(60 + rng.normal(0, 3, n).cumsum() % 60)
    return speed, 40 + 40 * rng.random(n)


@pytest.mark.parametrize("width", [0, 1, 7, 30, 180])
@pytest.mark.parametrize("seed", [1, 2])
def test_held_in_one_piece(width, seed):
    """Reference library: rtamt, discrete time: always over a window, on full windows only."""
    speed, _ = drive(900, seed)
    t = np.arange(900.0)
    ours = sliding_min(t, within(speed, 80, 100), width)
    theirs = discrete(f"always[0:{width}](v >= 80 and v <= 100)", v=speed)
    full = ~np.isnan(ours)
    assert full.sum() == 900 - width
    np.testing.assert_allclose(ours[full], theirs[full], rtol=0, atol=1e-12)


def test_several_signals_together():
    """Reference library: rtamt, discrete time: always over a conjunction of two signals."""
    speed, coolant = drive(600, 3)
    t = np.arange(600.0)
    ours = sliding_min(t, all_of(within(speed, 80, 100), within(coolant, lo=70)), 20)
    theirs = discrete("always[0:20](v >= 80 and v <= 100 and c >= 70)", v=speed, c=coolant)
    full = ~np.isnan(ours)
    np.testing.assert_allclose(ours[full], theirs[full], rtol=0, atol=1e-12)


def test_at_some_time_within():
    """Reference library: rtamt, discrete time: eventually over a window."""
    speed, _ = drive(600, 4)
    ours = sliding_max(np.arange(600.0), within(speed, hi=1.6), 45)
    theirs = discrete("eventually[0:45](v <= 1.6)", v=speed)
    full = ~np.isnan(ours)
    np.testing.assert_allclose(ours[full], theirs[full], rtol=0, atol=1e-12)


def test_once_in_the_whole_drive():
    """Reference library: rtamt, discrete time: eventually always, the best stretch of a drive."""
    speed, _ = drive(600, 5)
    ours = np.nanmax(sliding_min(np.arange(600.0), within(speed, 80, 100), 60))
    theirs = discrete("eventually[0:539](always[0:60](v >= 80 and v <= 100))", v=speed)
    assert ours == pytest.approx(theirs[0], abs=1e-12)


@pytest.mark.parametrize("seed", [6, 7, 8])
def test_uneven_times(seed):
    """Reference library: rtamt, dense time: always over a window of a held signal at uneven instants."""
    rng = np.random.default_rng(seed)
    t = np.concatenate([[0.0], np.cumsum(rng.uniform(0.3, 4.0, 200))]).round(3)
    v = rng.normal(0, 10, len(t)).round(3)
    ours = sliding_min(t, within(v, lo=0), 12)
    theirs = dense("always[0:12](v >= 0)", t, v)
    full = np.flatnonzero(~np.isnan(ours))
    at = np.searchsorted(theirs[:, 0], t[full], side="right") - 1
    assert len(full) > 150
    np.testing.assert_allclose(ours[full], theirs[at, 1], rtol=0, atol=1e-9)
