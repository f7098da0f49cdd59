"""Keys of the terminal: two acts on one key, and only the keys a routine needs are named."""

import pytest

from tickover.attempts import KINDS
from tickover.cli.hands import LABELS, PAIRS, SINGLE, Hands, help_line
from tickover.routines import compile_routine, load_library


def test_every_kind_of_event_has_exactly_one_key():
    kinds = [*SINGLE.values(), *(kind for pair in PAIRS.values() for kind in pair)]
    assert sorted(kinds) == sorted(set(KINDS) - {"end"})
    assert set(LABELS) == {*SINGLE, *PAIRS}


def test_a_key_toggles_and_what_is_due_is_what_is_meant():
    hands = Hands()
    assert [hands.kind_of("b") for _ in range(3)] == ["brake press", "brake release", "brake press"]
    assert hands.kind_of("o", "load off") == "load off"
    assert hands.kind_of("o") == "load on"
    assert hands.kind_of("z") is None


def test_a_start_leaves_the_ignition_on_and_a_stand_ends_the_drive():
    hands = Hands()
    assert (hands.kind_of("s"), hands.kind_of("i")) == ("crank", "ignition off")
    assert [hands.kind_of(k) for k in "mmxm"] == ["drive", "coast", "stand", "drive"]


@pytest.mark.parametrize("simulated", [True, False])
def test_the_help_names_a_key_for_everything_a_routine_asks(simulated):
    for routine in load_library().values():
        c = compile_routine(routine)
        line = help_line(c, simulated=simulated)
        for event in c.events:
            key = next(k for k in LABELS if event.kind in PAIRS.get(k, (SINGLE.get(k),)))
            assert (LABELS[key] in line) == (not (simulated and event.answer)), (routine.id, event.kind)
        assert ("c time counts" in line) == (routine.id in {"loads-in-turn", "drive-in"} and not simulated)
        assert len(line) < 120
