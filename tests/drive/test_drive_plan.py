"""Plans: the shortest one, against a search that tries everything; what is refused; the routine that comes out."""

import itertools
import math
from datetime import datetime

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tickover.cues.card import card_pdf
from tickover.cues.phone import phone_page
from tickover.cues.track import cue_track
from tickover.drive import Situation, load_conditions, load_roads, plan_drive, plan_toml, road_names
from tickover.drive.search import Aim, Task, length, shortest
from tickover.errors import InputError
from tickover.routines import compile_routine, parse_routine
from tickover.routines.check import check_file
from tickover.timing import aims, prepare

ALL = load_conditions().for_engine(diesel=False)
NIGHT = datetime(2026, 3, 1, 22, 30)

# --- everything tried: own arithmetic, no code of the search ---


def splits(order):
    """Every way to cut a list into groups that follow each other."""
    for marks in itertools.product([False, True], repeat=max(0, len(order) - 1)):
        groups, group = [], [order[0]] if order else []
        for cut, item in zip(marks, order[1:], strict=True):
            if cut:
                groups.append(group)
                group = []
            group = [*group, item]
        yield [*groups, group] if order else []


def price(group, road, person):
    """Seconds that a group takes on a road, and seconds above 25 mph in it; None where it cannot be driven."""
    if any(t.act == "coast" for t in group):
        one = group[0]
        low = max(one.lo, road.lo)
        if len(group) > 1 or min(road.hi, one.hi, low + 2 * person.narrowest) - low < person.narrowest / 2:
            return None
        return one.times * (one.seconds + person.spare_coast + person.pull) * road.factor, 0.0
    low, high = road.lo, road.hi
    for t in group:
        low, high = max(low, t.lo), min(high, t.hi)
    need = max(t.seconds for t in group)
    if high - low < person.narrowest or need > road.longest:
        return None
    return (need + person.spare) * road.factor, need + person.spare if low >= 40.2336 else 0.0


def tried(tasks, aim, roads):
    best = math.inf
    for order in itertools.permutations(tasks):
        for groups in splits(list(order)):
            for places in itertools.product(roads.roads.values(), repeat=len(groups)):
                best = min(best, walked(groups, places, aim, roads))
    return best


def walked(groups, places, aim, roads):
    gone, moved, here = 0.0, 0.0, "start"
    for group, road in zip(groups, places, strict=True):
        cost = price(group, road, roads.person)
        if cost is None:
            return math.inf
        gone += roads.way(here, road.id)
        if any(t.warm for t in group):
            idle = max(0.0, aim.warm_after - gone)
            gone += idle
            moved += idle if road.hi >= roads.person.moves else 0.0
        gone, moved, here = gone + cost[0], moved + cost[1], road.id
    short = max(0.0, aim.moving - moved)
    floor = max(aim.driven, aim.running - aim.stand)
    if short == 0 and gone >= floor:
        return gone
    ends = [max(gone + roads.way(here, r.id) + short * r.factor, floor) for r in roads.roads.values()
            if short == 0 or r.hi >= roads.person.moves]  # fmt: skip
    return min(ends, default=math.inf)


@st.composite
def task_lists(draw):
    tasks = []
    for number in range(draw(st.integers(0, 4))):
        lo = draw(st.sampled_from([20.0, 35.0, 45.0, 60.0, 75.0, 90.0]))
        act = draw(st.sampled_from(["hold", "hold", "hold", "coast"]))
        tasks.append(Task(
            str(number), act, draw(st.sampled_from([6.0, 50.0, 120.0, 200.0, 400.0])), lo,
            lo + draw(st.sampled_from([10.0, 15.0, 30.0])), draw(st.booleans()), 3 if act == "coast" else 1,
        ))  # fmt: skip
    return tasks


@given(
    task_lists(),
    st.sampled_from([None, ("town",), ("town", "country"), ("country", "motorway")]),
    st.sampled_from([60.0, 100.0, 130.0]),
    st.sampled_from(["light", "heavy"]),
    st.sampled_from([0.0, 310.0]),
    st.sampled_from([0.0, 610.0]),
    st.sampled_from([0.0, 240.0, 500.0]),
)
@settings(max_examples=150, deadline=None)
def test_no_plan_is_shorter(tasks, names, limit, traffic, moving, running, warm_after):
    roads = load_roads(names, limit=limit, traffic=traffic)
    aim = Aim(running=running, moving=moving, stand=40.0, warm_after=warm_after, driven=warm_after / 2)
    best = shortest(tasks, aim, roads)
    other = tried(tasks, aim, roads)
    assert (math.inf if best is None else length(best)) == pytest.approx(other)


# --- plans ---


def plan(open_, *, names=None, limit=130.0, traffic="light", diesel=False, **car):
    conditions = load_conditions().for_engine(diesel=diesel)
    roads = load_roads(names, limit=limit, traffic=traffic)
    situation = Situation(open=tuple(open_.split(",")), limit=limit, traffic=traffic, **car)
    return plan_drive(conditions, situation, roads), conditions, situation, roads


def test_one_stretch_serves_two_monitors():
    found, *_ = plan("catalyst,o2", coolant=85)
    holds = [leg for leg in found.legs if leg.act == "hold"]
    assert len(holds) == 1
    assert (holds[0].lo, holds[0].hi, holds[0].seconds) == (80, 90, 180)
    assert holds[0].serves == ("Catalyst", "Oxygen sensor")


