"""Long work through the page: progress, a stop that acts at once, a reload, a server that was ended in the middle."""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from starlette.testclient import TestClient
from web_site import client_of, log_text, new_job, site_in

from tickover.errors import FullStoreError
from tickover.jobs import open_store
from tickover.web import work_pages
from tickover.web.site import Site
from tickover.web.work_marks import Mark
from tickover.web.works import Work

BROWSER = {"accept": "text/html,application/xhtml+xml"}
FORMS = {"reading": ("reading", 2), "drive": ("drive/check", 7), "cause": ("cause", 6)}
"""What is done to a log: its form, and the stage that shows it."""
SAYS = {"reading": "Measuring", "drive": "Checking", "cause": "Looking for evidence"}


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Site:
    return site_in(tmp_path_factory.mktemp("record"))


@pytest.fixture(scope="module")
def client(site: Site) -> Iterator[TestClient]:
    with client_of(site) as client:
        yield client


@pytest.fixture(autouse=True)
def at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """A browser is shown the work without waiting for its end first."""
    monkeypatch.setattr(work_pages, "SOON", 0.0)


def job_with_all_open(client: TestClient, what: str) -> int:
    """A job in which the stage of the form is due."""
    job = new_job(client)
    before = {"reading": (), "drive": ("before", "set up", "relearn", "after", "cause")}
    for stage in before.get(what, ("before", "set up", "relearn", "after")):
        client.post(f"/jobs/{job}/notes", data={"kind": "skipped", "stage": stage, "text": "done elsewhere"})
    return job


def rows(count: int) -> bytes:
    """A drive with idles in it, ten rows a second."""
    out = ["time (s),engine speed (rpm),coolant (C),throttle (%),vehicle speed (km/h),short trim (%),long trim (%)"]
    for k in range(count):
        away = k % 6000 > 2000
        speed, rpm = (60 + k % 17, 2000 + k % 31) if away else (0, 840 + k % 13)
        out.append(f"{k / 10:.1f},{rpm},88,{12 if away else 2.4},{speed},{k % 5},2")
    return ("\n".join(out) + "\n").encode()


def part_of(client: TestClient, job: int, stage: int) -> str:
    page = client.get(f"/jobs/{job}").text
    return page[page.index(f'id="stage-{stage}"') : page.index(f'id="stage-{stage + 1}"')]


def entries(client: TestClient, job: int) -> list[dict[str, Any]]:
    return list(client.get(f"/api/jobs/{job}/record").json()["result"]["entries"])


def work_of(site: Site, job: int) -> Work:
    work = site.works.of(job)
    assert work is not None
    return work


def stopped_while_it_says(client: TestClient, site: Site, what: str, log: bytes) -> None:
    """Send a log by its form, wait until it is worked on, stop it: over within 2 s, and nothing of it is kept."""
    job = job_with_all_open(client, what)
    count = len(entries(client, job))
    form, stage = FORMS[what]
    answer = client.post(f"/jobs/{job}/{form}", files={"log": ("big.csv", log)}, headers=BROWSER)
    assert (answer.status_code, answer.headers["location"]) == (303, f"/jobs/{job}#stage-{stage}")
    work = work_of(site, job)
    while not work.doing.startswith(SAYS[what].lower()):
        assert not work.finished.wait(0.01), work.view()
    for _ in range(2):  # a reload finds it again
        part = part_of(client, job, stage)
        assert SAYS[what] in part
        assert f'action="/jobs/{job}/work/stop"' in part
        assert "big.csv" in part
    assert list(Path(site.beside("works")).glob(f"{job:06d}.*"))
    began = time.monotonic()
    assert client.post(f"/jobs/{job}/work/stop", headers=BROWSER).status_code == 303
    assert work.finished.wait(2.0)
    assert time.monotonic() - began < 2.0
    assert client.get(f"/api/jobs/{job}/work").json()["result"]["state"] == "stopped"
    assert len(entries(client, job)) == count
    assert not list(Path(site.beside("works")).glob(f"{job:06d}.*"))
    assert "data-work" not in part_of(client, job, stage)


