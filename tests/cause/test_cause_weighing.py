"""What hides: faults too small to show, and causes that are not on the list."""

import numpy as np
import pytest

from tickover.cause import Car, Evidence
from tickover.cause.channels import INDEX, MOVED, PATTERN_SIZES, PATTERNS, moved_by_else
from tickover.cause.hypotheses import HYPOTHESES
from tickover.cause.weighing import weigh

NAMES = [h.name for h in HYPOTHESES]
AIR = Car(metering="air", displacement_l=2.0, normal=(700, 800))
PRESSURE = Car(metering="pressure", displacement_l=2.0, normal=(700, 800))
SOUND = Evidence(
    trims={"idle": 1, "2500": 0, "cruise": 1, "hard load": 0},
    idle_speed=750,
    misfires=0,
    roughness=8,
    volts={"rest": 12.6, "running": 14.2, "cranking": 10.5},
    coolant=90,
    codes=(),
    complaint=("none",),
    history=("nothing",),
    tests={"pinch": "nothing", "listen": "quiet", "hand at exhaust": "even", "needle": "steady", "bore": "clean"},
)


def share(w, name):
    return float(w.causes[NAMES.index(name)])


@pytest.mark.parametrize("car", [AIR, PRESSURE])
def test_nothing_wrong_leads_where_all_is_sound_but_is_never_sure(car):
    """A worn mount or a tight engine leaves every one of these readings as it was."""
    w = weigh(SOUND, car)
    assert 0.5 < share(w, "healthy") < 0.85
    assert share(w, "something else") > 0.1


def test_more_sound_readings_do_not_drive_out_what_none_of_them_can_show():
    few = weigh(Evidence(trims={"idle": 1, "2500": 0}, idle_speed=750), PRESSURE)
    many = weigh(SOUND, PRESSURE)
    odds = [share(w, "something else") / share(w, "healthy") for w in (few, many)]
    assert odds[1] > 0.4 * odds[0]


def test_a_lost_memory_that_is_just_held_is_not_ruled_out_by_a_speed_on_target():
    """A little dirt stays within the authority of the idle air: the speed is right, the memory is lost all the same."""
    told = Evidence(idle_speed=745, history=("battery",), tests={"bore": "dirty"}, idle_air=38)
    w = weigh(told, PRESSURE.model_copy(update={"idle_air_normal": 32.0}))
    assert share(w, "lost memory") > 0.1


def test_trims_in_a_pattern_of_no_listed_cause_speak_for_something_else():
    rich_at_idle = {"idle": -17, "idle with load": -13, "2500": -8, "cruise": -5, "hard load": -2}
    w = weigh(Evidence(trims=rich_at_idle, idle_speed=750), PRESSURE)
    ragged = weigh(
        Evidence(trims=dict(zip(rich_at_idle, (-2, -17, -5, -13, -8), strict=True)), idle_speed=750), PRESSURE
    )
    assert share(w, "something else") > 0.5
    assert np.log(np.exp(w.total).sum()) > np.log(np.exp(ragged.total).sum()) + 3


def test_something_else_moves_in_every_way_once():
    shifts, wide = moved_by_else()
    assert shifts.shape == wide.shape == (len(MOVED) + len(PATTERNS) * len(PATTERN_SIZES), len(INDEX))
    trims = [k for name, k in INDEX.items() if name.startswith("trim")]
    others = [k for k in INDEX.values() if k not in trims]
    assert not shifts[:, others].any()
    assert not shifts[: len(MOVED)].any()
    assert len(np.unique(shifts[len(MOVED) :], axis=0)) == len(PATTERNS) * len(PATTERN_SIZES)
    assert np.abs(shifts).max() == max(PATTERN_SIZES)
