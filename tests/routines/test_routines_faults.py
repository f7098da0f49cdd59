"""Every sort of mistake in a routine file: its line, its step and the way out; and several at once."""

import pytest

from tickover.errors import InputError, RoutineFileError
from tickover.routines import parse_routine, read_routine

HEAD = """\
id = "mine"
title = "Mine"
kind = "relearn"
disturbs = 2
may_erase = false
basis = { kind = "common practice" }
"""
"""Six lines; the steps begin in line 7."""

GOOD = """\
steps = [
  { id = "on", do = "ignition on" },
  { id = "down", do = "press", about = 3, give = 1 },
  { id = "up", do = "release", about = 30, give = 3 },
  { id = "start", do = "crank", between = [1, 3] },
]
"""
"""`on` stands in line 8, `down` 9, `up` 10, `start` 11."""

PRESSES = (
    '{ id = "presses", do = "press", about = 3, give = 1, times = 5, press = { between = [0.25, 0.9] },'
    " gap = { between = [0.12, 0.9] }, span = { at_most = 5 } }"
)


def faults_of(text):
    with pytest.raises(RoutineFileError) as caught:
        parse_routine(text, "mine.toml")
    return caught.value.faults


def only(text):
    faults = faults_of(text)
    assert len(faults) == 1, [str(f) for f in faults]
    return faults[0]


def steps(*rows):
    return HEAD + "steps = [\n" + "".join(f"  {row},\n" for row in rows) + "]\n"


def swap(old, new):
    assert old in GOOD
    return HEAD + GOOD.replace(old, new)


def test_the_good_file_has_no_fault():
    assert [s.id for s in parse_routine(HEAD + GOOD).steps] == ["on", "down", "up", "start"]


# --- the bound: stated in exactly one way ----------------------------------------------------------------------------

BOUND_MISTAKES = [
    # a bare number, with the reason in the message
    ("about = 3, give = 1", "about = 3", 9, "down", "bare 3 s, which does not say whether 2.6 s will do", "`give`"),
    ("about = 3, give = 1", "after = 3", 9, "down", "bare 3 s", "`give`"),
    (
        "about = 3, give = 1",
        "about = 3, give = 1, at_most = 9",
        9,
        "down",
        "in 2 ways: `about` and `at_most`",
        "between",
    ),
    ("about = 3, give = 1", "", 9, "down", "the step has no bound", "at_least = 0"),
    ("about = 3, give = 1", "give = 1", 9, "down", "`give` stands without `about`", "`about`"),
    ("about = 3, give = 1", "about = 3, give = 0", 9, "down", "`give` is 0", "above 0"),
    ("about = 3, give = 1", "about = 3, give = 4", 9, "down", "`give` is 4 with `about` 3", "not above"),
    ("about = 3, give = 1", "between = [4, 2]", 9, "down", "upside down: 4 to 2", "[2, 4]"),
    ("about = 3, give = 1", "between = [3, 3]", 9, "down", "3 s only, which nobody hits", "off"),
    ("about = 3, give = 1", "between = [2, 3, 4]", 9, "down", "`between` is [2, 3, 4]", "two numbers"),
    ("about = 3, give = 1", "between = [-2, 3]", 9, "down", "reaches below 0: -2", "forwards"),
    ("about = 3, give = 1", "at_least = 2, aim_by = -1", 9, "down", "`aim_by` is -1", "above 0"),
    ("about = 3, give = 1", "at_most = 3, aim_by = 1", 9, "down", "`aim_by` stands without `at_least`", "themselves"),
    ("about = 3, give = 1", "at_most = 90000", 9, "down", "longer than a day", "seconds"),
    ("about = 3, give = 1", "about = nan, give = 1", 9, "down", "`about` is nan", "a number"),
    ("about = 3, give = 1", 'about = "3 s", give = 1', 9, "down", "`about` is '3 s'", "a number"),
    ("about = 3, give = 1", "about = true, give = 1", 9, "down", "`about` is true", "a number"),
    ('id = "on", do = "ignition on"', 'id = "on", do = "ignition on", at_least = 1', 8, "on", "first step", "clock"),
    ('id = "on", do = "ignition on"', 'id = "on", do = "ignition on", after = "up"', 8, "on", "first step", "clock"),
    ("about = 30, give = 3", "about = 0.4, give = 0.2", 10, "up", "let up 0.2 s after it went down", "0.25"),
]


