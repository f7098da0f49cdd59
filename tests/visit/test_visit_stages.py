"""Stage logic is a pure function of a job's entries."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from visit_job import DARK, FULL, START, after, attempt, job, ladder, rung

from tickover.jobs.entries import STAGES, Entry
from tickover.routines import load_library
from tickover.visit import TRIES_PER_ROUTINE, Known, known, may_try, next_stage, next_step, stages
from tickover.visit.stages import CLOSES


def standing(entries: list[Entry]) -> dict[str, str]:
    return {s.stage: s.standing for s in stages(entries)}


def test_an_empty_job_begins_with_arrive():
    assert standing([]) == {stage: "due" if stage == "arrive" else "later" for stage in STAGES}


def test_a_missed_attempt_keeps_relearn_open_as_try_2():
    due = next_stage(job(*START, attempt("missed")))
    assert due is not None
    assert (due.stage, due.line, due.tries) == ("relearn", "try 2", 1)


@pytest.mark.parametrize("verdict", ["hit", "undecided"])
def test_hit_and_undecided_both_go_on_to_after(verdict: str):
    due = next_stage(job(*START, attempt("missed"), attempt(verdict)))
    assert due is not None
    assert due.stage == "after"


def test_settled_makes_cause_not_needed_and_anything_else_makes_it_due():
    assert standing(job(*START, attempt("hit"), after("settled")))["cause"] == "not needed"
    for verdict in ("better", "worse"):
        assert standing(job(*START, attempt("hit"), after(verdict)))["cause"] == "due"
    once, twice = [attempt("hit"), after("no change")], [attempt("hit"), after("no change")] * 2
    assert standing(job(*START, *once))["relearn"] == "due"
    assert standing(job(*START, *twice))["cause"] == "due"


def test_cannot_tell_wants_a_longer_recording_and_twice_goes_on_to_cause():
    once = job(*START, attempt("hit"), after("cannot tell"))
    assert standing(once)["after"] == "due"
    assert "longer" in next_stage(once).line
    assert standing(job(*START, attempt("hit"), after("cannot tell"), after("cannot tell")))["cause"] == "due"


def test_a_later_attempt_wants_a_new_reading():
    entries = job(*START, attempt("hit"), after("no change"), attempt("hit"))
    assert standing(entries)["after"] == "due"


def test_a_repair_leads_back_to_relearn():
    entries = job(*START, attempt("hit"), after("no change"), ("cause", "causes", {}), ("cause", "repair", {}))
    assert standing(entries)["relearn"] == "due"


def test_empty_optional_stages_are_not_needed_after_the_hand_over():
    entries = job(*START, attempt("hit"), after("settled"), ("hand over", "sheet", {}))
    assert standing(entries)["drive"] == "not needed"
    assert next_stage(entries) is None


@given(st.lists(st.sampled_from(STAGES), max_size=12))
def test_exactly_one_stage_is_due_until_the_hand_over(order: list[str]):
    entries = job(*((stage, CLOSES[stage], {"verdict": "hit" if stage == "relearn" else "settled"}) for stage in order))
    due = [s for s in stages(entries) if s.standing == "due"]
    assert len(due) <= 1
    if "hand over" not in order:
        assert len(due) == 1


def test_three_attempts_at_a_routine_are_the_most():
    entries = job(*START, *[attempt("missed")] * TRIES_PER_ROUTINE)
    answer = may_try(entries, "pedal-count")
    assert not answer.allowed
    assert "another routine" in answer.why
    assert may_try(entries, "pedal-hold").allowed
    assert may_try(entries[:-1], "pedal-count").number == TRIES_PER_ROUTINE


def test_two_routines_a_visit_are_the_most():
    entries = job(*START, attempt("missed", "power-cycle"), attempt("missed", "pedal-hold"))
    assert not may_try(entries, "pedal-count").allowed
    assert may_try(entries, "pedal-hold").allowed


def test_routines_that_only_prepare_are_not_counted_among_the_two():
    entries = job(*START, attempt("hit", "pedal-rest"), attempt("hit", "throttle-stop"))
    assert not may_try(entries, "pedal-count").allowed
    assert may_try(entries, "pedal-count", preparing={"pedal-rest", "throttle-stop"}).allowed


def test_two_correct_attempts_without_effect_lead_to_cause():
    one = [attempt("hit"), after("no change")]
    assert may_try(job(*START, *one), "pedal-count").allowed
    twice = may_try(job(*START, *one, *one), "pedal-count")
    assert not twice.allowed
    assert "Cause" in twice.why


def test_what_only_prepares_is_no_correct_attempt_without_effect():
    tried = [attempt("hit", "pedal-rest"), attempt("hit", "throttle-stop"), attempt("hit"), after("no change")]
    entries = job(*START, *tried)
    assert not may_try(entries, "pedal-count").allowed
    assert may_try(entries, "pedal-count", preparing={"pedal-rest", "throttle-stop"}).allowed
    assert next_step(job(*START, FULL, DARK, *tried), 1).command == "tickover coach power-cycle --job 1"


def test_a_comparison_that_cannot_tell_is_no_proof_of_no_effect():
    one = [attempt("hit"), after("cannot tell")]
    assert may_try(job(*START, *one, *one), "pedal-count").allowed


def test_three_misses_stop_relearn_and_lead_to_cause():
    states = {
        s.stage: s for s in stages(job(*START, ladder(rung("pedal-hold")), *[attempt("missed", "pedal-hold")] * 3))
    }
    assert states["relearn"].standing == "stopped"
    assert states["after"].standing == "not needed"
    assert states["cause"].standing == "due"
    assert states["drive"].standing == "later"


def test_a_miss_that_settled_all_the_same_is_settled():
    entries = job(*START, attempt("missed"), after("settled"))
    assert standing(entries)["relearn"] == "done"
    assert standing(entries)["cause"] == "not needed"


def test_what_only_prepares_leads_to_the_rung_it_prepares():
    begun = (*START, ladder(rung("pedal-rest"), rung("throttle-stop", requires=("pedal-rest",))))
    due = next_step(job(*begun, attempt("hit", "pedal-rest")), 7)
    assert (due.stage, due.command) == ("relearn", "tickover coach throttle-stop --job 7")
    assert next_step(job(*begun, attempt("hit", "pedal-rest"), attempt("hit", "throttle-stop"))).stage == "after"


def test_a_skipped_stage_is_not_called_done_and_needs_a_reason():
    skipped = ("before", "skipped", {"reason": "it stalls at once"})
    states = {s.stage: s for s in stages(job(START[0], skipped))}
    assert (states["before"].standing, states["before"].line) == ("skipped", "skipped: it stalls at once")
    assert states["set up"].standing == "due"
    assert standing(job(START[0], ("before", "skipped", {"reason": "  "})))["before"] == "due"
    assert standing(job(START[0], skipped, START[1]))["before"] == "done"


def test_a_skip_of_after_counts_for_the_last_attempt_only():
    skipped = ("after", "skipped", {"reason": "customer waits"})
    assert standing(job(*START, attempt("hit"), skipped))["after"] == "skipped"
    assert standing(job(*START, attempt("hit"), skipped, attempt("hit")))["after"] == "due"


def test_a_stop_sign_keeps_arrive_due_and_refuses_every_routine():
    stop = ("arrive", "story", {"stops": ["fuel smell"], "sentence": "Fuel smell: do not start it."})
    due = next_step(job(stop), 3)
    assert (due.stage, due.command) == ("arrive", "tickover arrive --job 3")
    assert due.sentence == "Fuel smell: do not start it. Mend it, then arrive again."
    assert not may_try(job(*START, stop), "pedal-hold").allowed
    assert standing(job(stop, *START))["arrive"] == "done"


@pytest.mark.parametrize(
    ("told", "allowed"),
    [
        ((), False),
        ((("arrive", "answers", {"lamp": "lit"}),), False),
        ((("arrive", "answers", {"lamp": "not known", "codes": None}),), False),
        ((("arrive", "answers", {"lamp": "lit", "codes": []}),), True),
        ((("arrive", "answers", {"lamp": "lit", "codes": ["P0505"]}),), True),
        ((("ready", "codes", {"codes": ["P0505"]}),), True),
        ((DARK,), True),
        ((DARK, ("arrive", "answers", {"lamp": "lit"})), False),  # answered again: lit now
    ],
)
def test_what_may_erase_waits_until_the_codes_are_read(told, allowed):
    answer = may_try(job(*START, *told), "pedal-count", erasing={"pedal-count"})
    assert answer.allowed == allowed
    assert ("nobody has read them" in answer.why) != allowed
    assert may_try(job(*START, *told), "pedal-hold", erasing={"pedal-count"}).allowed


def test_the_ladders_own_word_on_erasing_is_taken():
    entries = job(*START, ladder(rung("pedal-count", may_erase=True)))
    due = next_step(entries, 4)
    assert (due.stage, due.command) == ("relearn", "tickover arrive --job 4")
    assert "nobody has read them" in due.sentence


def test_what_prepares_is_read_from_the_library():
    about = known(load_library())
    assert about.preparing == {"pedal-rest", "throttle-stop"}
    assert "pedal-count" in about.erasing
    assert "pedal-hold" not in about.erasing


def test_a_repair_begins_the_count_anew():
    spent = [*START, FULL, DARK, attempt("hit", "pedal-hold"), after("no change"), attempt("hit", "pedal-hold")]
    before = job(*spent, after("no change"))
    assert not may_try(before, "pedal-hold").allowed
    mended = job(*spent, after("no change"), ("cause", "causes", {}), ("cause", "repair", {}))
    assert may_try(mended, "pedal-hold") == may_try(job(*START), "pedal-hold")
    assert next_step(mended, 1).command == "tickover coach power-cycle --job 1"


def test_a_car_that_is_not_settled_is_not_sent_on_a_drive():
    entries = job(*START, attempt("hit"), after("worse"), ("cause", "causes", {}))
    states = {s.stage: s for s in stages(entries)}
    assert (states["drive"].standing, states["drive"].line) == ("not needed", "not needed: not settled")
    assert states["ready"].standing == "due"
    done = job(*START, attempt("hit"), after("worse"), ("cause", "causes", {}), ("ready", "verdict", {}))
    assert "not settled" in next_step(done, 2).sentence
    assert next_step(done, 2).command == "tickover job handover 2"


def test_a_plan_alone_leaves_drive_due():
    planned = job(*START, attempt("hit"), after("settled"), ("drive", "plan", {}))
    assert next_step(planned, 2).command == "tickover drive check LOG --job 2"
    assert standing(job(*START, attempt("hit"), after("settled"), ("drive", "check", {})))["drive"] == "done"


def test_where_driving_is_all_there_is_drive_comes_first():
    entries = job(*START[:2], ladder(rung("", sort="drive")))
    assert standing(entries) == {
        "arrive": "done", "before": "done", "set up": "not needed", "relearn": "not needed", "after": "not needed",
        "cause": "not needed", "drive": "due", "ready": "later", "hand over": "later",
    }  # fmt: skip


def test_a_relapse_opens_the_job_again_at_cause():
    settled = (*START, attempt("hit"), after("settled"), ("drive", "check", {}), ("ready", "verdict", {}),
               ("hand over", "sheet", {}))  # fmt: skip
    assert next_stage(job(*settled)) is None
    due = next_stage(job(*settled, ("arrive", "relapse", {})))
    assert (due.stage, due.line) == ("cause", "it came back: find what is acting")


def test_corrections_are_applied():
    entries = job(*START, attempt("hit"), after("settled"))
    wrong = Entry(seq=6, stage="after", kind="comparison", at="2026-11-25T11:00:00+00:00", corrects=5,
                  data={"verdict": "worse"})  # fmt: skip
    assert standing([*entries, wrong])["cause"] == "due"


def test_each_stage_has_its_command():
    def step(*rows):
        due = next_step(job(*rows), 12, known(load_library()))
        return due.stage, due.command

    begun = (START[0], FULL, DARK)
    tried = (*begun, *START[1:], attempt("hit", "power-cycle"))
    assert step() == ("arrive", "tickover arrive --job 12")
    assert step(*begun) == ("before", "tickover idle LOG --job 12")
    assert step(*begun, START[1]) == ("set up", "tickover arrive --set-up --job 12")
    assert step(*begun, *START[1:]) == ("relearn", "tickover coach power-cycle --job 12")
    assert step(*tried) == ("after", "tickover idle LOG --job 12")
    assert step(*tried, after("no change")) == ("relearn", "tickover coach pedal-rest --job 12")
    assert step(*tried, after("worse")) == ("cause", "tickover cause --job 12")
    assert step(*tried, after("settled")) == ("drive", "tickover drive plan --job 12")
    assert step(*tried, after("settled"), ("drive", "check", {})) == ("ready", "tickover ready --job 12")
    end = (*tried, after("settled"), ("drive", "check", {}), ("ready", "verdict", {}))
    assert step(*end) == ("hand over", "tickover job handover 12")
    assert step(*end, ("hand over", "sheet", {})) == (None, "")


ROUTINES = ("power-cycle", "pedal-rest", "throttle-stop", "pedal-hold", "pedal-count")
ROWS = st.one_of(
    st.builds(attempt, st.sampled_from(["hit", "missed", "undecided"]), st.sampled_from(ROUTINES)),
    st.builds(after, st.sampled_from(["settled", "better", "no change", "worse", "cannot tell"])),
    st.sampled_from([(stage, CLOSES[stage], {}) for stage in STAGES if stage not in {"relearn", "after", "hand over"}]),
    st.sampled_from([(stage, "skipped", {"reason": why}) for stage in STAGES for why in ("", "no time")]),
    st.sampled_from([
        FULL, DARK, ladder(), ladder(rung("", sort="drive")), ("cause", "repair", {}), ("arrive", "relapse", {}),
        ("arrive", "story", {"stops": ["oil lamp"]}), ("drive", "plan", {}), ("ready", "codes", {}),
        ("before", "no reading", {"reason": "cold"}), ("hand over", "note", {}),
    ]),
)  # fmt: skip


@settings(deadline=None)
@given(st.lists(ROWS, max_size=14), st.booleans())
def test_any_sequence_has_exactly_one_stage_due_until_handed_over(rows, informed):
    about = known(load_library()) if informed else Known()
    entries = job(*rows)
    assert [s.standing for s in stages(entries, about)].count("due") == 1
    due = next_step(entries, 5, about)
    assert due.stage is not None
    assert due.sentence
    assert due.command.endswith("5")
    if due.command.startswith("tickover coach"):
        routine = due.command.split()[2]
        assert may_try(entries, routine, preparing=about.preparing, erasing=about.erasing).allowed
    closed = job(*rows, ("hand over", "sheet", {}))
    assert next_stage(closed, about) is None
    assert next_step(closed, 5, about).stage is None


@settings(deadline=None, max_examples=60)
@given(st.data())
def test_whoever_follows_the_next_step_never_makes_a_fourth_try(data):
    """Whatever the attempts and the readings come to, doing what it says ends, and within the stop rule."""
    about = known(load_library())
    rows = [START[0], FULL, DARK]
    repairs = data.draw(st.integers(0, 1))
    for _ in range(60):
        step = next_step(job(*rows), 1, about)
        if step.stage is None:
            break
        if step.stage == "relearn":
            assert step.command.startswith("tickover coach ")
            rows.append(attempt(data.draw(st.sampled_from(["hit", "missed", "undecided"])), step.command.split()[2]))
        elif step.stage == "after":
            rows.append(after(data.draw(st.sampled_from(["settled", "no change", "worse", "better", "cannot tell"]))))
        elif step.stage == "cause" and repairs:
            repairs -= 1
            rows += [("cause", "causes", {}), ("cause", "repair", {})]
        else:
            rows.append((step.stage, CLOSES[step.stage], {}))
    else:
        pytest.fail("the job did not end")
    parts = [[]]
    for _, kind, told in rows:
        if kind == "repair":
            parts.append([])
        if kind == "attempt":
            parts[-1].append(told["routine"])
    for tried in parts:
        assert all(tried.count(r) <= TRIES_PER_ROUTINE for r in tried)
        assert len({r for r in tried if r not in about.preparing}) <= 2
