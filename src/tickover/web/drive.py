"""Drive on a page: plan the confirmation drive, take it along, check its log; and the passenger's page."""

from __future__ import annotations

import tempfile
from collections.abc import Sequence
from pathlib import Path
from typing import Annotated, Any, Literal

import anyio
from fastapi import APIRouter, File, Form, Request, Response, UploadFile
from fastapi.responses import HTMLResponse, RedirectResponse
from pydantic import BaseModel, ConfigDict, Field, ValidationError

from tickover.cues.card import card_pdf
from tickover.cues.phone import phone_page
from tickover.cues.render import write_wav
from tickover.cues.track import cue_track
from tickover.drive import (
    ConditionFound,
    DriveCheck,
    DrivePlan,
    Situation,
    check_drive,
    counted_steps,
    load_conditions,
    load_roads,
    plan_drive,
    plan_toml,
    road_names,
    strip,
)
from tickover.drive.roads import Traffic
from tickover.drive.words import mmss
from tickover.errors import InputError
from tickover.jobs import Attached, Entry
from tickover.results import CannotTell, Envelope, Result, envelope
from tickover.routines import CompiledRoutine, Switch, compile_routine, parse_routine
from tickover.routines.aiming import aims_for
from tickover.visit.measuring import car_of
from tickover.visit.ready_drafts import check_draft, open_monitors, plan_draft
from tickover.web import forms
from tickover.web.downloads import download
from tickover.web.guard import own_policy
from tickover.web.pages import page
from tickover.web.reading import JobNumber
from tickover.web.site import Site
from tickover.web.uploads import Upload, kind_of, log_in, taken
from tickover.web.views import Seen

PLAN_FILE = "drive-plan.toml"
PLAN_TYPE = "application/toml"
WIDTHS = {"narrow": 330.0, "wide": 720.0}
SHOWN = ("speed_t", "speed")
"""The speed of a drive is kept with its check, thinned to this many points."""
MOST_POINTS = 400
_Word = Annotated[str, Field(max_length=60)]


