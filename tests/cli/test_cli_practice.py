"""The practice command and persons on the command line."""

import json
import re
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from rich.console import Console

from tickover.cli.coach import coach_command
from tickover.cli.keys import LATENCY, Key
from tickover.cli.people import Kept, kept_file, load_person, one_of, parse_person, people_of, read_kept, read_taps
from tickover.cli.practice import practice_command
from tickover.cli.practice_run import Session
from tickover.cli.routine_odds import odds_command
from tickover.coaching.practice import Task
from tickover.errors import InputError
from tickover.timing import Person
from tickover.timing.learn import Learned


def run(*args: object) -> Result:
    return CliRunner().invoke(practice_command, [str(a) for a in args])


def taps_file(folder: Path, lines: list[str]) -> Path:
    file = folder / "taps.csv"
    file.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return file


def test_a_simulated_practice_says_that_it_is_and_keeps_nothing(tmp_path: Path) -> None:
    found = run("--simulate", "cv=0.12", "--folder", tmp_path)
    assert found.exit_code == 0, found.output
    assert "(simulated)" in found.output
    assert "not determined" in found.output
    assert "Nothing was kept" in found.output
    assert list(tmp_path.iterdir()) == []


def test_kept_by_name_added_to_listed_and_forgotten(tmp_path: Path) -> None:
    for _ in range(2):
        assert run("--simulate", "cv=0.12", "--intervals", 12, "--by", "Ann", "--folder", tmp_path).exit_code == 0
    kept = read_kept(tmp_path / "Ann.json")
    assert len([t for t in kept.taps if not t.cued]) == 24
    assert kept.simulated
    assert run("--list", "--folder", tmp_path).output == "Ann\n"
    known = load_person("Ann", tmp_path)
    assert isinstance(known, Learned)
    assert known.intervals == 24
    assert len(people_of(known)) > 20
    assert 0.05 < one_of(known).spread(2.0) < 0.6
    assert run("--forget", "Ann", "--folder", tmp_path).output == "Forgotten: Ann\n"
    assert run("--list", "--folder", tmp_path).output == "Nobody is kept.\n"
    with pytest.raises(InputError, match="nobody is kept"):
        load_person("Ann", tmp_path)


def test_json_holds_ranges_and_reasons() -> None:
    found = json.loads(run("--simulate", "cv=0.12", "--by-feel", "--json").stdout)
    assert found["simulated"] is True
    figures = found["result"]["figures"]
    assert figures["cv"]["lo"] < 0.12 * 1.3
    assert figures["motor_sd"]["kind"] == "cannot tell"
    assert found["result"]["model"] == "timed"


def test_taps_are_read_from_lines_with_or_without_names(tmp_path: Path) -> None:
    rows = [f"{d},{d * f:.3f}" for f in (0.9, 0.95, 1.0, 1.05, 1.1) for d in (0.5, 2.0, 6.0)]
    beats = [f"{k},{k + 0.03 * (-1) ** k:.3f},1,0.005" for k in range(1, 15)]
    kept = read_taps(taps_file(tmp_path, ["# by phone", "aimed,made,cued,off", *rows, "", *beats]))
    assert (len(kept.taps), kept.name) == (29, "taps")
    assert kept.taps[-1].cued
    assert kept.taps[-1].off == 0.005
    found = run("--taps", tmp_path / "taps.csv")
    assert "15 intervals, 14 taps to a beat" in found.output


@pytest.mark.parametrize(
    ("line", "says"),
    [
        ("1.0", "1 column"),
        ("a,b", "aimed is no number: “a”"),
        ("1,2,maybe", "neither cued"),
        ("0,1", "takes time"),
        ("1,nan", "cannot"),
    ],
)
def test_a_bad_line_is_named(tmp_path: Path, line: str, says: str) -> None:
    with pytest.raises(InputError, match=says) as why:
        read_taps(taps_file(tmp_path, ["aimed,made", "1,1.1", line]))
    assert why.value.line == 3


def test_an_empty_file_and_a_broken_one_are_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="holds no taps"):
        read_taps(taps_file(tmp_path, ["aimed,made"]))
    with pytest.raises(InputError, match="is not a file of practice"):
        read_taps(taps_file(tmp_path, ['{"v": 1, "name": "x", "taps": [{"aimed": "long"}]}']))
    with pytest.raises(InputError, match="there is no such file"):
        read_taps(tmp_path / "none.csv")


@pytest.mark.parametrize("name", ["../x", "a/b", "", ".", "x" * 80, "a\nb"])
def test_names_that_cannot_be_files_are_refused(tmp_path: Path, name: str) -> None:
    with pytest.raises(InputError):
        kept_file(name, tmp_path)


def test_real_and_simulated_taps_are_not_mixed_nor_two_ways_of_timing(tmp_path: Path) -> None:
    assert run("--simulate", "cv=0.1", "--by", "Bo", "--aloud", "--folder", tmp_path).exit_code == 0
    taps = taps_file(tmp_path, ["2,2.1", "6,6.1"])
    assert "not mixed" in str(run("--taps", taps, "--by", "Bo", "--folder", tmp_path).exception)
    again = run("--simulate", "cv=0.1", "--by", "Bo", "--by-feel", "--folder", tmp_path)
    assert "are different" in str(again.exception)


