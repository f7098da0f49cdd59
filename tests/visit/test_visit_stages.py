"""Stage logic is a pure function of a job's entries."""

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tickover.jobs import STAGES, Entry
from tickover.visit import TRIES_PER_ROUTINE, may_try, next_stage, stages
from tickover.visit.stages import CLOSES


def job(*rows: tuple[str, str, dict[str, Any]]) -> list[Entry]:
    return [
        Entry(seq=n, stage=stage, kind=kind, at="2026-11-25T10:00:00+00:00", data=data)
        for n, (stage, kind, data) in enumerate(rows, start=1)
    ]


START = (("arrive", "story", {}), ("before", "reading", {}), ("set up", "needs", {}))


def attempt(verdict: str, routine: str = "pedal-count") -> tuple[str, str, dict[str, Any]]:
    return ("relearn", "attempt", {"routine": routine, "verdict": verdict, "sentence": verdict})


def after(verdict: str) -> tuple[str, str, dict[str, Any]]:
    return ("after", "comparison", {"verdict": verdict})


def standing(entries: list[Entry]) -> dict[str, str]:
    return {s.stage: s.standing for s in stages(entries)}


def test_an_empty_job_begins_with_arrive() -> None:
    assert standing([]) == {stage: "due" if stage == "arrive" else "later" for stage in STAGES}


def test_a_missed_attempt_keeps_relearn_open_as_try_2() -> None:
    due = next_stage(job(*START, attempt("missed")))
    assert due is not None
    assert (due.stage, due.line, due.tries) == ("relearn", "try 2", 1)


@pytest.mark.parametrize("verdict", ["hit", "undecided"])
def test_hit_and_undecided_both_go_on_to_after(verdict: str) -> None:
    due = next_stage(job(*START, attempt("missed"), attempt(verdict)))
    assert due is not None
    assert due.stage == "after"


def test_settled_makes_cause_not_needed_and_anything_else_makes_it_due() -> None:
    assert standing(job(*START, attempt("hit"), after("settled")))["cause"] == "not needed"
    for verdict in ("better", "no change", "worse", "cannot tell"):
        assert standing(job(*START, attempt("hit"), after(verdict)))["cause"] == "due"


def test_a_later_attempt_wants_a_new_reading() -> None:
    entries = job(*START, attempt("hit"), after("no change"), attempt("hit"))
    assert standing(entries)["after"] == "due"


def test_a_repair_leads_back_to_relearn() -> None:
    entries = job(*START, attempt("hit"), after("no change"), ("cause", "causes", {}), ("cause", "repair", {}))
    assert standing(entries)["relearn"] == "due"


def test_empty_optional_stages_are_not_needed_after_the_hand_over() -> None:
    entries = job(*START, attempt("hit"), after("settled"), ("hand over", "sheet", {}))
    assert standing(entries)["drive"] == "not needed"
    assert next_stage(entries) is None


@given(st.lists(st.sampled_from(STAGES), max_size=12))
def test_exactly_one_stage_is_due_until_the_hand_over(order: list[str]) -> None:
    entries = job(*((stage, CLOSES[stage], {"verdict": "hit" if stage == "relearn" else "settled"}) for stage in order))
    due = [s for s in stages(entries) if s.standing == "due"]
    assert len(due) <= 1
    if "hand over" not in order:
        assert len(due) == 1


def test_three_attempts_at_a_routine_are_the_most() -> None:
    entries = job(*START, *[attempt("missed")] * TRIES_PER_ROUTINE)
    answer = may_try(entries, "pedal-count")
    assert not answer.allowed
    assert "another routine" in answer.why
    assert may_try(entries, "pedal-hold").allowed
    assert may_try(entries[:-1], "pedal-count").number == TRIES_PER_ROUTINE


def test_two_routines_a_visit_are_the_most() -> None:
    entries = job(*START, attempt("missed", "power-cycle"), attempt("missed", "pedal-hold"))
    assert not may_try(entries, "pedal-count").allowed
    assert may_try(entries, "pedal-hold").allowed


def test_routines_that_only_prepare_are_not_counted_among_the_two() -> None:
    entries = job(*START, attempt("hit", "pedal-rest"), attempt("hit", "throttle-stop"))
    assert not may_try(entries, "pedal-count").allowed
    assert may_try(entries, "pedal-count", preparing={"pedal-rest", "throttle-stop"}).allowed


def test_two_correct_attempts_without_effect_lead_to_cause() -> None:
    one = [attempt("hit"), after("no change")]
    assert may_try(job(*START, *one), "pedal-count").allowed
    twice = may_try(job(*START, *one, *one), "pedal-count")
    assert not twice.allowed
    assert "Cause" in twice.why


def test_a_comparison_that_cannot_tell_is_no_proof_of_no_effect() -> None:
    one = [attempt("hit"), after("cannot tell")]
    assert may_try(job(*START, *one, *one), "pedal-count").allowed
