"""Refusals: a page with the way out for people, one shape of JSON for programs; a record that cannot be used is 503."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from functools import partial
from pathlib import Path

import pytest
from starlette.testclient import TestClient
from web_site import HOST, client_of, new_job, site_in

from tickover.errors import FullStoreError, LockedStoreError, StoreError
from tickover.jobs import Store, open_store
from tickover.web.app import create_app
from tickover.web.faults import as_data, way_back
from tickover.web.guard import Guard
from tickover.web.pair import Lan
from tickover.web.pairing import Pairing
from tickover.web.site import Site

BROWSER = {"accept": "text/html,application/xhtml+xml,application/xml;q=0.9,*/*;q=0.8"}
PROGRAM = {"accept": "application/json"}


@pytest.fixture
def site(tmp_path: Path) -> Site:
    return site_in(tmp_path)


@pytest.fixture
def client(site: Site) -> Iterator[TestClient]:
    with client_of(site) as client:
        yield client


@pytest.fixture
def narrow(site: Site) -> Iterator[TestClient]:
    """The same with room for a thousand bytes."""
    guard = Guard(create_app(site), hosts=frozenset({HOST}), pairing=None, clock=lambda: 0.0, secure=False,
                  largest=1000)  # fmt: skip
    with TestClient(guard, base_url=f"http://{HOST}", follow_redirects=False) as client:
        yield client


def in_pieces() -> Iterator[bytes]:
    for _ in range(40):
        yield b"x" * 100


@pytest.mark.parametrize("lies", [False, True])
def test_a_body_past_the_limit_gets_a_page_with_the_way_out_and_a_program_gets_data(
    narrow: TestClient, lies: bool
) -> None:
    body = in_pieces() if lies else b"x" * 4000
    kind = {"content-type": "application/x-www-form-urlencoded"}
    page = narrow.post("/jobs/7/cause", content=body, headers={**kind, **BROWSER})
    assert (page.status_code, page.headers["content-type"]) == (413, "text/html; charset=utf-8")
    assert "more than 1000 bytes" in page.text
    assert "shorter recording" in page.text
    assert 'href="/jobs/7"' in page.text
    assert page.headers["content-security-policy"]
    body = in_pieces() if lies else b"x" * 4000
    data = narrow.post("/jobs/7/cause", content=body, headers={**kind, **PROGRAM})
    assert (data.status_code, data.json()["error"]) == (413, "Refused")
    assert data.json()["way_out"]


@pytest.mark.parametrize(
    ("method", "path", "status"),
    [
        ("GET", "/jobs/99", 404),
        ("GET", "/nowhere", 404),
        ("POST", "/jobs/99/cause", 404),
        ("GET", "/jobs/0", 422),
        ("PUT", "/jobs/1", 405),
        ("POST", "/jobs/1/work/stop", 400),
    ],
)
def test_the_same_refusal_is_a_page_or_data(client: TestClient, method: str, path: str, status: int) -> None:
    new_job(client, arrived=False)
    page = client.request(method, path, headers=BROWSER)
    assert (page.status_code, 'role="alert"' in page.text) == (status, True)
    assert 'class="btn main"' in page.text
    data = client.request(method, path, headers=PROGRAM)
    assert data.status_code == status
    assert set(data.json()) == {"error", "what", "way_out", "values"}
    assert data.json()["what"]


def test_a_foreign_host_and_an_unpaired_device_are_told_on_a_page_too(client: TestClient) -> None:
    page = client.get("/", headers={**BROWSER, "host": "evil.example"})
    assert (page.status_code, "tickover serve" in page.text) == (421, True)
    assert client.get("/", headers={**PROGRAM, "host": "evil.example"}).json()["error"] == "Refused"


@pytest.mark.parametrize(
    ("path", "accept", "data"),
    [
        ("/api/jobs", "text/html", True),
        ("/api/jobs", "*/*", True),
        ("/jobs/1", "*/*", False),
        ("/jobs/1", "", False),
        ("/jobs/1", "application/json", True),
        ("/jobs/1", "application/problem+json;q=0.9", True),
        ("/jobs/1", "text/html, application/json", False),
    ],
)
def test_who_gets_data(path: str, accept: str, data: bool) -> None:
    assert as_data(path, accept) == data


def test_the_way_back_is_the_jobs_sheet_or_the_list() -> None:
    assert way_back("/jobs/12/drive/check") == "/jobs/12"
    assert way_back("/jobs/<script>/x") == "/"
    assert way_back("/practice/x") == "/"


@pytest.mark.parametrize(("leaf", "after"), [(StoreError, "60"), (FullStoreError, "60"), (LockedStoreError, "5")])
def test_a_record_that_cannot_be_used_is_503_with_when_to_ask_again(
    client: TestClient, monkeypatch: pytest.MonkeyPatch, leaf: type[StoreError], after: str
) -> None:
    job = new_job(client, arrived=False)

    def refused(*_: object, **__: object) -> None:
        raise leaf("no room is left", store="jobs.db", way_out="Make room on the disk.")

    with monkeypatch.context() as made:
        made.setattr(Store, "add", refused)
        page = client.post(f"/jobs/{job}/notes", data={"kind": "note", "text": "heard it"}, headers=BROWSER)
        data = client.post(f"/api/jobs/{job}/notes", json={"kind": "note", "text": "heard it"})
    for answer in (page, data):
        assert (answer.status_code, answer.headers["retry-after"]) == (503, after)
    assert "Make room on the disk." in page.text
    assert "Nothing was changed" in page.text
    assert data.json()["error"] == leaf.__name__
    assert client.post(f"/api/jobs/{job}/notes", json={"kind": "note", "text": "heard it"}).status_code == 200


def test_a_file_that_is_no_record_is_503_and_so_is_one_that_somebody_keeps_locked(
    client: TestClient, site: Site, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "other.db").write_bytes(b"this is no database, and was never one" * 40)
    with client_of(Site(store=tmp_path / "other.db")) as other:
        assert other.get("/", headers=BROWSER).status_code == 503
        assert other.get("/api/jobs").status_code == 503
    new_job(client, arrived=False)
    with sqlite3.connect(site.store) as held:
        held.execute("BEGIN EXCLUSIVE")
        monkeypatch.setattr("tickover.web.site.open_store", partial(open_store, wait=0.05))
        answer = client.post("/api/jobs", json={})
    held.close()
    assert (answer.status_code, answer.json()["error"]) == (503, "LockedStoreError")
    assert answer.headers["retry-after"] == "5"


def test_what_should_not_happen_is_a_page_too(site: Site, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("tickover.web.jobs.page", lambda *_, **__: 1 / 0)
    with TestClient(create_app(site), raise_server_exceptions=False) as client:
        page = client.get("/", headers=BROWSER)
        assert (page.status_code, "ZeroDivisionError" in page.text) == (500, True)
        assert client.get("/", headers=PROGRAM).json()["error"] == "Broken"


def test_a_job_that_there_is_not_leads_to_the_list_without_path_or_command(client: TestClient, site: Site) -> None:
    for answer in (client.get("/jobs/99", headers=BROWSER), client.post("/jobs/99/notes", data={"text": "x"})):
        assert answer.status_code == 404
        assert "There is no job 99" in answer.text
        assert 'href="/">To the list of jobs</a>' in answer.text
        assert str(site.store) not in answer.text
        assert "tickover job" not in answer.text
    assert "tickover job" in client.get("/jobs/99", headers=PROGRAM).json()["way_out"]


def test_what_was_typed_is_spoken_of_only_where_something_was_sent(site: Site) -> None:
    guard = Guard(create_app(site), hosts=frozenset({HOST}), pairing=Pairing(), clock=lambda: 0.0, secure=False)
    with TestClient(guard, base_url=f"http://{HOST}", follow_redirects=False) as unpaired:
        asked = unpaired.get("/", headers=BROWSER)
        sent = unpaired.post("/jobs", headers=BROWSER)
    assert (asked.status_code, sent.status_code) == (401, 401)
    assert "What you typed" not in asked.text
    assert "What you typed" in sent.text


@pytest.mark.parametrize("lan", [False, True])
def test_devices_are_led_to_where_devices_are_paired(site: Site, lan: bool) -> None:
    reached = Lan(Pairing(), f"http://{HOST}", "AA:BB", lambda: 0.0)
    guard = Guard(create_app(site, reached if lan else None), hosts=frozenset({HOST}), pairing=None,
                  clock=lambda: 0.0, secure=False)  # fmt: skip
    with TestClient(guard, base_url=f"http://{HOST}", follow_redirects=False) as client:
        job = new_job(client, arrived=False)
        for path in ("/", f"/jobs/{job}"):
            assert ('href="/devices"' in client.get(path).text) == lan
        if lan:
            spent = client.post("/pair", data={"token": "spent"})
            assert (spent.status_code, "Devices" in spent.text) == (403, True)