@pytest.mark.parametrize(("old", "new", "line", "step", "what", "way_out"), BOUND_MISTAKES)
def test_a_bound_is_stated_in_exactly_one_way(old, new, line, step, what, way_out):
    text = swap(f", {old}" if not new else old, new)
    fault = only(text)
    assert (fault.line, fault.step) == (line, step)
    assert what in fault.what
    assert way_out in fault.way_out


# --- names and words -------------------------------------------------------------------------------------------------

WORD_MISTAKES = [
    ("give = 1", "gives = 1", 2, 9, "no key is called `gives`", "`give`"),
    ("give = 1", "tolerance = 1", 2, 9, "no key is called `tolerance`", "called `give`"),
    ('do = "crank"', 'do = "start"', 1, 11, "“start” is not a `do`", "called `crank`"),
    ('do = "crank"', 'do = "ignitoin on"', 1, 11, "“ignitoin on” is not a `do`", "`ignition on`"),
    ('do = "crank"', "do = 7", 1, 11, "`do` is 7", "`crank`"),
    ('do = "crank", ', "", 1, 11, "neither `do` nor `lamp` nor `car`", "`crank`"),
    ('do = "crank"', 'do = "crank", lamp = "lit"', 1, 11, "both `do` and `lamp`", "two steps"),
    ('id = "up"', 'id = "down"', 1, 10, "the name of two steps, the other in line 9", "Rename"),
    ('id = "up"', 'id = "Up 1"', 1, 10, "“Up 1” is not a name", "Small letters"),
    ('id = "up", ', "", 1, 10, "`id` is missing", "no two steps"),
    ("between = [1, 3]", 'after = "upp", between = [1, 3]', 1, 11, "“upp”, which is no step", "`up`"),
    ("between = [1, 3]", 'after = "start", between = [1, 3]', 1, 11, "names the step itself", "earlier"),
    ("about = 3, give = 1", 'after = "up", about = 3, give = 1', 1, 9, "“up”, which comes later", "earlier"),
    ("between = [1, 3]", "between = [1, 3], times = 3", 1, 11, "only presses have `times`", "`cycle`"),
    ("between = [1, 3]", 'between = [1, 3], if_none = "stop"', 1, 11, "only an answer of the car has", "Leave"),
    ("between = [1, 3]", 'between = [1, 3], harm = "x"', 1, 11, "`harm` stands without `forbidden_until`", "which"),
    ("between = [1, 3]", 'between = [1, 3], load = "x"', 1, 11, "`load` stands without `load on`", ""),
    ("between = [1, 3]", "between = [1, 3], bus_silent = 1", 1, 11, "`bus_silent` is 1", "true or false"),
    ("between = [1, 3]", 'between = [1, 3], caution = ""', 1, 11, "`caution` is ''", "text"),
    ("between = [1, 3]", "between = [1, 3], cycle = []", 1, 11, "`cycle` does not belong here", "without an act"),
    (
        "about = 3, give = 1",
        "about = 3, give = 1, gap = { at_most = 1 }",
        1,
        9,
        "`gap` stands without `times`",
        "let-up",
    ),
    ("between = [1, 3]", 'between = [1, 3], count_only_while = "fan of"', 1, 11, "no condition is called", "`fan off`"),
    (
        "between = [1, 3]",
        'between = [1, 3], count_only_while = { signal = "vehicle_sped", at_least = 40 }',
        1,
        11,
        "no signal is called",
        "vehicle_speed",
    ),
    (
        "between = [1, 3]",
        'between = [1, 3], count_only_while = { signal = "vehicle_speed" }',
        1,
        11,
        "the condition has no bound",
        "at_least",
    ),
]


@pytest.mark.parametrize(("old", "new", "count", "line", "what", "way_out"), WORD_MISTAKES)
def test_words_and_names(old, new, count, line, what, way_out):
    assert old in GOOD
    faults = faults_of(HEAD + GOOD.replace(old, new, 1))
    assert len(faults) == count, [str(f) for f in faults]
    (fault,) = [f for f in faults if what in f.what]
    assert fault.line == line
    assert way_out in fault.way_out


