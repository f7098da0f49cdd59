"""The list of jobs, and one job's sheet."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Query, Request
from fastapi.responses import HTMLResponse, RedirectResponse
from pydantic import BaseModel, ConfigDict, Field

from tickover.results import Envelope, Result, envelope
from tickover.visit.cars import check_car
from tickover.visit.rules import known
from tickover.web.arrive import LABELS
from tickover.web.pages import page
from tickover.web.site import Site
from tickover.web.stage_panels import panels
from tickover.web.views import JobLine, job_line, job_view
from tickover.web.work_pages import JobNumber
from tickover.web.workers import shared

Text = Annotated[str, Field(max_length=2000)]


class NewJob(BaseModel):
    """What may be said of the car at the beginning; all of it can wait."""

    model_config = ConfigDict(extra="forbid")

    shop: Text = ""
    year: int | None = Field(default=None, ge=1900, le=2100)
    fuel: Text = ""
    displacement_l: float | None = Field(default=None, gt=0, lt=20)
    cylinders: int | None = Field(default=None, ge=1, le=16)
    complaint: Text = ""
    simulated: bool = False


class JobList(Result):
    """All jobs, the newest first."""

    jobs: tuple[JobLine, ...]


class Begun(Result):
    """A job that was begun."""

    job: int


def routes(site: Site) -> APIRouter:
    """Pages and API of the list and of the sheet."""
    router = APIRouter()

    def listed() -> JobList:
        with site.opened() as store:
            return JobList(jobs=tuple(job_line(j) for j in reversed(store.jobs())))

    def begin(said: NewJob) -> int:
        car = check_car(said.model_dump(exclude={"simulated"}, exclude_defaults=True), labels=LABELS).car
        with site.opened() as store:
            return store.new(at=site.now(), by=site.by, car=car, simulated=said.simulated)

    @router.get("/", include_in_schema=False)
    def jobs_page(request: Request) -> HTMLResponse:
        return page(request, "jobs.html", jobs=listed().jobs)

    @router.post("/jobs", include_in_schema=False)
    def new_page() -> RedirectResponse:
        return RedirectResponse(f"/jobs/{begin(NewJob())}", status_code=303)

    @router.get("/jobs/{job}", include_in_schema=False)
    def job_page(
        request: Request, job: JobNumber, set_up: Annotated[str, Query(alias="set-up", max_length=80)] = ""
    ) -> HTMLResponse:
        library = site.library()
        with site.opened() as store:
            view = job_view(job, store.entries(job), known(library))
        shared().warm()  # a log may be sent from here
        return page(request, "job.html", view=view, panels=panels(view, site, library, set_up=set_up))

    @router.get("/api/jobs", summary="All jobs, the newest first")
    def list_jobs() -> Envelope:
        return envelope("jobs", listed())

    @router.post("/api/jobs", status_code=201, summary="Begin a job")
    def begin_job(said: NewJob) -> Envelope:
        return envelope("job new", Begun(job=begin(said)), simulated=said.simulated)

    @router.get("/api/jobs/{job}", summary="One job: stages, entries, the next step")
    def read_job(job: JobNumber) -> Envelope:
        with site.opened() as store:
            view = job_view(job, store.entries(job), known(site.library()))
        return envelope("job", view, simulated=view.simulated)

    return router


__all__ = ["JobNumber", "routes"]
