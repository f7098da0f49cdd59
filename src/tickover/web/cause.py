"""Cause on a page: what is known is put together and reasoned over; outcomes of tests come in one by one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Annotated, Any

import anyio
from fastapi import APIRouter, File, Form, Request, Response, UploadFile
from fastapi.responses import RedirectResponse
from pydantic import BaseModel, ConfigDict, Field

from tickover.cause import Car, Causes, Evidence, diagnose
from tickover.cause.from_job import car_from_job, evidence_from_job
from tickover.cause.from_log import together
from tickover.cause.sources import disagreements
from tickover.errors import InputError
from tickover.jobs import Entry
from tickover.results import Envelope, Result, envelope
from tickover.visit.drafts import Draft
from tickover.visit.rules import correct_without_effect, known
from tickover.web import forms
from tickover.web.cause_form import FIELDS, car_in, evidence_in
from tickover.web.cause_panel import car_before, last_answer, panel, told_before
from tickover.web.labour import Reasoned
from tickover.web.site import Site
from tickover.web.uploads import Upload, kind_of, taken
from tickover.web.work_pages import TAKEN, JobNumber, Later, form_answer, told_later, wait_for
from tickover.web.works import Work

THE_LOG = "log"
"""Name of what a log told, where it is to be forgotten."""


class Typed(BaseModel):
    """What was seen, over what the job knows already.

    Attributes:
        evidence: only what is told anew; earlier pieces of this job stay until they are told otherwise.
        car: what is told of the car, over what the job says.
        without: pieces that are taken back, by their names in the form, such as “test.pinch”; “log” for a log's.
        afresh: forget what was typed and logged before.
        by: who.
    """

    model_config = ConfigDict(extra="forbid")

    evidence: Evidence = Evidence()
    car: Car = Car()
    without: list[Annotated[str, Field(max_length=60)]] = Field(default_factory=list, max_length=60)
    afresh: bool = False
    by: str = Field(default="", max_length=80)


class CauseKept(Result):
    """What is acting, and the entry it was kept in."""

    job: int
    causes: Causes
    entries: tuple[int, ...]


@dataclass(frozen=True)
class Known:
    """All that is known of a car: from the job, from a log, typed; and the name of the log."""

    job: Evidence
    logged: Evidence
    typed: Evidence
    typed_car: dict[str, Any]
    car: Car
    log: str | None

    @property
    def evidence(self) -> Evidence:
        """All of it; typed goes before a log, and that before the job."""
        return together([self.job, self.logged, self.typed])

    @property
    def sources(self) -> list[tuple[str, Evidence]]:
        """Where it comes from, by name; what comes later counts."""
        return [("the job", self.job), (self.log or "the log", self.logged), ("typed", self.typed)]

    def reasoned(self) -> Causes:
        """What it says of the causes."""
        return diagnose(self.evidence, self.car)


def gathered(site: Site, entries: Sequence[Entry], typed: Typed) -> Known:
    """What is known, with what is told now.

    Args:
        site: the record, for its routines.
        entries: of the job, corrections applied.
        typed: what is told now.
    Raises: InputError for a piece to take back that there is not.
    """
    for name in typed.without:
        if name not in FIELDS and name != THE_LOG:
            raise InputError(f"no piece is called “{name}”", way_out=f"There are: {', '.join(FIELDS)}.")
    attempts = correct_without_effect(entries, known(site.library()).preparing)
    fresh = typed.afresh
    told = together([Evidence() if fresh else _less(told_before(entries, "typed"), typed.without), typed.evidence])
    car_told = {} if fresh else car_before(entries).model_dump(exclude_none=True)
    car_told = {n: v for n, v in car_told.items() if n not in typed.without}
    car_told |= typed.car.model_dump(exclude_none=True)
    last = last_answer(entries)
    logless = fresh or THE_LOG in typed.without or last is None
    return Known(
        job=evidence_from_job(entries, attempts),
        logged=Evidence() if logless else told_before(entries, "logged"),
        typed=told,
        typed_car=car_told,
        car=Car.model_validate({**car_from_job(entries).model_dump(), **car_told}),
        log=None if logless or last is None else last.inputs.get("logged_from"),
    )


def _less(told: Evidence, names: Sequence[str]) -> Evidence:
    """Evidence without some pieces."""
    rest = told.model_dump(exclude_none=True)
    for name in names:
        table, dot, place = name.partition(".")
        if dot:
            rest.get("tests" if table == "test" else table, {}).pop(place, None)
        else:
            rest.pop(name, None)
    return Evidence.model_validate({k: v for k, v in rest.items() if v != {}})


def find(site: Site, job: int, typed: Typed) -> CauseKept:
    """Reason over what is known, and keep the answer.

    Args:
        site: the record.
        job: its number.
        typed: what is told now.
    Raises: InputError; UnknownJobError.
    """
    with site.opened() as store:
        told = gathered(site, store.current(job), typed)
    return _keep(site, job, told, told.reasoned(), typed.by)


def begin_log(site: Site, job: int, typed: Typed, log: Upload) -> tuple[Work, list[CauseKept]]:
    """Begin to look for evidence in a log of the car as it is now; the list holds the answer once it is kept.

    Raises: UnknownJobError; InputError where a log of this job is being worked on already.
    """
    with site.opened() as store:
        told = gathered(site, store.current(job), typed)
    answer: list[CauseKept] = []

    def task(work: Work) -> None:
        found: Reasoned = work.done("cause", seed=site.seed, before=(told.job,), told=told.typed, car=told.car)
        with site.opened() as store:
            now = gathered(site, store.current(job), typed)
        with_log = replace(now, logged=found.logged, log=log.name)
        # what was told meanwhile, such as the outcome of a test, counts too
        causes = found.causes if replace(told, logged=found.logged, log=log.name) == with_log else with_log.reasoned()
        work.keep()
        kept = _keep(site, job, with_log, causes, typed.by, log=log, simulated=found.simulated)
        work.entry = kept.entries[0]
        answer.append(kept)

    return site.works.start(job, task, stage="cause", log=log), answer


def _keep(
    site: Site, job: int, told: Known, found: Causes, by: str, *, log: Upload | None = None, simulated: bool = False
) -> CauseKept:
    found = found.model_copy(update={"disagree": disagreements(told.sources)})
    inputs = {
        "typed": fields_set(told.typed),
        "typed_car": told.typed_car,
        "logged": fields_set(told.logged),
        "logged_from": told.log,
        "evidence": fields_set(told.evidence),
        "car": fields_set(told.car),
        "log": log.name if log is not None else None,
    }
    draft = Draft("cause", "causes", found.model_dump(mode="json"))
    with site.opened() as store:
        attached = [store.attach(log.data, name=log.name, media_type=kind_of(log))] if log is not None else []
        kept = site.keep(
            store, job, [draft], attachments=attached, by=by, inputs=inputs, simulated=simulated or None
        )  # fmt: skip
    return CauseKept(job=job, causes=found, entries=tuple(e.seq for e in kept))


def fields_set(model: Evidence | Car) -> dict[str, Any]:
    """What was given, without what was not."""
    told = model.model_dump(mode="json", exclude_none=True)
    return {k: v for k, v in told.items() if v != {} and not (k == "attempts" and v == 0)}


def routes(site: Site) -> APIRouter:
    """The form, the outcome of a test, and their twins."""
    router = APIRouter()

    @router.post("/jobs/{job}/cause", include_in_schema=False)
    async def cause_form(request: Request, job: JobNumber) -> Response:
        async with request.form(max_files=1, max_fields=160) as form:
            log = await taken(form.get("log"), "log.csv")
            told, car = evidence_in(form), car_in(form)
            without, afresh = forms.texts_of(form, "without"), forms.text_of(form, "afresh") == "yes"
            by = forms.text_of(form, "by")
        typed = forms.told(
            Typed, evidence=forms.told(Evidence, **told), car=forms.told(Car, **car), without=without, afresh=afresh,
            by=by,
        )  # fmt: skip
        if log is not None:
            work, _ = await anyio.to_thread.run_sync(begin_log, site, job, typed, log)
            return await form_answer(request, job, work)
        await anyio.to_thread.run_sync(find, site, job, typed)
        return RedirectResponse(f"/jobs/{job}#stage-6", status_code=303)

    @router.post("/api/jobs/{job}/cause", summary="Tell what was seen; the next test and what still fits come back")
    def cause_api(job: JobNumber, typed: Typed) -> Envelope:
        kept = find(site, job, typed)
        inputs = {"job": job, "evidence": fields_set(typed.evidence), "car": fields_set(typed.car)}
        return envelope("cause", kept, inputs=inputs, rests_on=kept.causes.rests_on)

    @router.post("/api/jobs/{job}/cause/log", summary="The same with a log of the car as it is now", responses=TAKEN)
    async def cause_log_api(
        request: Request,
        job: JobNumber,
        log: Annotated[UploadFile, File(description="CSV of any ordinary shape, 64 MB at most.")],
        by: Annotated[str, Form(max_length=80)] = "",
        later: Later = False,
    ) -> Any:  # noqa: ANN401 — an envelope, or the same under 202
        upload = await taken(log, "log.csv")
        if upload is None:
            raise InputError("no log was sent", way_out="Send a file as the field “log”.")
        work, answer = await anyio.to_thread.run_sync(begin_log, site, job, Typed(by=by), upload)
        if later:
            return told_later(job, work)
        await wait_for(request, work)
        kept = answer[0]
        return envelope("cause", kept, inputs={"job": job, "log": upload.name}, rests_on=kept.causes.rests_on)

    return router


__all__ = ["CauseKept", "Known", "Typed", "begin_log", "find", "gathered", "panel", "routes"]
