"""What was typed wrongly: one line that says what, where and the way out, and exit code 2."""

import json
from collections.abc import Callable
from pathlib import Path

import pytest

from tickover.cause import Evidence
from tickover.cli.cause_read import RANGES
from tickover.cli.people import read_taps

Run = Callable[..., tuple[int, str, str]]
FIELDS = {
    "--trim": ("trims", "idle"), "--trim2": ("trims_bank2", "idle"), "--air": ("air_flow", "idle"),
    "--map": ("manifold", "idle"), "--volts": ("volts", "rest"), "--vacuum": ("vacuum", ""),
    "--speed": ("idle_speed", ""), "--idle-air": ("idle_air", ""), "--misfires": ("misfires", ""),
    "--roughness": ("roughness", ""), "--coolant": ("coolant", ""), "--ethanol": ("ethanol", ""),
}  # fmt: skip


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ("cause --vacuum 40inHg", "tickover cause: --vacuum: 40 lies outside 0 to 28.1 inHg."),
        ("cause --vacuum 900mmHg", "tickover cause: --vacuum: 900 lies outside 0 to 712.6 mmHg."),
        ("cause --trim warm=3", "tickover cause: --trim: “warm” is none of idle, load, 2500, cruise, hard."),
        ("cause --trim load=99", "tickover cause: --trim: load: 99 lies outside −60 to 60 %."),
        ("cause --trim2 idle=99", "tickover cause: --trim2: idle: 99 lies outside −60 to 60 %."),
        ("cause --volts rest=99", "tickover cause: --volts: rest: 99 lies outside 4 to 18 V."),
        ("cause --speed 9000", "tickover cause: --speed: 9000 lies outside 200 to 3500 r/min."),
        ("cause --trim idle=5±0", "tickover cause: --trim: “5±0” has a spread of 0;"),
        (
            "cause --idle-air 20:300",
            "tickover cause: --idle-air: the normal behind the colon: 300 lies outside 0 to 100 %.",
        ),
        ("cause --idle-air 20:0", "tickover cause: --idle-air: the normal behind the colon is above 0 %."),
        ("routine odds pedal-count --cv -1", "tickover routine odds: --cv: -1 lies outside 0 to 1."),
        ("routine odds pedal-count --event-sd 9", "tickover routine odds: --event-sd: 9 lies outside 0 to 1 s."),
        ("job show one", "tickover job show: JOB: “one” is no number of a job; `tickover job list` lists them."),
        ("idle a.csv --job x", "tickover idle: --job: “x” is no number of a job; `tickover job list` lists them."),
        ("idle a.csv --displacement 99", "tickover idle: --displacement: 99 lies outside 0.05 to 20 l."),
        ("coach pedal-hold --car real", "tickover coach: --car: “real” is none of simulated."),
        ("drive check --plan none.toml a.csv", "none.toml: there is no such file. `tickover drive plan --toml"),
    ],
)
def test_an_option_is_named_with_what_it_may_be(run: Run, words: str, told: str) -> None:
    code, out, err = run(*words.split())
    assert (code, out) == (2, "")
    assert err.startswith(told)
    assert len(err.splitlines()) == 1


def test_an_attempt_is_no_plan(run: Run) -> None:
    Path("attempt.jsonl").write_text("{}\n", encoding="utf-8")
    code, _, err = run("drive", "check", "--plan", "attempt.jsonl", "a.csv")
    assert code == 2
    assert err.startswith("attempt.jsonl: is no plan, which is a routine file and ends in .toml. `tickover drive plan")


def test_a_file_that_is_not_toml_gets_a_way_out(run: Run) -> None:
    Path("bad.toml").write_text("x = \n", encoding="utf-8")
    code, out, _ = run("routine", "check", "bad.toml")
    assert code == 2
    assert "line 1: not TOML: Invalid value A line reads name = value, with text in quotes." in " ".join(out.split())


@pytest.mark.parametrize("option", RANGES)
def test_the_ranges_that_are_told_are_those_of_the_evidence(option: str) -> None:
    lo, hi, _ = RANGES[option]
    field, point = FIELDS[option]

    def given(value: float) -> object:
        return Evidence.model_validate({field: {point: value} if point else value})

    given(lo), given(hi)
    for outside in (lo - 0.01, hi + 0.01):
        with pytest.raises(ValueError, match="lies outside"):
            given(outside)


@pytest.mark.parametrize("text", ["aimed;made;cued\n2,5;2,45;0\n0,5;0,52;1\n", "2.5\t2.45\t0\n0.5\t0.52\t1\n"])
def test_taps_with_semicolons_and_decimal_commas_or_tabs_are_read(tmp_path: Path, text: str) -> None:
    path = tmp_path / "taps.csv"
    path.write_text(text, encoding="utf-8")
    assert [(t.aimed, t.made, t.cued) for t in read_taps(path).taps] == [(2.5, 2.45, False), (0.5, 0.52, True)]


def test_taps_that_are_none_say_where_and_how(run: Run) -> None:
    Path("bad.csv").write_text("2,2.1\nabc,2\n", encoding="utf-8")
    code, _, err = run("practice", "--taps", "bad.csv")
    assert code == 2
    assert err.startswith("bad.csv, line 2: aimed is no number: “abc”. Write one tap a line")


def test_a_miss_says_what_to_do_now_and_whether_to_try_again(run: Run) -> None:
    from tickover.attempts import AttemptWriter, Header
    from tickover.routines import compile_routine, load_routine

    routine = compile_routine(load_routine("pedal-hold"))
    with Path("a.jsonl").open("w", encoding="utf-8") as stream:
        writer = AttemptWriter(stream, Header(routine=routine.id, routine_hash=routine.digest, simulated=True))
        for kind, t in (("ignition on", 0.0), ("press", 3.0), ("release", 20.0), ("crank", 22.0), ("end", 25.0)):
            writer.event(kind, t, t)
    _, out, _ = run("judge", "a.jsonl", "--routine", "pedal-hold")
    assert "Missed: let up came 10.00 s too early (let up after press: 27 to 33 s)." in " ".join(out.split())
    assert f"Now: {routine.after_miss}" in " ".join(out.split())
    assert "if this was not try 3" in " ".join(out.split())
    run("job", "new", "--simulated")
    _, out, _ = run("judge", "a.jsonl", "--routine", "pedal-hold", "--job", "1")
    assert "Then try again. Try 2 of at most 3." in " ".join(out.split())
    code, out, err = run("judge", "a.jsonl", "--routine", "pedal-hold", "--job", "1", "--json")
    assert code == 0
    assert json.loads(out)["result"]["recovery"] == routine.after_miss
    assert "This attempt is already entry 2 of job 1; nothing was added." in err
