"""The compiled form: events in order, windows, words, JSON and digest of the built-in families."""

import math
import re

import numpy as np
import pytest

from tickover.attempts import ACTS, KINDS
from tickover.engine import PEDAL_COUNT, PEDAL_HOLD, POWER_CYCLE
from tickover.engine.watch import machine
from tickover.routines import CompiledRoutine, compile_routine, load_library, parse_routine
from tickover.routines.grammar import CAR, DO, LAMP
from tickover.routines.library import BUILT_IN
from tickover.routines.physics import _RULES
from tickover.routines.report import times_of
from tickover.timing import Network, Plan, aims, check_controllable


@pytest.fixture(scope="module")
def library():
    return load_library()


@pytest.fixture(params=["power-cycle", "pedal-count", "pedal-hold"])
def compiled(request, library):
    return compile_routine(library[request.param])


def text_of(name):
    return (BUILT_IN / f"{name}.toml").read_text(encoding="utf-8")


def digest_of(text):
    return compile_routine(parse_routine(text)).digest


# --- goldens ---------------------------------------------------------------------------------------------------------


def test_power_cycle_events_and_windows(library):
    c = compile_routine(library["power-cycle"])
    assert [e.name for e in c.events] == [
        *("on.1", "off.1", "on.2", "off.2", "on.3", "off.3", "on.4", "off.4"),
        *("on-last", "start"),
    ]
    assert {e.kind for e in c.events} == {"ignition on", "ignition off", "crank"}
    network = Network.of(c.plan())
    assert network.window("on.1", "off.4") == (4 * 8 + 3 * 1, 4 * 12 + 3 * 3)
    assert network.window("on.3", "off.3") == (8, 12)
    assert network.window("off.4", "on-last") == (1, 3)
    assert network.window("on-last", "start") == (2, math.inf)
    assert c.margins() == {"start": 3.0}
    assert aims(c.plan(), margins=c.margins())["start"].delay == pytest.approx(5.0)


def test_pedal_count_events_and_windows(library):
    c = compile_routine(library["pedal-count"])
    names = [f"presses.{n}.{edge}" for n in range(1, 6) for edge in ("press", "release")]
    assert [e.name for e in c.events] == ["on", *names, "down", "flashes", "stays", "up", "start"]
    assert [(e.number, e.of) for e in c.events[1:11]] == [(n, 5) for n in range(1, 6) for _ in range(2)]
    assert [e.name for e in c.events if e.answer] == ["flashes", "stays"]
    network = Network.of(c.plan())
    assert network.window("on", "presses.1.press") == (2, 4)
    assert network.window("presses.1.press", "presses.5.release") == pytest.approx((5 * 0.25 + 4 * 0.12, 5))
    assert network.window("presses.5.release", "down") == (6, 8)
    assert network.window("down", "flashes") == (8, 14)
    assert network.window("down", "stays") == (16, 25)
    assert network.window("stays", "up") == (0, 3)
    assert network.window("down", "up") == (16, 28)
    assert network.window("up", "start") == pytest.approx((0.3, 3))
    # the span would leave a gap 5 − 5 · 0.25 − 3 · 0.12 = 3.39 s, so its own 0.9 s holds
    assert network.window("presses.2.release", "presses.3.press") == pytest.approx((0.12, 0.9))
    harm = [x for x in c.constraints if x.rule == "harm"]
    assert [(x.a, x.b, x.lo, x.hi, x.group) for x in harm] == [("stays", "up", 0, None, "up")]
    assert c.may_erase
    waits = {(act, answer): seconds for act, answer, seconds in check_controllable(c.plan()).waits}
    assert waits["up", "stays"] >= 25  # not before the answer, or before it must have come