class Wanted(BaseModel):
    """What to plan for.

    Attributes:
        open: the open monitors; as last read in the job where None.
        coolant, ambient: now [°C]; fuel: level [%]; soaked: hours the engine has stood. None where not known.
        roads: those at hand; all where None.
        limit: the legal limit [km/h]; traffic: light or heavy.
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
    by: str = Field(default="", max_length=80)


class Known(BaseModel):
    """What is known of a drive besides its log; as for ``Wanted``, and whether the log runs from start to end."""

    model_config = ConfigDict(extra="forbid")

    soaked: float | None = Field(default=None, ge=0, le=1000)
    fuel: float | None = Field(default=None, ge=0, le=100)
    ambient: float | None = Field(default=None, ge=-60, le=60)
    whole: bool = False
    by: str = Field(default="", max_length=80)


class Planned(Result):
    """A plan, and the entry it was kept in."""

    job: int
    plan: DrivePlan
    entries: tuple[int, ...]


class Checked(Result):
    """What a drive held, and the entry it was kept in."""

    job: int
    check: DriveCheck
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
        inputs = {**wanted.model_dump(mode="json", exclude={"by"}, exclude_none=True), "open": list(opened)}
        kept = site.keep(store, job, [plan_draft(plan)], attachments=attached, by=wanted.by, inputs=inputs)
    return Planned(job=job, plan=plan, entries=tuple(e.seq for e in kept))


def plan_text(site: Site, job: int) -> str:
    """The newest plan as its routine file.

    Raises: InputError where the job has no plan with a drive in it; UnknownJobError.
    """
    with site.opened() as store:
        plan = _newest(store.current(job), "plan")
        held = next((a for a in plan.attachments if a.media_type == PLAN_TYPE), None) if plan is not None else None
        if held is None:
            raise InputError(
                "this job holds no plan that can be taken along", way_out="Plan the drive on its page, in stage 7."
            )
        return store.attachment(held).decode("utf-8")


def routine_of(site: Site, job: int, switch: Switch = "key") -> CompiledRoutine:
    """The newest plan, compiled."""
    return compile_routine(parse_routine(plan_text(site, job), PLAN_FILE), switch)


def cue_wav(routine: CompiledRoutine) -> bytes:
    """The tones of the drive; of several parts the first, which is the drive itself."""
    track = cue_track(routine, aims=aims_for(routine, "sound file"))
    with tempfile.TemporaryDirectory(prefix="tickover-") as folder:
        path = Path(folder) / "cue.wav"
        write_wav(path, track.parts[0])
        return path.read_bytes()


def check_it(site: Site, job: int, log: Upload, known: Known) -> Checked:
    """Check a recorded drive and keep what it held, with its log.

    Raises: LogFileError under the file's own name; UnknownJobError.
    """
    with site.opened() as store:
        entries = store.current(job)
    conditions = load_conditions().for_engine(diesel=car_of(entries).get("fuel") == "diesel")
    recording, report = log_in(log)
    given = {"soaked": known.soaked, "fuel_level": known.fuel, "ambient_temperature": known.ambient}
    try:
        steps = counted_steps(routine_of(site, job))
    except InputError:
        steps = ()  # no plan to hold it against
    told = {name: value for name, value in given.items() if value is not None}
    check = check_drive(recording, conditions, known=told, whole=known.whole, steps=steps)
    draft = check_draft(check)
    draft.data.update(thinned(check))
    inputs = {"log": log.name, "known": told, "whole": known.whole, "reader": list(report.sentences())}
    with site.opened() as store:
        attached = [store.attach(log.data, name=log.name, media_type=kind_of(log))]
        kept = site.keep(
            store, job, [draft], attachments=attached, by=known.by, inputs=inputs,
            simulated=recording.simulated or None,
        )  # fmt: skip
    return Checked(job=job, check=check, entries=tuple(e.seq for e in kept))


def thinned(check: DriveCheck) -> dict[str, list[float]]:
    """The speed for the picture; every n-th point where there are too many, the first and the last always."""
    t, speed = check.speed_t, check.speed
    step = max(1, -(-len(t) // MOST_POINTS))
    picked = sorted({*range(0, len(t), step), *([len(t) - 1] if t else [])})
    return {"speed_t": [round(t[k], 2) for k in picked], "speed": [round(speed[k], 2) for k in picked]}


def panel(seen: Seen) -> dict[str, Any]:
    """What Drive shows: the need of readiness, the plan with its cautions and downloads, the check with its strip."""
    entries = sorted((e for s in seen.view.stages for e in s.entries), key=lambda e: e.seq)
    conditions = load_conditions().for_engine(diesel=car_of(entries).get("fuel") == "diesel")
    return {
        "opened": open_monitors(entries),
        "plan": _plan(_newest(entries, "plan")),
        "check": _check(_newest(entries, "check")),
        "monitors": [(m.id, m.title) for m in conditions.monitors.values()],
        "roads": [(r.id, r.title) for r in load_roads().roads.values()],
    }


def _newest(entries: Sequence[Entry], kind: str) -> Entry | None:
    return next((e for e in reversed(entries) if e.stage == "drive" and e.kind == kind), None)


def _plan(entry: Entry | None) -> dict[str, Any] | None:
    if entry is None:
        return None
    try:
        found = DrivePlan.model_validate({k: v for k, v in entry.data.items() if k != "sentence"})
    except ValidationError:
        return None
    legs = [
        {
            "words": leg.words,
            "tail": _tail(leg.approach, leg.takes, leg.serves),
            "coast": leg.act == "coast",
        }
        for leg in found.legs
    ]
    carried = any(a.media_type == PLAN_TYPE for a in entry.attachments)
    off = f"Engine off no sooner than {mmss(found.running)} after the start." if found.running else ""
    return {"found": found, "legs": legs, "off": off, "carried": carried, "sentence": entry.data.get("sentence", "")}


def _tail(approach: float, takes: float, serves: Sequence[str]) -> str:
    way = f"the way there about {mmss(approach)}; " if approach else ""
    tail = f"{way}in all about {mmss(takes)}.{f' For: {chr(44).join(serves)}.' if serves else ''}"
    return f"{tail[:1].upper()}{tail[1:]}"


def _check(entry: Entry | None) -> dict[str, Any] | None:
    if entry is None:
        return None
    try:
        found = DriveCheck.model_validate({k: v for k, v in entry.data.items() if k != "sentence"})
    except ValidationError:
        return None
    shown = [*found.steps, *found.conditions]
    drawn = [c for c in shown if c.needed or c.stretches]
    drawable = found.duration > 0 and bool(drawn)
    met = [m for m in found.monitors if m.verdict == "met"]
    sign = "settled" if met and len(met) == len(found.monitors) else "better" if met else "cannot tell"
    if not met and any(m.verdict == "not met" for m in found.monitors):
        sign = "no change"
    return {
        "found": found,
        "sign": sign,
        "sentence": entry.data.get("sentence", ""),
        "head": f"{len(met)} of {len(found.monitors)} held",
        "pictures": {n: strip(found, shown, room=room) for n, room in WIDTHS.items()} if drawable else None,
        "near": [near for c in shown if (near := near_miss(c))],
        "unknown": _unknown(shown),
        "speed": bool(found.speed),
    }


def near_miss(found: ConditionFound) -> str:
    """A condition that was just missed, in words; empty for one that was met or cannot be told."""
    if found.verdict != "not met":
        return ""
    close = f" {found.closest[:1].upper()}{found.closest[1:]}." if found.closest else ""
    return f"{found.title}: {found.words}{close}"


def _unknown(shown: Sequence[ConditionFound]) -> list[tuple[str, str]]:
    """Why conditions cannot be told, each reason once, with what would tell."""
    reasons: dict[tuple[str, str], list[str]] = {}
    for c in shown:
        if isinstance(c.cannot, CannotTell):
            reasons.setdefault((c.cannot.reason, c.cannot.way_out), []).append(c.title)
    return [
        (", ".join(dict.fromkeys(names)), f"{why.rstrip(chr(46))}. {way}".strip())
        for (why, way), names in reasons.items()
    ]


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
            told: dict[str, Any] = {n: f for n in ("traffic", "by") if (f := forms.text_of(form, n))}
            for name, words in _FIGURES.items():
                figure = forms.figure_of(form, name, words)
                if figure is not None:
                    told[name] = figure
            if roads := forms.texts_of(form, "roads"):
                told["roads"] = roads
            if named := forms.texts_of(form, "open"):
                told["open"] = named
        await anyio.to_thread.run_sync(plan_it, site, job, forms.told(Wanted, **told))
        return RedirectResponse(f"/jobs/{job}#stage-7", status_code=303)

    @router.post("/jobs/{job}/drive/check")
    async def check_form(request: Request, job: JobNumber) -> RedirectResponse:
        async with request.form(max_files=1, max_fields=20) as form:
            log = await taken(form.get("log"), "drive.csv")
            told: dict[str, Any] = {"by": forms.text_of(form, "by"), "whole": forms.text_of(form, "whole") == "yes"}
            for name in ("soaked", "fuel", "ambient"):
                figure = forms.figure_of(form, name, _FIGURES[name])
                if figure is not None:
                    told[name] = figure
        if log is None:
            raise InputError("no log was sent", way_out="Choose the log of the drive.")
        await anyio.to_thread.run_sync(check_it, site, job, log, forms.told(Known, **told))
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


_FIGURES = {
    "coolant": "Coolant",
    "fuel": "Fuel level",
    "ambient": "Outside air",
    "soaked": "Hours stood",
    "limit": "Legal limit",
}


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
            return download(cue_wav(routine), f"drive-{job}.wav", "audio/wav")
        return download(phone_page(routine).encode(), f"drive-{job}-phone.html", "text/html; charset=utf-8")

    return router


def _api(site: Site) -> APIRouter:
    router = APIRouter()

    @router.post("/api/jobs/{job}/drive/plan", summary="Plan the shortest drive for what is open")
    def plan_api(job: JobNumber, wanted: Wanted) -> Envelope:
        made = plan_it(site, job, wanted)
        inputs = {"job": job, **wanted.model_dump(mode="json", exclude_none=True)}
        return envelope("drive plan", made, inputs=inputs, rests_on=made.plan.rests_on)

    @router.post("/api/jobs/{job}/drive/check", summary="Check a recorded drive; its log is kept with the result")
    async def check_api(
        job: JobNumber,
        log: Annotated[UploadFile, File(description="A car's log or a GPX track, 64 MB at most.")],
        soaked: Annotated[float | None, Form(ge=0, le=1000)] = None,
        fuel: Annotated[float | None, Form(ge=0, le=100)] = None,
        ambient: Annotated[float | None, Form(ge=-60, le=60)] = None,
        whole: Annotated[bool, Form()] = False,
        by: Annotated[str, Form(max_length=80)] = "",
    ) -> Envelope:
        upload = await taken(log, "drive.csv")
        if upload is None:
            raise InputError("no log was sent", way_out="Send a file as the field “log”.")
        known = forms.told(Known, soaked=soaked, fuel=fuel, ambient=ambient, whole=whole, by=by)
        made = await anyio.to_thread.run_sync(check_it, site, job, upload, known)
        inputs = {"job": job, "log": upload.name, **known.model_dump(mode="json", exclude_none=True)}
        return envelope("drive check", made, inputs=inputs, rests_on=made.check.rests_on)

    return router
