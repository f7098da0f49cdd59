"""What the reasoning about causes says of recordings of one sound car."""

from pathlib import Path

import numpy as np
import pytest

from tickover.cause import Car, Evidence, diagnose
from tickover.cause.from_log import evidence_from_log, together
from tickover.logs import read_log_report

LOGS = Path(__file__).resolve().parents[3] / "shared" / "data" / "car-log"
CAR = Car(metering="pressure", displacement_l=1.496, cylinders=4)

pytestmark = pytest.mark.skipif(not LOGS.is_dir(), reason="the recordings in ../shared/data are not here")


def read(name):
    return evidence_from_log(read_log_report(LOGS / f"{name}.csv")[0], np.random.default_rng(1))


def worst_fault(found):
    """The likeliest group that holds no sound car, something else aside."""
    faulty = [g for g in found.groups if any(c.family == "fault" for c in g.causes)]
    return max((g.probability for g in faulty if not g.names & {"healthy", "memory cleared"}), default=0.0)


@pytest.mark.parametrize(
    "name", ["idle7", "idle25", "idle1", "idle2", "idle30", "idle31", "idle38", "long10", "live18", "ufpe15", "drive5"]
)
def test_warm_readings_of_a_sound_car_give_no_fault(name):
    """Data: public recordings of one sound car (manifold pressure, 1.5 l): idles, drives and commutes, each alone."""
    found = diagnose(read(name).evidence, CAR)
    assert worst_fault(found) < 0.5
    assert found.finding in {"cannot tell", "sound"}
    assert max(c.share for g in found.groups for c in g.causes if c.family in ("fault", "stale")) < 0.5


def test_all_readings_together_give_no_fault():
    """Data: the same car's idles and a long drive together: idle, idle with load, cruise and hard load at once."""
    together_ = together([read(n).evidence for n in ("idle25", "idle1", "idle7", "long10")])
    assert set(together_.trims) >= {"idle", "idle with load", "cruise", "hard load"}
    found = diagnose(together_, CAR)
    assert worst_fault(found) < 0.2
    assert "healthy" in found.groups[0].names
    assert found.advice == "wait and watch"


def test_the_first_drive_after_a_clear_is_a_reset_state_and_no_stale_memory():
    """Data: drive10, the first drive after a real memory clear: long trim exactly 0 until 906 s of run time. Read as
    plain trims it would be a sound car that is well learned; read as idle speed of a cold start, a stale memory."""
    one = read("drive10")
    assert one.evidence.long_trim_zero is True
    assert one.evidence.since_clear == pytest.approx(13, abs=1)
    found = diagnose(one.evidence, CAR)
    assert found.finding == "just cleared"
    assert found.groups[0].names == {"memory cleared"}
    assert found.advice == "wait and watch"
    for c in (
        c for g in found.groups for c in g.causes if c.family in ("stale", "fault") and c.name != "memory cleared"
    ):
        assert c.share < 0.1
    without = diagnose(Evidence(trims=one.evidence.trims, manifold=one.evidence.manifold), CAR)
    assert without.finding != "just cleared"


@pytest.mark.parametrize("name", ["idle7", "idle1", "long10", "live18", "ufpe11"])
def test_a_learned_memory_is_not_taken_for_a_reset_one(name):
    """Data: recordings of the same car with a learned memory; some cells hold a 0 for a while, which a naive look for
    zeros takes for a reset (142 s of them in long10)."""
    assert read(name).evidence.long_trim_zero is False


def test_the_stretches_of_a_drive_are_where_the_points_are():
    """Data: long10; every cruise stretch is driven steadily and fast, every idle stretch stands still."""
    recording = read_log_report(LOGS / "long10.csv")[0]
    found = evidence_from_log(recording, np.random.default_rng(1)).stretches
    assert {"idle", "idle with load", "cruise", "hard load"} <= {s.point for s in found}
    for s in found:
        road = recording["vehicle_speed"].between(s.start, s.stop).value
        if s.point == "cruise" and len(road) > 2:
            assert road.min() > 40
            assert np.ptp(road) <= 13
        if s.point.startswith("idle") and len(road) > 2:
            assert road.max() < 1
