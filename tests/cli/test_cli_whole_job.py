"""One job from an empty record to the hand-over, by the commands that `job next` names."""

from __future__ import annotations

import json
from datetime import datetime
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from pypdf import PdfReader

from tickover.cli import tickover
from tickover.cli.demo_job import DemoJob
from tickover.errors import InputError
from tickover.jobs import open_store

TOLD = ["drive=petrol", "complaint=high", "before=cleaned", "throttle=electronic", "lamp=dark", "codes=none"]
TOLD += ["danger=none", "misfire=no", "leak=no", "bore=clean"]
ARRIVAL = [word for pair in TOLD for word in ("--answer", pair)]


@pytest.fixture(scope="module")
def files(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Logs and attempts of a car with an old memory on a cleaned bore, as the demo leaves them."""
    out = tmp_path_factory.mktemp("demo")
    for _ in DemoJob(out, 7, datetime.fromisoformat("2026-01-05T08:00:00+00:00")).chapters():
        pass
    return out


class Shop:
    """A person at the command line with one record."""

    def __init__(self, folder: Path) -> None:
        self.store = folder / "jobs.db"
        self.folder = folder

    def run(self, *words: object, code: int = 0) -> Result:
        line = [str(w) for w in words]
        found = CliRunner().invoke(tickover, line, env={"TICKOVER_STORE": str(self.store), "TICKOVER_BY": "R. H."})
        assert found.exit_code == code, found.output + repr(found.exception)
        return found

    def next(self) -> dict[str, str]:
        return json.loads(self.run("job", "next", 1, "--json").output)["result"]


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory, files: Path) -> Shop:
    """The job, walked as far as its hand-over."""
    here = Shop(tmp_path_factory.mktemp("shop"))
    here.run("job", "new", "--car", "year=2009", "--car", "fuel=petrol", "--car", "displacement_l=2.0", "--simulated")
    assert here.next()["command"] == "tickover arrive --job 1"
    here.run("job", "next", 1, *ARRIVAL)
    here.run("ready", "check", "--job", 1, "41 01 00 07 65 04")
    assert here.next()["command"] == "tickover idle LOG --job 1"
    here.run("job", "next", 1, files / "idle-before.csv", "--normal", "700-800")
    here.run("job", "next", 1, "--by-hand", "--volts", "12.6", "--coolant", "85")
    assert here.next()["stage"] == "relearn"
    here.run("judge", files / "attempt-1.jsonl", "--routine", "pedal-hold", "--job", 1)
    assert here.next()["stage"] == "relearn", "a miss leaves it due"
    here.run("judge", files / "attempt-2.jsonl", "--routine", "pedal-hold", "--job", 1)
    assert here.next()["stage"] == "after"
    here.run("job", "next", 1, files / "idle-after.csv")
    return here


def words_of(pdf: Path) -> str:
    return " ".join(p.extract_text() for p in PdfReader(pdf).pages).replace("\u200b", "")


def entries(shop: Shop) -> dict[tuple[str, str], dict]:
    with open_store(shop.store) as store:
        assert store.verify(1).ok
        return {(e.stage, e.kind): e.data for e in store.current(1)}


def test_each_step_is_kept_where_it_belongs(shop: Shop) -> None:
    held = entries(shop)
    assert held["after", "comparison"]["verdict"] == "settled"
    assert held["after", "comparison"]["normal"] == [700.0, 800.0], "the normal was told once, with the first reading"
    assert held["relearn", "attempt"]["verdict"] == "hit"
    assert held["relearn", "attempt"]["try"] == 2
    assert held["set up", "needs"]["sentence"] == "every need met"
    assert held["ready", "readiness"]["before"]["open"] == ["evaporative system"]
    assert ("ready", "verdict") not in held


def test_the_recordings_are_in_the_record_byte_for_byte(shop: Shop, files: Path) -> None:
    with open_store(shop.store) as store:
        reading = next(e for e in store.current(1) if e.stage == "before" and e.kind == "reading")
        assert store.attachment(reading.attachments[0]) == (files / "idle-before.csv").read_bytes()


def test_the_drive_is_planned_for_what_the_job_says_is_open(shop: Shop) -> None:
    told = json.loads(shop.run("drive", "plan", "--job", 1, "--coolant", 20, "--fuel", 60, "--ambient", 15,
                               "--soaked", 8, "--now", "2026-01-05T10:00", "--json").output)  # fmt: skip
    assert told["inputs"]["open"] == ["evaporative system"]
    assert "drive check" in shop.next()["command"]


def test_after_the_relearn_the_verdict_is_kept_and_the_hand_over_closes_the_job(shop: Shop) -> None:
    shop.run("ready", "check", "--job", 1, "--rule", "us-federal", "--open", "none", "--lamp", "off")
    held = entries(shop)
    assert held["ready", "readiness"]["after"]["open"] == []
    assert held["ready", "verdict"]["word"] == "would be ready"
    shop.run("job", "add", 1, "--stage", "drive", "--kind", "skipped", "--data", "reason=the customer drives it home")
    assert shop.next()["command"] == "tickover job handover 1"
    said = shop.run("job", "handover", 1, "--out", shop.folder / "out", "--draft").output
    assert "not closed" in said
    assert shop.next()["stage"] == "hand over"
    assert "DRAFT" in words_of(shop.folder / "out" / "job-1-sheet.pdf")
    shop.run("job", "handover", 1, "--out", shop.folder / "out")
    assert "DRAFT" not in words_of(shop.folder / "out" / "job-1-sheet.pdf")
    assert (shop.folder / "out" / "job-1-sheet.pdf").read_bytes().startswith(b"%PDF")
    assert (shop.folder / "out" / "job-1-record.pdf").read_bytes().startswith(b"%PDF")
    assert shop.next()["stage"] is None
    assert entries(shop)["hand over", "sheet"]["sentence"]


def test_the_stop_rule_counts_what_the_job_holds(tmp_path: Path, files: Path) -> None:
    here = Shop(tmp_path)
    here.run("job", "new", "--simulated")
    for k in range(3):
        again = tmp_path / f"attempt-{k}.jsonl"  # a blank line more each time: another file, the same attempt
        again.write_text((files / "attempt-1.jsonl").read_text() + "\n" * k)
        here.run("judge", again, "--routine", "pedal-hold", "--job", 1)
    said = here.run("coach", "pedal-hold", "--job", 1, "--car", "simulated", "--person", "cv=0.05",
                    "--out", tmp_path / "attempts").output  # fmt: skip
    assert "Three attempts at this routine are enough" in said
    assert not list((tmp_path / "attempts").iterdir())


def test_the_same_attempt_twice_is_one_try(tmp_path: Path, files: Path) -> None:
    here = Shop(tmp_path)
    here.run("job", "new", "--simulated")
    judge = ("judge", files / "attempt-1.jsonl", "--routine", "pedal-hold", "--job", 1)
    assert "Kept in job 1, entry 2" in here.run(*judge).output
    again = here.run(*judge).output
    assert "This attempt is already entry 2 of job 1; nothing was added." in again
    here.run("job", "correct", 1, 2, "--withdraw")
    assert "Kept in job 1, entry 4" in here.run(*judge).output, "what was taken back may be kept again"


def test_open_stages_are_named_and_close_nothing_unless_wanted(tmp_path: Path) -> None:
    here = Shop(tmp_path)
    here.run("job", "new", "--simulated")
    with pytest.raises(InputError, match=r"arrive \(tell the car.*; before; .*--draft.*--as-it-stands"):
        CliRunner().invoke(tickover, ["job", "handover", "1", "--store", str(here.store)], catch_exceptions=False)
    line = ["job", "handover", "1", "--draft", "--out", str(tmp_path / "a" / "b"), "--store", str(here.store)]
    with pytest.raises(InputError, match="Name a folder that is there"):
        CliRunner().invoke(tickover, line, catch_exceptions=False)
    assert not (tmp_path / "a").exists()
    assert not list(tmp_path.glob("*.pdf")), "nothing is printed that was refused"
    said = here.run("job", "handover", 1, "--as-it-stands", "--out", tmp_path / "a").output
    assert "Still open: arrive (" in said
    assert here.next()["stage"] is None
    for page in ("sheet", "record"):
        assert "DRAFT" not in words_of(tmp_path / "a" / f"job-1-{page}.pdf")


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("job", "next", 7), "job 7"),
        (("idle", "x.csv", "--job", 7), "job 7"),
        (("arrive", "--set-up"), "--job N"),
        (("arrive", "--set-up", "--job", 1), "no answers of Arrive"),
        (("drive", "plan", "--job", 1), "holds no readiness"),
        (("ready", "check", "41 01 00 07 65 04"), "no rule was named"),
        (("coach", "pedal-hold", "--job", 7, "--car", "simulated", "--person", "cv=0.1"), "job 7"),
    ],
)
def test_what_cannot_be_kept_is_one_message_and_nothing_is_lost(tmp_path: Path, words: tuple, said: str) -> None:
    here = Shop(tmp_path)
    here.run("job", "new", "--simulated")
    found = CliRunner().invoke(
        tickover, [str(w) for w in words], env={"TICKOVER_STORE": str(here.store)}, catch_exceptions=True
    )
    assert found.exception is not None
    assert said in str(found.exception)
    with open_store(here.store) as store:
        assert len(store.entries(1)) == 1


def test_what_the_shop_learned_leaves_invented_cars_out_unless_asked(shop: Shop) -> None:
    nothing = json.loads(shop.run("job", "learned", "--json").output)["result"]
    asked = json.loads(shop.run("job", "learned", "--simulated", "--like", 1, "--json").output)["result"]
    assert nothing["jobs"] == 0
    assert nothing["relapses"]["kind"] == "cannot tell"
    assert asked["routines"]["pedal-hold"]["worked"] == 1
    rate = asked["routines"]["pedal-hold"]["rate"]
    assert rate["hi"] - rate["lo"] > 0.2, "one job does not make a rate"
    assert "wide" in asked["sentence"]
