"""The app as a value: a record and a guard in, something that answers requests out."""

from __future__ import annotations

from collections.abc import Callable

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse, Response
from fastapi.staticfiles import StaticFiles
from starlette.exceptions import HTTPException

from tickover import __version__
from tickover.errors import TickoverError, UnknownAttemptError, UnknownEntryError, UnknownJobError
from tickover.web import (
    acts,
    arrive,
    cause,
    coach_api,
    drive,
    handover,
    jobs,
    pair,
    practice,
    reading,
    reading_card,
    ready,
    set_up,
    sound,
)
from tickover.web.faults import FAULTS
from tickover.web.guard import Guard
from tickover.web.pages import STATIC, page, tokens_css
from tickover.web.pair import Lan
from tickover.web.pairing import Pairing
from tickover.web.site import Site

ABOUT = "Every page has a twin here. Answers are the same envelope that the commands print with --json."


def create_app(site: Site, lan: Lan | None = None) -> FastAPI:
    """The pages and their JSON twins over one record, without the guard.

    Args:
        site: the record.
        lan: how the workshop's network reaches it; None where it is served to this machine alone.
    """
    app = FastAPI(
        title="Tickover", version=__version__, description=ABOUT, docs_url=None, redoc_url=None,
        openapi_url="/api/openapi.json", responses=FAULTS,
    )  # fmt: skip
    app.state.site = site
    app.include_router(jobs.routes(site))
    app.include_router(arrive.routes(site))
    app.include_router(reading.routes(site))
    app.include_router(reading_card.routes(site))
    app.include_router(set_up.routes(site))
    app.include_router(sound.routes(site))
    app.include_router(acts.routes(site))
    app.include_router(coach_api.routes(site))
    app.include_router(practice.routes(site))
    app.include_router(cause.routes(site))
    app.include_router(drive.routes(site))
    app.include_router(ready.routes(site))
    app.include_router(handover.routes(site))
    if lan is not None:
        app.include_router(pair.routes(lan))

    @app.get("/static/tokens.css", include_in_schema=False)
    def tokens() -> Response:
        return Response(tokens_css(), media_type="text/css", headers={"cache-control": "max-age=3600"})

    app.mount("/static", StaticFiles(directory=STATIC), name="static")
    app.add_exception_handler(TickoverError, _told)
    app.add_exception_handler(RequestValidationError, _not_as_asked)
    app.add_exception_handler(HTTPException, _http)
    return app


def guarded(
    app: FastAPI, *, hosts: frozenset[str], clock: Callable[[], float], pairing: Pairing | None, secure: bool
) -> Guard:
    """The app behind its guard; see ``Guard`` for the arguments."""
    return Guard(app, hosts=hosts, pairing=pairing, clock=clock, secure=secure)


def _answer(request: Request, status: int, error: str, what: str, way_out: str) -> Response:
    """One shape for programs, one page for people."""
    if request.url.path.startswith("/api"):
        body = {"error": error, "what": what, "way_out": way_out, "values": {}}
        return JSONResponse(body, status_code=status)
    back = request.url.path.split("/")
    home = (
        f"/jobs/{back[2]}" if len(back) > 2 and back[1] == "jobs" and back[2].isascii() and back[2].isdigit() else "/"
    )
    return page(request, "fault.html", status, what=what, way_out=way_out, back=home)


def _told(request: Request, why: Exception) -> Response:
    assert isinstance(why, TickoverError)
    status = 404 if isinstance(why, UnknownJobError | UnknownAttemptError | UnknownEntryError) else 400
    if request.url.path.startswith("/api"):
        told = {k: (v if isinstance(v, dict) else str(v)) for k, v in why.as_dict().items() if k != "values"}
        return JSONResponse({**told, "values": {k: str(v) for k, v in why.as_dict()["values"].items()}}, status)
    return _answer(request, status, type(why).__name__, str(why.what), why.way_out)


def _not_as_asked(request: Request, why: Exception) -> Response:
    assert isinstance(why, RequestValidationError)
    first = why.errors()[0]
    field = ".".join(str(part) for part in first["loc"] if part not in {"body", "query", "path"})
    what = f"{field or 'the request'}: {first['msg']}"
    return _answer(request, 422, "InputError", what, "See /api/openapi.json for what is asked.")


def _http(request: Request, why: Exception) -> Response:
    assert isinstance(why, HTTPException)
    ways = {404: "Go back to the list of jobs.", 405: "This address is not asked in that way."}
    return _answer(request, why.status_code, "Refused", str(why.detail), ways.get(why.status_code, ""))
