"""What the guard lets through and what not: asked over real requests to a small app behind it."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from fastapi import FastAPI, Request
from starlette.testclient import TestClient

from tickover.web.guard import COOKIE, Guard
from tickover.web.pairing import Pairing

HOST = "127.0.0.1:8765"
BASE = f"http://{HOST}"


class Clock:
    def __init__(self) -> None:
        self.now = 1000.0

    def __call__(self) -> float:
        return self.now


def pages() -> FastAPI:
    app = FastAPI()

    @app.get("/")
    @app.get("/pair")
    @app.get("/static/x.css")
    @app.get("/api/jobs")
    def show() -> dict[str, str]:
        return {"page": "shown"}

    @app.post("/api/jobs")
    async def take(request: Request) -> dict[str, int]:
        return {"bytes": len(await request.body())}

    @app.post("/api/form")
    async def form(request: Request) -> dict[str, int]:
        return {"fields": len(await request.form())}

    return app


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def alone(clock: Clock) -> Iterator[TestClient]:
    guard = Guard(pages(), hosts=frozenset({HOST}), pairing=None, clock=clock, secure=False, largest=1000)
    with TestClient(guard, base_url=BASE) as client:
        yield client


def test_the_page_is_served_with_a_policy_that_allows_our_own_files_only(alone: TestClient) -> None:
    answer = alone.get("/")
    assert answer.status_code == 200
    policy = dict(p.strip().split(" ", 1) for p in answer.headers["content-security-policy"].split(";"))
    assert policy["default-src"] == "'none'"
    assert policy["script-src"] == "'self'"
    assert policy["frame-ancestors"] == "'none'"
    assert answer.headers["x-content-type-options"] == "nosniff"


@pytest.mark.parametrize("host", ["evil.example", "127.0.0.1", "127.0.0.1:8766", "127.0.0.1:8765.evil.example", ""])
def test_a_foreign_host_is_refused(alone: TestClient, host: str) -> None:
    answer = alone.get("/api/jobs", headers={"host": host})
    assert answer.status_code == 421
    assert "address" in answer.json()["way_out"]


@pytest.mark.parametrize(
    "headers",
    [
        {"origin": "https://evil.example"},
        {"origin": "null"},
        {"origin": f"https://{HOST}"},
        {"sec-fetch-site": "cross-site"},
        {"sec-fetch-site": "same-site", "origin": BASE},
    ],
)
def test_a_change_from_another_page_is_refused(alone: TestClient, headers: dict[str, str]) -> None:
    assert alone.post("/api/jobs", content=b"x", headers=headers).status_code == 403


@pytest.mark.parametrize("headers", [{}, {"origin": BASE}, {"origin": BASE, "sec-fetch-site": "same-origin"}])
def test_a_change_from_our_own_page_or_from_no_browser_is_taken(alone: TestClient, headers: dict[str, str]) -> None:
    assert alone.post("/api/jobs", content=b"x", headers=headers).json() == {"bytes": 1}


@pytest.mark.parametrize("path", ["/api/jobs", "/api/form"])
def test_a_body_past_the_limit_is_refused_also_where_it_lies_about_its_length(alone: TestClient, path: str) -> None:
    assert alone.post(path, content=b"x" * 1001).status_code == 413

    def in_pieces() -> Iterator[bytes]:
        for _ in range(20):
            yield b"x" * 100

    form = {"content-type": "application/x-www-form-urlencoded"}
    assert alone.post(path, content=in_pieces(), headers=form).status_code == 413
    assert alone.post("/api/jobs", content=b"x" * 1000).json() == {"bytes": 1000}


def test_over_the_network_only_a_paired_device_comes_in_and_only_while_its_session_lasts(clock: Clock) -> None:
    pairing = Pairing(session_seconds=60.0)
    guard = Guard(pages(), hosts=frozenset({HOST}), pairing=pairing, clock=clock, secure=False)
    client = TestClient(guard, base_url=BASE)
    assert client.get("/").status_code == 401
    assert client.get("/pair").status_code == 200
    assert client.get("/static/x.css").status_code == 200
    redeemed = pairing.redeem(pairing.offer(clock.now), "phone", clock.now)
    assert redeemed is not None
    secret, session = redeemed
    client.cookies.set(COOKIE, secret)
    assert client.get("/").status_code == 200
    clock.now += 61.0
    assert client.get("/").status_code == 401
    clock.now -= 61.0
    assert client.get("/").status_code == 200
    assert pairing.revoke(session.id)
    assert client.get("/").status_code == 401


def test_a_guessed_cookie_opens_nothing(clock: Clock) -> None:
    guard = Guard(pages(), hosts=frozenset({HOST}), pairing=Pairing(), clock=clock, secure=False)
    client = TestClient(guard, base_url=BASE)
    for guess in ("", "x", "a" * 5000, '"; drop', "\x00"):
        assert client.get("/", headers={"cookie": f"{COOKIE}={guess}"}).status_code == 401
