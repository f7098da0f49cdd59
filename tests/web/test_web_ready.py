"""Ready through its form and its twin: bytes, by hand, verdict, forecast; what it keeps."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from starlette.testclient import TestClient

from tickover.jobs import Entry, open_store
from tickover.web.app import create_app
from tickover.web.site import Site

BYTES = "41 01 00 07 65 04"
"""No lamp, no code, the evaporative system open."""


@pytest.fixture
def http(tmp_path: Path) -> TestClient:
    clock = datetime(2026, 11, 25, 10, tzinfo=UTC)
    return TestClient(create_app(Site(store=tmp_path / "jobs.db", clock=lambda: clock)), follow_redirects=False)


@pytest.fixture
def job(http: TestClient) -> int:
    return int(http.post("/api/jobs", json={"year": 2004, "fuel": "petrol"}).json()["result"]["job"])


def held(folder: Path, job: int) -> list[Entry]:
    with open_store(folder / "jobs.db") as store:
        return [e for e in store.current(job) if e.stage == "ready"]


def told(http: TestClient, job: int, **said: Any) -> dict[str, Any]:
    answer = http.post(f"/api/jobs/{job}/ready", json=said)
    assert answer.status_code == 200, answer.text
    return dict(answer.json()["result"])


def test_form_and_twin_keep_the_same(http: TestClient, job: int, tmp_path: Path) -> None:
    told(http, job, hex=BYTES, rule="us-federal")
    [first] = held(tmp_path, job)
    assert http.post(f"/jobs/{job}/ready", data={"hex": BYTES, "rule": "us-federal"}).status_code == 303
    second = held(tmp_path, job)[1]
    assert second.data == first.data
    assert set(first.data) == {"before", "sentence"}
    assert first.data["before"]["open"] == ["evaporative system"]


def test_one_open_passes_where_one_may_be_and_two_do_not(http: TestClient, job: int) -> None:
    one = told(http, job, hex=BYTES, bulb=True, rule="us-federal")["verdict"]
    two = told(http, job, open_count=2, rule="us-federal")["verdict"]
    assert one["word"] == "would be ready"
    assert two["word"] == "would be turned away"
    assert two["sentence"] == "It would be turned away: 2 monitors are open, at most 1 may be."


def test_no_verdict_closes_the_stage_while_a_relearn_is_to_come(http: TestClient, job: int, tmp_path: Path) -> None:
    told(http, job, hex=BYTES, rule="us-federal")
    assert [e.kind for e in held(tmp_path, job)] == ["readiness"]
    for stage in ("arrive", "before", "set up", "relearn", "after", "cause"):
        said = {"kind": "skipped", "stage": stage, "text": "not here"}
        assert http.post(f"/jobs/{job}/notes", data=said).status_code == 303
    told(http, job, hex=BYTES, rule="us-federal")
    assert held(tmp_path, job)[-1].kind == "verdict"
    assert "Would be" in http.get(f"/jobs/{job}").text


def test_the_forecast_is_kept_with_its_day_and_drawn(http: TestClient, job: int, tmp_path: Path) -> None:
    found = told(http, job, hex=BYTES, rule="us-federal", inspection="2026-12-05", per_day=3)
    assert found["forecast"]["days"] == 10
    kept = held(tmp_path, job)[-1]
    assert (kept.kind, kept.data["by"]) == ("forecast", "2026-12-05")
    page = http.get(f"/jobs/{job}").text
    assert found["forecast"]["sentence"] in page
    assert 'value="2026-12-05"' in page


def test_a_rule_is_asked_later_of_what_was_read_before(http: TestClient, job: int, tmp_path: Path) -> None:
    told(http, job, open=["evap"])
    later = told(http, job, inspection="2026-12-01")
    assert later["state"]["open"] == ["evaporative system"]
    assert [e.kind for e in held(tmp_path, job)] == ["readiness", "forecast"]


def test_a_file_is_kept_as_it_came(http: TestClient, job: int, tmp_path: Path) -> None:
    files = {"file": ("../../etc/answers.txt", BYTES.encode())}
    assert http.post(f"/jobs/{job}/ready", files=files).status_code == 303
    [entry] = held(tmp_path, job)
    assert entry.attachments[0].name == "answers.txt"
    with open_store(tmp_path / "jobs.db") as store:
        assert store.attachment(entry.attachments[0]) == BYTES.encode()


@pytest.mark.parametrize(
    ("said", "words"),
    [
        ({}, "nothing was read yet"),
        ({"hex": "41 01 00 07"}, "four bytes"),
        ({"open_count": "2", "open": "evap"}, "both named and counted"),
        ({"open": "flux"}, "flux"),
        ({"open_count": "two"}, "not a number"),
        ({"hex": BYTES, "rule": "/etc/passwd.toml"}, "no rule is called"),
        ({"hex": BYTES, "inspection": "2026-11-01"}, "not within a year"),
        ({"hex": BYTES, "inspection": "soon"}, "inspection"),
        ({"hex": BYTES, "permanent": "P9"}, "not a trouble code"),
    ],
)
def test_what_does_not_fit_is_said_and_nothing_is_kept(
    said: dict[str, str], words: str, http: TestClient, job: int, tmp_path: Path
) -> None:
    answer = http.post(f"/jobs/{job}/ready", data=said)
    assert answer.status_code == 400
    assert words in answer.text
    assert held(tmp_path, job) == []


@pytest.mark.parametrize("data", [b"\x89PNG\r\n\xff\xfe", b"a" * 300_000])
def test_a_file_that_lies_is_refused_by_name(data: bytes, http: TestClient, job: int) -> None:
    answer = http.post(f"/jobs/{job}/ready", files={"file": ("lies.txt", data)})
    assert answer.status_code == 400


@pytest.fixture(scope="module")
def shared(tmp_path_factory: pytest.TempPathFactory) -> TestClient:
    http = TestClient(create_app(Site(store=tmp_path_factory.mktemp("shop") / "jobs.db")))
    http.post("/api/jobs", json={})
    return http


@settings(max_examples=25, deadline=None)
@given(text=st.text(max_size=200))
def test_any_text_is_decoded_or_refused(text: str, shared: TestClient) -> None:
    assert shared.post("/api/jobs/1/ready", json={"hex": text}).status_code in {200, 400}


def test_without_a_rule_the_page_asks_for_it_and_judges_what_was_read(
    http: TestClient, job: int, tmp_path: Path
) -> None:
    assert http.post(f"/jobs/{job}/ready", data={"hex": BYTES}).status_code == 303
    page = http.get(f"/jobs/{job}").text
    part = page[page.index('id="stage-8"') : page.index('id="stage-9"')]
    box = part[part.index('<form class="rule"') : part.index("</form>")]
    assert "no inspection&#39;s rule is named" in box or "no inspection's rule is named" in box
    assert 'value="us-federal"' in box
    assert http.post(f"/jobs/{job}/ready", data={"rule": "us-federal"}).status_code == 303
    assert [e.kind for e in held(tmp_path, job)] == ["readiness", "rule"]  # a relearn is to come: no verdict is kept
    page = http.get(f"/jobs/{job}").text
    assert '<form class="rule"' not in page
    assert 'class="verdict ' in page[page.index('id="stage-8"') :]
