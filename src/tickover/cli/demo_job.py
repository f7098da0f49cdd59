"""The demonstration's story, stage by stage: it calls the rooms in the order of the job and keeps their entries."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np

from tickover.arrival import Story, answers_of, arrive
from tickover.attempts import read_attempt
from tickover.coaching import AttemptJudgement, Performer, judge_attempt, rehearse, script
from tickover.drive import Situation, load_conditions, load_roads, plan_drive
from tickover.engine import PEDAL_HOLD, CarSpec, Memory, SimulatedCar, old_memory_on_cleaned_bore
from tickover.errors import InputError
from tickover.handover import page, record_pdf, sheet_from_entries
from tickover.idle import IdleReading, compare, read_idle
from tickover.jobs import Entry, Stage
from tickover.logs import read_log, write_log
from tickover.obd import decode_text
from tickover.readiness import Verdict, evaluate, load_rule, state_of
from tickover.results import CannotTell, Result
from tickover.routines import compile_routine, load_library, load_routine
from tickover.timing import Person
from tickover.visit import may_try
from tickover.visit.drafts import reading_draft
from tickover.visit.ready_drafts import open_monitors, plan_draft, readiness_drafts, state_sentence

NORMAL = (700.0, 800.0)
"""The invented car's warm idle, 750 r/min give or take 50 (own choice, as the default of the plan)."""
PERSON = Person(cv=0.05, event_sd=0.03)
"""A practised person who goes by the coach's cues."""
ROUTINE = "pedal-hold"
"""The least disturbing routine that rewrites learned air after a throttle clean; it erases nothing."""
SLIP = {"up": -5.2}
"""The one step that the first attempt misses: the pedal is let up too early [s]."""

SETTLE = 12.0
"""Idling before the minute begins: the start itself is left out of every reading [s]."""
BEFORE, AFTER = 180.0, 62.0
"""Recorded before and after [s]. At its stale memory the idle wanders slowly, so that a minute is worth too little."""
FAN_NEAR = 89.0
"""From here the fan would come on within the minute [°C]."""
COOLANT = 82.0
"""The invented car comes in warm, with a minute and a half to go to its fan [°C]."""

SHOP = {
    "shop": "Larkholm Garage",
    "job": "0001",
    "year": 2009,
    "fuel": "petrol",
    "displacement_l": 2.0,
    "cylinders": 4,
    "throttle": "electronic",
    "metering": "air meter",
    "complaint": "idles high since the throttle was cleaned",
    "history": "throttle bore cleaned, no relearn afterwards; battery never off",
}
REPORTS = "41 01 00 07 65 04"
"""What the invented car answers to service 01, parameter 01: no lamp, no code, the evaporative system still open."""
RULE = "us-federal"
TOLD = (
    "danger=none",
    "drive=petrol",
    "lamp=dark",
    "codes=none",
    "complaint=high",
    "before=cleaned",
    "misfire=no",
    "throttle=electronic",
    "leak=no",
    "bore=clean",
    "screws=untouched",
    "battery=healthy",
    "switch=key",
    "gearbox=manual",
)
"""What the invented customer and a first look tell, as answers to the questions of Arrive."""


@dataclass(frozen=True)
class Chapter:
    """What one stage has to say: which, a lead sentence, and lines under it."""

    stage: Stage
    lead: str
    lines: tuple[str, ...] = ()
    reading: IdleReading | None = None
    judgement: AttemptJudgement | None = None


class DemoRecord(Result):
    """The whole job as data: its entries and the files it left."""

    entries: tuple[dict[str, Any], ...]
    files: tuple[str, ...]


