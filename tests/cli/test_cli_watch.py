"""``tickover watch``: the answer first, tables of any ordinary shape, and a job that knows of it."""

from collections.abc import Callable
from pathlib import Path

import pytest

from tickover.cli import main

Run = Callable[..., tuple[int, str, str]]
SEMI = "at;Trim [%];spread\n1;2,5;7\n2;3,0;7,5\n"


@pytest.fixture
def run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Run:
    monkeypatch.setenv("COLUMNS", "80")
    monkeypatch.setenv("TICKOVER_STORE", str(tmp_path / "jobs.db"))
    monkeypatch.chdir(tmp_path)

    def run(*words: str) -> tuple[int, str, str]:
        with pytest.raises(SystemExit) as stop:
            main(list(words))
        said = capsys.readouterr()
        return int(stop.value.code or 0), said.out, said.err

    return run


@pytest.mark.parametrize(
    ("rows", "first"),
    [
        ("2,7\n3,8\n", "┄ Go on watching, one reading a drive: about "),
        ("2,7\n" * 8, "◆ It stays well, decided after "),
        ("10,14\n" * 8, "◆ It comes back, by the idle trim and the spread of the idle"),
    ],
)
def test_the_first_line_is_the_answer(run: Run, rows: str, first: str) -> None:
    Path("d.csv").write_text("trim,spread\n" + rows, encoding="utf-8")
    code, out, _ = run("watch", "d.csv", "--normal-trim", "2", "--normal-spread", "7")
    assert code == 0
    assert " ".join(out.split()).startswith(first)
    assert all(len(line.rstrip()) <= 80 for line in out.splitlines())


def test_semicolons_decimal_commas_and_units_in_the_header_are_read(run: Run) -> None:
    Path("d.csv").write_text(SEMI, encoding="utf-8")
    code, out, _ = run("watch", "d.csv", "--normal-trim", "2", "--normal-spread", "7", "--json")
    assert code == 0
    assert '"drives": 2' in out


def test_the_misfire_counter_is_explained(run: Run) -> None:
    Path("d.csv").write_text("trim,misfires\n2,17\n", encoding="utf-8")
    _, out, _ = run("watch", "d.csv", "--normal-trim", "2")
    said = " ".join(out.split())
    assert "It stands at 17. 6 to 7 drives in a row without a missed firing bring it below 10" in said
    assert "1 reading, 6 are needed" in said
    assert "clean cycles" not in said
    _, out, _ = run("watch", "d.csv", "--below", "5")
    assert "stops falling at 5 and never passes below 5. Give a level above 5" in " ".join(out.split())


@pytest.mark.parametrize(
    ("text", "words", "told"),
    [
        (None, (), "d.csv: there is no such file. Name a table of drives."),
        ("drive,stft\n1,3\n", (), "d.csv, line 1: no column is called trim, spread or misfires; it has drive, stft."),
        ("trim,spread\n", (), "d.csv: has a header and no drive."),
        ("at,trim\n2,3\n2,3\n", (), "d.csv, line 3: at 2 does not come after 2 of the drive before."),
        ("trim\n3\n", ("--alpha", "2"), "tickover watch: --alpha: 2 is not above 0 and below 0.5."),
        ("trim\n3\n", ("--alpha", "x"), "tickover watch: --alpha: “x” is no number."),
        ("trim\n3\n", ("--normal-trim", "99"), "tickover watch: --normal-trim: 99 lies outside -60 to 60 %."),
    ],
)
def test_bad_input_gets_one_line_with_a_way_out(run: Run, text: str | None, words: tuple[str, ...], told: str) -> None:
    if text is not None:
        Path("d.csv").write_text(text, encoding="utf-8")
    code, out, err = run("watch", "d.csv", *words)
    assert (code, out) == (2, "")
    assert err.startswith(told)
    assert len(err.splitlines()) == 1
    assert "Errno" not in err


def test_a_watch_kept_in_a_job_decides_what_is_next(run: Run) -> None:
    run("job", "new", "--simulated")
    Path("d.csv").write_text("trim\n2\n", encoding="utf-8")
    run("watch", "d.csv", "--normal-trim", "2", "--job", "1")
    _, out, _ = run("job", "next", "1", "--tell")
    assert "Next: Drive" in out
    assert "tickover watch DRIVES --normal-trim 2 --job 1" in out
    Path("d.csv").write_text("trim\n" + "12\n" * 5, encoding="utf-8")
    run("watch", "d.csv", "--normal-trim", "2", "--job", "1")
    _, out, _ = run("job", "show", "1")
    assert "Next: Cause. It came back: find what is acting." in " ".join(out.split())
