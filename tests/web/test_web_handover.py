"""Hand over through its form: both papers, the signature, the car's number; jobs that travel, hostile zips too."""

from __future__ import annotations

import zipfile
from collections.abc import Iterator
from datetime import UTC, datetime
from io import BytesIO
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from tickover.handover import sheet_pdf
from tickover.jobs import open_store
from tickover.web.app import create_app
from tickover.web.site import Site

NOW = datetime(2026, 11, 25, 10, tzinfo=UTC)
VIN = "1HGCM82633A004352"


def shop(folder: Path) -> TestClient:
    return TestClient(create_app(Site(store=folder / "jobs.db", clock=lambda: NOW)), follow_redirects=False)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("shop")


@pytest.fixture(scope="module")
def http(folder: Path) -> Iterator[TestClient]:
    with shop(folder) as client:
        yield client


@pytest.fixture(scope="module")
def job(http: TestClient) -> int:
    found = int(http.post("/api/jobs", json={"year": 2009, "complaint": "idles high"}).json()["result"]["job"])
    http.post(f"/jobs/{found}/personal", data={"vin": VIN, "customer": "A. Person"})
    return found


def test_both_papers_are_those_of_the_command(http: TestClient, job: int, folder: Path) -> None:
    with open_store(folder / "jobs.db") as store:
        entries, personal = store.entries(job), store.personal(job)
    for vin in ("masked", "whole", "left out"):
        want = sheet_pdf(entries, on=NOW, vin=vin, personal=personal, job=job)
        assert http.get(f"/jobs/{job}/sheet.pdf", params={"vin": vin}).content == want
    assert http.get(f"/jobs/{job}/record.pdf").content.startswith(b"%PDF-")
    assert http.get(f"/jobs/{job}/sheet.png").content.startswith(b"\x89PNG")
    assert VIN not in http.get(f"/api/jobs/{job}/hand-over").text
    assert VIN in http.get(f"/api/jobs/{job}/hand-over", params={"vin": "whole"}).text


def test_without_a_name_nothing_is_signed(http: TestClient, job: int) -> None:
    for data in ({}, {"by": "   "}, {"by": "R. H.", "vin": "all of it"}):
        assert http.post(f"/jobs/{job}/hand-over", data=data).status_code == 400
    assert http.post(f"/api/jobs/{job}/hand-over", json={"by": " "}).status_code == 400


def test_the_signature_keeps_both_papers_and_closes_the_job(http: TestClient, job: int, folder: Path) -> None:
    assert http.post(f"/jobs/{job}/hand-over", data={"by": "R. H.", "vin": "masked"}).status_code == 303
    with open_store(folder / "jobs.db") as store:
        entry = store.current(job)[-1]
        papers = [store.attachment(a) for a in entry.attachments]
    assert (entry.stage, entry.kind, entry.by) == ("hand over", "sheet", "R. H.")
    assert [a.name for a in entry.attachments] == [f"job-{job}-sheet.pdf", f"job-{job}-record.pdf"]
    assert all(p.startswith(b"%PDF-") for p in papers)
    page = http.get(f"/jobs/{job}").text
    assert "by R. H.; both papers are kept" in page
    assert "Handed over" in page


def test_a_job_travels_and_personal_values_only_where_asked(http: TestClient, job: int, tmp_path: Path) -> None:
    bare, whole = (http.get(f"/jobs/{job}/job.zip", params=p).content for p in ({}, {"personal": "true"}))
    assert VIN.encode() not in b"".join(
        zipfile.ZipFile(BytesIO(bare)).read(n) for n in zipfile.ZipFile(BytesIO(bare)).namelist()
    )
    with shop(tmp_path) as other:
        answer = other.post("/import", files={"file": ("../../job.zip", whole)})
        assert (answer.status_code, answer.headers["location"]) == (303, "/jobs/1")
        again = other.post("/api/import", files={"file": ("job.zip", whole)}).json()["result"]
        assert (again["was_here"], again["added"]) == (True, 0)
    with open_store(tmp_path / "jobs.db") as store:
        assert store.verify(1).ok
        assert store.personal(1)["vin"] == VIN


def hostile(whole: bytes, name: str) -> bytes:
    """The zip with one more member of a name that leads elsewhere."""
    made = BytesIO(whole)
    with zipfile.ZipFile(made, "a") as packed:
        packed.writestr(name, b"x")
    return made.getvalue()


@pytest.mark.parametrize("name", ["../../evil", "/etc/cron.d/evil", "C:\\evil", "more.txt"])
def test_a_zip_with_anything_more_in_it_is_refused_whole(name: str, http: TestClient, job: int, tmp_path: Path) -> None:
    whole = http.get(f"/jobs/{job}/job.zip").content
    with shop(tmp_path) as other:
        answer = other.post("/import", files={"file": ("job.zip", hostile(whole, name))})
        assert answer.status_code == 400
        assert "job.zip" in answer.text
        assert other.get("/api/jobs").json()["result"]["jobs"] == []


@pytest.mark.parametrize("data", [b"PK\x03\x04rubbish", b"%PDF-1.7", b"\x00" * 100])
def test_what_is_no_zip_is_refused_under_its_own_name(data: bytes, http: TestClient) -> None:
    answer = http.post("/api/import", files={"file": ("../lies.zip", data)})
    assert answer.status_code == 400
    assert answer.json()["what"].startswith("lies.zip: ")


@pytest.mark.parametrize("path", ["sheet.docx", "..%2f..%2fetc%2fpasswd", "job.zip%00.pdf", "record.pdf/"])
def test_no_other_paper_comes_out(path: str, http: TestClient, job: int) -> None:
    assert http.get(f"/jobs/{job}/{path}").status_code in {307, 404, 422}
    assert http.get("/jobs/999/sheet.pdf").status_code == 404
