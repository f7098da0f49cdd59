"""``tickover job``: what a workshop sees and types."""

import json
import sqlite3
import sys
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest

from tickover.cli import main, tickover
from tickover.cli.job_store import job_option, kept_line, record, record_drafts, store_option
from tickover.cli.job_words import clean
from tickover.errors import UnknownJobError
from tickover.jobs import open_store
from tickover.results import CannotTell, envelope

Said = tuple[int, str, str]
Run = Callable[..., Said]
LOG = "time [s],engine speed [rpm]\n0,700\n1,710\n2,705\n"


@pytest.fixture
def run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Run:
    """Run a command in an empty folder with a store of its own; gives exit code, output, errors."""
    monkeypatch.setitem(tickover.later, "job", ("tickover.cli.job:job_group", "The job record."))
    monkeypatch.setenv("TICKOVER_STORE", str(tmp_path / "jobs.db"))
    monkeypatch.setenv("COLUMNS", "120")
    monkeypatch.delenv("TICKOVER_BY", raising=False)
    monkeypatch.chdir(tmp_path)

    def run(*words: str) -> Said:
        with pytest.raises(SystemExit) as stop:
            main(["job", *words])
        said = capsys.readouterr()
        return int(stop.value.code or 0), said.out, said.err

    return run


def new(run: Run, *more: str) -> None:
    code, out, _ = run(
        "new", "--car", "year=2009", "--car", "fuel=petrol", "--car", "complaint=idles high", "--by", "R. H.",
        "--at", "2026-11-25T10:00:00+00:00", *more,
    )  # fmt: skip
    assert code == 0
    assert "begun" in out


