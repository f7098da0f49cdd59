"""``tickover drive``, from the shell's side."""

import json
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

from tickover.cli.drive import drive_group
from tickover.errors import InputError
from tickover.logs import write_log

sys.path.insert(0, str(Path(__file__).parent))
from drive_logs import mock_drive

GPX = """<?xml version="1.0"?><gpx xmlns="http://www.topografix.com/GPX/1/1" version="1.1" creator="x"><trk><trkseg>
{points}</trkseg></trk></gpx>"""


@pytest.fixture
def drives(tmp_path):
    write_log(mock_drive(), tmp_path / "a.csv")
    points = [
        f'<trkpt lat="50" lon="8"><time>2026-03-01T10:{k // 60:02d}:{k % 60:02d}Z</time>'
        f"<speed>{0 if k < 60 else 15}</speed></trkpt>"
        for k in range(0, 900, 2)
    ]
    (tmp_path / "b.gpx").write_text(GPX.format(points="\n".join(points)))
    (tmp_path / "c.csv").write_text("nothing\n")
    return tmp_path


def run(*args):
    found = CliRunner().invoke(drive_group, [str(a) for a in args])
    if found.exception is not None and not isinstance(found.exception, SystemExit):
        raise found.exception
    return found


def test_a_log_is_told_in_words(drives):
    out = " ".join(run("check", drives / "a.csv").output.split())
    assert "2:41 of 3:00; lost at 12:04 when speed fell to 79.6" in out
    assert "Trade practice, no published source" in out
    assert "only the car knows" in out


def test_a_track_of_speeds_alone(drives):
    pytest.importorskip("defusedxml", reason="GPX needs it")
    found = json.loads(run("check", drives / "b.gpx", "--whole", "--for", "general,warm-up", "--json").output)
    verdicts = {m["id"]: m["verdict"] for m in found["result"]["monitors"]}
    assert verdicts == {"general": "met", "warm-up": "cannot tell"}
    assert found["what"] == "drive check"


def test_a_folder_is_a_table_of_words(drives):
    out = run("check", drives, "--for", "general,catalyst").output
    assert "General denominator: " in out
    assert "not read" in out
    assert "Catalyst: none of these drives" in out
    rows = json.loads(run("check", drives, "--json").output)["result"]["rows"]
    assert [r["file"] for r in rows] == ["a.csv", "b.gpx", "c.csv"]


def test_an_empty_folder_is_refused(tmp_path):
    with pytest.raises(InputError, match="holds no log"):
        run("check", tmp_path)


@pytest.mark.parametrize("name", ["x.svg", "x.png"])
def test_the_drive_is_drawn(drives, name):
    assert "Written" in run("check", drives / "a.csv", "--figure", drives / name, "--width", "360").output
    assert (drives / name).stat().st_size > 2000
    assert run("check", drives / "a.csv", "--figure", "x.pdf").exit_code == 2


def test_a_plan_and_its_check(drives):
    file = drives / "plan.toml"
    out = run("plan", "--open", "catalyst,evap,general", "--coolant", 20, "--fuel", 60, "--ambient", 15, "--soaked", 0,
              "--now", "22:30", "--limit", 100, "--toml", file).output  # fmt: skip
    assert "tomorrow 06:30 at the earliest" in out
    assert "The driver only listens" in out
    steps = json.loads(run("check", drives / "a.csv", "--plan", file, "--json").output)["result"]["steps"]
    assert steps
    assert all(s["basis"].startswith("As the plan") for s in steps)


def test_what_is_refused_is_said(drives):
    out = " ".join(run("plan", "--open", "evap", "--fuel", 5).output.split())
    assert "No drive to plan" in out
    assert "Not in this plan: fuel level 5 %" in out
    with pytest.raises(InputError, match="no road is called"):
        run("plan", "--open", "general", "--roads", "twon")
    with pytest.raises(InputError, match="no drive in this plan"):
        run("plan", "--open", "evap", "--fuel", 5, "--toml", drives / "p.toml")
    assert json.loads(run("plan", "--open", "general", "--json").output)["result"]["minutes"] > 5
