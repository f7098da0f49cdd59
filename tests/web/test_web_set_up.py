"""Set up on the sheet: needs as rows, typed or logged readings, what a person saw to."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from starlette.testclient import TestClient
from web_site import SCRIPT, client_of, log_text, new_job, site_in


@pytest.fixture
def client(tmp_path: Path) -> Iterator[TestClient]:
    with client_of(site_in(tmp_path)) as client:
        new_job(client)
        client.post("/api/jobs/1/notes", json={"kind": "skipped", "stage": "before", "text": "measured elsewhere"})
        yield client


def needs(client: TestClient) -> dict[str, dict[str, object]]:
    entries = client.get("/api/jobs/1").json()["result"]["stages"][2]["entries"]
    return {row["need"]: row for row in entries[-1]["data"]["needs"]}


def test_needs_are_rows_to_tick_and_what_is_typed_is_judged(client: TestClient) -> None:
    page = client.get("/jobs/1").text
    assert page.count('type="checkbox" name="seen"') >= 3
    seen = "Pedal not touched, foot off it all the time"
    assert f'value="{seen}"' in page
    answer = client.post("/jobs/1/set-up", data={"volts": "12,6", "seen": [seen], "by": "R. H."})
    assert (answer.status_code, answer.headers["location"]) == (303, "/jobs/1#stage-3")
    rows = needs(client)
    assert rows[seen]["met"]
    assert rows[seen]["standing"] == "by hand"
    battery = next(r for n, r in rows.items() if "attery" in n)
    assert battery["met"]
    assert "12.6" in str(battery["value"])
    assert not all(r["met"] for r in rows.values())
    page = client.get("/jobs/1").text
    assert f"2 of {len(rows)} met" in page
    assert "not looked at" in page


def test_a_weak_battery_is_not_yet_with_what_to_do(client: TestClient) -> None:
    told = client.post("/api/jobs/1/set-up", json={"volts": 11.4}).json()["result"]
    battery = next(n for n in told["set_up"]["needs"] if "attery" in n["need"])
    assert battery["standing"] == "not met"
    page = client.get("/jobs/1").text
    assert battery["instead"] in page
    assert "not yet" in page


def test_a_log_of_the_last_minutes_is_judged_and_kept(client: TestClient) -> None:
    log = log_text(842, 5, 30)
    answer = client.post("/api/jobs/1/set-up/log", files={"log": ("../warm.csv", log)}, data={"seen": ["x"]})
    assert answer.status_code == 200, answer.text
    entry = client.get("/api/jobs/1").json()["result"]["stages"][2]["entries"][-1]
    assert entry["attachments"][0]["name"] == "warm.csv"


@pytest.fixture(scope="module")
def refusing(tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestClient]:
    with client_of(site_in(tmp_path_factory.mktemp("refusing"))) as client:
        new_job(client)
        yield client


@pytest.mark.parametrize(
    "form",
    [
        {"coolant": "warm"},
        {"coolant": "4000"},
        {"volts": "-3"},
        {"volts": "1e999"},
        {"volts": "12", "volts_how": "by magic"},
        {"fan_on": "20"},
        {"by": "x" * 81},
    ],
)
def test_a_reading_that_cannot_be_is_told(refusing: TestClient, form: dict[str, str]) -> None:
    answer = refusing.post("/jobs/1/set-up", data=form)
    assert answer.status_code == 400, answer.text
    assert refusing.get("/api/jobs/1").json()["result"]["stages"][2]["entries"] == []


def test_nothing_to_set_up_for_before_arrive_and_not_both_log_and_figures(client: TestClient) -> None:
    job = new_job(client, arrived=False)
    assert client.post(f"/api/jobs/{job}/set-up", json={}).status_code == 400
    both = client.post("/jobs/1/set-up", data={"volts": "12"}, files={"log": ("w.csv", log_text(800, 5, 20))})
    assert both.status_code == 400
    assert client.post("/api/jobs/99/set-up", json={}).status_code == 404


def test_a_script_as_a_need_stays_text(client: TestClient) -> None:
    assert client.post("/jobs/1/set-up", data={"seen": [SCRIPT], "volts": "12.6", "by": SCRIPT[:80]}).status_code == 303
    assert "<script>alert" not in client.get("/jobs/1").text
    assert "<script>alert" not in client.get("/jobs/1/record").text


def test_nothing_looked_at_is_refused_and_nothing_is_kept(client: TestClient) -> None:
    for sent in ({}, {"seen": ["no need of this routine"]}):
        answer = client.post("/jobs/1/set-up", data={"by": "R. H.", **sent})
        assert (answer.status_code, "nothing was looked at" in answer.text) == (400, True)
    assert client.get("/api/jobs/1").json()["result"]["stages"][2]["entries"] == []


def test_another_routine_of_the_ladder_is_set_up_for(client: TestClient) -> None:
    page = client.get("/jobs/1").text
    other = re.search(r'href="/jobs/1\?set-up=([a-z-]+)#stage-3"', page)
    assert other is not None
    name = other[1]
    shown = client.get(f"/jobs/1?set-up={name}").text
    assert f'name="routine" value="{name}"' in shown
    assert f'name="routine" value="{name}"' not in page
    assert client.post("/jobs/1/set-up", data={"routine": name, "volts": "12.6"}).status_code == 303
    entries = client.get("/api/jobs/1").json()["result"]["stages"][2]["entries"]
    assert entries[-1]["data"]["routine"] == name
    assert client.post("/jobs/1/set-up", data={"routine": "magic", "volts": "12.6"}).status_code == 400
    assert client.get("/jobs/1?set-up=magic").status_code == 200


def test_a_set_up_that_came_meanwhile_is_not_overtaken_without_a_word(client: TestClient) -> None:
    seen = re.search(r'name="upto" value="(\d+)"', client.get("/jobs/1").text)
    assert seen is not None
    told = {"volts": "12.6", "upto": seen[1]}
    assert client.post("/jobs/1/set-up", data={**told, "by": "A. B."}).status_code == 303
    late = client.post("/jobs/1/set-up", data=told)
    number = client.get("/api/jobs/1").json()["result"]["stages"][2]["entries"][-1]["seq"]
    assert (late.status_code, f"entry {number} came meanwhile at Set up, by A. B." in late.text) == (400, True)
