"""The check of a recorded drive on a page: long work, done in a process of its own, kept with its log."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, File, Form, Request, Response, UploadFile
from pydantic import BaseModel, ConfigDict, Field

from tickover.drive import DriveCheck, counted_steps
from tickover.errors import InputError
from tickover.results import Result, envelope
from tickover.visit.measuring import car_of
from tickover.visit.ready_drafts import check_draft, planned_monitors
from tickover.web import forms
from tickover.web.drive import FIGURES, routine_of
from tickover.web.labour import Driven
from tickover.web.site import Site
from tickover.web.uploads import Upload, kind_of, taken
from tickover.web.work_pages import TAKEN, JobNumber, Later, form_answer, told_later, wait_for
from tickover.web.works import Work

MOST_POINTS = 400
"""The speed of a drive is kept with its check, thinned to this many points. Own choice."""


class Known(BaseModel):
    """What is known of a drive besides its log; as for ``Wanted``, and whether the log runs from start to end."""

    model_config = ConfigDict(extra="forbid")

    soaked: float | None = Field(default=None, ge=0, le=1000)
    fuel: float | None = Field(default=None, ge=0, le=100)
    ambient: float | None = Field(default=None, ge=-60, le=60)
    whole: bool = False
    by: str = Field(default="", max_length=80)


class Checked(Result):
    """What a drive held, and the entry it was kept in."""

    job: int
    check: DriveCheck
    entries: tuple[int, ...]


def begin_check(site: Site, job: int, log: Upload, known: Known) -> tuple[Work, list[Checked]]:
    """Begin to check a recorded drive; the list holds the answer once it is done and kept.

    Raises: UnknownJobError; InputError where a log of this job is being worked on already.
    """
    with site.opened() as store:
        entries = store.current(job)
    try:
        steps = counted_steps(routine_of(site, job))
    except InputError:
        steps = ()  # no plan to hold it against
    given = {"soaked": known.soaked, "fuel_level": known.fuel, "ambient_temperature": known.ambient}
    told = {name: value for name, value in given.items() if value is not None}
    planned = planned_monitors(entries)
    diesel = car_of(entries).get("fuel") == "diesel"
    answer: list[Checked] = []

    def task(work: Work) -> None:
        found: Driven = work.done("drive", diesel=diesel, known=told, whole=known.whole, steps=tuple(steps))
        draft = check_draft(found.check, planned)
        draft.data.update(thinned(found.check))
        inputs = {"log": log.name, "known": told, "whole": known.whole, "reader": list(found.reader)}
        work.keep()
        with site.opened() as store:
            attached = [store.attach(log.data, name=log.name, media_type=kind_of(log))]
            kept = site.keep(
                store, job, [draft], attachments=attached, by=known.by, inputs=inputs,
                simulated=found.simulated or None,
            )  # fmt: skip
        work.entry = kept[0].seq
        answer.append(Checked(job=job, check=found.check, entries=tuple(e.seq for e in kept)))

    return site.works.start(job, task, stage="drive", log=log), answer


def thinned(check: DriveCheck) -> dict[str, list[float]]:
    """The speed for the picture; every n-th point where there are too many, the first and the last always."""
    t, speed = check.speed_t, check.speed
    step = max(1, -(-len(t) // MOST_POINTS))
    picked = sorted({*range(0, len(t), step), *([len(t) - 1] if t else [])})
    return {"speed_t": [round(t[k], 2) for k in picked], "speed": [round(speed[k], 2) for k in picked]}


def routes(site: Site) -> APIRouter:
    """The form and its twin."""
    router = APIRouter()

    @router.post("/jobs/{job}/drive/check", include_in_schema=False)
    async def check_form(request: Request, job: JobNumber) -> Response:
        async with request.form(max_files=1, max_fields=20) as form:
            log = await taken(form.get("log"), "drive.csv")
            told: dict[str, Any] = {"by": forms.text_of(form, "by"), "whole": forms.text_of(form, "whole") == "yes"}
            for name in ("soaked", "fuel", "ambient"):
                figure = forms.figure_of(form, name, FIGURES[name])
                if figure is not None:
                    told[name] = figure
        if log is None:
            raise InputError("no log was sent", way_out="Choose the log of the drive.")
        work, _ = begin_check(site, job, log, forms.told(Known, **told))
        return await form_answer(request, job, work)

    @router.post("/api/jobs/{job}/drive/check", summary="Check a recorded drive; its log is kept with the result",
                 responses=TAKEN)  # fmt: skip
    async def check_api(
        request: Request,
        job: JobNumber,
        log: Annotated[UploadFile, File(description="A car's log or a GPX track, 64 MB at most.")],
        soaked: Annotated[float | None, Form(ge=0, le=1000)] = None,
        fuel: Annotated[float | None, Form(ge=0, le=100)] = None,
        ambient: Annotated[float | None, Form(ge=-60, le=60)] = None,
        whole: Annotated[bool, Form()] = False,
        by: Annotated[str, Form(max_length=80)] = "",
        later: Later = False,
    ) -> Any:  # noqa: ANN401 — an envelope, or the same under 202
        upload = await taken(log, "drive.csv")
        if upload is None:
            raise InputError("no log was sent", way_out="Send a file as the field “log”.")
        known = forms.told(Known, soaked=soaked, fuel=fuel, ambient=ambient, whole=whole, by=by)
        work, answer = begin_check(site, job, upload, known)
        if later:
            return told_later(job, work)
        await wait_for(request, work)
        made = answer[0]
        inputs = {"job": job, "log": upload.name, **known.model_dump(mode="json", exclude_none=True)}
        return envelope("drive check", made, inputs=inputs, rests_on=made.check.rests_on)

    return router
