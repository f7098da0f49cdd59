"""The coach driven by real key presses in a pseudo-terminal, in real time."""

from __future__ import annotations

import contextlib
import os
import pty
import select
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from tickover.attempts import read_attempt
from tickover.coaching import judge_attempt
from tickover.routines import compile_routine, load_routine

SHORT = Path(__file__).with_name("short.toml")


class Terminal:
    """A `tickover coach` in a pseudo-terminal of 80 × 30."""

    def __init__(self, folder: Path, *options: str) -> None:
        self.folder = folder
        self.main, inner = pty.openpty()
        command = [
            sys.executable,
            "-m",
            "tickover",
            "coach",
            str(SHORT),
            "--out",
            str(folder),
            "--lead-in",
            "2",
            *options,
        ]
        env = {**os.environ, "TERM": "xterm", "COLUMNS": "80", "LINES": "30"}
        self.process = subprocess.Popen(
            command, stdin=inner, stdout=inner, stderr=inner, env=env, start_new_session=True, close_fds=True
        )
        os.close(inner)
        self.seen = ""

    def until(self, words: str, seconds: float = 20.0) -> None:
        """Read the screen until it shows the words."""
        end = time.monotonic() + seconds
        while words not in self.seen:
            assert time.monotonic() < end, f"no “{words}” in:\n{self.seen[-2000:]}"
            self._read(0.05)

    def _read(self, seconds: float) -> None:
        if select.select([self.main], [], [], seconds)[0]:
            with contextlib.suppress(OSError):  # Linux says so when the other side has closed
                self.seen += os.read(self.main, 65536).decode(errors="replace")

    def strike(self, key: str, after: float = 0.0) -> None:
        """Strike one key, so long after now, reading the screen meanwhile."""
        end = time.monotonic() + after
        while (left := end - time.monotonic()) > 0:
            self._read(left)
        os.write(self.main, key.encode())

    def finish(self) -> int:
        end = time.monotonic() + 20
        while self.process.poll() is None and time.monotonic() < end:
            self._read(0.1)
        self._read(0.1)
        code = self.process.wait(timeout=1)
        os.close(self.main)
        return code

    def attempts(self) -> list[Path]:
        return sorted(self.folder.glob("*.jsonl"))


def test_a_routine_struck_in_time_is_a_hit_in_its_file_and_on_the_screen(tmp_path: Path) -> None:
    terminal = Terminal(tmp_path)
    terminal.until("counts you in")
    terminal.strike("\r")
    terminal.until("READY")
    terminal.strike("i", after=1.0)
    terminal.strike(" ", after=1.0)
    terminal.strike(" ", after=1.0)
    terminal.strike("s", after=0.8)
    assert terminal.finish() == 0
    assert "Every step a hit" in terminal.seen
    (path,) = terminal.attempts()
    attempt = read_attempt(path)
    assert [e.kind for e in attempt.events] == ["ignition on", "press", "release", "crank", "end"]
    assert all(e.t_hi - e.t_lo < 0.3 for e in attempt.events)
    assert judge_attempt(compile_routine(load_routine(SHORT)), attempt).verdict == "hit"


def test_a_miss_is_told_at_once_says_how_to_recover_and_the_next_try_counts(tmp_path: Path) -> None:
    terminal = Terminal(tmp_path)
    terminal.until("counts you in")
    terminal.strike("\r")
    terminal.until("READY")
    terminal.strike("i", after=1.0)
    terminal.strike(" ", after=0.05)
    terminal.until("too early")
    terminal.until("begin again from step 1")
    terminal.until("Again from step 1")
    assert judge_attempt(compile_routine(load_routine(SHORT)), read_attempt(terminal.attempts()[0])).verdict == "missed"
    terminal.strike("\r")
    terminal.until("try 2")
    terminal.strike("q", after=0.5)
    assert terminal.finish() == 130
    assert len(terminal.attempts()) == 2


@pytest.mark.parametrize("stop", ["ctrl-c", "terminate"])
def test_stopped_in_the_middle_leaves_a_readable_file(tmp_path: Path, stop: str) -> None:
    terminal = Terminal(tmp_path)
    terminal.until("counts you in")
    terminal.strike("\r")
    terminal.until("READY")
    terminal.strike("i", after=1.0)
    terminal.strike(" ", after=1.0)
    time.sleep(0.4)
    if stop == "ctrl-c":
        os.kill(terminal.process.pid, signal.SIGINT)
    else:
        terminal.process.kill()
    code = terminal.finish()
    (path,) = terminal.attempts()
    kinds = [e.kind for e in read_attempt(path).events]
    assert kinds[:2] == ["ignition on", "press"]
    if stop == "ctrl-c":
        assert code == 130
        assert kinds[-1] == "end"
        assert "is kept in" in terminal.seen


def test_without_a_terminal_the_coach_says_what_it_needs() -> None:
    done = subprocess.run(
        [sys.executable, "-m", "tickover", "coach", str(SHORT)],
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 2
    assert "needs a terminal" in done.stderr
    assert "--person" in done.stderr


def test_a_simulated_person_coaches_on_the_simulated_car_without_a_terminal(tmp_path: Path) -> None:
    command = [sys.executable, "-m", "tickover", "coach", "pedal-hold", "--car", "simulated", "--out", str(tmp_path)]
    command += ["--person", "cv=0.05,event_sd=0.03", "--pace", "50"]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert "Every step a hit" in done.stdout
    assert "simulated" in done.stdout
    assert len(list(tmp_path.glob("*.jsonl"))) == 1


def test_a_miss_with_the_pedal_down_does_not_spoil_the_next_try(tmp_path: Path) -> None:
    command = [sys.executable, "-m", "tickover", "coach", "pedal-count", "--car", "simulated", "--out", str(tmp_path)]
    command += [
        "--person",
        "cv=0.005,scale=0.4",
        "--pace",
        "100",
    ]  # every wait 40 % too long: the first press is late
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    attempts = [read_attempt(path) for path in sorted(tmp_path.glob("*.jsonl"))]
    assert len(attempts) == 3
    assert [[e.kind for e in a.events][1] for a in attempts] == ["press"] * 3  # each ended with the pedal on the floor


def test_a_folder_that_cannot_be_made_is_told_before_the_set_up(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    command = [sys.executable, "-m", "tickover", "coach", "pedal-hold", "--out", str(tmp_path / "file")]
    done = subprocess.run(command, stdin=subprocess.DEVNULL, capture_output=True, text=True, check=False)
    assert done.returncode == 2
    assert "cannot be made a folder" in done.stderr
    assert "Set up" not in done.stdout


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (["--person", "cv=fast", "--car", "simulated"], "cv=fast"),
        (["--person", "cv=-1", "--car", "simulated"], "a share such as 0.1"),
        (["--person", "cv=0.1"], "--car simulated"),
        (["--pace", "3"], "real time"),
    ],
)
def test_options_that_make_no_sense_are_refused_with_the_way_out(options: list[str], words: str) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "tickover", "coach", "pedal-hold", *options],
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 2
    assert words in done.stderr
