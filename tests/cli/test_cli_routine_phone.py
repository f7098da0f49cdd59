"""``routine phone`` writes one small file, and says where."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from tickover.cli.routine_phone import phone_command
from tickover.errors import InputError


@pytest.mark.parametrize("switch", ["key", "button"])
def test_the_file_is_written_and_its_size_told(tmp_path: Path, switch: str) -> None:
    out = tmp_path / "coach.html"
    done = CliRunner().invoke(phone_command, ["pedal-hold", "--out", str(out), "--switch", switch, "--json"])
    assert done.exit_code == 0, done.output
    assert json.loads(done.output)["result"]["size"] == out.stat().st_size
    assert out.read_text(encoding="utf-8").startswith("<!doctype html>")


def test_a_folder_that_is_not_there_is_one_clear_error(tmp_path: Path) -> None:
    done = CliRunner().invoke(phone_command, ["pedal-hold", "--out", str(tmp_path / "none" / "x.html")])
    assert isinstance(done.exception, InputError)
    assert "cannot be written" in str(done.exception)
