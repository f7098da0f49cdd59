"""What a stage found, as it goes into the job, and back out of it."""

from __future__ import annotations

import numpy as np
import pytest

from tickover.arrival import answers_of, arrive, set_up
from tickover.engine import SimulatedCar, healthy, old_memory_on_cleaned_bore
from tickover.idle import IdleReading, read_idle
from tickover.jobs import Entry
from tickover.results import CannotTell
from tickover.routines import compile_routine, load_library, load_routine
from tickover.visit import drafts, next_stage


def reading_of(spec, seed: int) -> IdleReading:
    car = SimulatedCar(spec, seed)
    car.do("ignition on")
    car.advance(3.0)
    car.do("crank")
    car.advance(15.0)
    car.record(period=0.2, jitter=0.01)
    car.advance(50.0)
    found = read_idle(car.recording(), np.random.default_rng(seed))
    assert isinstance(found, IdleReading)
    return found


@pytest.fixture(scope="module")
def readings() -> tuple[IdleReading, IdleReading]:
    return reading_of(old_memory_on_cleaned_bore(), 3), reading_of(healthy(), 4)


def kept(found: tuple[drafts.Draft, ...], entries: list[Entry]) -> None:
    for draft in found:
        data = draft.data
        entries.append(
            Entry(seq=len(entries) + 1, stage=draft.stage, kind=draft.kind, at="2026-01-05T09:00:00+00:00", data=data)
        )


def test_an_arrival_closes_its_stage_and_keeps_the_ladder() -> None:
    found = arrive(
        answers_of(["drive=petrol", "complaint=high", "before=cleaned", "throttle=electronic"]), load_library()
    )
    entries: list[Entry] = []
    kept(drafts.arrival_drafts(found), entries)
    assert [e.kind for e in entries] == ["answers", "story", "ladder"]
    assert entries[1].data["sentence"] == found.sentence
    due = next_stage(entries)
    assert due is not None
    assert due.stage == "before"


def test_a_reading_belongs_before_until_an_attempt_was_made_and_is_compared_after_it(readings) -> None:
    before, after = readings
    entries: list[Entry] = []
    comparison, made = drafts.idle_drafts(entries, before, (700.0, 800.0))
    assert comparison is None
    assert [(d.stage, d.kind) for d in made] == [("before", "reading")]
    kept(made, entries)
    back = drafts.reading_before(entries)
    assert back == before
    entries.append(
        Entry(seq=2, stage="relearn", kind="attempt", at="2026-01-05T09:10:00+00:00", data={"verdict": "hit"})
    )
    comparison, made = drafts.idle_drafts(entries, after)
    assert comparison is not None
    assert comparison.normal == (700.0, 800.0), "the normal told once is remembered"
    assert comparison.verdict == "settled"
    assert [(d.stage, d.kind) for d in made] == [("after", "reading"), ("after", "comparison")]


def test_a_log_without_an_idle_is_recorded_as_such_and_closes_nothing() -> None:
    _, made = drafts.idle_drafts([], CannotTell(reason="it never got warm", way_out="Warm it"))
    entries: list[Entry] = []
    kept(made, entries)
    assert entries[0].kind == "no reading"
    assert entries[0].data["sentence"] == "cannot tell the idle: it never got warm"
    assert drafts.reading_before(entries) is None


def test_what_nothing_measures_counts_as_met_only_where_a_person_has_seen_to_it() -> None:
    routine = compile_routine(load_routine("pedal-hold"))
    found = set_up(routine, np.random.default_rng(1), {"coolant_temperature": 85.0, "module_voltage": 12.6})
    nothing = drafts.set_up_draft(found).data
    hands = [n.need for n in found.needs if n.standing in {"by hand", "cannot tell"}]
    everything = drafts.set_up_draft(found, hands).data
    assert nothing["sentence"].startswith("not met or not looked at")
    assert everything["sentence"] == "every need met"
    cold = set_up(routine, np.random.default_rng(1), {"coolant_temperature": 20.0, "module_voltage": 12.6})
    every = [n.need for n in cold.needs]
    assert drafts.set_up_draft(cold, every).data["sentence"] != "every need met", "a hand does not warm an engine"
