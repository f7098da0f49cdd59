"""``tickover serve`` as a process: it answers, it refuses, and Ctrl-C ends it."""

from __future__ import annotations

import re
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import httpx2 as httpx
import pytest
from click.testing import CliRunner

from tickover.cli import tickover


def free() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@contextmanager
def served(tmp_path: Path, *words: str) -> Iterator[tuple[subprocess.Popen[str], int, Path]]:
    port, said = free(), tmp_path / "said.txt"
    line = [sys.executable, "-m", "tickover", "serve", "--port", str(port), *words]
    env = {"TICKOVER_STORE": str(tmp_path / "jobs.db"), "HOME": str(tmp_path), "PATH": "/usr/bin:/bin"}
    with said.open("w") as out, subprocess.Popen(line, stdout=out, stderr=subprocess.STDOUT, env=env, text=True) as run:
        try:
            yield run, port, said
        finally:
            run.send_signal(signal.SIGINT)
            run.wait(20)


def answered(url: str, **options: object) -> httpx.Response:
    for _ in range(200):
        try:
            return httpx.get(url, **options)  # type: ignore[arg-type] # passed through as they are
        except httpx.TransportError:
            time.sleep(0.1)
    raise AssertionError(f"nobody answers at {url}")


def test_on_this_machine_it_needs_no_pairing_and_ctrl_c_ends_it(tmp_path: Path) -> None:
    with served(tmp_path) as (run, port, _):
        first = answered(f"http://127.0.0.1:{port}/")
        assert "No jobs yet" in first.text
        begun = httpx.post(f"http://127.0.0.1:{port}/api/jobs", json={"year": 2009, "simulated": True})
        assert begun.status_code == 201
        assert httpx.get(f"http://localhost:{port}/", headers={"host": "evil.example"}).status_code == 421
    assert run.returncode == 0
    listed = CliRunner().invoke(tickover, ["job", "list", "--store", str(tmp_path / "jobs.db")])
    assert "2009" in listed.output, "the commands and the pages share one record"


def test_over_the_network_a_token_pairs_one_device_once_and_the_connection_is_encrypted(tmp_path: Path) -> None:
    with served(tmp_path, "--lan", "--address", "127.0.0.1") as (_, port, said):
        home = f"https://127.0.0.1:{port}"
        assert answered(f"{home}/", verify=False).status_code == 401
        printed = said.read_text()
        tokens = re.findall(r"/pair\?token=(\S+)", printed)
        assert len(tokens) == 2, "one for the phone, one for a browser here"
        assert re.search(r"([0-9A-F]{2}:){31}[0-9A-F]{2}", printed), "the fingerprint is shown"
        with httpx.Client(base_url=home, verify=False) as phone:
            assert phone.post("/pair", data={"token": "guess", "name": "x"}).status_code == 403
            assert phone.post("/pair", data={"token": tokens[0], "name": "dash"}).status_code == 303
            assert phone.get("/").status_code == 200
        with httpx.Client(base_url=home, verify=False) as other:
            assert other.post("/pair", data={"token": tokens[0], "name": "again"}).status_code == 403
            assert other.get("/").status_code == 401


@pytest.mark.parametrize(("words", "said"), [(["--port", "80"], "1024"), (["--port", "{taken}"], "cannot be listened")])
def test_a_port_that_cannot_be_had_is_one_message(tmp_path: Path, words: list[str], said: str) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        line = ["serve", *(w.format(taken=taken.getsockname()[1]) for w in words)]
        found = CliRunner().invoke(tickover, line, env={"TICKOVER_STORE": str(tmp_path / "jobs.db")})
    assert found.exit_code != 0
    assert said in found.output + str(found.exception)
