"""Small acts: notes, repairs, relapses, stages left out, corrections, personal values, the check, the light."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from starlette.testclient import TestClient
from web_site import SCRIPT, client_of, new_job, site_in

from tickover.web.site import Site


@pytest.fixture
def site(tmp_path: Path) -> Site:
    return site_in(tmp_path)


@pytest.fixture
def client(site: Site) -> Iterator[TestClient]:
    with client_of(site) as client:
        new_job(client)
        yield client


@pytest.fixture(scope="module")
def refusing(tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestClient]:
    """One record for what changes nothing."""
    with client_of(site_in(tmp_path_factory.mktemp("refusing"))) as client:
        new_job(client)
        yield client


def record(client: TestClient) -> list[dict[str, Any]]:
    return list(client.get("/api/jobs/1/record").json()["result"]["entries"])


def due(client: TestClient) -> str:
    return str(client.get("/api/jobs/1").json()["result"]["next"]["stage"])


def test_a_stage_is_left_out_with_its_reason(client: TestClient) -> None:
    assert due(client) == "before"
    answer = client.post("/jobs/1/notes", data={"kind": "skipped", "stage": "before", "text": "no reader here"})
    assert answer.status_code == 303
    assert due(client) == "set up"
    assert "skipped: no reader here" in client.get("/jobs/1").text


@pytest.mark.parametrize(
    "said",
    [
        {"kind": "skipped", "text": "why"},
        {"kind": "skipped", "stage": "hand over", "text": "why"},
        {"kind": "skipped", "stage": "before", "text": "   "},
    ],
)
def test_what_cannot_be_left_out(refusing: TestClient, said: dict[str, str]) -> None:
    assert refusing.post("/api/jobs/1/notes", json=said).status_code == 400
    assert refusing.post("/jobs/1/notes", data=said).status_code == 400


def test_note_repair_and_relapse_go_where_the_commands_put_them(client: TestClient) -> None:
    for kind, stage in (("note", "before"), ("repair", "cause"), ("relapse", "arrive")):
        assert client.post("/jobs/1/notes", data={"kind": kind, "text": f"a {kind}", "by": "R. H."}).status_code == 303
        entry = record(client)[-1]
        assert (entry["kind"], entry["stage"], entry["data"], entry["by"]) == (
            kind, stage, {"text": f"a {kind}"}, "R. H."
        )  # fmt: skip
        assert f"a {kind}" in client.get("/jobs/1").text
    assert client.post("/api/jobs/1/notes", json={"kind": "attempt", "text": "x"}).status_code == 422
    assert client.post("/jobs/1/notes", data={"kind": "attempt", "text": "x"}).status_code == 400


def test_an_entry_is_put_right_by_a_new_one_and_taken_back(client: TestClient) -> None:
    client.post("/jobs/1/notes", data={"kind": "note", "text": "hisses"})
    seq = record(client)[-1]["seq"]
    right = client.post(f"/jobs/1/entries/{seq}/correct", data={"value.text": "hisses when cold"})
    assert (right.status_code, right.headers["location"]) == (303, "/jobs/1/record")
    page = client.get("/jobs/1").text
    assert "hisses when cold" in page
    assert record(client)[-1]["corrects"] == seq
    assert "no longer counts" in client.get("/jobs/1/record").text
    back = client.post(f"/api/jobs/1/entries/{seq}/correct", json={"withdraw": True, "why": "wrong car"})
    assert back.status_code == 200
    assert "hisses" not in client.get("/jobs/1").text
    assert record(client)[-1]["data"] == {"reason": "wrong car"}
    assert client.get("/api/jobs/1/verify").json()["result"]["findings"] == []


def test_the_car_is_put_right_with_figures_and_a_field_is_emptied(client: TestClient) -> None:
    seq = next(e["seq"] for e in reversed(record(client)) if e["kind"] == "car")
    put = {"value.year": "2009", "value.cylinders": ""}
    assert client.post(f"/jobs/1/entries/{seq}/correct", data=put).status_code == 303
    assert record(client)[-1]["data"] == {"year": 2009, "displacement_l": 2.4}


@pytest.mark.parametrize(
    ("entry", "values", "status"),
    [
        (99, {"text": "x"}, 404),
        (2, {}, 400),
        (2, {"digest": "x"}, 400),
        (2, {"year": "soon"}, 400),
        (3, {"text": "x"}, 400),
    ],
)
def test_what_cannot_be_corrected(refusing: TestClient, entry: int, values: dict[str, str], status: int) -> None:
    count = len(record(refusing))
    assert refusing.post(f"/api/jobs/1/entries/{entry}/correct", json={"values": values}).status_code == status
    assert len(record(refusing)) == count


def test_personal_values_are_kept_beside_the_chain_and_erased_for_good(client: TestClient, site: Site) -> None:
    told = {"customer": "Ada Example", "phone": "555 0100", "plate": "AB 123", "vin": "", "by": ""}
    assert client.post("/jobs/1/personal", data=told).status_code == 303
    entry = record(client)[-1]
    assert set(entry["personal"]) == {"customer", "phone", "plate"}
    assert "Ada Example" not in str(entry)
    assert "Ada Example" in client.get("/jobs/1/record").text
    assert "Ada Example" not in client.get("/jobs/1").text
    assert client.post("/jobs/1/purge", data={"field": "customer"}).status_code == 303
    page = client.get("/jobs/1/record").text
    assert "Ada Example" not in page
    assert "555 0100" in page
    assert "It holds" in page
    assert client.post("/api/jobs/1/purge", json={}).json()["result"]["fields"] == ["phone", "plate"]
    assert client.get("/api/jobs/1/record").json()["result"]["personal"] == {}
    with sqlite3.connect(str(site.store)) as database:
        dump = "\n".join(database.iterdump())
    database.close()
    assert "Ada Example" not in dump
    assert client.post("/api/jobs/1/purge", json={"field": "shoe size"}).status_code == 400
    assert client.post("/jobs/1/personal", data={"customer": " "}).status_code == 400
    assert client.post("/jobs/1/personal", data={"customer": "a\x00b"}).status_code == 400


def test_a_changed_record_is_said_in_words(client: TestClient, site: Site) -> None:
    assert "All 5 entries are as they were written" in client.get("/jobs/1/record").text
    with sqlite3.connect(str(site.store)) as database:
        database.execute("UPDATE tickover_entries SET body = replace(body, '2007', '2008') WHERE seq = 2")
    database.close()
    page = client.get("/jobs/1/record")
    assert page.status_code == 200
    assert "It does not hold" in page.text
    assert client.get("/api/jobs/1/verify").json()["result"]["findings"]


def test_a_script_in_every_text_field_is_shown_as_text(client: TestClient) -> None:
    for kind in ("note", "repair", "relapse"):
        client.post("/jobs/1/notes", data={"kind": kind, "text": SCRIPT, "by": SCRIPT})
    client.post("/jobs/1/notes", data={"kind": "skipped", "stage": "before", "text": SCRIPT, "by": SCRIPT})
    client.post("/jobs/1/personal", data={"customer": SCRIPT, "plate": SCRIPT[:30], "by": SCRIPT})
    client.post("/jobs/1/entries/5/correct", data={"withdraw": "yes", "why": SCRIPT})
    for path in ("/", "/jobs/1", "/jobs/1/record"):
        assert "<script>alert" not in client.get(path).text
    assert client.get("/jobs/1/record").text.count("&lt;script&gt;") >= 6
    for path in ("/jobs/1/purge", "/jobs/1/notes"):
        wrong = client.post(path, data={"field": SCRIPT, "kind": SCRIPT, "text": "x"})
        assert wrong.status_code == 400
        assert "<script>alert" not in wrong.text


@pytest.mark.parametrize(
    "back", ["https://evil.example", "//evil.example", "/\\evil.example", "/x\r\nset-cookie: a=b", ""]
)
def test_the_light_is_kept_and_leads_back_to_our_own_pages_only(refusing: TestClient, back: str) -> None:
    answer = refusing.post("/light", data={"light": "night", "back": back})
    assert (answer.status_code, answer.headers["location"]) == (303, "/")
    assert "light=night" in answer.headers["set-cookie"]
    assert 'data-light="night"' in refusing.get("/", headers={"cookie": "light=night"}).text
    assert "data-light" not in refusing.get("/", headers={"cookie": "light=<script>"}).text
    assert (
        refusing.post("/light", data={"light": "day", "back": "/jobs/1/record"}).headers["location"] == "/jobs/1/record"
    )


def test_a_number_that_is_none_is_not_kept(client: TestClient) -> None:
    for number, why in (("NOTAVIN", "has 7 characters"), ("1M8GDM9AXKPO42788", "has O at place 12"),
                        ("1M8GDM9A5KP042788", "is mistyped")):  # fmt: skip
        answer = client.post("/jobs/1/personal", data={"vin": number})
        assert (answer.status_code, why in answer.text) == (400, True)
    assert client.get("/api/jobs/1/record").json()["result"]["personal"] == {}
    sure = {"vin": "1m8gdm9a5kp042788", "as_it_stands": "yes"}
    assert client.post("/jobs/1/personal", data=sure).status_code == 303
    assert client.get("/api/jobs/1/record").json()["result"]["personal"] == {"vin": "1M8GDM9A5KP042788"}
