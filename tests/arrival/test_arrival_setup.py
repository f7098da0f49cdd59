"""Fan window, battery minutes and needs, against curves whose truth is known."""

import numpy as np
import pytest
from arrival_routines import routine

from tickover.arrival import battery_minutes, battery_state, fan_peaks, fan_window, key_on_volts, set_up
from tickover.arrival.words import fan_words, left_words, set_up_lines
from tickover.errors import InputError, UnknownSignalError
from tickover.results import CannotTell, Quantity
from tickover.routines import compile_routine
from tickover.signals import Recording, Series

ON = 95.0
WARM = """
[[needs]]
need = "Engine warm"
why = "The idle learned cold is wrong warm."
signal = "coolant_temperature"
between = [80, 98]
[[needs]]
need = "Radiator fan not running, and not about to"
why = "It loads the engine."
[[needs]]
need = "Battery healthy"
why = "A weak one drops out."
signal = "module_voltage"
at_least = 12.0
[[needs]]
need = "Doors shut"
why = "They wake controllers."
"""


def rng(seed=1):
    return np.random.default_rng(seed)


def approach(seed, *, seconds=None, horizon=None, step=1.0, noise=0.15, tau=None, final=None):
    """A first-order rise read every 1.8 s with correlated noise, cut before the fan; the time that is left."""
    r = rng(seed)
    tau = tau or np.exp(r.uniform(np.log(80), np.log(900)))
    final = final or r.uniform(97, 130)
    start = r.uniform(80, 90)
    t = np.arange(0, 4000, 1.8)
    end = tau * np.log((final - start) / (final - ON)) if final > ON else np.inf
    left = horizon if horizon is not None else r.uniform(10, max(0.7 * end, 10.1))
    keep = t < (seconds if seconds is not None else end - left)
    shocks = r.standard_normal(len(t))
    wander = np.zeros(len(t))
    for i in range(1, len(t)):
        wander[i] = 0.6 * wander[i - 1] + 0.8 * noise * shocks[i]
    value = np.round((final - (final - start) * np.exp(-t / tau) + wander) / step) * step
    return Series.at(t[keep], value[keep]), end - t[keep][-1] if keep.any() else np.inf


@pytest.mark.parametrize(("step", "noise"), [(1.0, 0.15), (1.0, 0.3), (0.1, 0.15)])
def test_nine_in_ten_windows_hold_the_time_that_was_left(step, noise):
    held, wide = [], []
    for seed in range(160):
        coolant, left = approach(seed, step=step, noise=noise)
        if len(coolant) < 3:
            continue
        found = fan_window(coolant, rng(seed), ON, draws=1000).seconds
        if isinstance(found, Quantity):
            held.append(found.lo <= left and (found.hi is None or left <= found.hi))
            wide.append((found.hi or np.inf) / max(found.lo, 1.0))
    assert len(held) > 90
    assert np.mean(held) >= 0.9
    assert np.median(wide) < 5  # and it says something


def test_a_straight_rise_is_foretold_closely():
    t = np.arange(0, 120, 1.0)
    coolant = Series.at(t, 85 + 0.06 * t)
    found = fan_window(coolant, rng(), ON).seconds
    truth = (ON - 85 - 0.06 * 119) / 0.06
    assert found.lo <= truth <= found.hi
    assert found.value == pytest.approx(truth, abs=6)


def test_an_unknown_threshold_makes_the_window_wide():
    t = np.arange(0, 120, 1.0)
    coolant = Series.at(t, np.round(85 + 0.06 * t, 1))
    known, unknown = fan_window(coolant, rng(), ON).seconds, fan_window(coolant, rng()).seconds
    assert unknown.hi is None or unknown.hi - unknown.lo > 2 * (known.hi - known.lo)
    assert "trade figure" in fan_window(coolant, rng()).threshold_from


