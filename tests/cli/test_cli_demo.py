"""The demonstration: the whole job, quickly, saying throughout that the car is simulated."""

import json
from datetime import UTC, datetime
from pathlib import Path

import pytest

from tickover.attempts import read_attempt
from tickover.cli import main
from tickover.cli.demo_job import DemoJob
from tickover.errors import InputError
from tickover.visit import next_stage

BEGUN = datetime(2026, 11, 25, 8, 5, tzinfo=UTC)


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory) -> DemoJob:
    demo = DemoJob(tmp_path_factory.mktemp("demo"), 7, BEGUN)
    list(demo.chapters())
    return demo


def test_the_first_attempt_misses_and_changes_nothing_the_second_hits(job: DemoJob) -> None:
    attempts = [e.data for e in job.entries if e.kind == "attempt"]
    assert [a["verdict"] for a in attempts] == ["missed", "hit"]
    assert "nothing changed" in attempts[0]["changed"]
    assert "learned idle air went from" in attempts[1]["changed"]
    assert all(read_attempt(f).header.simulated for f in job.files if f.suffix == ".jsonl")


def test_the_idle_comes_in_high_and_settles(job: DemoJob) -> None:
    comparison = next(e.data for e in job.entries if e.kind == "comparison")
    assert comparison["verdict"] == "settled"
    assert comparison["before"]["value"] > 900
    assert 700 < comparison["after"]["lo"] < comparison["after"]["hi"] < 800


def test_every_entry_says_it_is_simulated_and_the_job_is_complete(job: DemoJob) -> None:
    assert all(e.simulated for e in job.entries)
    assert next_stage(job.entries) is None


def test_the_sheet_is_one_page_that_says_the_car_is_simulated(job: DemoJob) -> None:
    from pypdf import PdfReader

    reader = PdfReader(job.out / "hand-over.pdf")
    (page,) = reader.pages
    text = " ".join(page.extract_text().split())
    assert "the car is simulated" in text
    assert "Settled" in text
    assert "Nothing was erased" in text


def test_the_command_prints_simulated_at_every_stage_and_json(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit) as stop:
        main(["demo", "--out", str(tmp_path / "d"), "--json"])
    assert stop.value.code == 0
    out, err = capsys.readouterr()
    record = json.loads(out)
    assert record["simulated"] is True
    assert len(record["result"]["entries"]) >= 8
    assert err.count("simulated") >= 8


def test_a_folder_that_cannot_be_made_is_refused(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(InputError, match="cannot be made"):
        DemoJob(tmp_path / "file" / "below", 1, BEGUN)
