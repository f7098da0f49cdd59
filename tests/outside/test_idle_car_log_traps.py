"""The traps of the real car logs that concern idling: cold idle, fan, loads, pedal, open loop, stale values."""

from pathlib import Path

import numpy as np
import pytest

from tickover.idle import Hunting, IdleReading, read_idle
from tickover.idle.stretches import IDLE, pedal_rest, sound, timeline
from tickover.logs import read_log
from tickover.results import CannotTell
from tickover.stats import lomb_scargle

LOGS = Path(__file__).resolve().parents[3] / "shared" / "data" / "car-log"
pytestmark = pytest.mark.skipif(not LOGS.is_dir(), reason="the recordings in ../shared/data are not here")


def log(name):
    return read_log(LOGS / f"{name}.csv")


def reading(name, **how):
    found = read_idle(log(name), np.random.default_rng(1), **how)
    assert isinstance(found, IdleReading)
    return found


@pytest.mark.parametrize("name", ["idle30", "idle31"])
def test_cold_idle_follows_coolant(name):
    """Data: trap 9, 966 r/min at 40 °C, 872 at 50, 783 at 60, 696 at 70 (± 30); no fault."""
    found = reading(name)
    by = {c.coolant: c.speed.value for c in found.cold}
    assert by[40.0] == pytest.approx(966, abs=8)
    assert by[50.0] == pytest.approx(872, abs=8)
    assert by[60.0] == pytest.approx(783, abs=8)
    assert by[70.0] == pytest.approx(696, abs=10)
    assert found.states[0].speed.value == pytest.approx(650, abs=30)
    # read as one idle, warm or not, it would be another car's
    speed, coolant = log(name)["engine_speed"], log(name)["coolant_temperature"]
    running = speed.value > 400
    assert abs(speed.value[running].mean() - 650) > 60
    assert np.nanmin(coolant.hold(speed.t_hi[running])) < 40


def test_idle8_is_refused_and_its_cold_idle_told():
    """Data: idle8 is never warm: refused as an idle, and its cold idle follows coolant all the same."""
    found = read_idle(log("idle8"), np.random.default_rng(1))
    assert isinstance(found, CannotTell)
    assert "966 r/min at 40 °C" in found.way_out
    assert "no fault" in found.way_out


def test_fan_cycling_is_not_hunting():
    """Data: idle25, five fan peaks at 95 to 96 °C, mean period 107 s: the coolant cycles, the engine does not hunt."""
    recording = log("idle25")
    coolant = recording["coolant_temperature"]
    high = coolant.value >= 95
    begins = coolant.t_hi[np.flatnonzero(high & ~np.append(False, high[:-1]))]
    peaks = begins[np.append(True, np.diff(begins) > 40)]
    assert len(peaks) == 5
    assert np.diff(peaks).mean() == pytest.approx(107, abs=5)
    assert {95.0, 96.0} >= {float(coolant.value[(coolant.t_hi >= p) & (coolant.t_hi < p + 30)].max()) for p in peaks}
    found = reading("idle25").hunting
    assert isinstance(found, Hunting)
    assert not found.found
    # a spectrum that reaches down to the fan's period finds a clear line in the coolant
    slow = lomb_scargle(coolant.t_hi, coolant.value, [1 / 107, 0.3])
    assert slow[0] > 20 * slow[1]


@pytest.mark.parametrize("name", ["idle1", "idle7", "idle25", "idle30", "idle31", "idle38", "idle6"])
def test_no_real_log_hunts(name):
    """Data: none of the idle logs hunts; at one measurement in 1.8 s no frequency is claimed of any."""
    found = reading(name)
    assert not (isinstance(found.hunting, Hunting) and found.hunting.found)
    assert any("how fast it swings" in r.reason and "1.8 s" in r.reason for r in found.refusals)