def test_a_wait_is_no_step_and_is_told_so_once():
    fault = only(
        steps(
            '{ id = "on", do = "ignition on" }',
            '{ id = "w", wait = 3 }',
            '{ id = "off", do = "ignition off", at_least = 1 }',
        )
    )
    assert (fault.line, fault.step) == (9, "w")
    assert "A wait is a bound" in fault.way_out


# --- the head --------------------------------------------------------------------------------------------------------

HEAD_MISTAKES = [
    ('basis = { kind = "common practice" }', "", 1, "`basis` is missing"),
    (
        'basis = { kind = "common practice" }',
        'basis = { kind = "published" }',
        6,
        "“published” stands without `source`",
    ),
    ('basis = { kind = "common practice" }', 'basis = { kind = "rumour" }', 6, "“rumour” is not a `kind`"),
    ('basis = { kind = "common practice" }', 'basis = "common practice"', 6, "`basis` is 'common practice'"),
    (
        'basis = { kind = "common practice" }',
        'basis = { kind = "service information", clause = "3" }',
        6,
        "`clause` stands without `source`",
    ),
    ("disturbs = 2", "disturbs = 4", 4, "`disturbs` is 4"),
    ("disturbs = 2", "disturbs = true", 4, "`disturbs` is true"),
    ("may_erase = false\n", "", 1, "`may_erase` is missing"),
    ("may_erase = false", 'may_erase = "no"', 5, "`may_erase` is 'no'"),
    ('kind = "relearn"', 'kind = "relern"', 3, "“relern” is not a `kind`"),
    ('title = "Mine"', 'titel = "Mine"', 2, "no key is called `titel`"),
    ('title = "Mine"', 'title = "  "', 2, "`title` is '  '"),
    ("disturbs = 2", 'disturbs = 2\nthrottle = ["wire"]', 5, "“wire” is not a `throttle`"),
    ("disturbs = 2", 'disturbs = 2\nrequires = ["mine"]', 5, "requires itself"),
    ("disturbs = 2", 'disturbs = 2\nneeds = [\n  { need = "warm" },\n]', 6, "`why` is missing"),
    (
        "disturbs = 2",
        'disturbs = 2\nneeds = [\n  { need = "warm", why = "x", signal = "coolant", at_least = 80 },\n]',
        6,
        "no signal is called “coolant”",
    ),
    (
        "disturbs = 2",
        'disturbs = 2\nneeds = [\n  { need = "warm", why = "x", at_least = 80 },\n]',
        6,
        "without `signal`",
    ),
    ("disturbs = 2", 'disturbs = 2\ncautions = "one"', 5, "`cautions` is 'one'"),
]


@pytest.mark.parametrize(("old", "new", "line", "what"), HEAD_MISTAKES)
def test_the_head(old, new, line, what):
    assert old in HEAD
    faults = faults_of(HEAD.replace(old, new) + GOOD)
    (fault,) = [f for f in faults if what in f.what]
    assert fault.line == line
    assert len(faults) == (2 if "titel" in new else 1)


def test_no_steps_at_all():
    assert only(HEAD + "steps = []\n").what == "the routine has no steps"
    assert only(HEAD).what == "`steps` is missing"


# --- repeats ---------------------------------------------------------------------------------------------------------

REPEAT_MISTAKES = [
    ("press = { between = [0.25, 0.9] }", "press = 0.5", "`press` is a bare 0.5 s"),
    ("press = { between = [0.25, 0.9] }", "press = { between = [0.1, 0.9] }", "a press of 0.1 s may not count"),
    ("press = { between = [0.25, 0.9] }", "press = { at_most = 0.2 }", "may not count"),
    ("press = { between = [0.25, 0.9] }, ", "", "`times` stands without `press`"),
    ("gap = { between = [0.12, 0.9] }", "gap = { about = 0.5 }", "`about` is a bare 0.5 s"),
    ("gap = { between = [0.12, 0.9] }", "gap = {}", "`gap` has no bound"),
    ("gap = { between = [0.12, 0.9] }", "gap = { at_least = 0.1, aim_by = 1 }", "no key is called `aim_by`"),
    (", span = { at_most = 5 }", "", "`times` stands without `span`"),
    ("times = 5", "times = 1", "`times` is 1"),
    ("times = 5", "times = 51", "`times` is 51"),
    ("times = 5", "times = 2.5", "`times` is 2.5"),
]


