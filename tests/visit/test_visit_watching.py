"""A watch and the advice of Cause, kept in a job, decide what is next."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from visit_job import DARK, FULL, START, after, attempt, job

from tickover.jobs.entries import Entry
from tickover.routines import load_library
from tickover.visit import known, may_try, next_stage, next_step, stages

SETTLED = (START[0], FULL, DARK, *START[1:], attempt("hit", "pedal-hold"), after("settled"))
END = (("drive", "check", {}), ("ready", "verdict", {}), ("hand over", "sheet", {}))
ON, WELL, BACK = (("drive", "watch", {"verdict": v, "sentence": f"It is: {v}."}) for v in
                  ("watch on", "stays well", "comes back"))  # fmt: skip


def causes(advice, finding="fault", **more):
    because = "A relearn would store the fault as normal."
    return ("cause", "causes", {"advice": advice, "advice_because": because, "finding": finding, **more})


def standing(entries):
    return {s.stage: s.standing for s in stages(entries)}


@pytest.mark.parametrize("before", [(), (START[0], FULL), SETTLED, (*SETTLED, *END)])
def test_a_relapse_that_a_watch_decided_makes_cause_due(before):
    step = next_step(job(*before, BACK), 4)
    assert (step.stage, step.command) == ("cause", "tickover cause --job 4")
    assert step.sentence.startswith("It came back: find what is acting.")


def test_a_later_watch_that_takes_it_back_and_a_repair_both_clear_a_relapse():
    assert next_stage(job(*SETTLED, *END, BACK, WELL)) is None
    mended = job(*SETTLED, BACK, causes("do not relearn"), ("cause", "repair", {}))
    assert next_step(mended, 4, known(load_library())).command == "tickover coach power-cycle --job 4"


def test_a_stop_sign_goes_before_a_relapse_and_a_watch():
    stop = ("arrive", "story", {"stops": ["fuel smell"]})
    assert next_stage(job(stop, BACK)).stage == "arrive"
    assert next_stage(job(stop, ON)).stage == "arrive"


def test_do_not_relearn_stands_until_a_repair_is_written_down():
    against = job(START[0], FULL, DARK, START[1], causes("do not relearn"))
    assert standing(against)["relearn"] == "stopped"
    assert standing(against)["set up"] == "not needed"
    step = next_step(against, 2)
    assert (step.stage, step.command) == ("ready", "tickover ready --job 2")
    assert step.sentence.startswith("Cause says: do not relearn. A relearn would store the fault as normal. Mend it")
    refused = may_try(against, "pedal-hold")
    assert not refused.allowed
    assert "write down the repair" in refused.why
    mended = job(START[0], FULL, DARK, START[1], causes("do not relearn"), ("cause", "repair", {}))
    assert may_try(mended, "pedal-hold").allowed
    assert next_stage(mended).stage == "set up"
    newer = job(START[0], FULL, DARK, *START[1:], causes("do not relearn"), causes("relearn again", "stale"))
    assert may_try(newer, "pedal-hold").allowed
    assert next_step(newer, 2).stage == "relearn"


def test_where_cause_cannot_tell_the_next_test_is_said_instead_of_a_repair():
    told = causes("do not relearn", "cannot tell", next_test={"kind": "next", "act": "Pinch the hose."})
    why = may_try(job(*START, told), "pedal-hold").why
    assert why.endswith("The next test: Pinch the hose; then Cause again.")
    none = causes("do not relearn", "cannot tell", next_test={"kind": "cannot tell", "reason": "none is worth it"})
    assert "write down the repair" in may_try(job(*START, none), "pedal-hold").why


def test_relearn_again_leads_back_to_relearn_once_and_then_to_cause():
    told = (*SETTLED[:-1], after("worse"), causes("relearn again", "stale"))
    about = known(load_library())
    step = next_step(job(*told), 3, about)
    assert step.stage == "relearn"
    assert step.sentence.startswith("Cause says relearn again: try 2.")
    again = (*told, attempt("hit", step.command.split()[2]))
    assert next_step(job(*again), 3, about).stage == "after"
    assert next_step(job(*again, after("worse")), 3, about).stage == "cause"
    assert next_step(job(*again, after("settled")), 3, about).stage == "drive"


@pytest.mark.parametrize("before", [(), SETTLED, (*SETTLED, ("drive", "check", {}))])
def test_a_watch_that_runs_asks_for_another_drive(before):
    rows = job(*before, ON)
    rows[-1] = Entry.model_validate(
        {**rows[-1].model_dump(), "inputs": {"normal_trim": 2.0, "normal_spread": 7.5, "below": 10.0}}
    )
    step = next_step(rows, 9)
    assert step.stage == "drive"
    assert step.command == "tickover watch DRIVES --normal-trim 2 --normal-spread 7.5 --job 9"
    assert step.sentence.startswith("It is: watch on. Drive it once more")


def test_wait_and_watch_asks_for_a_drive_and_is_answered_by_what_the_watch_decides():
    waiting = (START[0], FULL, DARK, START[1], causes("wait and watch", "just cleared"))
    step = next_step(job(*waiting), 1)
    assert (step.stage, step.command) == ("drive", "tickover watch DRIVES --job 1")
    assert standing(job(*waiting))["relearn"] == "not needed"
    assert next_stage(job(*waiting, WELL)).stage == "ready"
    assert next_stage(job(*waiting, BACK)).stage == "cause"
    assert next_stage(job(*waiting, ("drive", "skipped", {"reason": "no time"}))).stage == "set up"


def test_after_the_hand_over_a_running_watch_is_told_and_nothing_is_due():
    rows = job(*SETTLED, *END, ON)
    assert next_stage(rows) is None
    step = next_step(rows, 5)
    assert step.stage is None
    assert step.command == "tickover watch DRIVES --job 5"
    assert step.sentence.startswith("Handed over, and watched")
    assert next_step(job(*SETTLED, *END, ON, WELL), 5).command == ""


def test_an_attempt_overtakes_a_watch():
    rows = job(*SETTLED, BACK, causes("relearn again", "stale"), attempt("hit", "pedal-hold"))
    assert next_stage(rows).stage == "after"
    assert next_stage(job(*SETTLED, ON, attempt("hit", "pedal-hold"))).stage == "after"


PINCH = {"name": "pinch", "act": "Pinch the hoses one by one.", "option": "--test pinch=falls|nothing (hoses)"}
ACT = {"kind": "cannot tell", "reason": "None.", "way_out": "Act: close the hose. Then measure the idle again."}
OPEN = (START[0], FULL, DARK)


@pytest.mark.parametrize("before", [(), OPEN, SETTLED[:-1]])
def test_a_test_that_cause_names_is_next_with_its_option_and_never_ready(before):
    told = causes("do not relearn", next_test={**PINCH, "cautions": ["Hands clear of the belt."]})
    step = next_step(job(*before, told), 2)
    assert (step.stage, step.command) == ("cause", "tickover cause --job 2 --test pinch=OUTCOME")
    assert step.sentence.startswith("Pinch the hoses one by one; then Cause again")
    assert (step.test, step.outcomes, step.cautions) == ("pinch", ("falls", "nothing"), ("Hands clear of the belt.",))
    left = job(*before, told, ("cause", "skipped", {"reason": "no time"}))
    assert next_stage(left).stage != "cause"


def test_two_correct_attempts_without_effect_and_a_test_name_the_test():
    once = (attempt("hit", "pedal-hold"), after("no change"))
    rows = (*OPEN, *START[1:], *once, *once, causes("do not relearn", "stale", next_test=PINCH))
    assert next_step(job(*rows), 2).test == "pinch"
    assert "The next test: Pinch the hoses one by one" in may_try(job(*rows), "pedal-hold").why


def test_wait_and_watch_with_a_test_does_the_test_unless_nothing_speaks_of_a_fault():
    assert next_step(job(*OPEN, causes("wait and watch", "cannot tell", next_test=PINCH)), 1).test == "pinch"
    assert next_step(job(*OPEN, causes("wait and watch", "sound", next_test=PINCH)), 1).stage == "drive"


@pytest.mark.parametrize(
    ("option", "typed"),
    [
        ("--trim 2500=N (%, short and long trim together)", "--trim 2500=NUMBER"),
        ('--test "hand at exhaust=even|missing"', "--test 'hand at exhaust=OUTCOME'"),
        ("--vacuum 18inHg (your reading with its unit)", "--vacuum READING"),
        ("--idle-air NOW:NORMAL (both in %)", "--idle-air READING"),
        ("--did battery|cleaned", "--did OUTCOME"),
    ],
)
def test_an_example_in_an_option_becomes_a_blank_and_is_never_run_as_a_reading(option, typed):
    told = causes("do not relearn", next_test={"name": "x", "act": "Look."})
    assert next_step(job(told), 2, option_of=lambda _: option).command == f"tickover cause --job 2 {typed}"


@pytest.mark.parametrize("before", [(START[0], FULL), SETTLED[:-1]])
def test_what_cause_says_to_mend_is_next_and_only_then_the_idle_and_relearn(before):
    told = causes("do not relearn", next_test=ACT, advice_cautions=["Engine off."])
    step = next_step(job(*before, told), 3)
    assert step.stage == "cause"
    assert step.short == "mend it, then write down the repair"
    assert step.sentence.startswith("Close the hose. Once that is done, write it down as a repair")
    assert step.command == "tickover job add 3 --stage cause --kind repair --data text=WHAT"
    assert step.cautions == ("Engine off.",)
    mended = next_stage(job(*before, told, ("cause", "repair", {})))
    assert mended.stage in {"before", "set up", "relearn"}
    assert standing(job(*before, told, END[-1]))["cause"] == "done"


def test_to_have_it_learned_another_way_is_no_mending_and_a_sound_car_has_nothing_to_mend():
    assert next_step(job(causes("do not relearn", "stale", next_test=ACT)), 1).short == "do it, then write it down"
    assert next_stage(job(*OPEN, causes("do not relearn", "sound", next_test=ACT))).stage != "cause"


def test_the_stop_rule_holds_where_set_up_was_never_entered():
    once = (attempt("hit", "pedal-hold"), after("no change"))
    assert next_stage(job(*OPEN, START[1], *once, *once)).stage == "cause"
    assert next_stage(job(*OPEN, START[1], attempt("hit", "pedal-hold"))).stage == "after"


def test_a_first_relearn_that_cause_advises_is_next_with_its_set_up_first():
    about = known(load_library())
    told = (*OPEN, START[1], ("relearn", "skipped", {"reason": "find the cause first"}), causes("relearn", "stale"))
    step = next_step(job(*told), 3, about)
    assert (step.stage, step.command) == ("set up", "tickover arrive --set-up --job 3")
    step = next_step(job(*told, START[2]), 3, about)
    assert (step.stage, step.command) == ("relearn", "tickover coach power-cycle --job 3")
    assert step.sentence.startswith("Cause says relearn.")
    again = (*SETTLED, BACK, causes("relearn", "stale"))
    assert next_step(job(*again), 3, about).sentence.startswith("Cause says relearn again: try 2.")


ROWS = st.one_of(
    st.sampled_from([ON, WELL, BACK, FULL, DARK, ("cause", "repair", {}), ("arrive", "relapse", {}), *START, *END[:2]]),
    st.builds(
        causes,
        st.sampled_from(["relearn", "relearn again", "do not relearn", "wait and watch"]),
        st.sampled_from(["fault", "stale", "sound", "cannot tell"]),
        next_test=st.sampled_from([None, PINCH, ACT]),
    ),
    st.builds(attempt, st.sampled_from(["hit", "missed"]), st.sampled_from(["power-cycle", "pedal-hold"])),
    st.builds(after, st.sampled_from(["settled", "no change", "worse", "cannot tell"])),
    st.sampled_from([("drive", "skipped", {"reason": "no time"}), ("cause", "skipped", {"reason": "no time"})]),
)


@settings(deadline=None)
@given(st.lists(ROWS, max_size=12))
def test_whatever_is_kept_one_stage_is_due_until_the_hand_over_and_none_after(rows):
    about = known(load_library())
    entries = job(*rows)
    assert [s.standing for s in stages(entries, about)].count("due") == 1
    step = next_step(entries, 1, about)
    assert step.sentence
    if step.command.startswith("tickover coach"):
        assert may_try(entries, step.command.split()[2], preparing=about.preparing, erasing=about.erasing).allowed
    assert next_stage(job(*rows, END[-1]), about) is None
