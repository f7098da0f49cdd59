"""Evidence that contradicts itself is named, with the piece to do again; evidence that agrees is left in peace."""

import pytest

from tickover.cause import Car, Evidence, NextTest, diagnose
from tickover.cause.pulls import LEAST_BITS, doubt_of, without
from tickover.cause.weighing import weigh

AIR = Car(metering="air", displacement_l=2.0)
LEAN = {"idle": 18, "2500": 6}


@pytest.mark.parametrize(
    ("given", "named"),
    [
        ({"trims": LEAN, "tests": {"pinch": "falls", "smoke": "none"}}, {"pinch: falls", "smoke: none"}),
        ({"tests": {"pinch": "falls", "smoke": "none"}}, {"pinch: falls", "smoke: none"}),
        ({"trims": {"idle": 18, "2500": 6}, "verdict": "settled"}, {"after the relearn: settled"}),
        ({"trims": {"idle": 0, "2500": 0, "cruise": 1, "hard load": 0}, "codes": ("P0171",)}, {"code P0171"}),
    ],
)
def test_two_pieces_that_no_one_cause_makes_are_named_with_the_one_to_do_again(given, named):
    found = diagnose(Evidence(**given), AIR)
    assert found.pull is not None
    told = f"{found.pull.one} / {found.pull.other}"
    assert all(n in told for n in named), told
    assert found.pull.bits >= LEAST_BITS
    if found.pull.again:
        assert isinstance(found.next_test, NextTest)
        assert found.pull.again in told
        assert found.pull.again in found.pull.says


def test_the_piece_that_the_rest_speaks_against_is_done_again_first():
    both = {"pinch": "falls", "smoke": "none"}
    for trims, weaker in ((LEAN, "test smoke"), ({"idle": 0, "2500": 0}, "test pinch")):
        evidence = Evidence(trims=trims, tests=both)
        assert doubt_of(weigh(evidence, AIR), evidence).weaker_first[0].key == weaker


def test_of_two_pieces_only_one_that_may_change_the_answer_is_done_again():
    evidence = Evidence(trims=LEAN, tests={"pinch": "falls", "smoke": "none"})
    found = diagnose(evidence, AIR)
    assert found.pull.again == f"{found.next_test.name}: {evidence.tests[found.next_test.name]}"
    assert found.next_test.act.startswith("Once more: ")
    assert any(o.changes for o in found.next_test.outcomes)


def test_two_banks_that_are_off_each_its_own_way_are_read_again_side_by_side():
    found = diagnose(Evidence(trims={"idle": 18}, trims_bank2={"idle": -16}), AIR)
    assert found.pull.one == "bank 1 at idle +18 %"
    assert "crosswise" in found.pull.says
    assert found.next_test.name == "both banks"
    assert diagnose(Evidence(trims={"idle": 18}, trims_bank2={"idle": 2}), AIR).pull is None


@pytest.mark.parametrize(
    "given",
    [
        {},
        {"trims": LEAN},
        {"trims": LEAN, "tests": {"pinch": "falls", "smoke": "found", "listen": "hiss"}},
        {"trims": {"idle": 1, "2500": 0, "cruise": -1}, "idle_speed": 700, "codes": (), "misfires": 0},
        {"trims": {"idle": 1, "2500": 3, "cruise": 6, "hard load": 22}, "codes": ("P0171",)},
        {"trims": {"idle": 14}, "misfires": 120, "codes": ("P0302",), "tests": {"hand at exhaust": "missing"}},
        {"idle_speed": 980, "history": ("cleaned",), "complaint": ("high", "hangs"), "tests": {"bore": "clean"}},
    ],
)
def test_evidence_that_agrees_is_left_in_peace(given):
    assert diagnose(Evidence(**given), AIR).pull is None


def test_two_readings_that_each_speak_of_a_fault_are_two_faults_and_nothing_is_done_again():
    """Once a cold thermostat and a misfire code were said to pull against each other."""
    found = diagnose(Evidence(coolant=64, codes=("P0302",), misfires=90), AIR)
    assert found.pull.sort == "two faults"
    assert "a cylinder that misses fire" in found.pull.says
    assert found.pull.again == ""
    assert "Once more" not in str(getattr(found.next_test, "act", ""))


def test_a_piece_is_taken_out_whole():
    evidence = Evidence(
        trims={"idle": 18, "2500": 6}, trims_bank2={"idle": -16}, tests={"pinch": "falls", "smoke": "none"},
        idle_speed=700, codes=("P0171",), verdict="settled",
    )  # fmt: skip
    doubt = doubt_of(weigh(evidence, AIR), evidence)
    rest = without(evidence, doubt.weaker_first[0])
    assert "idle" not in rest.trims
    assert "idle" not in rest.trims_bank2
    assert rest.trims["2500"].value == 6
    told = doubt_of(weigh(rest, AIR), rest)
    cut = without(rest, told.weaker_first[0])
    assert cut != rest
    assert cut.idle_speed is not None