def test_pedal_hold_events_and_windows(library):
    c = compile_routine(library["pedal-hold"])
    assert [(e.name, e.kind) for e in c.events] == [
        ("on", "ignition on"),
        ("down", "press"),
        ("up", "release"),
        ("start", "crank"),
    ]
    assert [(x.a, x.b, x.lo, x.hi) for x in c.constraints] == [
        ("on", "down", 2, 4),
        ("down", "up", 27, 33),
        ("up", "start", 1, 3),
    ]
    times = times_of(c)
    assert (times.lo, times.hi) == (30, 40)
    # By feel: a little before the middle, because the spread grows with the wait.
    assert [w.aim for w in times.windows] == [None, *(pytest.approx(x, abs=0.02) for x in (2.97, 29.70, 1.98))]


def test_digests_are_pinned_because_old_attempts_carry_them(library):
    """If this fails, every attempt recorded so far is refused by its own routine: mean it, then change the number."""
    assert {name: compile_routine(r).digest[:16] for name, r in library.items()} == {
        "power-cycle": "18d6543334a07347",
        "pedal-count": "739b2a97ef849c44",
        "pedal-hold": "1d8a4c1c3b5aa546",
        "slow-presses": "41496c5d34b67368",
        "double-hold": "9b217066d142279d",
        "key-on-rest": "c4dd6fd1873ed41f",
        "run-in-idle": "988da2afc8b19765",
        "fast-run-in": "aa5128306c00dc8b",
        "rest-and-idle": "deefbfac7f9c026c",
        "loads-in-turn": "ce5b323185f0f275",
        "drive-in": "c49df9ad15cca6ae",
        "pedal-rest": "26e4f1d7a2cff4b3",
        "throttle-stop": "90250a4d851e85d2",
    }


# --- against the simulated controller, which shares no code with the routine files ------------------------------------


def inside(bound, window):
    return window[0] <= bound[0] and bound[1] <= window[1]


def test_built_in_windows_lie_inside_those_of_the_simulated_controller(library):
    hold = Network.of(compile_routine(library["pedal-hold"]).plan())
    assert inside(hold.window("on", "down"), PEDAL_HOLD.press)
    assert inside(hold.window("down", "up"), PEDAL_HOLD.hold)
    assert inside(hold.window("up", "start"), PEDAL_HOLD.crank)
    count = Network.of(compile_routine(library["pedal-count"]).plan())
    assert inside(count.window("on", "presses.1.press"), PEDAL_COUNT.first_press)
    assert inside(count.window("presses.5.release", "down"), PEDAL_COUNT.hold_after)
    assert inside(count.window("presses.1.press", "presses.5.release"), PEDAL_COUNT.span)
    assert inside(PEDAL_COUNT.flashing, count.window("down", "flashes"))
    assert inside(PEDAL_COUNT.lit, count.window("down", "stays"))
    assert inside(count.window("stays", "up"), PEDAL_COUNT.release)
    assert inside(count.window("up", "start"), PEDAL_COUNT.crank)
    cycle = compile_routine(library["power-cycle"])
    network = Network.of(cycle.plan())
    offs = [
        n
        for n in range(1, 5)
        if inside(network.window(f"off.{n}", f"on.{n + 1}" if n < 4 else "on-last"), POWER_CYCLE.off)
    ]
    assert len(offs) >= POWER_CYCLE.times
    assert all(inside(network.window(f"on.{n}", f"off.{n}"), POWER_CYCLE.on) for n in range(1, 5))


EDGES = {"ignition on": "on", "ignition off": "off", "crank": "crank", "press": "press", "release": "release"}


@pytest.mark.parametrize(("name", "entry"), [("pedal-hold", PEDAL_HOLD), ("power-cycle", POWER_CYCLE)])
def test_a_run_at_the_aims_is_taken_by_the_simulated_controller(library, name, entry):
    c = compile_routine(library[name])
    aimed = aims(c.plan(), margins=c.margins())
    watch = machine(entry, 0.0, np.random.default_rng(1))
    said = []
    for event in c.events:
        t = aimed[event.name].at if event.name in aimed else 0.0
        said += watch.tick(t) + watch.edge(EDGES[event.kind], t)
        if event.kind == "crank":
            said += watch.edge("running", t + 1.0)
    assert {a.text for a in said if a.what == "outcome"} == {"written"}