def test_no_jobs_yet_says_how_to_begin(run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    code, _, err = run("list")
    assert (code, "jobs.db: there is no job record here" in err) == (2, True), "it was named, and is not there"
    assert run("list", "--store", "missing.db")[0] == 2
    monkeypatch.delenv("TICKOVER_STORE")
    monkeypatch.setattr("tickover.cli.job_read.default_store", lambda: tmp_path / "jobs.db")
    code, out, _ = run("list")
    assert code == 0
    assert "tickover job new --car" in out
    assert not (tmp_path / "jobs.db").exists(), "looking makes nothing"
    code, out, _ = run("list", "--json")
    assert json.loads(out)["result"] == {"jobs": []}
    monkeypatch.setenv("TICKOVER_STORE", str(tmp_path / "jobs.db"))
    code, _, err = run("show", "1")
    assert (code, "job new" in err) == (2, True)


def test_a_job_from_beginning_to_list_and_show(run: Run) -> None:
    new(run, "--personal", "customer=A. Bär")
    Path("idle.csv").write_text(LOG)
    assert (
        run("add", "1", "--stage", "before", "--kind", "note", "--data", "text=hisses", "--attach", "idle.csv")[0] == 0
    )
    code, out, _ = run("list")
    assert code == 0
    assert "2009 petrol" in out
    assert "before: note" in out
    code, out, _ = run("show", "1")
    for wanted in ("customer: A. Bär", "hisses", "idle.csv [", "R. H.", "2026-11-25 10:00", "head "):
        assert wanted in out
    code, out, _ = run("show", "1", "2")
    assert '"text": "hisses"' in out
    assert len(json.loads(run("show", "1", "--json")[1])["result"]["entries"]) == 2
    assert len(json.loads(run("show", "1", "2", "--json")[1])["result"]["entries"]) == 1


def test_values_are_json_where_they_are_and_text_elsewhere(run: Run) -> None:
    new(run)
    Path("more.json").write_text('{"deep": {"a": [1, 2]}}')
    code, out, _ = run(
        "add", "1", "--stage", "cause", "--kind", "note", "--data", "n=3", "--data", "plate=007", "--data", "on=true",
        "--data", "nan=NaN", "--data", "@more.json", "--data", "file=@more.json", "--json",
    )  # fmt: skip
    assert code == 0
    assert json.loads(out)["result"]["entry"]["data"] == {
        "n": 3, "plate": "007", "on": True, "nan": "NaN", "deep": {"a": [1, 2]}, "file": {"deep": {"a": [1, 2]}},
    }  # fmt: skip


@pytest.mark.parametrize(
    ("words", "why"),
    [
        (("add", "1", "--stage", "cause", "--kind", "note"), "nothing in it"),
        (("add", "1", "--stage", "cause", "--kind", "note", "--data", "x"), "is no value"),
        (("add", "1", "--stage", "cause", "--kind", "note", "--data", "@none.json"), "cannot be read"),
        (("add", "1", "--stage", "cause", "--kind", "note", "--attach", "none.csv"), "cannot be read"),
        (("add", "7", "--stage", "cause", "--kind", "note", "--data", "a=1"), "no job 7"),
        (("add", "1", "--stage", "cause", "--kind", "note", "--data", "a=1", "--at", "noon"), "offset"),
        (("add", "1", "--stage", "tea", "--kind", "note", "--data", "a=1"), "tea"),
        (("correct", "1", "9", "--data", "a=1"), "no entry 9"),
        (("correct", "1", "1"), "--withdraw"),
        (("show", "1", "9"), "no entry 9"),
        (("verify",), "--all"),
        (("verify", "1", "--head", "abc"), "at least 8"),
        (("purge", "1"), "--all"),
        (("purge", "1", "--all"), "no terminal"),
        (("purge", "1", "--field", "nose", "--yes"), "no personal field"),
        (("fetch", "1", "none", "out"), "no attachment"),
        (("import", "none.zip"), "no such file"),
        (("restore", "none.db"), "no job record here"),
    ],
)
def test_a_bad_move_is_one_clear_message_and_exits_2(
    run: Run, monkeypatch: pytest.MonkeyPatch, words: tuple[str, ...], why: str
) -> None:
    monkeypatch.setattr(sys, "stdin", open("/dev/null"))  # noqa: SIM115 — for the length of the test
    new(run)
    before = run("show", "1", "--json")[1]
    code, _, err = run(*words)
    sys.stdin.close()
    assert code == 2
    assert why in err
    assert "Traceback" not in err
    assert run("show", "1", "--json")[1] == before


def test_an_error_for_programs_has_the_one_shape(run: Run) -> None:
    new(run)
    code, out, _ = run("show", "7", "--json")
    assert code == 2
    assert json.loads(out)["error"] == "UnknownJobError"
    assert json.loads(out)["values"]["job"] == 7


def test_a_correction_keeps_what_was_not_given_again(run: Run) -> None:
    new(run)
    run("add", "1", "--stage", "before", "--kind", "reading", "--data", "a=1", "--data", "b=2")
    assert run("correct", "1", "2", "--data", "b=3")[0] == 0
    assert run("correct", "1", "2", "--data", "c=4")[0] == 0
    with open_store("jobs.db") as store:
        assert store.current(1)[1].data == {"a": 1, "b": 3, "c": 4}
        assert [e.data for e in store.entries(1)][1] == {"a": 1, "b": 2}
    out = run("show", "1")[1]
    assert "corrects entry 2" in out
    assert "corrected by entry 4" in out
    assert run("correct", "1", "2", "--data", "z=1", "--anew")[0] == 0
    with open_store("jobs.db") as store:
        assert store.current(1)[1].data == {"z": 1}
    assert run("correct", "1", "2", "--withdraw")[0] == 0
    with open_store("jobs.db") as store:
        assert [e.seq for e in store.current(1)] == [1]


def test_what_was_taken_back_is_called_so_and_a_revival_is_said(run: Run) -> None:
    new(run)
    run("add", "1", "--stage", "before", "--kind", "note", "--data", "text=hisses")
    run("correct", "1", "2", "--data", "text=whistles")
    run("correct", "1", "2", "--withdraw")
    out = run("show", "1")[1]
    assert "corrected by entry 3" in out
    assert "taken back by entry 4" in out
    assert "takes back entry 2" in out
    assert "corrected by entry 4" not in out
    out = run("show", "1", "2")[1]
    assert "It no longer counts: corrected by entry 3; entry 4 is what stands now." in out
    assert "Entry 2, corrected by entry 3, then taken back by entry 4." in out
    assert "no longer counts: taken back by entry 4." in run("show", "1", "3")[1]
    assert "no longer counts" not in run("show", "1", "1")[1]
    assert run("correct", "1", "2", "--withdraw")[0] == 2
    code, out, _ = run("correct", "1", "2", "--data", "text=hums")
    assert (code, "Entry 2 had been taken back by entry 4; with this correction it counts again." in out) == (0, True)
    assert "counts again" not in run("correct", "1", "2", "--data", "text=hums aloud")[1]


@pytest.mark.parametrize(
    ("words", "why"),
    [
        (("--car", "year=1814"), "from 1900 to 2100"),
        (("--car", "year=2009.5"), "whole number"),
        (("--car", "year=true"), "from 1900 to 2100"),
        (("--car", "fuel=coal"), "One of: petrol"),
        (("--car", "fuel=petrl"), "Did you mean petrol?"),
        (("--car", "displacement_l=abc"), "like displacement_l=2.0"),
        (("--car", "cylinders=0"), "from 1 to 16"),
        (("--personal", "vin=123"), "has 3 characters"),
        (("--personal", "vin=1M8GDM9A1KP042788"), "is mistyped"),
    ],
)
def test_a_car_that_cannot_be_is_refused(run: Run, tmp_path: Path, words: tuple[str, ...], why: str) -> None:
    code, _, err = run("new", *words)
    assert (code, why in err) == (2, True), err
    assert not (tmp_path / "jobs.db").exists()


def test_a_strange_name_is_kept_and_said_and_numbers_are_numbers(run: Run) -> None:
    code, _, err = run(
        "new", "--car", "yaer=2014", "--car", "displacement_l=1,6", "--personal", "vin=1m8gdm9a xkp042788"
    )
    assert code == 0
    assert "Did you mean year?" in err
    with open_store("jobs.db") as store:
        assert store.current(1)[0].data == {"yaer": 2014, "displacement_l": 1.6}
        assert store.personal(1) == {"vin": "1M8GDM9AXKP042788"}
    code, _, err = run("new", "--personal", "vin=1M8GDM9A1KP042788", "--as-it-stands")
    assert (code, "check digit is not right" in err) == (0, True)


def test_a_failed_import_leaves_no_empty_record(run: Run, tmp_path: Path) -> None:
    Path("j.zip").write_bytes(b"no zip")
    assert run("import", "j.zip", "--store", "there.db")[0] == 2
    assert not list(tmp_path.glob("there.db*"))
    new(run)
    assert run("import", "j.zip")[0] == 2
    assert run("show", "1")[0] == 0, "a record that was there stays"


def test_verify_says_what_it_rests_on_and_exits_2_on_damage(run: Run) -> None:
    new(run)
    run("add", "1", "--stage", "before", "--kind", "note", "--data", "text=hisses")
    code, out, _ = run("verify", "1")
    assert code == 0
    assert "is as it was written: 2 entries" in out
    assert "cannot show" in out
    head = json.loads(run("verify", "1", "--json")[1])["result"]["head"]
    assert run("verify", "1", "--head", head[:12])[0] == 0
    assert run("verify", "1", "--head", "0" * 12)[0] == 2
    assert run("verify", "--all")[0] == 0
    connection = sqlite3.connect("jobs.db")
    connection.execute("UPDATE tickover_entries SET body = replace(body, 'hisses', 'whistles')")
    connection.commit()
    connection.close()
    code, out, _ = run("verify", "1")
    assert code == 2
    assert "NOT as it was written" in out
    assert "entry 2" in out
    assert run("verify", "--all")[0] == 2
    assert run("export", "1", "j.zip")[0] == 2
    code, out, _ = run("backup", "b.db")
    assert code == 2
    assert "entry 2" in out


def test_a_job_travels_by_zip_with_its_log_and_its_sheet(run: Run, tmp_path: Path) -> None:
    new(run, "--personal", "phone=0123")
    Path("idle.csv").write_text(LOG)
    Path("sheet.pdf").write_bytes(b"%PDF-1.7 sheet")
    run("add", "1", "--stage", "before", "--kind", "note", "--data", "a=1", "--attach", "idle.csv")
    run("add", "1", "--stage", "hand over", "--kind", "sheet", "--data", "a=1", "--attach", "sheet.pdf")
    code, out, _ = run("export", "1", "j.zip")
    assert code == 0
    assert "--without-personal" in out
    with zipfile.ZipFile("j.zip") as packed:
        names = packed.namelist()
        assert packed.read("sheet.pdf") == b"%PDF-1.7 sheet"
    assert sum(n.startswith("series/") for n in names) == 1
    there = ("--store", str(tmp_path / "there.db"))
    assert "Taken in as job 1: 3 entries" in run("import", "j.zip", *there)[1]
    assert "nothing new" in run("import", "j.zip", *there)[1]
    assert "phone: 0123" in run("show", "1", *there)[1]
    assert run("export", "1", "bare.zip", "--without-personal")[0] == 0
    with zipfile.ZipFile("bare.zip") as packed:
        assert b"0123" not in packed.read("personal.json")
    assert run("export", "1", "x.zip", "--sheet", "idle.csv")[0] == 2


def test_an_attachment_is_fetched_by_name_or_digest(run: Run) -> None:
    new(run)
    Path("idle.csv").write_text(LOG)
    run("add", "1", "--stage", "before", "--kind", "note", "--data", "a=1", "--attach", "idle.csv")
    assert run("fetch", "1", "idle.csv", "one.csv")[0] == 0
    assert Path("one.csv").read_text() == LOG
    digest = run("show", "1")[1].split("idle.csv [")[1][:12]
    assert run("fetch", "1", digest, "two.csv")[0] == 0
    assert run("fetch", "1", digest, "two.csv")[0] == 2


def test_purge_back_up_and_restore(run: Run, tmp_path: Path) -> None:
    new(run, "--personal", "phone=0123", "--personal", "customer=A.")
    assert "Erased from job 1: phone" in run("purge", "1", "--field", "phone", "--yes")[1]
    assert "nothing of that" in run("purge", "1", "--field", "phone", "--yes")[1]
    assert "1 job, 2 entries" in run("backup", "b.db")[1]
    assert run("backup", "b.db")[0] == 2
    assert run("backup", "b.db", "--replace")[0] == 0
    assert run("restore", "b.db")[0] == 2
    assert run("restore", "b.db", "--store", str(tmp_path / "c.db"))[0] == 0
    out = run("show", "1", "--store", str(tmp_path / "c.db"))[1]
    assert "customer: A." in out
    assert "0123" not in out
    assert json.loads(run("purge", "1", "--all", "--yes", "--json")[1])["result"]["fields"] == ["customer"]


def test_a_record_cannot_command_the_terminal(run: Run) -> None:
    new(run)
    run("add", "1", "--stage", "cause", "--kind", "note", "--data", "text=a\x1b[31mb [bold]c[/bold]")
    out = run("show", "1")[1]
    assert "\x1b[31m" not in out
    assert "[bold]c[/bold]" in out
    assert clean("a\x1b]0;x\x07b") == "a�]0;x�b"


class TestRecord:
    """What other commands use to keep their results."""

    def test_nothing_is_kept_where_no_job_is_named(self, tmp_path: Path) -> None:
        assert record(str(tmp_path / "none.db"), None, "before", "reading", {"a": 1}) is None
        assert record_drafts(str(tmp_path / "none.db"), None, []) == ()
        assert kept_line(None, None) == ""
        assert not (tmp_path / "none.db").exists()

    def test_a_result_is_kept_with_its_file_and_what_it_was_computed_from(self, run: Run) -> None:
        new(run)
        Path("idle.csv").write_text(LOG)
        result = CannotTell(reason="too short", way_out="record a minute")
        wrapped = envelope("idle", result, inputs={"seed": 20}, simulated=True)
        entry = record(
            "jobs.db", 1, "before", "no reading", wrapped, attachments=("idle.csv",), by="x", sentence="short"
        )
        assert entry is not None
        assert entry.data == {**result.model_dump(mode="json"), "sentence": "short"}
        assert (entry.inputs, entry.simulated, entry.by) == ({"seed": 20}, True, "x")
        assert [a.name for a in entry.attachments] == ["idle.csv"]
        assert kept_line(1, entry) == "Kept in job 1, entry 2."
        with open_store("jobs.db") as store:
            assert record(store, 1, "before", "no reading", result) == store.entries(1)[2]

    def test_an_unknown_job_is_said(self, run: Run) -> None:
        new(run)
        with pytest.raises(UnknownJobError):
            record("jobs.db", 2, "before", "note", {})

    def test_the_options_have_their_names(self) -> None:
        @store_option
        @job_option
        def command() -> None: ...

        names = {p.name for p in command.__click_params__}  # type: ignore[attr-defined]
        assert names == {"store", "job"}