@pytest.mark.parametrize(("old", "new", "what"), REPEAT_MISTAKES)
def test_a_repeat_states_count_press_gap_and_span(old, new, what):
    assert old in PRESSES
    fault = only(steps('{ id = "on", do = "ignition on" }', PRESSES.replace(old, new)))
    assert (fault.line, fault.step) == (9, "presses")
    assert what in fault.what
    assert fault.way_out


# --- answers ---------------------------------------------------------------------------------------------------------

LAMP_MISTAKES = [
    ("", 2, "has no window"),
    ("about = 20, give = 4", 1, "no `about`: nobody chooses its moment"),
    ("at_least = 3", 1, "no `at_least`"),
    ("between = [16, inf]", 1, "`between` is [16, inf]"),
    ("between = [-1, 16]", 1, "the window is -1 to 16 s"),
    ('between = [8, 16], count_only_while = "fan off"', 1, "has no `count_only_while`"),
    ('between = [8, 16], forbidden_until = "on"', 1, "has no `forbidden_until`"),
]


@pytest.mark.parametrize(("bound", "at_least", "what"), LAMP_MISTAKES)
def test_an_answer_has_a_finite_window_and_never_an_aim(bound, at_least, what):
    row = f'{{ id = "lamp", lamp = "lit", {bound}{", " if bound else ""}if_none = "stop" }}'
    faults = faults_of(steps('{ id = "on", do = "ignition on" }', row))
    assert any(what in f.what and f.line == 9 and f.step == "lamp" for f in faults), [str(f) for f in faults]
    assert len(faults) <= at_least


def test_an_answer_says_what_to_do_without_it():
    fault = only(steps('{ id = "on", do = "ignition on" }', '{ id = "lamp", lamp = "lit", between = [1, 2] }'))
    assert "if the answer does not come" in fault.what
    assert "if_none" in fault.way_out


def test_a_routine_does_not_begin_with_an_answer():
    faults = faults_of(steps('{ id = "lamp", lamp = "lit", if_none = "stop" }'))
    assert any("first step is an answer" in f.what for f in faults)


# --- what the car and the foot allow ---------------------------------------------------------------------------------

ON = '{ id = "on", do = "ignition on" }'
DOWN = '{ id = "down", do = "press", about = 3, give = 1 }'
UP = '{ id = "up", do = "release", about = 3, give = 1 }'
START = '{ id = "start", do = "crank", about = 3, give = 1 }'
OFF = '{ id = "off", do = "ignition off", about = 3, give = 1 }'
AGAIN = '{ id = "again", do = "ignition on", about = 3, give = 1 }'
STILL = '{ id = "still", car = "stopped", between = [0, 10], if_none = "stop" }'
LIT = '{ id = "lamp", lamp = "lit", between = [1, 2], if_none = "stop" }'
PARK = '{ id = "park", do = "gear neutral", about = 3, give = 1 }'
DRIVE = '{ id = "drive", do = "gear drive", about = 3, give = 1 }'
BRAKE = '{ id = "brake", do = "brake press", about = 3, give = 1 }'
UNBRAKE = '{ id = "unbrake", do = "brake release", about = 3, give = 1 }'