class DemoJob:
    """One job on the simulated car.

    Args:
        out: folder for logs, attempts and the sheet; made where it is not there.
        seed: fixes all chance.
        begun: wall-clock time the story begins at.
    Raises: InputError for a folder that cannot be made.
    """

    def __init__(self, out: Path, seed: int, begun: datetime) -> None:
        try:
            out.mkdir(parents=True, exist_ok=True)
        except OSError as why:
            raise InputError(f"cannot be made: {why.strerror}", file=str(out), way_out="Name another --out.") from None
        self.out = out
        self.seed = seed
        self.begun = begun
        self.routine = compile_routine(load_routine(ROUTINE))
        spec = replace(CarSpec(), metering="air", entries=(PEDAL_HOLD,), noise_seed=seed, coolant_start=COOLANT)
        self.car = SimulatedCar(old_memory_on_cleaned_bore(spec), seed)
        self.entries: list[Entry] = []
        self.files: list[Path] = []

    def chapters(self) -> Iterator[Chapter]:
        """Run the job; one chapter as each stage is done."""
        yield self._arrive()
        self._keep_readiness()
        before, chapter = self._idle("before")
        yield chapter
        yield self._set_up()
        yield from self._relearn()
        after, chapter = self._idle("after")
        yield chapter
        yield self._compare(before, after)
        yield self._drive()
        yield self._ready()
        yield self._hand_over()

    def record(self) -> DemoRecord:
        """The job as data."""
        return DemoRecord(
            entries=tuple(e.model_dump(mode="json") for e in self.entries), files=tuple(str(f) for f in self.files)
        )

    def _add(self, stage: Stage, kind: str, data: dict[str, Any]) -> None:
        at = (self.begun + timedelta(seconds=self.car.now)).isoformat(timespec="seconds")
        self.entries.append(
            Entry(
                seq=len(self.entries) + 1,
                stage=stage,
                kind=kind,
                at=at,
                by="R. H., invented",
                data=data,
                simulated=True,
            )
        )

    def _arrive(self) -> Chapter:
        found = arrive(answers_of(TOLD), load_library())
        if found.stops or not isinstance(found.story, Story):
            raise InputError(f"the demo's car does not fit its story: {found.sentence}")
        self._add("arrive", "car", SHOP)
        self._add("arrive", "answers", found.answers.model_dump(mode="json"))
        self._add("arrive", "story", {"story": found.story.name, "sentence": found.story.sentence})
        lines = (
            f"2009 petrol car, 2.0 L, 4 cylinders, electronic throttle, air meter. Complaint: {SHOP['complaint']}.",
            "No stop sign in what was told.",
            *found.story.fits,
            f"Taken here: {self.routine.title.lower()}, as after a throttle clean. {self.routine.basis.words}",
        )
        return Chapter("arrive", found.story.sentence, lines)

    def _idle(self, stage: Stage) -> tuple[IdleReading, Chapter]:
        """Start where needed, record, write the log, read it back as any log is read."""
        if not self.car.running:
            self.car.do("ignition on")
            self.car.advance(3.0)
            self.car.do("crank")
        self.car.advance(SETTLE)
        self._let_the_fan_stop()
        self.car.record(period=0.2, jitter=0.01)
        self.car.advance(BEFORE if stage == "before" else AFTER)
        path = self.out / f"idle-{stage}.csv"
        write_log(self.car.recording(), path)
        self.files.append(path)
        reading = read_idle(read_log(path), np.random.default_rng(self.seed))
        if isinstance(reading, CannotTell):
            raise InputError(f"the demo's idle could not be read: {reading.reason}", file=str(path))
        self._add(stage, "reading", reading_draft(reading, stage).data)
        return reading, Chapter(stage, "", (f"Recorded to {path}",), reading=reading)

    def _let_the_fan_stop(self) -> None:
        """With the fan about to come on, wait until it has come and gone: it loads the engine in mid-reading."""
        if not self.car.fan and self.car.coolant < FAN_NEAR:
            return
        for wanted in (True, False):
            while self.car.fan is not wanted:
                self.car.advance(1.0)
        self.car.advance(SETTLE)

    def _set_up(self) -> Chapter:
        measured = {"coolant_temperature": (self.car.coolant, "°C"), "module_voltage": (self.car.volts, "V")}
        rows, lines = [], []
        for need in self.routine.needs:
            value, unit = measured.get(need.signal or "", (None, ""))
            if value is None:
                rows.append({"need": need.need, "value": "by hand", "met": True})
                lines.append(f"[◆] {need.need}: by hand")
                continue
            met = (need.lo is None or value >= need.lo) and (need.hi is None or value <= need.hi)
            rows.append({"need": need.need, "value": f"{value:.1f} {unit}", "met": met})
            lines.append(f"{'[◆]' if met else '[ ]◆'} {need.need}: {value:.1f} {unit}")
        self._add("set up", "needs", {"needs": rows, "sentence": "every need met"})
        return Chapter("set up", "Every need met.", tuple(lines))

    def _relearn(self) -> Iterator[Chapter]:
        """A first attempt with one slip, then one without."""
        for slips in (SLIP, {}):
            rule = may_try(self.entries, self.routine.id)
            before = self._engine_off()
            judgement, path = self._attempt(rule.number, slips)
            changed = _changed(before, self.car.memory())
            self._add(
                "relearn",
                "attempt",
                _attempt_data(self.routine.may_erase, judgement, self.routine.basis.words, rule.number, changed),
            )
            lines = (
                judgement.advice,
                _car_says(self.car.entry_outcome, changed),
                f"Kept in {path}",
            )
            yield Chapter(
                "relearn", f"Try {rule.number}. {judgement.sentence}", tuple(x for x in lines if x), judgement=judgement
            )

    def _engine_off(self) -> Memory:
        if self.car.ignition != "off":
            self.car.do("ignition off")
        self.car.advance(40.0)
        return self.car.memory()

    def _attempt(self, number: int, slips: dict[str, float]) -> tuple[AttemptJudgement, Path]:
        path = self.out / f"attempt-{number}.jsonl"
        rng = np.random.default_rng([self.seed, number])
        with path.open("w", encoding="utf-8") as stream:
            rehearse(script(self.routine), self.car, Performer(PERSON, rng, slips), record=stream)
        self.files.append(path)
        return judge_attempt(self.routine, read_attempt(path)), path

    def _compare(self, before: IdleReading, after: IdleReading) -> Chapter:
        found = compare(before, after, normal=NORMAL)
        self._add("after", "comparison", found.model_dump(mode="json"))
        open_end = (
            "With this seed the demo ends in “cannot tell”, which is an answer too: nothing is called settled on "
            "readings that are worth too little. On a car, record three minutes more; here, try another --seed.",
        )
        lines = open_end if found.verdict == "cannot tell" else ()
        return Chapter("after", found.sentence, (*lines, "Rests on:", *found.rests_on))

    def _keep_readiness(self, verdict: Verdict | None = None) -> None:
        """What the car reports, and the verdict where there is one; the invented car always reports the same."""
        for draft in readiness_drafts(self.entries, state_of(decode_text(REPORTS)), verdict):
            self._add(draft.stage, draft.kind, draft.data)

    def _drive(self) -> Chapter:
        now = self.begun + timedelta(seconds=self.car.now)
        situation = Situation(
            open=open_monitors(self.entries) or (), coolant=self.car.coolant, fuel=60.0, ambient=15.0, soaked=0.0,
            now=now.replace(tzinfo=None), limit=100.0, traffic="light",
        )  # fmt: skip
        plan = plan_drive(load_conditions(), situation, load_roads(limit=100.0))
        self._add("drive", "plan", plan_draft(plan).data)
        self._add("drive", "skipped", {"reason": "the customer drives the plan and comes back with the log"})
        return Chapter("drive", f"Planned: {plan_draft(plan).data['sentence']}.", tuple(leg.words for leg in plan.legs))

    def _ready(self) -> Chapter:
        state = state_of(decode_text(REPORTS))
        day = (self.begun + timedelta(seconds=self.car.now)).date()
        verdict = evaluate(load_rule(RULE), state, year=int(str(SHOP["year"])), fuel="petrol", on=day)
        self._keep_readiness(verdict)
        lines = (f"The car reports {REPORTS}: {state_sentence(state)}.", verdict.check)
        return Chapter("ready", f"{verdict.word[0].upper()}{verdict.word[1:]}. {verdict.sentence}", lines)

    def _hand_over(self) -> Chapter:
        on = self.begun + timedelta(seconds=self.car.now)
        sheet = sheet_from_entries(self.entries, on=on)
        pdf, png, record = (self.out / name for name in ("hand-over.pdf", "hand-over.png", "record.pdf"))
        pdf.write_bytes(page.pdf(sheet))
        png.write_bytes(page.png(sheet))
        record.write_bytes(record_pdf(self.entries, on=on))
        self.files += [pdf, png, record]
        self._add("hand over", "sheet", {"sentence": sheet.headline, "file": str(pdf)})
        lines = (f"The customer's sheet: {pdf}", f"The shop's record: {record}")
        return Chapter("hand over", sheet.headline + ".", lines)


def _car_says(outcome: str | None, changed: str) -> str:
    if outcome == "written":
        return f"The car took it. {changed}"
    return f"The car did not take it: {(outcome or 'no entry seen').removeprefix('rejected: ')}. {changed}"


def _changed(before: Memory, after: Memory) -> str:
    if before == after:
        return "Its memory is as it was: nothing changed."
    return f"Its learned idle air went from {before.learned_air_mm2:.1f} to {after.learned_air_mm2:.1f} mm²."


def _attempt_data(may_erase: bool, j: AttemptJudgement, basis: str, number: int, changed: str) -> dict[str, Any]:
    lines = [a.model_dump(mode="json") for a in j.acts]
    return {
        "routine": j.routine,
        "title": j.title,
        "may_erase": may_erase,
        "basis": basis,
        "try": number,
        "verdict": j.verdict,
        "sentence": j.sentence,
        "acts": [line for line in lines if not line["answer"]],
        "answers": [{"kind": a.kind, "t": a.t_lo} for a in j.acts if a.answer and a.t_lo is not None],
        "duration": j.duration,
        "changed": changed,
    }
