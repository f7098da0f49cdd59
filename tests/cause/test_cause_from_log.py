"""Evidence from recordings: both banks, commanded idle air, volts, coolant, half a trim."""

import numpy as np
import pytest

from tickover.cause import Car
from tickover.cause.from_log import evidence_from_log
from tickover.cause.hypotheses import HYPOTHESES
from tickover.cause.weighing import weigh
from tickover.signals import Recording, Series

RUNNING = {
    "engine_speed": 700.0,
    "vehicle_speed": 0.0,
    "pedal_d": 14.9,
    "coolant_temperature": 90.0,
    "short_trim_1": 3.0,
    "long_trim_1": 4.0,
    "fuel_system_status": 2.0,
}


def log(seconds=200, start=0.0, noise=1.0, leave_out=(), seed=1, step=0.5, **change):
    """A warm idle, read every half second; a value may be a number or a function of time."""
    rng = np.random.default_rng(seed)
    t = np.arange(start, seconds, step)
    made = {}
    for name, value in (RUNNING | change).items():
        if name in leave_out:
            continue
        x = np.asarray(value(t) if callable(value) else np.full(len(t), value), dtype=float)
        if name == "engine_speed":
            x = np.where(x > 400, x + rng.normal(0, 6, len(t)), x)
        elif name.startswith("short"):
            x = x + rng.normal(0, noise, len(t))
        made[name] = Series.of(np.maximum(t - step, start), t, x)
    return Recording(made)


def read(recording):
    return evidence_from_log(recording, np.random.default_rng(2))


def test_both_banks_are_summed_row_by_row_and_shown():
    def long(t):  # learns while it idles, and the short one gives way
        return np.where(t < 100, 0.0, 6.0)

    found = read(log(short_trim_2=lambda t: 14 - long(t), long_trim_2=long))
    assert found.evidence.trims["idle"].value == pytest.approx(7, abs=0.5)
    assert found.evidence.trims_bank2["idle"].value == pytest.approx(14, abs=0.5)
    assert found.evidence.trims_bank2["idle"].how == "log"
    assert not found.refusals
    assert all("bank 2 +14" in s.says for s in found.stretches if s.point == "idle")


def test_one_bank_apart_speaks_against_what_both_banks_share():
    """The same mean of both banks, alike and apart: an air meter serves both, so it cannot part them."""
    car = Car(metering="air", displacement_l=3.0, cylinders=6)
    logs = {"alike": (8.5, 8.5), "apart": (3.0, 14.0)}
    found = {
        k: weigh(read(log(short_trim_1=a, short_trim_2=b, long_trim_2=4.0)).evidence, car) for k, (a, b) in logs.items()
    }
    meter = [h.name for h in HYPOTHESES].index("air meter")
    assert found["apart"].causes[meter] < 0.5 * found["alike"].causes[meter]
    assert any("banks differ" in w.says for w in found["apart"].words)


@pytest.mark.parametrize(("bank", "lost"), [(1, "long"), (1, "short"), (2, "long"), (2, "short")])
def test_half_a_trim_is_no_trim_and_says_so(bank, lost):
    both = {"short_trim_2": 3.0, "long_trim_2": 4.0}
    found = read(log(leave_out=(f"{lost}_trim_{bank}",), **both))
    gone, kept = (found.evidence.trims, found.evidence.trims_bank2)[:: 1 if bank == 1 else -1]
    assert not gone
    assert kept["idle"].value == pytest.approx(7, abs=0.5)
    (said,) = [r for r in found.refusals if f"bank {bank}" in r.reason]
    assert f"only the {'short' if lost == 'long' else 'long'} trim" in said.reason
    assert lost in said.way_out


def test_a_second_bank_in_open_loop_is_not_read():
    zero = log(
        short_trim_2=0.0,
        long_trim_2=4.0,
        noise=0.0,
        leave_out=("fuel_system_status",),
        short_trim_1=lambda t: np.sin(t),
    )
    assert not read(zero).evidence.trims_bank2
    lively = log(short_trim_2=0.5, long_trim_2=4.0, leave_out=("fuel_system_status",))
    assert "idle" in read(lively).evidence.trims_bank2


def test_commanded_idle_air_and_volts_are_read_at_idle_with_the_spread_of_their_samples():
    steady = read(log(commanded_idle_air=lambda t: 30 + np.sin(t), module_voltage=14.1))
    assert steady.evidence.idle_air.value == pytest.approx(30, abs=0.3)
    assert steady.evidence.volts["running"].value == pytest.approx(14.1)
    assert "commanded idle air 30 %, 14.1 V" in steady.stretches[0].says

    def wander(t):  # slow steps: hundreds of samples, few of them independent
        return 30 + np.repeat(np.random.default_rng(3).normal(0, 6, 9), 50)[: len(t)]

    wide = read(log(commanded_idle_air=wander)).evidence.idle_air
    naive = 6 / np.sqrt(400)
    assert wide.spread > 3 * naive
    assert wide.spread > 2 * steady.evidence.idle_air.spread