PHYSICS = [
    ([ON, DOWN, DOWN.replace("down", "more"), UP], 10, "more", "the pedal is down already"),
    ([ON, UP], 9, "up", "the pedal is up already"),
    ([ON, PRESSES, UP], 10, "up", "the pedal is up already"),
    ([ON, DOWN, START], 10, "start", "the pedal is down at the crank"),
    ([ON, DOWN], 9, "down", "the routine ends with the pedal down"),
    (['{ id = "off", do = "ignition off" }', STILL, PRESSES], 10, "presses", "counted with the ignition not on"),
    ([ON, START, DOWN, UP], 10, "down", "the pedal goes to the floor with the engine running"),
    ([ON, START, OFF, AGAIN, DOWN, UP], 12, "down", "not confirmed stopped"),
    (['{ id = "off", do = "ignition off" }', AGAIN, PRESSES], 10, "presses", "not confirmed stopped"),
    ([ON, OFF, LIT], 10, "lamp", "the lamp is looked for with the ignition not on"),
    ([ON, AGAIN], 9, "again", "the ignition is on already"),
    ([ON, OFF, OFF.replace('"off"', '"off-2"')], 10, "off-2", "the ignition is off already"),
    ([ON, OFF, START], 10, "start", "the ignition is not on at the crank"),
    ([ON, START, START.replace('"start"', '"twice"')], 10, "twice", "the engine runs already"),
    ([ON, START, STILL], 10, "still", "not switched off"),
    ([ON, '{ id = "runs", car = "running", between = [0, 3], if_none = "stop" }'], 9, "runs", "nothing started it"),
    ([ON, DRIVE, PARK], 9, "drive", "a drive gear needs the engine running"),
    ([ON, START, DRIVE, PARK], 10, "drive", "the foot off the brake"),
    ([ON, START, BRAKE, DRIVE], 11, "drive", "ends with a drive gear"),
    ([ON, START, BRAKE, DRIVE, UNBRAKE, PARK], 12, "unbrake", "the brake is let go in a drive gear"),
    ([ON, START, BRAKE, DRIVE, OFF, PARK], 12, "off", "goes off with a drive gear selected"),
    ([ON, BRAKE, BRAKE.replace('"brake"', '"b"')], 10, "b", "on the brake already"),
    (
        [
            ON,
            '{ id = "a", do = "load on", load = "blower", at_least = 1 }',
            '{ id = "b", do = "load on", load = "blower", at_least = 1 }',
        ],
        10,
        "b",
        "blower is on already",
    ),
]


@pytest.mark.parametrize(("rows", "line", "step", "what"), PHYSICS, ids=lambda v: v if isinstance(v, str) else "")
def test_what_the_car_and_the_foot_allow(rows, line, step, what):
    faults = faults_of(steps(*rows))
    (fault,) = [f for f in faults if what in f.what]
    assert (fault.line, fault.step) == (line, step)
    assert fault.way_out


def test_a_confirmed_stop_lets_the_pedal_go_down_again():
    assert parse_routine(steps(ON, START, OFF, STILL, AGAIN, DOWN, UP))


# --- times that cannot be kept ---------------------------------------------------------------------------------------


def test_presses_that_do_not_fit_their_span_name_the_bounds():
    fault = only(steps(ON, PRESSES.replace("at_most = 5", "at_most = 1.5")))
    assert (fault.line, fault.step) == (9, "presses")
    assert "miss each other by 0.23 s" in fault.what  # five presses of 0.25 and four gaps of 0.12 s
    assert "presses: all of them" in fault.what
    assert "presses: gap 2" in fault.what
    assert fault.way_out == "Widen one of them."


def test_a_contradiction_between_steps_names_both_lines():
    fault = only(steps(ON, DOWN, UP, '{ id = "start", do = "crank", after = "on", at_most = 3 }'))
    assert (fault.line, fault.step) == (11, "start")
    assert "with line 9, 10" in fault.what


def test_an_act_that_an_answer_can_defeat_is_refused_with_the_reason():
    late = '{ id = "up", do = "release", after = "down", between = [17, 20], forbidden_until = "lamp" }'
    fault = only(steps(ON, DOWN, LIT.replace("[1, 2]", "[16, 25]"), late))
    assert (fault.line, fault.step) == (11, "up")
    assert "may come anywhere from 16 to 25 s" in fault.what
    assert "widen its bound" in fault.way_out


def test_a_routine_that_is_too_long_is_refused_before_it_is_worked_out():
    rows = PRESSES.replace("times = 5", "times = 50").replace("at_most = 5", "at_most = 90")
    more = [rows.replace('"presses"', f'"presses-{n}"') for n in range(5)]
    assert "events" in only(steps(ON, *more)).what


# --- cycles ----------------------------------------------------------------------------------------------------------

CYCLE = """\
[[steps]]
id = "cycles"
times = 4
[[steps.cycle]]
id = "on"
do = "ignition on"
about = 2
give = 1
[[steps.cycle]]
id = "off"
do = "ignition off"
about = 10
give = 2
"""
"""`cycles` in line 7, `on` in 10, `off` in 15."""