# --- JSON and digest -------------------------------------------------------------------------------------------------


def test_json_round_trip(compiled):
    again = CompiledRoutine.model_validate_json(compiled.model_dump_json())
    assert again == compiled
    assert again.digest == compiled.digest
    assert again.plan() == compiled.plan()
    assert isinstance(again.plan(), Plan)


def test_the_digest_does_not_depend_on_the_switch_but_the_words_do(library):
    for routine in library.values():
        key, button = compile_routine(routine, "key"), compile_routine(routine, "button")
        assert key.digest == button.digest
        assert key.plan() == button.plan()
        assert key.steps != button.steps


@pytest.mark.parametrize("name", ["power-cycle", "pedal-count", "pedal-hold"])
def test_layout_comments_and_prose_leave_the_digest(name):
    text = text_of(name)
    spread = re.sub(r"\n", "\n\n# a = 1\n", text).replace(" = ", "   =  ").replace("\n", "\r\n")
    prose = re.sub(r'(why|caution|harm|title|need|fits|after_miss) += +"[^"]*"', r'\1 = "Something else."', text)
    assert prose != text
    assert digest_of(spread) == digest_of(prose) == digest_of(text)


@pytest.mark.parametrize(
    ("name", "old", "new"),
    [
        ("pedal-hold", "give = 3", "give = 2.999"),
        ("pedal-hold", 'id = "down"', 'id = "floor"'),
        ("pedal-count", "between = [8, 14]", "between = [8, 13]"),
        ("pedal-count", "times = 5", "times = 4"),
        ("pedal-count", 'forbidden_until = "stays"\nharm', "# "),
        ("pedal-count", "span = { at_most = 5 }", "span = { at_most = 4.9 }"),
        ("power-cycle", "times = 4", "times = 3"),
        ("power-cycle", "at_least = 2\n", "at_least = 2.5\n"),
    ],
)
def test_a_bound_changes_the_digest(name, old, new):
    text = text_of(name)
    assert old in text
    assert digest_of(text.replace(old, new, 1)) != digest_of(text)


def test_two_ways_of_stating_one_bound_are_one_digest():
    text = text_of("pedal-hold")
    assert digest_of(text.replace("about = 30\ngive = 3", "between = [27.0, 33]")) == digest_of(text)
    tenths = text.replace("about = 2\ngive = 1", "about = 0.3\ngive = 0.1")
    assert digest_of(tenths) == digest_of(text.replace("about = 2\ngive = 1", "between = [0.2, 0.4]"))


def test_an_aim_changes_no_digest():
    text = text_of("power-cycle")
    assert digest_of(text.replace("aim_by = 3", "aim_by = 9")) == digest_of(text)


# --- what is implied -------------------------------------------------------------------------------------------------

HEAD = (
    'id = "a"\ntitle = "A"\nkind = "relearn"\ndisturbs = 2\nmay_erase = false\nbasis = { kind = "common practice" }\n'
)


def compile_rows(*rows):
    return compile_routine(parse_routine(HEAD + "steps = [\n" + "".join(f"  {r},\n" for r in rows) + "]\n"))


def test_acts_keep_the_order_of_the_file_even_where_bounds_would_let_them_swap():
    c = compile_rows(
        '{ id = "on", do = "ignition on" }',
        '{ id = "down", do = "press", between = [2, 10] }',
        '{ id = "up", do = "release", after = "on", between = [3, 20] }',
        '{ id = "start", do = "crank", after = "on", between = [1, 30] }',
    )
    order = [(x.a, x.b, x.rule) for x in c.constraints if x.rule != "bound"]
    assert order == [("down", "up", "order"), ("down", "up", "held"), ("up", "start", "order")]
    assert Network.of(c.plan()).window("on", "start") == (3, 30)
    assert Network.of(c.plan()).window("down", "up")[0] == 0.25


