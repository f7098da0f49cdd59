"""A key and a push button: what the hand does, and what cannot be done there."""

import pytest

from tickover.errors import SwitchError
from tickover.routines import compile_routine, load_library, parse_routine

HEAD = (
    'id = "a"\ntitle = "A"\nkind = "relearn"\ndisturbs = 2\nmay_erase = false\nbasis = { kind = "common practice" }\n'
)
ON = '{ id = "on", do = "ignition on" }'
ACCESSORY = '{ id = "acc", do = "ignition accessory", about = 5, give = 2 }'


def routine(*rows):
    return parse_routine(HEAD + "steps = [\n" + "".join(f"  {r},\n" for r in rows) + "]\n")


def details(*rows, switch="button"):
    return {s.id: s.detail for s in compile_routine(routine(*rows), switch).steps}


def test_every_built_in_routine_can_be_done_on_both():
    for r in load_library().values():
        assert compile_routine(r, "key").switch == "key"
        assert compile_routine(r, "button").switch == "button"


def test_a_key_turns_and_a_button_counts_its_presses():
    rows = (ON, '{ id = "off", do = "ignition off", about = 5, give = 2 }', ACCESSORY.replace("acc", "acc"))
    button = details(*rows)
    assert "press the button twice" in button["on"]
    assert "once" in button["off"]
    assert "press the button once" in button["acc"]
    assert "may time out" in button["acc"]
    assert details(*rows, switch="key")["on"] == "Turn the key to on; do not crank."


def test_from_accessory_one_press_gives_on_and_two_give_off():
    first = '{ id = "acc", do = "ignition accessory" }'
    assert "once" in details(first, '{ id = "on", do = "ignition on", at_least = 1 }')["on"]
    assert "twice" in details(first, '{ id = "off", do = "ignition off", at_least = 1 }')["off"]


def test_the_crank_wants_the_foot_on_the_brake():
    assert "Foot on the brake" in details(ON, '{ id = "start", do = "crank", at_least = 1 }')["start"]


def test_from_on_back_to_accessory_cannot_be_done_on_a_button():
    r = routine(ON, ACCESSORY)
    assert compile_routine(r, "key")
    with pytest.raises(SwitchError, match="no way back to accessory") as caught:
        compile_routine(r, "button")
    assert (caught.value.step, caught.value.switch) == ("acc", "button")


def test_two_presses_need_their_time():
    off = '{ id = "off", do = "ignition off", at_least = 1 }'
    fast = routine(ON, off, '{ id = "again", do = "ignition on", at_most = 0.4 }')
    assert compile_routine(fast, "key")
    with pytest.raises(SwitchError, match=r"2 presses, 0\.5 s at least, and 0\.4 s are allowed"):
        compile_routine(fast, "button")
    assert compile_routine(routine(ON, off, '{ id = "again", do = "ignition on", at_most = 0.6 }'), "button")


def test_with_the_foot_on_the_brake_a_button_would_start_the_engine():
    r = routine('{ id = "brake", do = "brake press" }', '{ id = "off", do = "ignition off", at_least = 1 }',
                '{ id = "on", do = "ignition on", at_least = 1 }')  # fmt: skip
    assert compile_routine(r, "key")
    with pytest.raises(SwitchError, match="would start the engine"):
        compile_routine(r, "button")


def test_a_button_wants_the_fob_and_the_doors():
    r = routine(ON)
    assert not compile_routine(r, "key").needs
    assert "Fob" in compile_routine(r, "button").needs[-1].need
