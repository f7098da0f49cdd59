"""What to act on counts in what was done already, and the advice waits where something is to be done again."""

import pytest

from tickover.cause import TESTS, Car, Evidence, Value, diagnose
from tickover.cause.acting import mend
from tickover.cause.sources import disagreements

MISFIRE = {"codes": ("P0300", "P0303"), "complaint": ("rough",), "misfires": 240}
CAR = Car(metering="air", displacement_l=1.8, cylinders=4)


@pytest.mark.parametrize(
    ("outcome", "says"), [("moves", "replace the coil"), ("stays", "plug, then injector, then compression")]
)
def test_after_the_coils_were_swapped_nobody_is_told_to_swap_them(outcome, says):
    found = diagnose(Evidence(**MISFIRE, tests={"swap coil": outcome}), CAR)
    assert says in found.next_test.way_out
    assert "swap" not in found.next_test.way_out
    assert "cylinder 3 (P0303 names it)" in found.next_test.way_out


def test_a_code_that_names_the_cylinder_is_said_before_anything_is_swapped():
    assert "on cylinder 3 (P0303 names it)" in mend("dead coil", Evidence(**MISFIRE))
    assert "find the cylinder" in mend("dead coil", Evidence(codes=("P0300",)))
    assert "cylinders 2 and 3 (P0302, P0303 name it)" in mend("dead coil", Evidence(codes=("P0303", "P0302")))


@pytest.mark.parametrize(
    ("tests", "says"),
    [
        ({}, "pinch the hoses"),
        ({"pinch": "falls"}, "the hose is found"),
        ({"smoke": "found"}, "where the smoke came out"),
        ({"oil cap": "sucks"}, "crankcase breather"),
        ({"listen": "hiss"}, "look where it hissed, then pinch"),
        ({"pinch": "nothing", "listen": "quiet", "smoke": "none"}, "manifold gasket and injector seals"),
    ],
)
def test_the_act_on_a_leak_begins_with_finding_it_without_tools_and_repeats_nothing(tests, says):
    told = mend("leak", Evidence(tests=tests))
    assert says in told
    for name, word in (("pinch", "pinch the"), ("listen", "listen along"), ("smoke", "use smoke")):
        assert name not in tests or word not in told


def test_a_weak_pump_has_its_pressure_read_before_anything_is_changed():
    assert "rail pressure" in mend("weak pump", Evidence())
    assert "rail pressure" not in mend("weak pump", Evidence(tests={"rail pressure": "falls"}))


@pytest.mark.parametrize(
    ("bore", "says"), [(None, "Clean the bore first"), ("dirty", "The bore is dirty"), ("clean", "seen clean")]
)
def test_a_bore_that_was_seen_clean_is_not_to_be_cleaned(bore, says):
    tests = {"bore": bore} if bore else {}
    given = {"idle_speed": 480, "history": ("battery",), "complaint": ("low", "stalls"), "codes": ("P0506",)}
    found = diagnose(Evidence(**given, tests=tests), Car(metering="air", normal=(700, 800)))
    assert found.finding == "stale"
    assert says in found.advice_because
    assert any("Key out" in c for c in found.advice_cautions) == (bore != "clean")


def test_where_something_is_done_again_first_the_relearn_waits():
    given = {"idle_speed": 560, "history": ("battery",), "complaint": ("low",)}
    found = diagnose(Evidence(**given, tests={"bore": "clean"}), Car(metering="air", normal=(700, 800)))
    assert found.advice == "relearn"
    assert found.pull is not None
    assert found.pull.again
    assert found.advice_because.startswith(f"Not before that: “{found.pull.again}” is done again first.")


def test_a_stale_memory_that_two_attempts_did_not_change_is_not_this_routine_again():
    given = Evidence(idle_speed=980, history=("cleaned",), complaint=("high",), trims={"idle": 0}, attempts=2)
    found = diagnose(given, CAR)
    assert (found.advice, found.advice_says) == ("do not relearn", "not this routine again")
    assert diagnose(Evidence(trims={"idle": 18, "2500": 6}), CAR).advice_says == "do not relearn"


def test_two_sources_that_disagree_are_named_with_the_one_that_counts():
    """Once +8 % that was typed and −1.6 % of a log stood beside each other, and nothing was said."""
    typed = Evidence(trims={"idle": Value(value=8, spread=3)}, tests={"pinch": "falls"})
    logged = Evidence(trims={"idle": Value(value=-1.6, spread=1, how="log")})
    (told,) = disagreements([("idle.csv", logged), ("typed", typed)])
    assert "-1.6 % (idle.csv) and +8 % (typed) disagree; “typed” is counted in" in told
    near = Evidence(trims={"idle": Value(value=6, spread=1, how="log")})
    assert disagreements([("idle.csv", near), ("typed", typed)]) == ()
    anew = Evidence(trims={"idle": Value(value=-2, spread=1)})
    assert disagreements([("the job", typed), ("typed", anew)]) == ()


def test_every_test_that_finds_a_place_has_the_outcome_that_is_said_to_find_it():
    from tickover.cause.acts import FINDS

    for name, (_, outcome) in FINDS.items():
        assert outcome in TESTS[name].outcomes
