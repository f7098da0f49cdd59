"""The app as a value: a record and a guard in, something that answers requests out."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from types import MappingProxyType
from typing import Any

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse, Response
from fastapi.staticfiles import StaticFiles
from starlette.exceptions import HTTPException

from tickover import __version__
from tickover.errors import TickoverError
from tickover.web import (
    acts,
    arrive,
    cause,
    coach_api,
    drive,
    drive_check,
    handover,
    jobs,
    pair,
    practice,
    reading,
    reading_card,
    ready,
    set_up,
    sound,
    work_pages,
)
from tickover.web.faults import FAULTS, as_data, on_page, status_of
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
    app.state.paired = lan is not None
    app.include_router(jobs.routes(site))
    app.include_router(arrive.routes(site))
    app.include_router(reading.routes(site))
    app.include_router(work_pages.routes(site))
    app.include_router(reading_card.routes(site))
    app.include_router(set_up.routes(site))
    app.include_router(sound.routes(site))
    app.include_router(acts.routes(site))
    app.include_router(coach_api.routes(site))
    app.include_router(practice.routes(site))
    app.include_router(cause.routes(site))
    app.include_router(drive.routes(site))
    app.include_router(drive_check.routes(site))
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
    app.add_exception_handler(Exception, _broken)
    return app


def guarded(
    app: FastAPI, *, hosts: frozenset[str], clock: Callable[[], float], pairing: Pairing | None, secure: bool
) -> Guard:
    """The app behind its guard; see ``Guard`` for the arguments."""
    return Guard(app, hosts=hosts, pairing=pairing, clock=clock, secure=secure)


def _answer(
    request: Request, status: int, told: dict[str, Any], headers: Mapping[str, str] = MappingProxyType({})
) -> Response:
    """One shape for programs, one page for people."""
    if as_data(request.url.path, request.headers.get("accept", "")):
        return JSONResponse(told, status_code=status, headers=dict(headers))
    what, way_out, back = on_page(request.url.path, told)
    answer = page(request, "fault.html", status, what=what, way_out=way_out, back=back)
    answer.headers.update(headers)
    return answer


def _refusal(error: str, what: str, way_out: str) -> dict[str, Any]:
    return {"error": error, "what": what, "way_out": way_out, "values": {}}


def _told(request: Request, why: Exception) -> Response:
    assert isinstance(why, TickoverError)
    status, headers = status_of(why)
    told = {k: (v if isinstance(v, dict) else str(v)) for k, v in why.as_dict().items() if k != "values"}
    values = {k: str(v) for k, v in why.as_dict()["values"].items() if v is not None}
    return _answer(request, status, {**told, "values": values}, headers)


def _broken(request: Request, why: Exception) -> Response:
    """Something that should not have happened; the server's own log holds the rest."""
    what = f"something went wrong here: {type(why).__name__}"
    return _answer(request, 500, _refusal("Broken", what, "Try again; if it stays so, report it."))


def _not_as_asked(request: Request, why: Exception) -> Response:
    assert isinstance(why, RequestValidationError)
    first = why.errors()[0]
    field = ".".join(str(part) for part in first["loc"] if part not in {"body", "query", "path"})
    what = f"{field or 'the request'}: {first['msg']}"
    return _answer(request, 422, _refusal("InputError", what, "See /api/openapi.json for what is asked."))


def _http(request: Request, why: Exception) -> Response:
    assert isinstance(why, HTTPException)
    ways = {404: "Go back to the list of jobs.", 405: "This address is not asked in that way."}
    refused = _refusal("Refused", str(why.detail), ways.get(why.status_code, ""))
    return _answer(request, why.status_code, refused, why.headers or {})
