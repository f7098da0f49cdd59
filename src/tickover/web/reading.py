"""Before and After on a page: a log or glances come in, a reading is kept, and after a relearn it is compared."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated, Any

import anyio
from fastapi import APIRouter, File, Form, Request, Response, UploadFile
from fastapi.responses import RedirectResponse
from pydantic import BaseModel, ConfigDict, Field

from tickover.errors import InputError
from tickover.idle import parse_glances, read_glances
from tickover.idle.results import Comparison, IdleReading
from tickover.jobs import Entry, Stage
from tickover.results import CannotTell, Envelope, Result, envelope
from tickover.visit.arriving import answers_told
from tickover.visit.drafts import Draft, idle_drafts, normal_of, reading_stage
from tickover.visit.measuring import car_of, displacement_of
from tickover.web import forms, reading_card
from tickover.web.labour import Measured
from tickover.web.site import Site
from tickover.web.uploads import Upload, kind_of, taken
from tickover.web.views import Seen
from tickover.web.work_pages import TAKEN, JobNumber, Later, form_answer, stage_at, told_later, wait_for
from tickover.web.works import Work, WorkView


class Glances(BaseModel):
    """An idle read by eye.

    Attributes:
        glances: speeds read off the tachometer [r/min], five at least, ten are better.
        normal: the car's normal idle [r/min], lower and upper, where it is known.
        by: who read it.
    """

    model_config = ConfigDict(extra="forbid")

    glances: list[Annotated[float, Field(allow_inf_nan=False)]] = Field(min_length=1, max_length=100)
    normal: tuple[float, float] | None = None
    by: str = Field(default="", max_length=80)


class ReadingKept(Result):
    """A reading that was kept.

    Attributes:
        job: the job's number.
        stage: before or after.
        reading: what was measured, or why nothing can be told.
        comparison: after a relearn, the verdict against the reading before; else None.
        entries: numbers of the entries it was kept in.
    """

    job: int
    stage: Stage
    reading: IdleReading | CannotTell
    comparison: Comparison | None
    entries: tuple[int, ...]


class Kept(Result):
    """Something was kept."""

    job: int
    entries: tuple[int, ...]


def panel(seen: Seen, stage: Stage) -> dict[str, Any]:
    """What Before or After shows: the card of its newest reading, the verdict, the form, work under way."""
    entries = [e for s in seen.view.stages for e in s.entries]
    entries.sort(key=lambda e: e.seq)
    normal = normal_of(entries)
    here = reading_stage(entries) == stage
    held = [e for e in seen.stage(stage).entries if e.kind in {"reading", "no reading"}]
    compared = next((e for e in reversed(seen.stage(stage).entries) if e.kind == "comparison"), None)
    stands = compared is not None and bool(held) and compared.seq > held[-1].seq
    verdict = reading_card.verdict(compared, entries) if compared is not None and stands else None
    return {
        "tells_itself": verdict is not None,
        "here": here,
        "normal": normal,
        "card": reading_card.card(held[-1], normal) if held else None,
        "verdict": verdict,
        "work": work_in(seen, stage),
        "sounds": [e for e in seen.stage(stage).entries if e.kind == "sound"],
    }


def work_in(seen: Seen, stage: Stage) -> WorkView:
    """The work that a stage shows: under way, failed or interrupted, and its own."""
    work = seen.site.works.view(seen.view.job)
    return work if work.stage == stage else WorkView(state="none")


def keep_reading(
    site: Site,
    job: int,
    reading: IdleReading | CannotTell,
    *,
    normal: tuple[float, float] | None = None,
    log: Upload | None = None,
    inputs: dict[str, Any] | None = None,
    by: str = "",
    simulated: bool = False,
) -> ReadingKept:
    """Keep a reading in the stage where it belongs, with its comparison where there is one before it."""
    with site.opened() as store:
        entries = store.current(job)
        found, drafts = idle_drafts(entries, reading, normal)
        attached = [store.attach(log.data, name=log.name, media_type=kind_of(log))] if log is not None else []
        kept = site.keep(store, job, drafts, attachments=attached, by=by, inputs=inputs, simulated=simulated or None)
    return ReadingKept(
        job=job, stage=drafts[0].stage, reading=reading, comparison=found, entries=tuple(e.seq for e in kept)
    )


def measure_glances(site: Site, job: int, told: Glances) -> ReadingKept:
    """An idle read by eye.

    Raises: InputError for glances that are no idle, or a normal range that is none; UnknownJobError.
    """
    normal = forms.normal_of(*told.normal) if told.normal is not None else None
    try:
        reading = read_glances(tuple(told.glances))
    except ValueError as why:
        raise InputError(str(why), way_out="Type what the tachometer showed, in r/min.") from None
    inputs = {"log": " ".join(f"{g:g}" for g in told.glances), "displacement": None, "seed": site.seed}
    return keep_reading(site, job, reading, normal=normal, inputs=inputs, by=told.by)


def begin_log(
    site: Site, job: int, log: Upload, normal: tuple[float, float] | None, by: str
) -> tuple[Work, list[ReadingKept]]:
    """Begin to read a log; the list holds the answer once it is done.

    Raises: UnknownJobError; InputError where a log of this job is being read already.
    """
    with site.opened() as store:
        entries = store.current(job)
    told = {"seed": site.seed, "diesel": _is_diesel(entries), "displacement": displacement_of(entries)}
    answer: list[ReadingKept] = []

    def task(work: Work) -> None:
        found: Measured = work.done("measure", **told)
        work.keep()
        inputs = {
            "log": log.name,
            "against": None,
            "displacement": told["displacement"],
            "seed": site.seed,
            "reader": list(found.reader),
        }
        kept = keep_reading(
            site, job, found.reading, normal=normal, log=log, inputs=inputs, by=by, simulated=found.simulated
        )
        work.entry = kept.entries[0]
        answer.append(kept)

    return site.works.start(job, task, stage=reading_stage(entries), log=log), answer


def _is_diesel(entries: Sequence[Entry]) -> bool:
    answers = answers_told(entries)
    return car_of(entries).get("fuel") == "diesel" or (answers is not None and answers.drive == "diesel")


def _typed(site: Site, job: int, words: str, normal: tuple[float, float] | None, by: str, with_log: bool) -> None:
    """Keep what was typed: glances, or the normal range alone.

    Raises: InputError for both a log and glances, neither of them, or glances that are none.
    """
    if with_log:
        raise InputError("a reading comes from a log or from glances, not from both", way_out="Leave one of them out.")
    if words:
        values = parse_glances(words)
        if values is None:
            raise InputError(f"“{words[:80]}” is not a row of numbers", way_out="Type them like 700 720 690.")
        measure_glances(site, job, forms.told(Glances, glances=list(values), normal=normal, by=by))
    elif normal is not None:
        keep_normal(site, job, normal, by)
    else:
        raise InputError("nothing was sent", way_out="Choose a log, type glances, or give the normal range.")


def keep_normal(site: Site, job: int, normal: tuple[float, float], by: str) -> Kept:
    """Keep the car's normal idle alone, where there is nothing to measure yet."""
    with site.opened() as store:
        car = car_of(store.current(job))
        kept = site.keep(store, job, [Draft("arrive", "car", {**car, "normal": list(normal)})], by=by)
    return Kept(job=job, entries=tuple(e.seq for e in kept))