def test_cold_start_ones_come_first_and_wait_for_the_soak():
    found, *_ = plan("catalyst,heater,evap", coolant=60, fuel=60, ambient=15, soaked=0, now=NIGHT)
    assert found.not_before == "tomorrow 06:30 at the earliest"
    assert found.legs[0].act == "stand"
    assert "Oxygen sensor heater" in found.legs[0].serves
    soaked, *_ = plan("catalyst,heater,evap", coolant=16, fuel=60, ambient=15, soaked=9, now=NIGHT)
    assert (soaked.not_before, soaked.wait_hours) == ("", 0)


def test_a_warm_engine_after_a_long_stand_is_no_cold_start():
    found, *_ = plan("evap", coolant=60, fuel=60, ambient=15, soaked=9, now=NIGHT)
    assert found.wait_hours == 8


@pytest.mark.parametrize(
    ("car", "words"),
    [
        ({"fuel": 10.0}, "fuel level 10 %, asked is 15 to 85 %"),
        ({"fuel": 95.0}, "fuel level 95 %"),
        ({"fuel": 50.0, "ambient": 38.0}, "outside air 38 °C"),
        ({"fuel": 50.0, "ambient": 2.0, "coolant": 2.0, "soaked": 9.0}, "2 °C, asked is 4.4 to 35 °C"),
    ],
)
def test_what_cannot_be_done_is_said_not_planned(car, words):
    found, *_ = plan("evap,general", **car)
    assert found.monitors == ("general",)
    (refused,) = found.refused
    assert words in refused.why.reason
    assert refused.why.way_out


def test_a_band_that_no_road_allows_is_refused():
    found, *_ = plan("catalyst", names=("town",))
    assert (found.legs, found.minutes) == ((), 0)
    assert "no road at hand" in found.refused[0].why.reason
    assert plan("catalyst", limit=85)[0].refused
    assert plan("filter", diesel=True, traffic="heavy")[0].refused
    assert not plan("filter", diesel=True)[0].refused


def test_a_warm_up_cycle_from_a_hot_engine_waits():
    found, *_ = plan("warm-up", coolant=88, ambient=15, now=NIGHT)
    assert found.wait_hours == 8
    assert plan("warm-up", coolant=40, ambient=15)[0].wait_hours == 0


def test_what_is_not_known_becomes_a_need():
    found, *_ = plan("evap")
    assert {"Fuel level: 15 to 85 %", "Hours stood: at least 8 h"} <= set(found.needs)


def test_driving_on_serves_what_counts_in_all():
    found, *_ = plan("general", names=("town",), coolant=80)
    assert [leg.act for leg in found.legs] == ["stand", "go on"]
    assert found.legs[1].serves == ("General denominator",)
    assert found.legs[1].seconds == 310


def test_a_monitor_without_a_stretch_is_left_out_and_the_rest_planned():
    found, *_ = plan("boost,general,general", coolant=80, diesel=True)
    assert found.monitors == ("general",)
    assert "no stretch is known" in found.refused[0].why.reason


def test_an_unknown_monitor_is_refused():
    with pytest.raises(InputError, match="no monitor is called"):
        plan("catalist")


def test_an_empty_plan_is_no_routine():
    found, conditions, situation, roads = plan("catalyst", names=("town",))
    with pytest.raises(InputError, match="no drive"):
        plan_toml(found, conditions, situation, roads)


# --- routines ---


@pytest.mark.parametrize("open_", ["general", "catalyst", "egr", "evap,heater,general,catalyst,o2,air,egr,warm-up"])
@pytest.mark.parametrize("names", [("town", "country"), ("country", "motorway"), ("motorway",)])
@pytest.mark.parametrize("traffic", ["light", "heavy"])
def test_a_plan_is_a_sound_routine(open_, names, traffic, tmp_path):
    found, conditions, situation, roads = plan(open_, names=names, traffic=traffic, coolant=15, ambient=15, fuel=50)
    if not found.legs:
        return
    file = tmp_path / "plan.toml"
    file.write_text(plan_toml(found, conditions, situation, roads), encoding="utf-8")
    check = check_file(file)
    assert check.ok, check.faults
    assert check.controllable
    compiled = compile_routine(parse_routine(file.read_text()))
    assert compiled.kind == "drive"
    assert "passenger" in compiled.cautions[0]
    coasts = [s for s in compiled.steps if s.kind == "coast"]
    assert all("look behind" in s.caution for s in coasts if s.round == 1)
    if "general" in found.monitors:
        last = next(c for c in compiled.constraints if c.b == "end" and c.a == "start")
        assert last.lo == 600


def test_card_cue_and_phone_take_the_plan():
    found, conditions, situation, roads = plan(
        "evap,heater,general,catalyst,o2,air,egr", coolant=15, ambient=15, fuel=50, limit=110, traffic="heavy"
    )
    compiled = compile_routine(parse_routine(plan_toml(found, conditions, situation, roads)))
    assert card_pdf(compiled).startswith(b"%PDF")
    assert "in one piece" in phone_page(compiled)
    track = cue_track(compiled, aims=aims(prepare(compiled.plan()), margins=compiled.margins()))
    assert len(track.parts) == 1
    assert track.parts[0].length > 600


def test_every_road_has_a_way_from_the_start():
    roads = load_roads()
    assert set(roads.roads) == set(road_names())
    for a in ("start", *road_names()):
        for b in road_names():
            assert roads.way(a, b) >= 0
