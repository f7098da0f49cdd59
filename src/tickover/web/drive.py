"""Drive on a page: plan the confirmation drive, take it along; and the passenger's page."""

from __future__ import annotations

import struct
from collections.abc import Iterator
from typing import Annotated, Any, Literal

import anyio
import numpy as np
from fastapi import APIRouter, Request, Response
from fastapi.responses import HTMLResponse, RedirectResponse, StreamingResponse
from pydantic import BaseModel, ConfigDict, Field

from tickover.cues.card import card_pdf
from tickover.cues.phone import phone_page
from tickover.cues.render import RATE, blocks
from tickover.cues.track import cue_track
from tickover.drive import DrivePlan, Situation, load_conditions, load_roads, plan_drive, plan_toml, road_names
from tickover.drive.roads import Traffic
from tickover.errors import InputError
from tickover.jobs import Attached
from tickover.results import Envelope, Result, envelope
from tickover.routines import CompiledRoutine, Switch, compile_routine, parse_routine
from tickover.routines.aiming import aims_for
from tickover.visit.measuring import car_of
from tickover.visit.ready_drafts import open_monitors, plan_draft
from tickover.web import forms
from tickover.web.downloads import download
from tickover.web.drive_panel import PLAN_TYPE, newest, panel
from tickover.web.guard import own_policy
from tickover.web.pages import page
from tickover.web.site import Site
from tickover.web.work_pages import JobNumber

PLAN_FILE = "drive-plan.toml"
FIGURES = {
    "coolant": "Coolant",
    "fuel": "Fuel level",
    "ambient": "Outside air",
    "soaked": "Hours stood",
    "limit": "Legal limit",
}
_LOUDEST = 32767
_Word = Annotated[str, Field(max_length=60)]


class Wanted(BaseModel):
    """What to plan for.

    Attributes:
        open: the open monitors; as last read in the job where None.
        coolant, ambient: now [°C]; fuel: level [%]; soaked: hours the engine has stood. None where not known.
        roads: those at hand; all where None.
        limit: the legal limit [km/h]; traffic: light or heavy.
        upto: number of the newest entry that was seen when it was asked; None where nobody said.
        by: who.
    """

    model_config = ConfigDict(extra="forbid")

    open: Annotated[list[_Word], Field(max_length=20)] | None = None
    coolant: float | None = Field(default=None, ge=-40, le=150)
    fuel: float | None = Field(default=None, ge=0, le=100)
    ambient: float | None = Field(default=None, ge=-60, le=60)
    soaked: float | None = Field(default=None, ge=0, le=1000)
    roads: Annotated[list[_Word], Field(max_length=10)] | None = None
    limit: float = Field(default=130, ge=20, le=130)
    traffic: Traffic = "light"
    upto: forms.Upto = None
    by: str = Field(default="", max_length=80)


class Planned(Result):
    """A plan, and the entry it was kept in."""

    job: int
    plan: DrivePlan
    entries: tuple[int, ...]


def plan_it(site: Site, job: int, wanted: Wanted) -> Planned:
    """Plan the confirmation drive and keep it, with the routine file that card, tones and phone are made of.

    Raises: InputError for a road or a monitor that there is not, or where nothing says which are open; UnknownJobError.
    """
    names = tuple(wanted.roads) if wanted.roads else None
    for name in names or ():
        if name not in road_names():
            raise InputError(f"no road is called “{name}”", way_out=f"There are: {', '.join(road_names())}.")
    with site.opened() as store:
        entries = store.current(job)
        forms.still_newest(entries, wanted.upto, "drive", "plan")
        opened = tuple(wanted.open) if wanted.open is not None else open_monitors(entries)
        if opened is None:
            raise InputError(
                f"job {job} holds no readiness by name yet, so nothing says which monitors are open",
                way_out="Type the answer to 01 01 at Ready first, or name the open monitors.",
            )
        conditions = load_conditions().for_engine(diesel=car_of(entries).get("fuel") == "diesel")
        roads = load_roads(names, limit=wanted.limit, traffic=wanted.traffic)
        now = site.clock().replace(tzinfo=None)
        situation = Situation(
            open=opened, coolant=wanted.coolant, fuel=wanted.fuel, ambient=wanted.ambient, soaked=wanted.soaked,
            now=now, limit=wanted.limit, traffic=wanted.traffic,
        )  # fmt: skip
        plan = plan_drive(conditions, situation, roads)
        attached: list[Attached] = []
        if plan.legs:
            text = plan_toml(plan, conditions, situation, roads)
            parse_routine(text, PLAN_FILE)  # one that could not be coached is not kept
            attached.append(store.attach(text.encode(), name=PLAN_FILE, media_type=PLAN_TYPE))
        inputs = {**wanted.model_dump(mode="json", exclude={"by", "upto"}, exclude_none=True), "open": list(opened)}
        kept = site.keep(store, job, [plan_draft(plan)], attachments=attached, by=wanted.by, inputs=inputs)
    return Planned(job=job, plan=plan, entries=tuple(e.seq for e in kept))