def routes(site: Site) -> APIRouter:
    """Forms and their twins."""
    router = APIRouter()
    router.include_router(_pages(site))
    router.include_router(_api(site))
    return router


def _pages(site: Site) -> APIRouter:
    router = APIRouter(include_in_schema=False)

    @router.post("/jobs/{job}/reading")
    async def reading_form(request: Request, job: JobNumber) -> Response:
        async with request.form(max_files=1, max_fields=20) as form:
            log = await taken(form.get("log"), "log.csv")
            by = forms.text_of(form, "by")[:80]
            words = forms.text_of(form, "glances")
            lo = forms.figure_of(form, "normal_lo", "Normal, from")
            hi = forms.figure_of(form, "normal_hi", "Normal, to")
        normal = forms.normal_of(lo, hi)
        if log is not None and not words:
            work, _ = begin_log(site, job, log, normal, by)
            return await form_answer(request, job, work)
        await anyio.to_thread.run_sync(_typed, site, job, words, normal, by, log is not None)
        with site.opened() as store:
            stage = reading_stage(store.current(job))
        return RedirectResponse(stage_at(job, stage), status_code=303)

    return router


def _api(site: Site) -> APIRouter:
    router = APIRouter()

    @router.post(
        "/api/jobs/{job}/reading",
        summary="Measure an idle from a log; the log is kept with the reading",
        responses=TAKEN,
    )
    async def reading_api(
        request: Request,
        job: JobNumber,
        log: Annotated[UploadFile, File(description="CSV of any ordinary shape, 64 MB at most.")],
        normal_lo: Annotated[float | None, Form()] = None,
        normal_hi: Annotated[float | None, Form()] = None,
        by: Annotated[str, Form(max_length=80)] = "",
        later: Later = False,
    ) -> Any:  # noqa: ANN401 — an envelope, or the same under 202
        upload = await taken(log, "log.csv")
        if upload is None:
            raise InputError("no log was sent", way_out="Send a file as the field “log”.")
        work, answer = begin_log(site, job, upload, forms.normal_of(normal_lo, normal_hi), by)
        if later:
            return told_later(job, work)
        await wait_for(request, work)
        return _told(answer[0], {"job": job, "log": upload.name, "seed": site.seed})

    @router.post("/api/jobs/{job}/glances", summary="Keep an idle that was read by eye")
    def glances_api(job: JobNumber, told: Glances) -> Envelope:
        return _told(measure_glances(site, job, told), {"job": job, "glances": told.glances})

    return router


def _told(kept: ReadingKept, inputs: dict[str, Any]) -> Envelope:
    result = kept.comparison or kept.reading
    rests_on = () if isinstance(result, CannotTell) else result.rests_on
    simulated = isinstance(kept.reading, IdleReading) and kept.reading.simulated
    return envelope("idle", kept, inputs=inputs, simulated=simulated, rests_on=rests_on)


__all__ = ["JobNumber", "Kept", "panel", "routes"]
