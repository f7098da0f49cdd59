"""Set up on a page: the needs of the routine that is due or asked for, what is read of them, what a person saw to."""

from __future__ import annotations

from typing import Annotated, Any, Literal

import anyio
import numpy as np
from fastapi import APIRouter, File, Form, Request, UploadFile
from fastapi.responses import RedirectResponse
from pydantic import BaseModel, ConfigDict, Field

from tickover.arrival import SetUp, arrive
from tickover.arrival.battery import How
from tickover.arrival.setup import NeedState
from tickover.drawing.marks import Judgement, Verdict
from tickover.errors import InputError
from tickover.jobs import Entry
from tickover.results import Envelope, Result, envelope
from tickover.routines import Routine
from tickover.signals import Recording
from tickover.visit.arriving import answers_in, answers_told, routine_due, routine_named, set_up_for
from tickover.visit.drafts import set_up_draft
from tickover.visit.rules import known
from tickover.visit.rungs import ladder_rungs, next_rung
from tickover.visit.ticking import looked_at
from tickover.web import forms
from tickover.web.reading import JobNumber
from tickover.web.site import Site
from tickover.web.uploads import Upload, kind_of, log_in, taken
from tickover.web.views import Seen

HOW: dict[How, str] = {
    "key on": "ignition on, engine off",
    "open, rested": "car shut for hours, ignition off",
    "open, not rested": "ignition off, not rested",
    "running": "engine running",
}
"""How volts were read, and its words."""

WAY_OUT = "Tick what you have seen to, or type coolant and volts."
MARKS: dict[str, Judgement | Verdict] = {"met": "met", "not met": "not yet", "cannot tell": "cannot tell"}


class Read(BaseModel):
    """What was read and seen to.

    Attributes:
        routine: for which routine; the one that is due where None.
        upto: number of the newest entry that was seen when it was told; None where nobody said.
        coolant: by eye [°C].
        volts: by eye [V]; volts_how: how.
        fan_on: where this car's fan comes on, where it is known [°C].
        seen: needs that a person has seen to, in the routine's words.
        by: who.
    """

    model_config = ConfigDict(extra="forbid")

    routine: Annotated[str, Field(max_length=80)] | None = None
    upto: forms.Upto = None
    coolant: float | None = Field(default=None, allow_inf_nan=False)
    volts: float | None = Field(default=None, allow_inf_nan=False)
    volts_how: How | None = None
    fan_on: float | None = Field(default=None, ge=70, le=125)
    seen: list[Annotated[str, Field(max_length=500)]] = Field(default_factory=list, max_length=40)
    by: str = Field(default="", max_length=80)


class SetUpKept(Result):
    """A set-up that was kept."""

    job: int
    set_up: SetUp
    sentence: str
    entries: tuple[int, ...]


class Row(Result):
    """One need as the sheet shows it.

    Attributes:
        need, why, found, instead: as the set-up says.
        sign: which mark it wears.
        word: what stands at its right.
        tick: whether a person may tick it.
    """

    need: str
    why: str = ""
    found: str = ""
    instead: str = ""
    sign: Literal["met", "not yet", "cannot tell"]
    word: str
    tick: bool = False


def panel(seen: Seen) -> dict[str, Any]:
    """The needs as they were kept, and a form for the routine that is due."""
    entries = [e for s in seen.view.stages for e in s.entries]
    entries.sort(key=lambda e: e.seq)
    held = next((e for e in reversed(seen.stage("set up").entries) if e.kind == "needs"), None)
    answers = answers_told(entries)
    rung = next_rung(entries, known(seen.library))
    due = str(rung["routine"]) if rung is not None else ""
    ladder = [str(r["routine"]) for r in ladder_rungs(entries) or () if r.get("sort") == "routine"]
    offered = list(dict.fromkeys(n for n in ladder if n in seen.library))
    asked = seen.set_up in offered
    name = seen.set_up if asked else due
    fresh: tuple[Row, ...] = ()
    if answers is not None and name in seen.library:
        found = set_up_for(seen.library[name], answers, np.random.default_rng(seen.site.seed))
        fresh = tuple(_asked(n) for n in found.needs)
    return {
        "tells_itself": held is not None,
        "name": name,
        "asked": asked,
        "others": tuple((n, seen.library[n].title, n == due) for n in offered if n != name),
        "routine": seen.library[name].title if name in seen.library else "",
        "held_for": _title(held, seen) if held is not None else "",
        "held": tuple(_kept(r) for r in held.data.get("needs", [])) if held is not None else (),
        "fresh": fresh,
        "how": HOW,
    }


def _title(held: Entry, seen: Seen) -> str:
    name = str(held.data.get("routine", ""))
    return seen.library[name].title if name in seen.library else name


def _asked(need: NeedState) -> Row:
    """A need before anything was read."""
    by_hand = need.standing == "by hand"
    return Row(
        need=need.need,
        why=need.why,
        found=need.found,
        instead=need.instead,
        sign="cannot tell",
        word="tick when done" if by_hand else "not read",
        tick=True,
    )