def test_idle_air_while_driving_is_not_the_idle_s():
    def road(t):
        return np.where(t > 100, 50.0, 0.0)

    found = read(
        log(
            vehicle_speed=road,
            engine_speed=lambda t: np.where(t > 100, 1800.0, 700.0),
            pedal_d=lambda t: np.where(t > 100, 30.0, 14.9),
            commanded_idle_air=lambda t: np.where(t > 100, 70.0, 28.0),
            module_voltage=lambda t: np.where(t > 100, 14.6, 13.9),
        )
    )
    assert found.evidence.idle_air.value == pytest.approx(28, abs=0.1)
    assert found.evidence.volts["running"].value == pytest.approx(13.9, abs=0.01)


def started(seconds=300, low=9.8, rest=12.3):
    def volts(t):
        return np.where(t < 118, rest, np.where(t < 120, low, 14.2))

    return log(
        seconds=seconds,
        step=0.2,
        engine_speed=lambda t: np.where(t < 118, 0.0, np.where(t < 120, 210.0, 700.0)),
        module_voltage=volts,
    )


def test_volts_before_the_engine_runs_are_read_with_their_stretches():
    found = read(started())
    volts = found.evidence.volts
    assert volts["key on"].value == pytest.approx(12.3)
    assert volts["cranking"].value == pytest.approx(9.8, abs=0.01)
    assert volts["running"].value == pytest.approx(14.2)
    at = {s.point: s for s in found.stretches}
    assert at["key on"].start >= 45
    assert at["key on"].stop <= 118
    assert 117 < at["cranking"].start < at["cranking"].stop < 120


def test_a_stall_is_no_cranking_and_a_short_wait_no_key_on():
    stalled = log(
        engine_speed=lambda t: np.where(t < 150, 700.0, np.where(t < 152, 300.0, 0.0)),
        module_voltage=lambda t: np.where(t < 150, 14.2, 12.5),
        seconds=190,
    )
    assert set(read(stalled).evidence.volts) == {"running"}


@pytest.mark.parametrize(
    ("level", "behaves"),
    [
        (lambda t: np.minimum(20 + t * 0.2, 90), "normal"),
        (lambda t: np.minimum(20 + t * 0.05, 62), "slow to warm"),
        (lambda t: np.where((t % 300 > 200) & (t % 300 < 220), 40.0, 88.0), "jumps"),
        (lambda t: np.full(len(t), 88.0), None),
    ],
)
def test_how_the_coolant_behaves_is_told_from_a_start_or_from_jumps(level, behaves):
    assert read(log(seconds=1300, step=1.0, coolant_temperature=level)).evidence.coolant_behaviour == behaves


def test_coolant_counts_only_once_it_has_settled():
    assert read(log(coolant_temperature=lambda t: 88 + np.sin(t / 20))).evidence.coolant.value == pytest.approx(
        88, abs=1
    )
    assert read(log(coolant_temperature=lambda t: 81 + t * 0.06)).evidence.coolant is None


def held(leave_out=(), high=2500.0, low=980.0, foot=9.0):
    """Two minutes of idle, then two of a held speed, without a pedal."""
    return log(
        240,
        leave_out=("pedal_d", *leave_out),
        engine_speed=lambda t: np.where(t < 120, low, high),
        throttle_position=lambda t: np.where(t < 120, 2.0, foot),
        short_trim_1=lambda t: np.where(t < 120, 14.0, 6.0),
    )


def test_throttle_and_road_speed_tell_an_idle_from_a_held_speed_without_a_pedal():
    found = read(held())
    assert found.evidence.trims["idle"].value == pytest.approx(18, abs=0.5)
    assert found.evidence.trims["2500"].value == pytest.approx(10, abs=0.5)
    assert found.evidence.idle_speed.value == pytest.approx(980, abs=5)
    assert not found.refusals


@pytest.mark.parametrize(
    ("change", "names", "not_names"),
    [
        ({"leave_out": ("throttle_position",)}, "the pedal with it, or else the throttle", "road speed"),
        ({"leave_out": ("vehicle_speed",)}, "the pedal and the road speed", "throttle"),
        ({"foot": 2.0}, "the pedal", "road speed"),
        ({"low": 1500.0}, "the pedal", "road speed"),
    ],
)
def test_where_it_cannot_be_told_no_idle_is_read_and_only_what_is_missing_is_named(change, names, not_names):
    found = read(held(**change))
    assert not {"idle", "idle with load"} & set(found.evidence.trims)
    assert found.evidence.idle_speed is None
    said = found.refusals[0]
    assert "no idle was read from this log" in said.reason
    assert names in said.way_out
    assert not_names not in said.way_out


def test_a_log_of_which_nothing_was_read_says_so():
    bare = log(leave_out=("pedal_d", "short_trim_1", "long_trim_1", "fuel_system_status", "coolant_temperature"),
               engine_speed=lambda t: np.where(t < 100, 900.0, 3500.0))  # fmt: skip
    assert any("neither for nor against" in r.reason for r in read(bare).refusals)
