"""``tickover arrive``, from the shell's side and in a pseudo-terminal."""

import json
import os
import pty
import re
import select
import shlex
import signal
import subprocess
import sys
import termios
import time
from pathlib import Path

import numpy as np
from click.testing import CliRunner

from tickover.arrival import QUESTIONS
from tickover.cli.arrive import arrive_command
from tickover.errors import TickoverError
from tickover.logs import write_log
from tickover.signals import Recording, Series

RUN = "from tickover.cli.arrive import arrive_command; arrive_command()"
GOOD = ["drive=petrol", "complaint=high", "before=cleaned", "throttle=electronic", "lamp=dark", "codes=none"]


def run(*options, answers=GOOD):
    words = [w for a in answers for w in ("--answer", a)]
    return CliRunner().invoke(arrive_command, [*words, *map(str, options)], catch_exceptions=True, terminal_width=100)


def test_story_then_ladder_then_what_to_type():
    out = run().output
    places = [out.index(w) for w in ("Old memory on a clean bore", "In this order", "power-cycle", "Type next")]
    assert places == sorted(places)
    assert "tickover idle LOG" in out
    assert "tickover coach" in out


def test_stop_signs_come_first_each_with_what_to_do_instead():
    out = run(answers=[*GOOD, "danger=fuel", "leak=yes"]).output
    assert out.startswith("Stop: smell of fuel")
    assert out.index("Instead: Ignition off") < out.index("Not by relearn: known leak") < out.index("Old memory")
    assert "No routine now" in out
    assert "tickover coach" not in out


def test_json_in_the_versioned_envelope():
    found = json.loads(run("--json", "--volts", "12.5").output)
    assert found["what"] == "arrive"
    assert found["v"] == 1
    assert found["result"]["arrival"]["answers"]["codes"] == []
    assert found["result"]["arrival"]["ladder"]["rungs"][0]["sort"] == "routine"
    assert found["result"]["set_up"]["battery"]["standing"] == "fine"
    assert found["inputs"]["volts"] == 12.5


def test_set_up_from_a_log(tmp_path):
    t = np.arange(0, 100, 1.0)
    series = {"engine_speed": Series.at(t, np.full(100, 700.0)), "coolant_temperature": Series.at(t, 86 + 0.05 * t)}
    write_log(Recording(series), tmp_path / "warm.csv")
    found = json.loads(run("--json", "--coolant-log", tmp_path / "warm.csv", "--fan-on", "95").output)
    fan = found["result"]["set_up"]["fan"]["seconds"]
    assert fan["lo"] <= (95 - 86 - 4.95) / 0.05 <= fan["hi"]


def test_bad_words_are_named():
    for options, answers, words in (
        ([], ["lamp=drak"], "Did you mean “dark”"),
        (["--volts", "12.5", "--coolant-log", "x.csv"], GOOD, "not both"),
        (["--volts", "120"], GOOD, "cannot be"),
        ([], [], "--questions"),
    ):
        error = run(*options, answers=answers).exception
        assert isinstance(error, TickoverError)
        assert words in str(error)


def test_the_questions_are_listed():
    out = run("--questions", answers=[]).output
    assert all(q.ask in out for q in QUESTIONS)


def test_the_how_to_page_is_run():
    text = (Path(__file__).parents[2] / "docs" / "how-to" / "arrive.md").read_text(encoding="utf-8")
    command = re.search(r"tickover arrive (--answer .*\\\n.*)\n", text)[1].replace("\\\n", " ")
    assert "Old memory on a clean bore" in run(*shlex.split(command), answers=[]).output
    for options in re.findall(r"`(--(?:volts|coolant|fan-on) [^`]*)`", text):
        assert run(*shlex.split(options)).exit_code == 0
    assert "Sixteen questions" in text
    assert len(QUESTIONS) == 16


class Terminal:
    """The command in a pseudo-terminal."""

    def __init__(self):
        self.main, inner = pty.openpty()
        env = {**os.environ, "TERM": "xterm", "COLUMNS": "100", "LINES": "60"}
        self.process = subprocess.Popen(
            [sys.executable, "-c", RUN], stdin=inner, stdout=inner, stderr=inner, env=env, start_new_session=True
        )
        os.close(inner)
        self.seen = ""

    def until(self, words, seconds=20.0):
        end = time.monotonic() + seconds
        while words not in self.seen:
            assert time.monotonic() < end, f"no “{words}” in:\n{self.seen[-2000:]}"
            if select.select([self.main], [], [], 0.05)[0]:
                try:
                    self.seen += os.read(self.main, 65536).decode(errors="replace")
                except OSError:
                    assert words in self.seen, f"ended without “{words}”:\n{self.seen[-2000:]}"

    def type(self, keys):
        os.write(self.main, keys.encode())


KEYS = {"lamp": "1", "codes": "3", "complaint": "912\r", "drive": "1", "before": "2\r", "throttle": "2"}


def test_one_key_each_on_a_terminal():
    terminal = Terminal()
    try:
        terminal.until("Is there danger?")
        terminal.until("then Enter")
        for question in QUESTIONS:  # typed ahead: no key is lost
            terminal.type(KEYS.get(question.name, "\r"))
            if question.name == "codes":
                terminal.type("p05x\x7f05\r")
        terminal.until("Type next")
        assert "“p0505” is no" not in terminal.seen
        assert "P0505: the controller has seen the idle off" in terminal.seen
        assert "idles high, the revs hang" in terminal.seen
        assert "Old memory on a clean bore" in terminal.seen
    finally:
        terminal.process.kill()
        terminal.process.wait()
        os.close(terminal.main)


def test_a_mistyped_code_is_asked_again_and_nothing_is_lost():
    terminal = Terminal()
    try:
        terminal.until("then Enter")
        terminal.type("\r1" + "3" + "505\r")
        terminal.until("“505” is no trouble code")
        terminal.type("P0505\r")
        terminal.until("What does it do, warm?")
    finally:
        terminal.process.kill()
        terminal.process.wait()
        os.close(terminal.main)


def test_ctrl_c_leaves_the_terminal_as_it_was():
    terminal = Terminal()
    try:
        before = termios.tcgetattr(terminal.main)[3] & (termios.ICANON | termios.ECHO)
        terminal.until("then Enter")
        terminal.process.send_signal(signal.SIGINT)  # what Ctrl-C sends on a terminal of its own
        assert terminal.process.wait(10) != 0
        assert termios.tcgetattr(terminal.main)[3] & (termios.ICANON | termios.ECHO) == before
    finally:
        terminal.process.kill()
        terminal.process.wait()
        os.close(terminal.main)
