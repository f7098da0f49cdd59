"""Cause on a page: what is known so far, the test to do next, and what still fits on one axis."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated, Any, get_args

import anyio
import numpy as np
from fastapi import APIRouter, File, Form, Request, UploadFile
from fastapi.responses import RedirectResponse
from pydantic import BaseModel, ConfigDict, Field, ValidationError
from starlette.datastructures import FormData

from tickover.cause import TESTS, Car, Causes, Evidence, Group, NextTest, Value, diagnose
from tickover.cause.evidence import History, Point, VoltsWhen
from tickover.cause.from_job import car_from_job, evidence_from_job
from tickover.cause.from_log import evidence_from_log, together
from tickover.drawing.figures import plain
from tickover.errors import InputError
from tickover.jobs import Entry
from tickover.results import CannotTell, Envelope, Result, envelope
from tickover.visit.drafts import Draft
from tickover.visit.rules import correct_without_effect, known, since_repair
from tickover.web import forms
from tickover.web.reading import JobNumber
from tickover.web.site import Site
from tickover.web.uploads import Upload, kind_of, log_in, taken
from tickover.web.views import Seen

SHOWN_FROM = 0.02
"""Groups below this are named in one line [1]."""
EVIDENCE_SHOWN = 6
WIDEST = 4.0
"""Evidence this strong or stronger fills its half of the row [bit]; own choice, a factor of 16."""
POINTS: tuple[Point, ...] = get_args(Point)
SAID = {"idle": "idle", "idle with load": "idle, loads on", "2500": "2,500 r/min", "cruise": "cruise",
        "hard load": "hard load"}  # fmt: skip
VOLTS: tuple[VoltsWhen, ...] = get_args(VoltsWhen)
HISTORY = {
    "battery": "battery was off or flat",
    "cleaned": "throttle cleaned",
    "misfire": "a misfire was cured",
    "unplugged": "controller or throttle unplugged",
    "nothing": "nothing of the kind",
}
UNITS = {"inHg": 3.386389, "kPa": 1.0, "mbar": 0.1, "mmHg": 0.1333224}
"""kPa in one of each that a vacuum gauge shows."""
PLAIN = {
    "idle_speed": ("Idle speed", "r/min"),
    "idle_air": ("Commanded idle air", "%"),
    "misfires": ("Misfires in 1,000 turns", ""),
    "coolant": ("Coolant, settled", "°C"),
    "ethanol": ("Ethanol in the fuel", "%"),
}
"""Single figures: field, words, unit."""
TABLES = {"trims": "Trims, short and long together, %", "trims_bank2": "Trims of bank 2, %",
          "air_flow": "Air meter, g/s", "manifold": "Manifold pressure, absolute, kPa"}  # fmt: skip
"""Figures by point: field and words."""


class Typed(BaseModel):
    """What was seen, over what the job knows already.

    Attributes:
        evidence: only what is told anew; earlier pieces of this job stay until they are told otherwise.
        car: what is told of the car, over what the job says.
        afresh: forget what was typed before.
        by: who.
    """

    model_config = ConfigDict(extra="forbid")

    evidence: Evidence = Evidence()
    car: Car = Car()
    afresh: bool = False
    by: str = Field(default="", max_length=80)


class CauseKept(Result):
    """What is acting, and the entry it was kept in."""

    job: int
    causes: Causes
    entries: tuple[int, ...]


def find(site: Site, job: int, typed: Typed, log: Upload | None = None) -> CauseKept:
    """Put all evidence together, reason, and keep the answer.

    Args:
        site: the record.
        job: its number.
        typed: what is told now.
        log: a log of the car as it is now.
    Raises: LogFileError under the file's own name; UnknownJobError.
    """
    with site.opened() as store:
        entries = store.current(job)
    attempts = correct_without_effect(entries, known(site.library()).preparing)
    before = Evidence() if typed.afresh else typed_before(entries)
    told = together([before, typed.evidence])
    parts = [evidence_from_job(entries, attempts)]
    simulated = False
    if log is not None:
        recording, _ = log_in(log)
        parts.append(evidence_from_log(recording, np.random.default_rng(site.seed)).evidence)
        simulated = recording.simulated
    car_told = {**_car_before(entries), **typed.car.model_dump(exclude_none=True)}
    car = Car.model_validate({**car_from_job(entries).model_dump(), **car_told})
    evidence = together([*parts, told])
    found = diagnose(evidence, car)
    inputs = {
        "typed": fields_set(told),
        "typed_car": car_told,
        "evidence": fields_set(evidence),
        "car": fields_set(car),
        "log": log.name if log is not None else None,
    }
    with site.opened() as store:
        attached = [store.attach(log.data, name=log.name, media_type=kind_of(log))] if log is not None else []
        kept = site.keep(
            store, job, [Draft("cause", "causes", found.model_dump(mode="json"))], attachments=attached, by=typed.by,
            inputs=inputs, simulated=simulated or None,
        )  # fmt: skip
    return CauseKept(job=job, causes=found, entries=tuple(e.seq for e in kept))


def fields_set(model: Evidence | Car) -> dict[str, Any]:
    """What was given, without what was not."""
    told = model.model_dump(mode="json", exclude_none=True)
    return {k: v for k, v in told.items() if v not in ({}, [], 0)}


def _last(entries: Sequence[Entry]) -> Entry | None:
    """The newest answer, as long as no repair has overtaken it: a repaired car is another car."""
    return next((e for e in reversed(since_repair(entries)) if e.stage == "cause" and e.kind == "causes"), None)


def typed_before(entries: Sequence[Entry]) -> Evidence:
    """What was typed for the newest answer; empty where there is none, or where it cannot be read."""
    last = _last(entries)
    try:
        return Evidence.model_validate(last.inputs.get("typed") or {}) if last is not None else Evidence()
    except ValidationError:
        return Evidence()


def _car_before(entries: Sequence[Entry]) -> dict[str, Any]:
    last = _last(entries)
    try:
        told = Car.model_validate(last.inputs.get("typed_car") or {}) if last is not None else Car()
    except ValidationError:
        return {}
    return told.model_dump(exclude_none=True)


def panel(seen: Seen) -> dict[str, Any]:
    """What Cause shows: the next test, the groups with their evidence, and the form."""
    entries = sorted((e for s in seen.view.stages for e in s.entries), key=lambda e: e.seq)
    newest = next((e for e in reversed(entries) if e.stage == "cause" and e.kind == "causes"), None)
    before = typed_before(entries)
    return {
        "found": _shown(newest) if newest is not None else None,
        "typed": fields_set(before),
        "car": _car_before(entries),
        "tables": TABLES,
        "points": [(p, SAID[p]) for p in POINTS],
        "plain": PLAIN,
        "volts": VOLTS,
        "units": tuple(UNITS),
        "history": HISTORY,
        "tests": [(t.name, t.act, tuple(t.outcomes.items())) for t in TESTS.values()],
    }


def _shown(entry: Entry) -> dict[str, Any] | None:
    try:
        found = Causes.model_validate({k: v for k, v in entry.data.items()})
    except ValidationError:
        return None
    shown = [g for g in found.groups if g.probability >= SHOWN_FROM or g.causes[0].family == "else"]
    return {
        "causes": found,
        "test": _test(found.next_test),
        "groups": [_group(g) for g in shown],
        "hardly": [g.says for g in found.groups if g not in shown],
        "hole": _hole(found),
    }


def _test(test: NextTest | CannotTell) -> dict[str, Any]:
    if isinstance(test, CannotTell):
        return {"none": f"{test.reason} {test.way_out}".strip()}
    decides: dict[str, list[str]] = {}
    for one in test.outcomes:
        decides.setdefault(one.decides, []).append(one.outcome)
    act = TESTS.get(test.name)
    return {
        "none": "",
        "name": test.name,
        "act": test.act,
        "worth": plain(test.bits, 2 if test.bits < 0.1 else 1),
        "minutes": f"{test.minutes:.0f}",
        "needs": test.needs,
        "cautions": test.cautions,
        "decides": [("; ".join(outcomes), what) for what, outcomes in decides.items()],
        "outcomes": tuple(act.outcomes.items()) if act is not None else (),
    }


def _group(group: Group) -> dict[str, Any]:
    """A row: places on the axis in per cent, and its evidence from a centre line."""
    at = 100 * group.probability
    # the word stands over the mark, but never over the ends of the axis
    return {
        "causes": [c.says for c in group.causes],
        "tied": group.tied_because,
        "likely": group.likely,
        "at": round(at, 2),
        "lo": round(100 * group.lo, 2),
        "wide": round(100 * (group.hi - group.lo), 2),
        "word": round(min(max(at, 12.0), 88.0), 2),
        "says": f"{group.says}: {group.likely}, {at:.0f} %, between {100 * group.lo:.0f} and {100 * group.hi:.0f}",
        "evidence": [
            {
                "says": s.evidence,
                "speaks": s.speaks,
                "why": s.why,
                "for": s.bits > 0,
                "wide": round(50 * min(abs(s.bits) / WIDEST, 1.0), 2),
            }
            for s in group.evidence[:EVIDENCE_SHOWN]
        ],
    }


def _hole(found: Causes) -> str:
    hole = found.hole
    if isinstance(hole, CannotTell):
        return ""
    if hole.lo is not None and hole.hi is not None:
        return f"If it is a leak: {hole.lo:.1f} to {hole.hi:.1f} mm as a round hole."
    if hole.lo is not None:
        return f"If it is a leak: at least {hole.lo:.1f} mm as a round hole."
    return f"If it is a leak: at most {hole.hi:.1f} mm as a round hole." if hole.hi is not None else ""


def value_of(text: str, words: str) -> Value:
    """``18``, ``18±2``; a figure that ends in ``!`` stands at the controller's limit.

    Raises: InputError.
    """
    body, _, spread = text.removesuffix("!").partition("±")
    told = forms.number(spread, f"{words}, spread") if spread.strip() else None
    if told is not None and told <= 0:
        raise InputError(f"{words}: a spread is more than 0", way_out="Write it like 18±2, or 18.")
    return Value(value=forms.number(body.strip(), words), spread=told, at_limit=text.endswith("!"))


def evidence_in(form: FormData) -> dict[str, Any]:
    """The form's evidence.

    Raises: InputError naming the field.
    """
    told = _figures_in(form)
    if (vacuum := _vacuum_in(form)) is not None:
        told["vacuum"] = vacuum
    if text := forms.text_of(form, "codes"):
        told["codes"] = _codes_in(text)
    if (since := forms.figure_of(form, "since_clear", "Minutes since cleared")) is not None:
        told["since_clear"] = since
    if behaves := forms.text_of(form, "coolant_behaviour"):
        told["coolant_behaviour"] = behaves
    if history := [h for h in forms.texts_of(form, "history") if h in get_args(History)]:
        told["history"] = tuple(history)
    told["tests"] = {t: o for t in TESTS if (o := forms.text_of(form, f"test.{t}"))}
    return told


def _figures_in(form: FormData) -> dict[str, Any]:
    told: dict[str, Any] = {}
    for field, words in TABLES.items():
        for point in POINTS:
            if text := forms.text_of(form, f"{field}.{point}"):
                told.setdefault(field, {})[point] = value_of(text, f"{words}, {SAID[point]}")
    for when in VOLTS:
        if text := forms.text_of(form, f"volts.{when}"):
            told.setdefault("volts", {})[when] = value_of(text, f"Volts, {when}")
    for field, (words, _) in PLAIN.items():
        if text := forms.text_of(form, field):
            told[field] = value_of(text, words)
    return told


def _vacuum_in(form: FormData) -> Value | None:
    text = forms.text_of(form, "vacuum")
    if not text:
        return None
    unit = UNITS.get(forms.text_of(form, "vacuum_unit") or "kPa")
    if unit is None:
        raise InputError("a vacuum needs its unit", way_out=f"There are: {', '.join(UNITS)}.")
    return Value(value=abs(forms.number(text, "Vacuum")) * unit, how="by eye")


def _codes_in(text: str) -> tuple[str, ...]:
    words = [w.strip() for w in text.replace(";", ",").replace(" ", ",").split(",") if w.strip()]
    return () if [w.lower() for w in words] == ["none"] else tuple(words)


def routes(site: Site) -> APIRouter:
    """The form, the outcome of a test, and their twins."""
    router = APIRouter()

    @router.post("/jobs/{job}/cause", include_in_schema=False)
    async def cause_form(request: Request, job: JobNumber) -> RedirectResponse:
        async with request.form(max_files=1, max_fields=120) as form:
            log = await taken(form.get("log"), "log.csv")
            told = evidence_in(form)
            car: dict[str, Any] = {"metering": forms.text_of(form, "metering") or None}
            by, afresh = forms.text_of(form, "by"), forms.text_of(form, "afresh") == "yes"
        typed = forms.told(
            Typed, evidence=forms.told(Evidence, **told), car=forms.told(Car, **car), by=by, afresh=afresh
        )
        await anyio.to_thread.run_sync(find, site, job, typed, log)
        return RedirectResponse(f"/jobs/{job}#stage-6", status_code=303)

    @router.post("/api/jobs/{job}/cause", summary="Tell what was seen; the next test and what still fits come back")
    def cause_api(job: JobNumber, typed: Typed) -> Envelope:
        kept = find(site, job, typed)
        inputs = {"job": job, "evidence": fields_set(typed.evidence), "car": fields_set(typed.car)}
        return envelope("cause", kept, inputs=inputs, rests_on=kept.causes.rests_on)

    @router.post("/api/jobs/{job}/cause/log", summary="The same with a log of the car as it is now")
    async def cause_log_api(
        job: JobNumber,
        log: Annotated[UploadFile, File(description="CSV of any ordinary shape, 64 MB at most.")],
        by: Annotated[str, Form(max_length=80)] = "",
    ) -> Envelope:
        upload = await taken(log, "log.csv")
        if upload is None:
            raise InputError("no log was sent", way_out="Send a file as the field “log”.")
        kept = await anyio.to_thread.run_sync(find, site, job, Typed(by=by), upload)
        return envelope("cause", kept, inputs={"job": job, "log": upload.name}, rests_on=kept.causes.rests_on)

    return router
