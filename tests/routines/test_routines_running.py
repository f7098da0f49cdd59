"""Steps with the engine running and on the road: held speed, coasting, and what is refused."""

import pytest

from tickover.errors import RoutineFileError
from tickover.routines import compile_routine, load_routine, parse_routine

HEAD = 'id = "a"\ntitle = "A"\nkind = "run-in"\ndisturbs = 2\nmay_erase = false\nbasis = { kind = "common practice" }\n'
START = '{ id = "start", do = "crank" }'
HOLD = '{ id = "hold", do = "hold speed", speed = [2700, 3300], between = [2, 60] }'
IDLE = '{ id = "idle", do = "let idle", at_least = 30 }'
GO = '{ id = "go", do = "drive", road_speed = [60, 80], at_least = 5 }'
COAST = '{ id = "coast", do = "coast", at_least = 30 }'
STAND = '{ id = "stand", do = "stand", at_least = 0 }'
OFF = '{ id = "off", do = "ignition off", at_least = 60 }'


def parse(*rows):
    return parse_routine(HEAD + "steps = [\n" + "".join(f"  {r},\n" for r in rows) + "]\n")


def faults(*rows):
    with pytest.raises(RoutineFileError) as caught:
        parse(*rows)
    return [f.what for f in caught.value.faults]


def test_a_held_speed_and_a_road_speed_reach_the_compiled_step_and_its_words():
    c = compile_routine(parse(START, HOLD, IDLE, GO, COAST, STAND, OFF))
    assert c.step("hold").speed == (2700, 3300)
    assert c.step("go").road_speed == (60, 80)
    assert "2,700 to 3,300 r/min" in c.step("hold").detail
    assert "60 to 80 km/h" in c.step("go").detail
    assert [e.kind for e in c.events] == ["crank", "hold speed", "let idle", "drive", "coast", "stand", "ignition off"]


def test_a_speed_is_said_and_not_judged_so_it_leaves_the_digest():
    other = HOLD.replace("2700", "2600")
    assert compile_routine(parse(START, HOLD, IDLE)).digest == compile_routine(parse(START, other, IDLE)).digest


@pytest.mark.parametrize(
    ("rows", "what"),
    [
        ((START, HOLD.replace("speed = [2700, 3300], ", ""), IDLE), "the step does not say which speed"),
        ((START, HOLD.replace("3300", "9000"), IDLE), "`speed` is 2700 to 9000"),
        ((START, HOLD.replace("3300", "2700"), IDLE), "`speed` is 2700 to 2700"),
        ((START, IDLE.replace("at_least", "speed = [700, 800], at_least")), "`speed` stands without `hold speed`"),
        ((START, STAND.replace("at_least", "road_speed = [7, 8], at_least")), "`road_speed` stands without `drive`"),
        ((START, HOLD), "the routine ends with the engine speed held"),
        ((START, HOLD, OFF), "something is done while the engine speed is held"),
        ((START, IDLE), "no engine speed is held that could be let go"),
        ((START, HOLD, HOLD.replace('"hold"', '"more"'), IDLE), "the engine speed is held already"),
        (('{ id = "on", do = "ignition on" }', HOLD, IDLE), "a held engine speed needs the engine running"),
        ((START, GO), "the routine ends while the car moves"),
        ((START, GO, OFF), "the ignition is switched while the car moves"),
        ((START, COAST, STAND), "`coast` needs a car that moves"),
        ((START, STAND), "`stand` needs a car that moves"),
        ((START, GO, HOLD, IDLE, STAND), "the engine speed is held in gear"),
        (('{ id = "on", do = "ignition on" }', GO, STAND), "driving needs the engine running"),
    ],
)
def test_what_the_car_does_not_allow_is_refused(rows, what):
    assert what in faults(*rows)


def test_what_a_signal_shows_has_to_be_seen_and_what_the_set_up_checks_is_taken_to_hold():
    drive, fast = (compile_routine(load_routine(name)) for name in ("drive-in", "fast-run-in"))
    assert [(c.name, c.holds_at_start) for c in fast.conditions] == [("fan off", True)]
    assert [(c.signal, c.holds_at_start) for c in drive.conditions] == [("vehicle_speed", False)]
