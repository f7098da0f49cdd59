"""Long work on pages: begun by a form or by a program, followed, stopped, put away."""

from __future__ import annotations

from typing import Annotated, Any

import anyio
from fastapi import APIRouter, Path, Query, Request, Response
from fastapi.responses import JSONResponse, RedirectResponse

from tickover.errors import InputError
from tickover.jobs import STAGES, Stage
from tickover.results import Envelope, envelope
from tickover.web.faults import is_browser
from tickover.web.site import Site
from tickover.web.works import Work

JobNumber = Annotated[int, Path(ge=1, le=2**31 - 1, description="Number of the job.")]
Later = Annotated[bool, Query(description="Answer at once with 202; ask for the work.")]
TAKEN: dict[int | str, dict[str, Any]] = {202: {"description": "Taken; ask for the work.", "model": Envelope}}
SOON = 1.5
"""A page waits so long for the answer itself; then it is the page that shows the work [s]. Own choice."""


def stage_at(job: int, stage: Stage) -> str:
    """The address of a stage on its sheet."""
    return f"/jobs/{job}#stage-{STAGES.index(stage) + 1}"


def told_later(job: int, work: Work) -> JSONResponse:
    """202: it is under way."""
    told = envelope("work", work.view(), inputs={"job": job, "log": work.log})
    return JSONResponse(told.model_dump(mode="json"), status_code=202)


async def form_answer(request: Request, job: int, work: Work) -> Response:
    """What a form answers that began long work.

    ``?later=true`` is answered at once with 202. A browser gets its stage, when the work is done or after ``SOON``; the
    work goes on then. Any other program waits to the end.

    Raises: whatever went wrong in the work until then; InputError where it was stopped.
    """
    if request.query_params.get("later") == "true":
        return told_later(job, work)
    if is_browser(request.headers):
        with anyio.move_on_after(SOON):
            await _ended(work)
    else:
        await wait_for(request, work)
    if work.finished.is_set():
        _raise(work)
    return RedirectResponse(stage_at(job, work.stage), status_code=303)


async def wait_for(request: Request, work: Work) -> None:
    """Wait until it is done; a visitor who goes away has stopped it.

    Raises: whatever went wrong in it; InputError where it was stopped.
    """
    while not work.finished.is_set():
        if await request.is_disconnected():
            work.stop(asked=False)
        await anyio.sleep(0.02)
    _raise(work)


async def _ended(work: Work) -> None:
    while not work.finished.is_set():
        await anyio.sleep(0.02)


def _raise(work: Work) -> None:
    if work.fault is not None:
        raise work.fault
    if work.state == "stopped":
        raise InputError("stopped: nothing of it was kept", way_out="Send the log again when you are ready.")


def routes(site: Site) -> APIRouter:
    """How work stands, and its end."""
    router = APIRouter()

    def stop(job: int) -> Work:
        """Stop the work of a job; where it is too late, the work itself says so."""
        work = site.works.of(job)
        if work is None:
            raise InputError("nothing is being done for this job", way_out="Open the job.")
        work.stop()
        return work

    @router.post("/jobs/{job}/work/stop", include_in_schema=False)
    def stop_form(job: JobNumber) -> RedirectResponse:
        return RedirectResponse(stage_at(job, stop(job).stage), status_code=303)

    @router.post("/jobs/{job}/work/seen", include_in_schema=False)
    def seen_form(job: JobNumber) -> RedirectResponse:
        stage = site.works.view(job).stage
        site.works.forget(job)
        return RedirectResponse(stage_at(job, stage) if stage else f"/jobs/{job}", status_code=303)

    @router.get("/api/jobs/{job}/work", summary="What is being done for this job, and how far it is")
    def work_api(job: JobNumber) -> Envelope:
        return envelope("work", site.works.view(job), inputs={"job": job})

    @router.post(
        "/api/jobs/{job}/work/stop", summary="Stop it; nothing of it is kept, unless that is told in `too_late`"
    )
    def stop_api(job: JobNumber) -> Envelope:
        stop(job)
        return envelope("work", site.works.view(job), inputs={"job": job})

    @router.post("/api/jobs/{job}/work/seen", summary="Put away the word of work that failed or was interrupted")
    def seen_api(job: JobNumber) -> Envelope:
        site.works.forget(job)
        return envelope("work", site.works.view(job), inputs={"job": job})

    return router