@pytest.mark.parametrize(
    ("t", "value", "reason"),
    [
        (np.arange(0, 15, 1.0), lambda t: 85 + 0.1 * t, "Only"),
        (np.arange(0, 120, 30.0), lambda t: 85 + 0.1 * t, "Only"),
        (np.arange(0, 150, 2.0), lambda t: np.full(t.shape, 90.0), "flat"),
        (np.arange(0, 150, 2.0), lambda t: 95 - 0.1 * t, "falling"),
        (np.arange(0, 175, 2.0), lambda t: 92 - 6 * np.exp(-t / 30), "levelling off|flat"),
    ],
)
def test_where_the_fit_does_not_tell(t, value, reason):
    found = fan_window(Series.at(t, value(t)), rng(), ON)
    assert isinstance(found.seconds, CannotTell)
    assert any(word in found.seconds.reason for word in reason.split("|"))
    assert found.seconds.way_out
    assert "cannot tell" in fan_words(found.seconds)
    assert found.leaves(30) in {None, False}


def test_no_coolant_at_all():
    assert isinstance(fan_window(Series.at([], []), rng()).seconds, CannotTell)


def test_warm_already():
    t = np.arange(0, 100, 1.0)
    found = fan_window(Series.at(t, 90 + 0.08 * t), rng(), 95.0)
    assert found.seconds.hi == 0
    assert "any moment" in fan_words(found.seconds)
    assert found.leaves(30) is False


def cycles():
    """Two fan cycles, 88 to 95 °C, and a rise broken off 40 s before the third."""
    up, down = np.linspace(88, 95, 100), np.linspace(95, 88, 25)
    value = np.concatenate([up, down, up, down, up[:60]])
    return Series.at(np.arange(len(value), dtype=float), np.round(value))


def test_the_fan_tells_its_own_threshold():
    peaks = fan_peaks(cycles())
    assert [height for _, height in peaks] == [95, 95]
    assert [t for t, _ in peaks] == pytest.approx([102, 227], abs=8)
    found = fan_window(cycles(), rng())
    assert found.threshold.lo <= 95 <= found.threshold.hi
    assert "seen in this recording" in found.threshold_from
    assert found.seconds.lo <= 40 <= found.seconds.hi  # the fall before is not fitted along


def test_a_slow_fall_is_no_fan():
    t = np.arange(0, 400, 2.0)
    assert fan_peaks(Series.at(t, np.where(t < 100, 85 + 0.05 * t, 90 - 0.03 * (t - 100)))) == []


def volts(seed, slope, start=12.5, seconds=60.0, step=0.01, noise=0.01):
    t = np.arange(0, seconds, 1.0)
    value = start + slope * t / 60 + noise * rng(seed).standard_normal(len(t))
    return Series.at(t, np.round(value / step) * step)


@pytest.mark.parametrize(("step", "noise"), [(0.01, 0.01), (0.1, 0.03)])
def test_nine_in_ten_intervals_hold_the_minutes_left(step, noise):
    held = []
    for seed in range(150):
        slope = -rng(1000 + seed).uniform(0.03, 0.2)
        found = battery_minutes(volts(seed, slope, step=step, noise=noise), rng(seed), draws=1000)
        truth = (12.5 + slope * 59 / 60 - 12.0) / -slope
        held.append(found.lo <= truth and (found.hi is None or truth <= found.hi))
    assert np.mean(held) >= 0.88


def test_a_steep_fall_is_told_within_a_minute():
    found = battery_minutes(volts(1, -0.1, noise=0.005), rng())
    assert found.value == pytest.approx(4.0, abs=0.4)
    assert found.hi - found.lo < 1.5
    assert left_words(found) in {"4 to 4 min", "4 to 5 min", "3 to 4 min"}


def test_volts_that_do_not_fall_give_at_least():
    found = battery_minutes(volts(1, 0.0), rng())
    assert found.hi is None
    assert found.lo > 5
    assert "or more" in left_words(found)


def test_volts_at_the_least_leave_nothing():
    assert battery_minutes(volts(1, -0.1, start=11.9), rng()).hi == 0


@pytest.mark.parametrize(("series", "reason"), [(volts(1, -0.1, seconds=30), "Only"), (volts(1, 0.2), "rise")])
def test_volts_that_cannot_tell(series, reason):
    found = battery_minutes(series, rng())
    assert isinstance(found, CannotTell)
    assert reason in found.reason
    assert "charger" in found.way_out


