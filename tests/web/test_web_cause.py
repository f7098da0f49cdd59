"""Cause through its form and its twin: the next test leads, what was told before stays, a repair makes another car."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from starlette.testclient import TestClient

from tickover.cause import Car, Evidence, diagnose
from tickover.jobs import Entry, open_store
from tickover.web.app import create_app
from tickover.web.site import Site


@pytest.fixture
def http(tmp_path: Path) -> TestClient:
    return TestClient(create_app(Site(store=tmp_path / "jobs.db")), follow_redirects=False)


@pytest.fixture
def job(http: TestClient) -> int:
    found = int(http.post("/api/jobs", json={}).json()["result"]["job"])
    for stage in ("arrive", "before", "set up", "relearn", "after"):
        http.post(f"/jobs/{found}/notes", data={"kind": "skipped", "stage": stage, "text": "done elsewhere"})
    return found


def newest(folder: Path, job: int) -> Entry:
    with open_store(folder / "jobs.db") as store:
        return [e for e in store.current(job) if e.kind == "causes"][-1]


def test_the_form_answers_as_the_reasoning_does(http: TestClient, job: int, tmp_path: Path) -> None:
    said = {"trims.idle": "+18±2", "trims.2500": "4", "codes": "P0171", "metering": "air"}
    assert http.post(f"/jobs/{job}/cause", data=said).status_code == 303
    evidence = Evidence.model_validate({"trims": {"idle": {"value": 18, "spread": 2}, "2500": 4}, "codes": ("P0171",)})
    want = diagnose(evidence, Car(metering="air"))
    assert newest(tmp_path, job).data == want.model_dump(mode="json")


def test_the_outcome_of_a_test_joins_what_was_told_before(http: TestClient, job: int, tmp_path: Path) -> None:
    http.post(f"/jobs/{job}/cause", data={"trims.idle": "18"})
    first = newest(tmp_path, job)
    http.post(f"/jobs/{job}/cause", data={"test.pinch": "falls"})
    told = newest(tmp_path, job).inputs["typed"]
    assert told["trims"]["idle"]["value"] == 18
    assert told["tests"] == {"pinch": "falls"}
    leak = lambda e: sum(c["share"] for g in e.data["groups"] for c in g["causes"] if c["name"] == "leak")  # noqa: E731
    assert leak(newest(tmp_path, job)) > leak(first)
    http.post(f"/jobs/{job}/cause", data={"afresh": "yes"})
    assert "typed" not in newest(tmp_path, job).inputs or not newest(tmp_path, job).inputs["typed"]


def test_after_a_repair_the_old_figures_are_of_another_car(http: TestClient, job: int, tmp_path: Path) -> None:
    http.post(f"/jobs/{job}/cause", data={"trims.idle": "18"})
    http.post(f"/jobs/{job}/notes", data={"kind": "repair", "text": "hose renewed"})
    http.post(f"/api/jobs/{job}/cause", json={})
    assert newest(tmp_path, job).inputs["typed"] == {}


def test_the_next_test_leads_and_something_else_is_always_there(http: TestClient, job: int) -> None:
    http.post(f"/jobs/{job}/cause", data={"trims.idle": "14", "metering": "air"})
    page = http.get(f"/jobs/{job}").text
    part = page[page.index('id="stage-6"') : page.index('id="stage-7"')]
    assert part.index("Next test, worth") < part.index("What still fits") < part.index("Something else")
    assert "Not a parts list" in part


@pytest.mark.parametrize(
    ("said", "words"),
    [
        ({"trims.idle": "180"}, "outside"),
        ({"trims.idle": "18±0"}, "spread"),
        ({"trims.idle": "rich"}, "not a number"),
        ({"vacuum": "18", "vacuum_unit": "ell"}, "unit"),
        ({"test.pinch": "maybe"}, "outcome"),
        ({"metering": "magic"}, "metering"),
    ],
)
def test_what_cannot_be_is_said(said: dict[str, str], words: str, http: TestClient, job: int) -> None:
    answer = http.post(f"/jobs/{job}/cause", data=said)
    assert answer.status_code == 400
    assert words in answer.text


def test_script_in_a_field_stays_text(http: TestClient, job: int) -> None:
    said: dict[str, Any] = {"evidence": {"codes": ["<script>alert(1)</script>"]}}
    http.post(f"/api/jobs/{job}/cause", json=said)
    assert "<script>alert" not in http.get(f"/jobs/{job}").text.lower()