def test_a_stop_ends_the_check_of_a_long_drive_at_once(client: TestClient, site: Site) -> None:
    stopped_while_it_says(client, site, "drive", rows(60_000))


@pytest.mark.soak
@pytest.mark.parametrize("what", FORMS)
def test_a_stop_acts_within_two_seconds_in_a_log_of_200_000_rows(client: TestClient, site: Site, what: str) -> None:
    stopped_while_it_says(client, site, what, rows(200_000))


def test_cause_from_a_log_is_worked_on_and_its_evidence_stays_while_tests_come_in(
    client: TestClient, site: Site
) -> None:
    job = job_with_all_open(client, "cause")
    sent = {"files": {"log": ("idle.csv", log_text(842, 30))}, "headers": BROWSER}
    assert client.post(f"/jobs/{job}/cause", **sent).status_code == 303  # type: ignore[arg-type]  # files and data in one
    assert work_of(site, job).finished.wait(60)
    first = entries(client, job)[-1]
    assert (first["kind"], first["attachments"][0]["name"]) == ("causes", "idle.csv")
    assert first["inputs"]["logged"]["idle_speed"]["value"] == pytest.approx(842, abs=5)
    assert "from idle.csv" in part_of(client, job, 6)
    client.post(f"/jobs/{job}/cause", data={"test.pinch": "nothing"})
    second = entries(client, job)[-1]["inputs"]
    assert second["evidence"]["idle_speed"] == first["inputs"]["evidence"]["idle_speed"]
    assert second["typed"]["tests"] == {"pinch": "nothing"}
    client.post(f"/api/jobs/{job}/cause", json={"without": ["log"]})
    assert "idle_speed" not in entries(client, job)[-1]["inputs"]["evidence"]


