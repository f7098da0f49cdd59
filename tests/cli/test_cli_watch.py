"""``tickover watch``: the answer first, tables of any ordinary shape, and a job that knows of it."""

import json
from collections.abc import Callable
from pathlib import Path

import pytest

Run = Callable[..., tuple[int, str, str]]
SEMI = "at;Trim [%];spread\n1;2,5;7\n2;3,0;7,5\n"


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
        ("at,trim\n2,3\n2,3\n", (), "d.csv, line 3: column at: 2 does not come after 2 of the drive before. Put"),
        (
            "trim,spread\n3,7\nx,7\n9,y\n",
            (),
            "d.csv, line 3: column trim: “x” is no number (and 1 more: lines 4). Write short and long trim together, "
            "from -60 to 60 %, like 3.5;",
        ),
        ("spread\n-7\n", (), "d.csv, line 2: column spread: “-7” cannot be. Write it in r/min, above 0"),
        ("trim\nnan\n", (), "d.csv, line 2: column trim: “nan” cannot be."),
        (
            "trim,spread\n2,5,7\n",
            (),
            "d.csv, line 2: has 3 cells, the first row names 2 columns. Write decimals with a point, or part the cells",
        ),
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


def test_watch_and_cause_agree_in_one_job(run: Run) -> None:
    """A watch that came back is what Cause goes by, not the verdict and the reading of when it was well."""
    run("job", "new", "--simulated", "--car", "metering=air", "--car", "displacement_l=2.0")
    run("job", "add", "1", "--stage", "after", "--kind", "comparison", "--data", "verdict=settled")
    Path("d.csv").write_text("trim,spread\n10,14\n11,13\n9,15\n12,14\n", encoding="utf-8")
    _, out, _ = run("watch", "d.csv", "--normal-trim", "2", "--normal-spread", "7", "--job", "1")
    assert "a relapse" in " ".join(out.split())
    _, out, _ = run("cause", "--job", "1", "--json")
    told = json.loads(out)
    assert told["inputs"]["evidence"]["trims"]["idle"]["value"] == pytest.approx(10.667, abs=0.01)
    assert "verdict" not in told["inputs"]["evidence"]
    assert told["result"]["advice"] == "do not relearn"
    assert "speaks of a fault" not in told["result"]["sentence"]


def test_job_next_follows_cause_and_runs_the_test_only_with_what_came_of_it(run: Run) -> None:
    run("job", "new", "--simulated", "--car", "metering=air")
    run("cause", "--job", "1", "--trim", "idle=+18", "--trim", "2500=+6", "--did", "nothing")
    test = json.loads(run("job", "next", "1", "--json")[1])["result"]
    assert test["test"] in test["command"]
    assert test["command"].startswith("tickover cause --job 1 --")
    _, out, _ = run("job", "next", "1")
    assert "Next: Cause, the next test" in out
    assert "ready" not in out
    assert len(json.loads(run("job", "show", "1", "--json")[1])["result"]["entries"]) == 2, "nothing was run"
    run("cause", "--job", "1", "--test", "pinch=falls")
    assert "Next: Mend it, then write down the repair" in run("job", "next", "1", "--tell")[1]
    run("job", "next", "1", "brake hose replaced")
    entries = json.loads(run("job", "show", "1", "--json")[1])["result"]["entries"]
    assert (entries[-1]["kind"], entries[-1]["data"]) == ("repair", {"text": "brake hose replaced"})
    assert "Next: Arrive" in run("job", "show", "1")[1]