def plan_text(site: Site, job: int) -> str:
    """The newest plan as its routine file.

    Raises: InputError where the job has no plan with a drive in it; UnknownJobError.
    """
    with site.opened() as store:
        plan = newest(store.current(job), "plan")
        held = next((a for a in plan.attachments if a.media_type == PLAN_TYPE), None) if plan is not None else None
        if held is None:
            raise InputError(
                "this job holds no plan that can be taken along", way_out="Plan the drive on its page, in stage 7."
            )
        return store.attachment(held).decode("utf-8")


def routine_of(site: Site, job: int, switch: Switch = "key") -> CompiledRoutine:
    """The newest plan, compiled."""
    return compile_routine(parse_routine(plan_text(site, job), PLAN_FILE), switch)


def tones(routine: CompiledRoutine) -> tuple[int, Iterator[bytes]]:
    """The tones of the drive as a WAV file, made piece by piece; of several parts the first, which is the drive itself.

    Returns: how long the file is [bytes], and its pieces.
    Raises: InputError for a drive that is too long for a sound file.
    """
    part = cue_track(routine, aims=aims_for(routine, "sound file")).parts[0]
    size = 2 * round(part.length * RATE)
    head = struct.pack(
        "<4sI8sIHHIIHH4sI", b"RIFF", size + 36, b"WAVEfmt ", 16, 1, 1, RATE, 2 * RATE, 2, 16, b"data", size
    )

    def pieces() -> Iterator[bytes]:
        yield head
        for block in blocks(part):
            yield np.round(block * _LOUDEST).astype("<i2").tobytes()

    return len(head) + size, pieces()


def routes(site: Site) -> APIRouter:
    """Forms, downloads, the passenger's page, and their twins."""
    router = APIRouter()
    router.include_router(_pages(site))
    router.include_router(_along(site))
    router.include_router(_api(site))
    return router


def _pages(site: Site) -> APIRouter:
    router = APIRouter(include_in_schema=False)

    @router.post("/jobs/{job}/drive/plan")
    async def plan_form(request: Request, job: JobNumber) -> RedirectResponse:
        async with request.form(max_files=0, max_fields=40) as form:
            told: dict[str, Any] = {n: f for n in ("traffic", "by", "upto") if (f := forms.text_of(form, n))}
            for name, words in FIGURES.items():
                figure = forms.figure_of(form, name, words)
                if figure is not None:
                    told[name] = figure
            if roads := forms.texts_of(form, "roads"):
                told["roads"] = roads
            if named := forms.texts_of(form, "open"):
                told["open"] = named
        await anyio.to_thread.run_sync(plan_it, site, job, forms.told(Wanted, **told))
        return RedirectResponse(f"/jobs/{job}#stage-7", status_code=303)

    @router.get("/jobs/{job}/drive/passenger")
    def passenger(request: Request, job: JobNumber) -> HTMLResponse:
        routine = routine_of(site, job)
        return page(request, "passenger.html", job=job, title=routine.title, needs=[n.need for n in routine.needs])

    @router.get("/jobs/{job}/drive/coach")
    def coach_page(job: JobNumber, switch: Switch = "key") -> HTMLResponse:
        html = phone_page(routine_of(site, job, switch)).replace(
            '<html lang="en">', '<html lang="en" data-light="night">', 1
        )
        return HTMLResponse(html, headers={"content-security-policy": own_policy(html)})

    return router


def _along(site: Site) -> APIRouter:
    """What the plan is taken along as; made on request."""
    router = APIRouter()

    @router.get("/jobs/{job}/drive/plan.{kind}", include_in_schema=False)
    @router.get("/api/jobs/{job}/drive/plan.{kind}", summary="The plan to take along: card, phone page, tones, or TOML",
                response_class=Response, responses={200: {"content": {k: {} for k in (
                    "application/pdf", "text/html", "audio/wav", PLAN_TYPE)}}})  # fmt: skip
    def along(job: JobNumber, kind: Literal["pdf", "html", "wav", "toml"], switch: Switch = "key") -> Response:
        if kind == "toml":
            return download(plan_text(site, job).encode(), f"drive-{job}.toml", PLAN_TYPE)
        routine = routine_of(site, job, switch)
        if kind == "pdf":
            return download(card_pdf(routine), f"drive-{job}-card.pdf", "application/pdf")
        if kind == "wav":
            size, pieces = tones(routine)
            held = {"content-length": str(size), "content-disposition": f'attachment; filename="drive-{job}.wav"'}
            return StreamingResponse(pieces, media_type="audio/wav", headers=held)
        return download(phone_page(routine).encode(), f"drive-{job}-phone.html", "text/html; charset=utf-8")

    return router


def _api(site: Site) -> APIRouter:
    router = APIRouter()

    @router.post("/api/jobs/{job}/drive/plan", summary="Plan the shortest drive for what is open")
    def plan_api(job: JobNumber, wanted: Wanted) -> Envelope:
        made = plan_it(site, job, wanted)
        inputs = {"job": job, **wanted.model_dump(mode="json", exclude_none=True)}
        return envelope("drive plan", made, inputs=inputs, rests_on=made.plan.rests_on)

    return router


__all__ = ["FIGURES", "Wanted", "panel", "plan_it", "routes", "routine_of"]