def test_figures_make_a_person_and_wrong_ones_are_told() -> None:
    assert parse_person("cv=0.08, event_sd=0.03") == Person(cv=0.08, event_sd=0.03)
    assert people_of(Person()) == []
    for text, says in (("speed=3", "no figure"), ("cv=x", "no figure"), ("cv=-1", "cannot be")):
        with pytest.raises(InputError, match=says):
            parse_person(text)


class Fingers:
    """Keys struck at given times of a clock that moves only while waited on."""

    def __init__(self, struck: list[tuple[float, str]]) -> None:
        self.now, self.struck = 0.0, struck

    def wait(self, seconds: float) -> list[Key]:
        if self.struck and self.struck[0][0] <= self.now + seconds:
            t, char = self.struck.pop(0)
            self.now = max(self.now, t)
            return [Key(char, t - LATENCY, t)]
        self.now += seconds
        return []

    def session(self, todo: list[Task]) -> Session:
        return Session(self, Console(quiet=True), todo, clock=lambda: self.now)


def test_a_session_takes_pairs_of_taps_and_taps_to_the_beat() -> None:
    beats = [Task(float(k), cued=True) for k in range(1, 9)]
    # The first key begins; the beat is counted 2 s later from 1 on, so beat k falls at 10 + 1 + k.
    struck = (
        [(10.0, " ")]
        + [(11.0 + k + 0.05, " ") for k in range(1, 9)]
        + [(30.0, " "), (32.2, " "), (40.0, " "), (44.5, " ")]
    )
    fingers = Fingers(struck)
    taps = fingers.session([*beats, Task(2.0), Task(4.0)]).run()
    assert [t.cued for t in taps] == [True] * 4 + [False] * 2
    assert [round(t.made - t.aimed, 3) for t in taps] == [0.03] * 4 + [0.2, 0.5]
    assert taps[-1].off == pytest.approx(LATENCY / 6**0.5)
    assert taps[0].off == pytest.approx(LATENCY / 12**0.5)


def test_q_stops_and_keeps_and_a_second_tap_that_never_comes_is_left_out() -> None:
    struck = [(1.0, " "), (3.0, " "), (5.0, " "), (100.0, " "), (101.9, " "), (102.0, "q")]
    taps = Fingers(struck).session([Task(2.0)] * 10).run()
    assert [round(t.made, 3) for t in taps] == [2.0, 1.9]


def test_without_a_terminal_the_way_out_is_told() -> None:
    assert "--simulate" in str(run().exception)


def test_what_is_kept_is_the_taps_themselves(tmp_path: Path) -> None:
    run("--simulate", "cv=0.12", "--by", "Cy", "--folder", tmp_path)
    text = (tmp_path / "Cy.json").read_text(encoding="utf-8")
    assert set(json.loads(text)) == {"v", "record", "name", "model", "simulated", "taps"}
    assert Kept.model_validate_json(text).as_taps()


def test_coach_tells_the_odds_of_somebody_learned_as_a_range(tmp_path: Path) -> None:
    run("--simulate", "cv=0.12", "--by", "Di", "--folder", tmp_path)
    options = ["pedal-hold", "--car", "simulated", "--pace", "200", "--seed", "3", "--out", str(tmp_path / "out")]
    found = CliRunner().invoke(coach_command, [*options, "--person", str(tmp_path / "Di.json")])
    assert found.exit_code == 0, found.output
    told = re.search(r"Odds of a clean run unaided, as you time: (\d+) % \((\d+) to (\d+) %\)", found.output)
    assert told, found.output
    assert int(told[2]) < int(told[1]) < int(told[3])


def test_a_person_that_is_nowhere_is_a_usage_error() -> None:
    found = CliRunner().invoke(coach_command, ["pedal-hold", "--person", "nobody-of-that-name"])
    assert found.exit_code == 2
    assert "tickover practice --by" in found.output


def test_odds_of_somebody_learned_are_a_range_over_what_is_known(tmp_path: Path) -> None:
    run("--simulate", "cv=0.12", "--by", "Ed", "--folder", tmp_path)
    file = str(tmp_path / "Ed.json")
    found = json.loads(CliRunner().invoke(odds_command, ["pedal-hold", "--person", file, "--json"]).output)["result"]
    assert found["learned"] is True
    assert found["lo"] < found["p"] < found["hi"]
    both = CliRunner().invoke(odds_command, ["pedal-hold", "--person", file, "--cv", "0.1"])
    assert both.exit_code == 2
    figures = CliRunner().invoke(odds_command, ["pedal-hold", "--person", "cv=0.1,event_sd=0.035", "--json"]).output
    plain = CliRunner().invoke(odds_command, ["pedal-hold", "--cv", "0.1", "--json"]).output
    assert json.loads(figures)["result"] == json.loads(plain)["result"]