def test_an_outcome_that_comes_in_while_a_log_is_worked_on_is_not_lost(
    client: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    job = job_with_all_open(client, "cause")
    done = Work.done

    def told_meanwhile(work: Work, task: str, **told: Any) -> Any:
        found = done(work, task, **told)
        client.post(f"/jobs/{job}/cause", data={"test.bore": "dirty"})
        return found

    monkeypatch.setattr(Work, "done", told_meanwhile)
    kept = client.post(f"/api/jobs/{job}/cause/log", files={"log": ("idle.csv", log_text(842, 30))})
    assert kept.status_code == 200, kept.text
    told = entries(client, job)[-1]["inputs"]
    assert told["evidence"]["tests"] == {"bore": "dirty"}
    assert told["evidence"]["idle_speed"]["value"] == pytest.approx(842, abs=5)
    assert any("bore" in line for line in kept.json()["result"]["causes"]["evidence"])


def test_a_program_may_ask_any_form_to_answer_at_once(client: TestClient, site: Site) -> None:
    job = job_with_all_open(client, "drive")
    sent = {"log": ("drive.csv", rows(3_000))}
    taken = client.post(f"/jobs/{job}/drive/check?later=true", files=sent, headers={"accept": "application/json"})
    assert (taken.status_code, taken.json()["result"]["stage"]) == (202, "drive")
    assert work_of(site, job).finished.wait(60)
    assert entries(client, job)[-1]["kind"] == "check"


def test_what_failed_is_said_where_it_was_sent_and_can_be_put_away(client: TestClient, site: Site) -> None:
    job = job_with_all_open(client, "drive")
    client.post(f"/jobs/{job}/drive/check", files={"log": ("mine.csv", b"a,b\n1,2\n")}, headers=BROWSER)
    assert work_of(site, job).finished.wait(60)
    part = part_of(client, job, 7)
    assert 'role="alert"' in part
    assert "mine.csv" in part
    assert 'role="alert"' not in part_of(client, job, 2)
    client.post(f"/jobs/{job}/work/seen")
    assert "mine.csv" not in part_of(client, job, 7)


@pytest.mark.parametrize("keeping", [False, True])
def test_after_a_restart_the_page_says_what_was_interrupted(client: TestClient, site: Site, keeping: bool) -> None:
    job = job_with_all_open(client, "drive")
    assert site.works.marks is not None
    with site.works.marks.held(Mark(job=job, stage="drive", name="drive.csv"), b"rows", "csv") as held:
        if keeping:
            held.keeping()
        again = Site(store=site.store)  # a new server; the old one never came to the end of this block
        with client_of(again) as other:
            part = part_of(other, job, 7)
            assert "The work on drive.csv was interrupted" in part
            assert "end the file again" in part
            assert ("just being kept" in part) == keeping
            assert not held.path.exists()  # nobody's log stays behind
            told = other.get(f"/api/jobs/{job}/work").json()["result"]
            assert (told["state"], told["stage"]) == ("interrupted", "drive")
            other.post(f"/jobs/{job}/work/seen")
            assert other.get(f"/api/jobs/{job}/work").json()["result"]["state"] == "none"


def test_a_mark_that_was_cut_off_in_writing_is_no_mark(site: Site) -> None:
    folder = Path(site.beside("works"))
    folder.mkdir(exist_ok=True)
    (folder / "000077.json").write_text('{"job": 77, "sta')
    assert site.works.view(77).state == "none"
    assert not (folder / "000077.json").exists()


def test_where_the_log_cannot_be_put_down_it_says_so_and_nothing_began(
    client: TestClient, site: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    job = job_with_all_open(client, "reading")

    def full(*_: object) -> None:
        raise FullStoreError("the log cannot be put down: no room", store="here", way_out="Make room.")

    monkeypatch.setattr("tickover.web.work_marks.Marks._write", full)
    answer = client.post(f"/api/jobs/{job}/reading", files={"log": ("idle.csv", log_text(842, 30))})
    assert (answer.status_code, answer.json()["error"]) == (503, "FullStoreError")
    assert answer.headers["retry-after"]
    with open_store(site.store) as store:
        assert not [e for e in store.entries(job) if e.kind == "reading"]


@pytest.mark.parametrize("when", ["while it is kept", "after"])
def test_a_stop_that_comes_too_late_says_where_it_is_kept(
    client: TestClient, site: Site, monkeypatch: pytest.MonkeyPatch, when: str
) -> None:
    job = job_with_all_open(client, "reading")
    keep, held, go_on = Work.keep, threading.Event(), threading.Event()

    def slowly(work: Work) -> None:
        keep(work)
        held.set()
        assert go_on.wait(30)

    monkeypatch.setattr(Work, "keep", slowly)
    client.post(f"/jobs/{job}/reading", files={"log": ("idle.csv", log_text(842, 30))}, headers=BROWSER)
    assert held.wait(60)
    part = part_of(client, job, 2)
    assert "Keeping it in the job" in part
    assert f"/jobs/{job}/work/stop" not in part  # it cannot be stopped any more
    assert client.get(f"/api/jobs/{job}/work").json()["result"]["stoppable"] is False
    if when == "after":
        go_on.set()
        assert work_of(site, job).finished.wait(30)
        assert "too late" not in part_of(client, job, 2)
    answer = client.post(f"/jobs/{job}/work/stop", headers=BROWSER)  # pressed on a page that is older
    assert (answer.status_code, answer.headers["location"]) == (303, f"/jobs/{job}#stage-2")
    go_on.set()
    assert work_of(site, job).finished.wait(30)
    [seq] = [e["seq"] for e in entries(client, job) if e["kind"] == "reading"]
    said = f"It was too late to stop: it is kept as entry {seq}; take it back under Record."
    assert said in part_of(client, job, 2)
    assert client.post(f"/api/jobs/{job}/work/stop").json()["result"]["too_late"] == said
    client.post(f"/jobs/{job}/work/seen")
    assert "too late" not in part_of(client, job, 2)


def test_work_says_whether_the_file_itself_was_refused(client: TestClient, site: Site) -> None:
    for log, refused in ((b"\x89PNG\r\n\x1a\n" + bytes(80), True), (log_text(842, 30), False)):
        job = job_with_all_open(client, "reading")
        client.post(f"/jobs/{job}/reading", files={"log": ("idle.csv", log)}, headers=BROWSER)
        assert work_of(site, job).finished.wait(60)
        told = client.get(f"/api/jobs/{job}/work").json()["result"]
        assert told["refused"] is refused
        assert ("is a picture, not a log" in told["what"]) is refused
