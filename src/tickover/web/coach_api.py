"""The coach over the network: pages, the phone page's own modules, and the API of live attempts."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from fastapi import APIRouter, HTTPException, Path, Query, Request, Response
from fastapi.responses import FileResponse, HTMLResponse
from pydantic import BaseModel, ConfigDict, Field

from tickover.cues.phone import SCRIPTS, phone_data
from tickover.results import Envelope, Result, envelope
from tickover.routines import Switch
from tickover.web.coach import switch_of
from tickover.web.coach_book import Book, Exchange, Told
from tickover.web.coach_live import LiveState
from tickover.web.jobs import JobNumber
from tickover.web.pages import page
from tickover.web.site import Site

RoutineName = Annotated[str, Path(max_length=80, description="Id of a routine of the library.")]
AttemptName = Annotated[str, Path(pattern="^[0-9a-f]{16}$", description="As `begin` gave it.")]

_TYPES = {".js": "text/javascript", ".css": "text/css"}


class Begin(BaseModel):
    """What is attempted, and how; ``seen`` are the needs that were ticked before it, in the routine's words."""

    model_config = ConfigDict(extra="forbid")

    routine: str = Field(max_length=80)
    switch: Switch = "key"
    tapped: bool = True
    by: str = Field(default="", max_length=80)
    seen: list[Annotated[str, Field(max_length=500)]] = Field(default_factory=list, max_length=40)


class Join(BaseModel):
    """A page's clock against the server's."""

    model_config = ConfigDict(extra="forbid")

    device: str = Field(pattern="^[A-Za-z0-9-]{1,40}$")
    exchanges: list[Exchange] = Field(min_length=1, max_length=40)


class Tell(BaseModel):
    """What happened, on a clock that has joined."""

    model_config = ConfigDict(extra="forbid")

    clock: str = Field(max_length=80)
    events: list[Told] = Field(max_length=200)


class End(BaseModel):
    """How it ended."""

    model_config = ConfigDict(extra="forbid")

    how: Literal["done", "missed", "stopped"]


class ServerTime(Result):
    """The server's clock [s]; only its differences mean anything."""

    seconds: float


class CoachPlan(Result):
    """What the coach's page looks up.

    Attributes:
        plan: routine, windows, waits, aims and sounds, as the phone file has them.
        allowed, number, why: whether another attempt may be made in this job, which it would be, and the reason.
        running: the attempt that runs in this job.
    """

    plan: dict[str, Any]
    allowed: bool
    number: int
    why: str
    running: LiveState | None


class JoinedState(Result):
    """The name of the page's clock, and the attempt."""

    clock: str
    middle: float
    half: float
    attempt: LiveState


def routes(site: Site) -> APIRouter:
    """Pages and API of live attempts."""
    router = APIRouter()
    book = Book(site)
    _pages(router, site, book)
    _attempts(router, book)
    return router


def _pages(router: APIRouter, site: Site, book: Book) -> None:
    @router.get("/static/coach/{name}", include_in_schema=False)
    def module(name: str) -> Response:
        found = next((p for p in SCRIPTS.iterdir() if p.name == name and p.suffix in _TYPES), None)
        if found is None:
            raise HTTPException(404, "there is no such module")
        return FileResponse(found, media_type=_TYPES[found.suffix], headers={"cache-control": "no-cache"})

    @router.get("/jobs/{job}/coach/{routine}", include_in_schema=False)
    def coach_page(
        request: Request,
        job: JobNumber,
        routine: RoutineName,
        switch: Switch | None = None,
        by: Annotated[str, Query(max_length=80)] = "",
    ) -> HTMLResponse:
        with site.opened() as store:
            entries = store.current(job)
        switch = switch or switch_of(entries)
        simulated = any(e.simulated for e in entries)
        compiled = book.routine(routine, switch)
        return page(request, "coach.html", job=job, routine=compiled, switch=switch, by=by, simulated=simulated)

    @router.get("/api/clock", summary="The server's clock, to set a page's own against it")
    def clock() -> Envelope:
        return envelope("clock", ServerTime(seconds=site.seconds()))

    @router.get("/api/jobs/{job}/coach/{routine}", summary="What the coach's page looks up; whether a try is allowed")
    def coach_plan(job: JobNumber, routine: RoutineName, switch: Switch = "key") -> Envelope:
        running = book.running(job)
        if running is not None and running.routine == routine:
            switch = "button" if running.switch == "button" else "key"
        compiled = book.routine(routine, switch)
        with site.opened() as store:
            rule = book.may_try(store, job, compiled)
        found = CoachPlan(
            plan=phone_data(compiled),
            allowed=rule.allowed,
            number=rule.number,
            why=rule.why,
            running=running,
        )
        return envelope("coach", found, inputs={"job": job, "routine": routine, "switch": switch})


def _attempts(router: APIRouter, book: Book) -> None:
    @router.post(
        "/api/jobs/{job}/attempts",
        status_code=201,
        summary="Begin an attempt, or join the one that runs (then 200)",
        responses={200: {"model": Envelope, "description": "One was running already"}},
    )
    def begin(job: JobNumber, said: Begin, response: Response) -> Envelope:
        state, new = book.begin(job, said.routine, said.switch, tapped=said.tapped, by=said.by, seen=said.seen)
        response.status_code = 201 if new else 200
        return _told(state)

    @router.get("/api/attempts/{attempt}", summary="How an attempt stands; its judgement once it is over")
    def read(attempt: AttemptName) -> Envelope:
        return _told(book.state(attempt))

    @router.post("/api/attempts/{attempt}/clocks", summary="Join with a clock of one's own; a reload takes a new one")
    def join(attempt: AttemptName, said: Join) -> Envelope:
        line, state = book.join(attempt, said.device, said.exchanges)
        found = JoinedState(clock=line.clock, middle=line.middle, half=line.half, attempt=state)
        return envelope("attempt joined", found, inputs={"attempt": attempt})

    @router.post(
        "/api/attempts/{attempt}/events",
        summary="Tell what happened; on the disk when this answers, and told twice is taken once",
    )
    def tell(attempt: AttemptName, said: Tell) -> Envelope:
        return _told(book.tell(attempt, said.clock, said.events))

    @router.post("/api/attempts/{attempt}/end", summary="End it: judged, and kept in the job")
    def end(attempt: AttemptName, said: End) -> Envelope:
        return _told(book.end(attempt, said.how))


def _told(state: LiveState) -> Envelope:
    return envelope("attempt", state, inputs={"attempt": state.id}, simulated=state.simulated)