def test_compressor_on_by_throttle_and_pressure():
    """Data: trap 5, compressor on stands about 858 r/min, throttle 18.2 %, MAP 36 kPa; off about 650 to 656."""
    on = reading("idle38").states[0]
    assert on.speed.value == pytest.approx(858, abs=2)
    assert on.throttle.value == pytest.approx(18.2, abs=0.2)
    assert on.manifold_pressure.value == pytest.approx(36, abs=1)
    off = reading("idle1").state("loads off")
    assert off.manifold_pressure.value == pytest.approx(26, abs=1)


def test_pedal_rest_and_throttle_at_key_on():
    """Data: trap 4, pedal D rests at 16.078 %, E at 31.765; throttle 17.65 at key on is above warm idle 15.69."""
    recording = log("idle7")
    assert pedal_rest(recording["pedal_d"]) == pytest.approx(16.078, abs=0.01)
    assert pedal_rest(recording["pedal_e"]) == pytest.approx(31.765, abs=0.01)
    assert recording["throttle_position"].value[0] == pytest.approx(17.65, abs=0.01)
    assert reading("idle7").states[0].throttle.value == pytest.approx(15.69, abs=0.1)
    assert recording["throttle_position"].value[0] > reading("idle7").states[0].throttle.value + 1.5


def test_open_loop_zero_is_not_perfect():
    """Data: trap 7, STFT is 0 in open loop, the first 40 s from cold: that time is in no reading of the trim."""
    recording = log("idle30")
    short = recording["short_trim_1"]
    start = recording["engine_speed"].t_hi[np.argmax(recording["engine_speed"].value > 400)]
    first = short.value[(short.t_hi > start + 3) & (short.t_hi < start + 30)]
    assert np.all(first == 0)
    line = timeline(sound(recording)[0])
    assert not np.any((line.edge[:-1] < start + 40) & (line.code == IDLE))


def test_drive10_long_trim_at_zero_is_not_stuck():
    """Data: drive10, the first drive after the clear: LTFT exactly 0 until 906 s of run time, purge from 859 s."""
    recording = log("drive10")
    long, run, purge = recording["long_trim_1"], recording["run_time"], recording.get("purge_command")
    moved = long.t_hi[np.argmax(long.value != 0)]
    assert run.hold([moved])[0] == pytest.approx(906, abs=3)
    if purge is not None:
        opens = purge.t_hi[np.argmax(purge.value > 0)]
        assert run.hold([opens])[0] == pytest.approx(859, abs=3)
    zero = np.mean(long.value[run.hold(long.t_hi) < 850])
    assert zero == 0
    assert np.any(long.value[run.hold(long.t_hi) > 950] != 0)


@pytest.mark.parametrize(("name", "at"), [("idle31", 354), ("ufpe15", 110), ("ufpe11", 109)])
def test_warm_up_counter(name, at):
    """Data: the warm-up counter rises at 354 s in idle31, at 110 s in ufpe15, at 109 s in ufpe11."""
    recording = log(name)
    warm, run = recording["warm_ups"], recording["run_time"]
    up = warm.t_hi[np.flatnonzero(np.diff(warm.value) > 0)[0] + 1]
    assert run.hold([up])[0] == pytest.approx(at, abs=3)


def test_a_stopped_tail_is_no_near_stall():
    """Data: live18 ends by rolling to a stop and off (last value 114 r/min, then standing): no stalled idle is read."""
    found = reading("live18")
    assert found.state("loads off") is not None
    assert min(s.speed.value for s in found.states) > 600


def test_air_of_the_known_displacement():
    """Data: 1,496 cm³ at 651 r/min and 26 kPa: speed and density give about 1.1 g/s for each litre."""
    pressure, air = reading("idle7", displacement=1.496).expected
    assert pressure.agrees
    assert air.measured.value / 1.496 == pytest.approx(1.12, abs=0.1)
    assert air.lo / 1.496 > 0.8
    assert air.hi / 1.496 < 1.5