def _kept(row: dict[str, Any]) -> Row:
    """A need as the record has it."""
    standing, met = str(row.get("standing", "")), bool(row.get("met"))
    value = str(row.get("value", ""))
    said = value if value not in {standing, ""} else ""
    if met:
        return Row(need=str(row["need"]), found=said or "You said so.", sign="met", word="met")
    word = {"not met": "not yet", "by hand": "not looked at"}.get(standing, "cannot tell")
    sign: Literal["not yet", "cannot tell"] = "not yet" if standing == "not met" else "cannot tell"
    return Row(need=str(row["need"]), found=said, instead=str(row.get("instead", "")), sign=sign, word=word)


def keep_needs(site: Site, job: int, told: Read, log: Upload | None = None) -> SetUpKept:
    """See to the needs of the routine that was named, or is due, and keep how they stand.

    Raises: InputError where nothing was told at Arrive, no routine is due, the one that was named is withheld, a
        reading cannot be, nothing was looked at, or another set-up came meanwhile; LogFileError; UnknownJobError.
    """
    if log is not None and (told.volts is not None or told.coolant is not None):
        raise InputError("readings are typed or logged, not both", way_out="Leave out the log, or the figures.")
    typed = {"module_voltage": told.volts, "coolant_temperature": told.coolant}
    readings: Recording | dict[str, float] = {n: v for n, v in typed.items() if v is not None}
    if log is not None:
        readings = log_in(log)[0]
    with site.opened() as store:
        entries = store.current(job)
        forms.still_newest(entries, told.upto, "set up", "needs")
        library = site.library()
        routine, found = _due(entries, job, library, told, readings, site)
        draft = looked_at(set_up_draft(found, told.seen), WAY_OUT, read=log is not None or bool(readings))
        attached = [store.attach(log.data, name=log.name, media_type=kind_of(log))] if log is not None else []
        simulated = isinstance(readings, Recording) and readings.simulated
        inputs = {
            "routine": routine.id,
            "volts": told.volts,
            "volts_how": told.volts_how,
            "coolant": told.coolant,
            "coolant_log": log.name if log is not None else None,
            "fan_on": told.fan_on,
            "seed": site.seed,
        }
        kept = site.keep(
            store, job, [draft], attachments=attached, by=told.by, inputs=inputs, simulated=simulated or None
        )
    return SetUpKept(job=job, set_up=found, sentence=draft.data["sentence"], entries=tuple(e.seq for e in kept))


def _due(
    entries: tuple[Entry, ...],
    job: int,
    library: Any,  # noqa: ANN401 — a mapping of routines, as the site gives it
    told: Read,
    readings: Recording | dict[str, float],
    site: Site,
) -> tuple[Routine, SetUp]:
    answers = answers_in(entries, job)
    arrival = arrive(answers, library)
    if told.routine:
        name: str | None = routine_named(told.routine, arrival, library)
    else:
        name = routine_due(entries, arrival, library)
    if name is None:
        raise InputError(
            "no routine is due, so there is nothing to set up for", way_out="See Arrive: its ladder says why."
        )
    rng = np.random.default_rng(site.seed)
    routine = library[name]
    return routine, set_up_for(routine, answers, rng, readings, volts_how=told.volts_how, fan_on=told.fan_on)


def routes(site: Site) -> APIRouter:
    """The form and its twins."""
    router = APIRouter()

    @router.post("/jobs/{job}/set-up", include_in_schema=False)
    async def set_up_form(request: Request, job: JobNumber) -> RedirectResponse:
        async with request.form(max_files=1, max_fields=80) as form:
            log = await taken(form.get("log"), "log.csv")
            told = forms.told(
                Read,
                coolant=forms.figure_of(form, "coolant", "Coolant"),
                volts=forms.figure_of(form, "volts", "Volts"),
                volts_how=forms.text_of(form, "volts_how") or None,
                fan_on=forms.figure_of(form, "fan_on", "Fan on at"),
                seen=forms.texts_of(form, "seen"),
                routine=forms.text_of(form, "routine") or None,
                upto=forms.text_of(form, "upto") or None,
                by=forms.text_of(form, "by"),
            )
        await anyio.to_thread.run_sync(keep_needs, site, job, told, log)
        return RedirectResponse(f"/jobs/{job}#stage-3", status_code=303)

    @router.post(
        "/api/jobs/{job}/set-up", summary="See to the needs of a routine, else the one that is due, by typed readings"
    )
    def set_up_api(job: JobNumber, told: Read) -> Envelope:
        kept = keep_needs(site, job, told)
        return envelope("set up", kept, inputs={"job": job, **told.model_dump(exclude={"by"}), "seed": site.seed})

    @router.post("/api/jobs/{job}/set-up/log", summary="The same, by a log of the last minutes")
    async def set_up_log_api(
        job: JobNumber,
        log: Annotated[UploadFile, File(description="Coolant, perhaps volts; CSV of any ordinary shape.")],
        seen: Annotated[list[str] | None, Form()] = None,
        fan_on: Annotated[float | None, Form()] = None,
        routine: Annotated[str, Form(max_length=80)] = "",
        by: Annotated[str, Form()] = "",
    ) -> Envelope:
        upload = await taken(log, "log.csv")
        if upload is None:
            raise InputError("no log was sent", way_out="Send a file as the field “log”.")
        told = forms.told(Read, fan_on=fan_on, seen=seen or [], routine=routine or None, by=by)
        kept = await anyio.to_thread.run_sync(keep_needs, site, job, told, upload)
        return envelope("set up", kept, inputs={"job": job, "log": upload.name, "seed": site.seed})

    return router
