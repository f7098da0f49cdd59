"""The web app: bytes and time of the first page, and a page with 200 jobs in the store, in process."""

from __future__ import annotations

import asyncio
import statistics
import tempfile
import time
from collections.abc import MutableMapping
from pathlib import Path
from typing import Any

from bench.common import Row
from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import HTMLResponse
from starlette.routing import Route

from tickover.jobs import open_store
from tickover.web.guard import App
from tickover.web.serving import local_app
from tickover.web.site import Site

AT = "2026-11-25T10:00:00+00:00"
CAR = {"year": 2009, "fuel": "petrol", "displacement_l": 2.0, "cylinders": 4, "complaint": "idles high"}
STORY = {"story": "old memory", "sentence": "The throttle was cleaned and the memory is of the dirty bore."}
PORT = 8765
JOBS = 200
ASKED = 60
FIRST = ("/", "/static/tokens.css", "/static/sheet.css", "/static/mark.svg")
"""All that a browser fetches for the first page."""


def rows() -> list[Row]:
    """First page, cold of content; the list and a sheet with 200 jobs in the store."""
    with tempfile.TemporaryDirectory() as folder:
        empty = local_app(Site(store=Path(folder) / "empty.db"), PORT)
        bodies = [_ask(empty, path) for path in FIRST]
        size = sum(map(len, bodies)) / 1e3
        ours = statistics.median(_times(empty, "/"))
        bare = statistics.median(_times(_bare(bodies[0]), "/"))
        full = Path(folder) / "full.db"
        with open_store(full) as store:
            for _ in range(JOBS):
                job = store.new(at=AT, by="R. H.", car=CAR)
                store.add(job, stage="arrive", kind="story", data=STORY, at=AT, by="R. H.")
        held = local_app(Site(store=full), PORT)
        listed, sheet = (_p95(_times(held, path)) for path in ("/", f"/jobs/{JOBS}"))
    return [
        Row("bytes of the first page with its styles", size, None, "", 100.0, "kB", size <= 100.0),
        Row("first page, empty store", ours * 1e3, bare * 1e3, "bare Starlette, same bytes", 50.0, "ms", ours <= 0.05),
        Row("list of 200 jobs, p95", listed * 1e3, None, "", 200.0, "ms", listed <= 0.2),
        Row("a job's sheet with 200 jobs in the store, p95", sheet * 1e3, None, "", 200.0, "ms", sheet <= 0.2),
    ]


def _bare(body: bytes) -> Starlette:
    """The peer: the same bytes, from memory."""

    async def page(request: Request) -> HTMLResponse:  # noqa: ARG001 — Starlette gives it
        return HTMLResponse(body)

    return Starlette(routes=[Route("/", page)])


def _times(app: App, path: str) -> list[float]:
    """Wall time of each of many requests, one after the other, after three to warm up [s]."""

    async def ask() -> list[float]:
        times = []
        for n in range(ASKED + 3):
            begun = time.perf_counter()
            await _answer(app, path)
            if n >= 3:
                times.append(time.perf_counter() - begun)
        return times

    return asyncio.run(ask())


def _p95(times: list[float]) -> float:
    return statistics.quantiles(times, n=20)[-1]


def _ask(app: App, path: str) -> bytes:
    return asyncio.run(_answer(app, path))


async def _answer(app: App, path: str) -> bytes:
    """One request, straight to the app.

    Raises: AssertionError for an answer that is not 200.
    """
    scope = {
        "type": "http", "asgi": {"version": "3.0"}, "http_version": "1.1", "method": "GET", "scheme": "http",
        "path": path, "raw_path": path.encode(), "root_path": "", "query_string": b"",
        "headers": [(b"host", f"127.0.0.1:{PORT}".encode())], "client": ("127.0.0.1", 1), "server": ("127.0.0.1", PORT),
    }  # fmt: skip
    parts: list[bytes] = []
    status, heard = 0, False

    async def receive() -> MutableMapping[str, Any]:
        nonlocal heard
        if heard:
            await asyncio.Event().wait()  # nobody hangs up
        heard = True
        return {"type": "http.request", "body": b"", "more_body": False}

    async def send(message: MutableMapping[str, Any]) -> None:
        nonlocal status
        status = message.get("status", status)
        parts.append(message.get("body", b""))

    await app(scope, receive, send)
    assert status == 200, f"{path}: {status}"
    return b"".join(parts)
