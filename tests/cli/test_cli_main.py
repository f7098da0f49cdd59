"""The door itself: lazy, one shape of error, exit codes."""

import json
import subprocess
import sys

import click
import pytest

from tickover.cli import COMMANDS, main, say_error, tickover
from tickover.errors import Fault, RoutineFileError


def test_help_lists_every_command_and_imports_none_of_them() -> None:
    code = (
        "import sys\n"
        "from tickover.cli import main\n"
        "try:\n    main(['--help'])\nexcept SystemExit as stop:\n    assert not stop.code\n"
        "heavy = {'numpy', 'scipy', 'polars', 'pydantic', 'rich', 'typst'} & set(sys.modules)\n"
        "assert not heavy, heavy\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert all(name in done.stdout for name in COMMANDS)


@pytest.mark.parametrize("name", list(COMMANDS))
def test_every_listed_command_exists_and_helps(name: str) -> None:
    command = tickover.get_command(click.Context(tickover), name)
    assert command is not None
    assert command.help, name
    assert command.name == name


def test_an_unknown_command_is_said_and_exits_2(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as stop:
        main(["rev-counter"])
    assert stop.value.code == 2
    assert "rev-counter" in capsys.readouterr().err


def test_an_error_is_one_message_for_people_and_one_shape_for_programs(capsys: pytest.CaptureFixture[str]) -> None:
    say_error(RoutineFileError("mine.toml", [Fault(line=4, what="no bound")]), as_json=True)
    out, err = capsys.readouterr()
    assert json.loads(out)["values"]["faults"][0]["line"] == 4
    assert "line 4: no bound" in err


def test_a_missing_file_exits_2_with_its_name(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as stop:
        main(["idle", "no-such-log.csv"])
    assert stop.value.code == 2
    assert "no-such-log.csv" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("words", "meant"),
    [
        (["handover", "1"], "`tickover job handover`"),
        (["job", "handovr", "1"], "`tickover job handover`"),
        (["job", "idle"], "`tickover idle`"),
        (["jud"], "`tickover judge`"),
        (["plan"], "`tickover drive plan`"),
    ],
)
def test_a_command_that_is_elsewhere_or_mistyped_is_named(
    capsys: pytest.CaptureFixture[str], words: list[str], meant: str
) -> None:
    with pytest.raises(SystemExit) as stop:
        main(words)
    assert stop.value.code == 2
    assert f"Did you mean {meant}" in capsys.readouterr().err
    with pytest.raises(SystemExit):
        main(["xyzzy"])
    assert "Did you mean" not in capsys.readouterr().err