def test_a_repeat_whose_presses_have_no_lower_end_takes_the_shortest_press_that_counts():
    c = compile_rows(
        '{ id = "on", do = "ignition on" }',
        '{ id = "p", do = "press", about = 3, give = 1, times = 2, press = { at_most = 0.9 },'
        " gap = { at_least = 0.1 }, span = { at_most = 5 } }",
    )
    assert [(x.lo, x.hi) for x in c.constraints if x.rule == "press"] == [(0.25, 0.9)] * 2
    assert [(x.lo, x.hi) for x in c.constraints if x.rule == "gap"] == [(0.1, None)]


def test_counted_time_becomes_a_counter_and_its_condition():
    c = compile_rows(
        '{ id = "start", do = "crank" }',
        '{ id = "off", do = "ignition off", about = 300, give = 20, count_only_while = "fan off" }',
        '{ id = "on", do = "ignition on", about = 60, give = 5 }',
        '{ id = "again", do = "crank", between = [0.5, 5] }',
        '{ id = "end", do = "ignition off", at_least = 300,'
        ' count_only_while = { signal = "vehicle_speed", at_least = 40 } }',
    )
    assert [(k.event, k.start, k.condition, k.lo, k.hi) for k in c.counters] == [
        ("off", "start", "fan off", 280, 320),
        ("end", "again", "vehicle_speed at least 40 km/h", 300, None),
    ]
    assert [(x.name, x.signal, x.lo, x.hi) for x in c.conditions] == [
        ("fan off", None, None, None),
        ("vehicle_speed at least 40 km/h", "vehicle_speed", 40, None),
    ]
    times = times_of(c)
    assert times.hi is None
    assert [w.counted for w in times.windows] == [False, True, False, False, True]


def test_words_of_the_pedal_count(library):
    c = compile_routine(library["pedal-count"])
    assert [s.title for s in c.steps] == [
        *("Ignition on", "Press 5 times", "Press and hold", "Watch the lamp", "Watch the lamp", "Let up"),
        "Start the engine",
    ]
    assert c.step("presses").bound == "3 s, give or take 1"
    assert c.step("presses").counted_from == "ignition on"
    assert c.step("down").counted_from == "the last let-up"
    assert c.step("up").bound == "within 3 s"
    assert "can clear codes" in c.step("up").harm
    assert c.step("flashes").if_none.startswith("Stop: ignition off")
    with pytest.raises(KeyError):
        c.step("none")


def test_labels_are_unique_and_begin_with_their_step(compiled):
    bounds = [*compiled.constraints, *compiled.answers, *compiled.counters]
    labels = [b.label for b in bounds]
    assert len(set(labels)) == len(labels)
    assert all(b.label.startswith(f"{b.group}: ") for b in bounds)
    assert {b.group for b in bounds} <= {s.id for s in compiled.steps}


def test_events_belong_to_their_steps(compiled):
    assert [e.name for e in compiled.events] == [name for s in compiled.steps for name in s.events]
    assert all(compiled.step(e.step).answer == e.answer for e in compiled.events)


def test_safety_cautions_stand_at_every_step_where_they_matter(library):
    for routine in library.values():
        c = compile_routine(routine)
        for place, step in enumerate(c.steps):
            acts = [s.kind for s in c.steps[:place] if not s.answer]
            if step.kind == "press" and acts[-1] not in {"press", "release"}:
                assert "Engine confirmed stopped" in step.caution
            if step.kind == "crank":
                assert "Pedal up before the crank" in step.caution
                assert "closed space" in step.caution


def test_bus_silence_is_asked_for_the_time_before_a_step(library):
    c = compile_routine(library["power-cycle"])
    assert [s.id for s in c.steps if s.bus_silent] == ["on.2", "on.3", "on.4", "on-last"]


def test_every_word_of_the_grammar_has_its_kind_its_rule_and_its_actor():
    assert set(DO) == ACTS
    answers = set(LAMP.values()) | set(CAR.values())
    assert answers | ACTS == set(KINDS) - {"end", "time counts", "time stands"} == set(_RULES)
