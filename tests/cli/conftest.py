"""What several tests of the command line share."""

from collections.abc import Callable
from pathlib import Path

import pytest

from tickover.cli import main

Run = Callable[..., tuple[int, str, str]]


@pytest.fixture
def run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Run:
    """The command line in an empty folder and record, 80 columns wide: exit code, output, complaints."""
    monkeypatch.setenv("COLUMNS", "80")
    monkeypatch.setenv("TICKOVER_STORE", str(tmp_path / "jobs.db"))
    monkeypatch.chdir(tmp_path)

    def run(*words: str) -> tuple[int, str, str]:
        with pytest.raises(SystemExit) as stop:
            main(list(words))
        said = capsys.readouterr()
        return int(stop.value.code or 0), said.out, said.err

    return run