CYCLE_MISTAKES = [
    ("times = 4\n", "", 7, "cycles", "`times` is missing"),
    ("times = 4\n", "times = 4\nabout = 3\ngive = 1\n", 10, "cycles", "`about` stands on the first step"),
    ("about = 2\ngive = 1\n", "", 10, "on", "the step has no bound"),
    ("about = 2\n", 'after = "off"\nabout = 2\n', 13, "on", "counted from the end of the round before"),
    ("about = 10\n", 'after = "of"\nabout = 10\n', 18, "off", "is no step"),
    ('id = "off"', 'id = "on"', 16, "on", "the name of two steps"),
    ('do = "ignition off"', 'do = "ignition accessory"', None, None, None),
    ("times = 4\n", "times = 4\npress = { at_most = 1 }\n", 10, "cycles", "`press` does not belong here"),
]


@pytest.mark.parametrize(("old", "new", "line", "step", "what"), CYCLE_MISTAKES)
def test_cycles(old, new, line, step, what):
    assert old in CYCLE
    text = HEAD + CYCLE.replace(old, new, 1)
    if what is None:
        assert parse_routine(text)
        return
    faults = faults_of(text)
    (fault,) = [f for f in faults if what in f.what]
    assert (fault.line, fault.step) == (line, step)


def test_a_cycle_whose_rounds_do_not_join_is_told_once():
    text = HEAD + CYCLE.replace('do = "ignition off"', 'do = "press"')
    whats = [f.what for f in faults_of(text)]
    assert len(whats) == len(set(whats))
    assert "the ignition is on already" in whats


def test_a_cycle_within_a_cycle_is_refused():
    rows = ['{ id = "a", times = 2, cycle = [{ id = "b", times = 2, cycle = [{ id = "c", do = "press" }] }] }']
    assert any("within a cycle" in f.what for f in faults_of(steps(*rows)))


def test_a_step_of_a_round_does_not_reach_outside_it():
    inner = '{ id = "cycles", at_least = 1, times = 2, cycle = [{ id = "off", do = "ignition off", at_least = 1 },'
    inner += ' { id = "again", do = "ignition on", after = "on", at_least = 1 }] }'
    fault = only(steps(ON, inner))
    assert (fault.line, fault.step) == (9, "again")
    assert "outside this round" in fault.what


# --- all at once -----------------------------------------------------------------------------------------------------


def test_all_faults_of_a_file_are_reported_together_from_top_to_bottom():
    text = """\
id = "Mine"
title = "Mine"
kind = "relearn"
may_erase = false
basis = { kind = "published" }
colour = "blue"

[[steps]]
id = "on"
do = "ignition on"

[[steps]]
id = "down"
do = "press"
about = 3

[[steps]]
id = "lamp"
lamp = "flickering"
between = [8, 14]

[[steps]]
id = "start"
do = "start"
after = "dwn"
at_most = 3
"""
    faults = faults_of(text)
    assert [(f.line, f.step) for f in faults] == [
        (1, None),
        (1, None),
        (5, None),
        (6, None),
        (15, "down"),
        (19, "lamp"),
        (24, "start"),
        (25, "start"),
    ]
    report = str(RoutineFileError("mine.toml", faults))
    assert report.startswith("mine.toml: 8 faults in this routine")
    assert "line 15: step “down”: `about` is a bare 3 s" in report


def test_faults_of_the_head_do_not_hide_contradictions_in_the_steps():
    text = steps(ON, PRESSES.replace("at_most = 5", "at_most = 1")).replace("disturbs = 2", "disturbs = 9")
    assert [f.line for f in faults_of(text)] == [4, 9]


def test_a_faulty_bound_does_not_hide_what_the_pedal_cannot_do():
    assert [f.line for f in faults_of(steps(ON, DOWN.replace(", give = 1", ""), START))] == [9, 10]


def test_a_file_that_is_not_there_or_not_text_is_named(tmp_path):
    with pytest.raises(InputError, match=r"none\.toml"):
        read_routine(tmp_path / "none.toml")
    (tmp_path / "bytes.toml").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(InputError, match="not text in UTF-8"):
        read_routine(tmp_path / "bytes.toml")
