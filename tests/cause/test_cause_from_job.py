"""Evidence from a job: the newest counts, a repair makes another car, what was typed is carried."""

import pytest

from tickover.cause.evidence import Evidence
from tickover.cause.from_job import evidence_from_job
from tickover.idle import IdleReading, IdleState
from tickover.idle.relapse import Drive, watch
from tickover.jobs import Entry
from tickover.results import CannotTell, Quantity


def job(*rows):
    """Entries of (stage, kind, data) or (stage, kind, data, inputs)."""
    return [
        Entry(
            seq=n, stage=r[0], kind=r[1], at="2026-11-25T10:00:00+00:00", data=r[2], inputs=r[3] if len(r) > 3 else {}
        )
        for n, r in enumerate(rows, start=1)
    ]


def idle(stage, speed, trim=2.0):
    """An entry with a measured idle."""

    def about(value, half, unit):
        return Quantity(value=value, lo=value - half, hi=value + half, level=0.95, unit=unit)

    state = IdleState(
        name="one load state",
        seconds=90.0,
        refreshes=200,
        speed=about(speed, 10, "r/min"),
        spread=8.0,
        trim=about(trim, 1, "%"),
        coolant=(88.0, 90.0),
    )
    reading = IdleReading(
        states=(state,), stretches=(), swing=CannotTell(reason="not looked for"), settled_from=0.0, trace={}
    )
    return (stage, "reading", {**reading.model_dump(mode="json"), "sentence": "idles"})


TOLD = ("arrive", "answers", {"codes": ["P0507"], "before": ["cleaned"], "complaint": ["high"], "bore": "clean"})
NO_CHANGE = ("after", "comparison", {"verdict": "no change"})
REPAIR = ("cause", "repair", {"sentence": "hose replaced"})


def test_an_empty_job_says_nothing():
    assert evidence_from_job([], 0) == Evidence()


def test_arrival_readings_and_comparison_are_read():
    got = evidence_from_job(job(TOLD, idle("before", 980), idle("after", 960), NO_CHANGE), 1)
    assert got.codes == ("P0507",)
    assert got.history == ("cleaned",)
    assert got.complaint == ("high",)
    assert got.tests == {"bore": "clean"}
    assert (got.idle_speed.value, got.idle_speed.how) == (960, "job")
    assert (got.verdict, got.attempts) == ("no change", 1)


def test_the_newest_reading_counts_whichever_stage_it_belongs_to():
    got = evidence_from_job(job(idle("before", 980), idle("after", 720), idle("before", 1010)), 0)
    assert got.idle_speed.value == 1010


def test_codes_read_later_go_before_codes_told_at_arrive():
    got = evidence_from_job(job(TOLD, ("ready", "codes", {"stored": ["P0171"], "pending": []})), 0)
    assert got.codes == ("P0171",)
    pending_only = evidence_from_job(job(TOLD, ("ready", "codes", {"pending": ["P0171"]})), 0)
    assert pending_only.codes == ("P0507",)


def test_no_change_without_a_correct_attempt_says_nothing():
    """A missed attempt, or a routine that only prepares, cannot have changed the idle: ``attempts`` leaves both out."""
    assert evidence_from_job(job(idle("before", 980), NO_CHANGE), 0).verdict is None
    assert (
        evidence_from_job(job(idle("before", 980), ("after", "comparison", {"verdict": "better"})), 0).verdict
        == "better"
    )


def test_a_comparison_is_overtaken_by_a_newer_beginning():
    settled = ("after", "comparison", {"verdict": "settled"})
    assert evidence_from_job(job(idle("before", 980), idle("after", 720), settled), 0).verdict == "settled"
    assert evidence_from_job(job(idle("after", 720), settled, idle("before", 990)), 0).verdict is None


def test_a_repair_leaves_only_the_story():
    got = evidence_from_job(job(TOLD, idle("before", 980), NO_CHANGE, REPAIR), 0, carry=True)
    assert got == Evidence(history=("cleaned",))
    again = evidence_from_job(job(TOLD, idle("before", 980), REPAIR, idle("after", 700)), 0)
    assert again.idle_speed.value == 700


def watched(verdict, trim=10.0, spread=14.0):
    """An entry of a watch as ``tickover watch`` keeps it."""
    drives = [Drive(at=float(k), trim=trim + k % 2, spread=spread) for k in range(6)]
    kept = watch(drives, normal_trim=2.0, normal_spread=7.0).model_dump(mode="json")
    assert kept["verdict"] == verdict
    return ("drive", "watch", kept)