@pytest.mark.parametrize(
    ("value", "how", "standing"),
    [
        (12.40, "key on", "fine"),
        (12.39, "key on", "charger"),
        (12.00, "key on", "charger"),
        (11.99, "key on", "stop"),
        (12.60, "open, not rested", "cannot tell"),
        (12.60, "open, rested", "cannot tell"),
        (12.20, "open, rested", "charger"),
        (13.3, "running", "cannot tell"),
        (13.2, "running", "stop"),
        (14.9, "running", "stop"),
    ],
)
def test_thresholds(value, how, standing):
    found = battery_state(value, how)
    assert found.standing == standing
    assert "our defaults" in found.basis
    assert bool(found.instead) == (standing != "fine")


def test_unrested_open_volts_send_to_a_charger():
    found = battery_state(12.7, "open, not rested")
    for words in ("before the ignition", "key-on draw", "no boost mode"):
        assert words in found.instead


@pytest.mark.parametrize("value", [-1, 24.6, float("nan")])
def test_volts_that_cannot_be(value):
    with pytest.raises(InputError):
        battery_state(value)


def log(*, running_until=0.0, seconds=120.0, with_speed=True):
    t = np.arange(0, seconds, 1.0)
    runs = t < running_until
    series = {
        "module_voltage": Series.at(t, np.where(runs, 14.1, 12.6 - 0.001 * (t - running_until))),
        "coolant_temperature": Series.at(t, np.full(t.shape, 85.0)),
    }
    if with_speed:
        series["engine_speed"] = Series.at(t, np.where(runs, 700.0, 0.0))
    return Recording(series)


def test_key_on_volts_are_those_with_the_engine_standing():
    found = key_on_volts(log(running_until=50))
    assert found.value.max() < 12.7
    assert found.t_hi[0] >= 55  # the first seconds, with pumps and relays, are left out
    assert "alternator" in key_on_volts(log(running_until=500)).reason
    assert "engine ran" in key_on_volts(log(with_speed=False)).reason
    assert isinstance(key_on_volts(Recording({})), CannotTell)


def standings(readings, **more):
    compiled = compile_routine(routine("r", needs=WARM))
    found = set_up(compiled, rng(), readings, **more)
    assert set_up_lines(found)
    return [n.standing for n in found.needs]


def test_needs_from_what_was_typed():
    assert standings(None) == ["cannot tell", "by hand", "cannot tell", "by hand"]
    assert standings({"coolant_temperature": 85, "module_voltage": 12.5}) == ["met", "by hand", "met", "by hand"]
    assert standings({"coolant_temperature": 60, "module_voltage": 11.8})[::2] == ["not met", "not met"]
    assert standings({"coolant_temperature": 101})[0] == "not met"
    assert standings({"module_voltage": 14.1, "engine_speed": 700})[2] == "cannot tell"  # the alternator's
    assert standings({"module_voltage": 12.7}, volts_how="open, not rested")[2] == "cannot tell"


def test_needs_from_a_log():
    coolant = cycles()
    assert standings(Recording({"coolant_temperature": coolant}))[:2] == ["met", "met"]  # 40 s left, a try takes 10
    falling = coolant.between(0, 115)
    assert standings(Recording({"coolant_temperature": falling}))[1] == "not met"
    assert standings(log(running_until=40))[2] == "met"


def test_a_reading_that_is_old_against_the_log_does_not_count():
    old = Series.at([0.0, 1.0], [85.0, 85.0])
    speed = Series.at(np.arange(0, 300, 1.0), np.full(300, 700.0))
    assert standings(Recording({"coolant_temperature": old, "engine_speed": speed}))[0] == "cannot tell"


def test_a_battery_that_falls_too_fast_for_the_routine():
    t = np.arange(0, 60, 1.0)
    falls = Recording({"module_voltage": Series.at(t, 13.0 - 0.01 * t), "engine_speed": Series.at(t, 0 * t)})
    long_ = compile_routine(routine("r", needs=WARM, wait=300))
    need = set_up(long_, rng(), falls).needs[2]
    assert need.standing == "not met"
    assert "charger" in need.instead


def test_readings_that_cannot_be():
    with pytest.raises(InputError, match="coolant 400"):
        standings({"coolant_temperature": 400})
    with pytest.raises(UnknownSignalError):
        standings({"coolant": 85})