SETTLED = ("after", "comparison", {"verdict": "settled"})


def test_a_watch_that_came_back_replaces_the_reading_of_when_it_was_well():
    got = evidence_from_job(job(TOLD, idle("before", 980), idle("after", 740), SETTLED, watched("comes back")), 0)
    trim = got.trims["idle"]
    assert trim.value == pytest.approx(10 + 2 / 3)
    assert (trim.spread, trim.how) == (pytest.approx(3 / 3**0.5), "job")
    assert (got.roughness.value, got.roughness.how) == (14, "job")
    assert (got.verdict, got.idle_speed) == (None, None), "settled, and its reading, are overtaken"
    assert got.history == ("cleaned",)


def test_what_was_typed_before_it_came_back_leaves_its_tests_and_no_numbers():
    typed = ("cause", "causes", {}, {"typed": {"trims": {"2500": 6}, "idle_speed": 950, "tests": {"pinch": "nothing"}}})
    got = evidence_from_job(job(typed, idle("after", 740), SETTLED, watched("comes back")), 0, carry=True)
    assert (set(got.trims), got.idle_speed, got.tests) == ({"idle"}, None, {"pinch": "nothing"})
    after = evidence_from_job(job(watched("comes back"), typed), 0, carry=True)
    assert (set(after.trims), after.idle_speed.value) == ({"idle", "2500"}, 950)


def test_a_relapse_in_words_overtakes_settled_too_and_a_newer_reading_overtakes_the_watch():
    said = ("arrive", "relapse", {"text": "hunts again"})
    assert evidence_from_job(job(idle("after", 740), SETTLED, said), 0) == Evidence()
    newer = evidence_from_job(job(SETTLED, watched("comes back"), idle("before", 990, trim=8.0)), 0)
    assert (newer.idle_speed.value, newer.trims["idle"].value) == (990, 8.0)


def test_a_watch_that_stays_well_leaves_settled_and_an_old_watch_without_its_numbers_says_nothing():
    well = evidence_from_job(job(idle("after", 740), SETTLED, watched("stays well", 2.0, 7.0)), 0)
    assert (well.verdict, well.idle_speed.value) == ("settled", 740)
    old = evidence_from_job(job(idle("after", 740), SETTLED, ("drive", "watch", {"verdict": "comes back"})), 0)
    assert old == Evidence()


TYPED = {
    "trims": {"idle": {"value": 18.0, "how": "typed"}, "2500": {"value": 5.0, "how": "log"}},
    "idle_speed": {"value": 950.0, "how": "typed"},
    "vacuum": {"value": 60.0, "how": "by eye"},
    "tests": {"pinch": "nothing"},
    "attempts": 2,
    "verdict": "no change",
    "since_clear": 12.0,
}


@pytest.mark.parametrize("key", ["typed", "evidence"])
def test_what_was_typed_for_an_earlier_answer_is_carried_without_what_logs_and_the_job_gave(key):
    rows = job(("cause", "causes", {}, {key: TYPED}))
    assert evidence_from_job(rows, 0) == Evidence()
    got = evidence_from_job(rows, 0, carry=True)
    assert {p: v.value for p, v in got.trims.items()} == {"idle": 18.0}
    assert got.vacuum.how == "by eye"
    assert got.tests == {"pinch": "nothing"}
    assert (got.attempts, got.verdict, got.since_clear) == (0, None, None)


def test_typed_and_measured_are_taken_in_their_order():
    cause = ("cause", "causes", {}, {"typed": TYPED})
    later = evidence_from_job(job(cause, idle("after", 720, trim=1.0)), 0, carry=True)
    assert (later.idle_speed.value, later.trims["idle"].value) == (720, 1.0)
    earlier = evidence_from_job(job(idle("before", 720, trim=1.0), cause), 0, carry=True)
    assert (earlier.idle_speed.value, earlier.trims["idle"].value) == (950, 18.0)
    twice = evidence_from_job(
        job(cause, ("cause", "causes", {}, {"typed": {"tests": {"pinch": "falls"}}})), 0, carry=True
    )
    assert twice.tests == {"pinch": "falls"}


def test_an_old_answer_that_cannot_be_read_any_more_is_passed_over():
    rows = job(TOLD, ("cause", "causes", {}, {"typed": {"tests": {"a test of old": "yes"}}}))
    assert evidence_from_job(rows, 0, carry=True).codes == ("P0507",)
