"""A server of its own process, killed in the middle of an attempt and started again."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import ExitStack, closing, contextmanager, suppress
from pathlib import Path
from typing import Any

import httpx2 as httpx

SPEED = 40.0
SERVERS = f"""
import os, signal, sys, time
from tickover.web.serving import local_app, run
from tickover.web.site import Site
signal.signal(signal.SIGCHLD, signal.SIG_IGN)
store, port = sys.argv[1], int(sys.argv[2])
for _ in sys.stdin:  # everything is loaded once; each server is a process of its own, forked from here
    server = os.fork()
    if not server:
        run(local_app(Site(store=store, seconds=lambda: {SPEED} * time.monotonic()), port), "127.0.0.1", port)
        os._exit(0)
    print(server, flush=True)
"""
ACTS = [("ignition on", "on", 5.0), ("press", "down", 8.0), ("release", "up", 38.0), ("crank", "start", 40.0)]


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


class Servers:
    """Starts servers of one record, and kills them."""

    def __init__(self, store: Path) -> None:
        self.port = free_port()
        command = [sys.executable, "-c", SERVERS, str(store), str(self.port)]
        self.parent = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)

    @contextmanager
    def serving(self) -> Iterator[None]:
        assert self.parent.stdin is not None
        assert self.parent.stdout is not None
        self.parent.stdin.write("begin\n")
        self.parent.stdin.flush()
        server = int(self.parent.stdout.readline())
        try:
            while True:
                with suppress(httpx.TransportError):
                    httpx.get(f"http://127.0.0.1:{self.port}/api/clock")
                    break
                assert Path(f"/proc/{server}").exists()
                time.sleep(0.01)
            yield
        finally:
            os.kill(server, signal.SIGKILL)
            while Path(f"/proc/{server}").exists():
                time.sleep(0.01)

    def close(self) -> None:
        self.parent.communicate()


class Phone:
    """One page over the network; it sends again what was not acknowledged."""

    def __init__(self, port: int, held: ExitStack) -> None:
        self.http = held.enter_context(httpx.Client(base_url=f"http://127.0.0.1:{port}", timeout=20))
        job = self.post("/api/jobs", {})["job"]
        state = self.post(f"/api/jobs/{job}/attempts", {"routine": "pedal-hold"})
        self.at, self.zero = f"/api/attempts/{state['id']}", state["zero"]
        asked = {"sent": 0.0, "server": self.seconds(), "back": 0.001}
        joined = self.post(f"{self.at}/clocks", {"device": "a", "exchanges": [asked]})
        self.clock, self.middle = joined["clock"], joined["middle"]

    def seconds(self) -> float:
        return float(self.get("/api/clock")["seconds"])

    def get(self, path: str) -> dict[str, Any]:
        return dict(self.http.get(path).json()["result"])

    def post(self, path: str, said: dict[str, Any]) -> dict[str, Any]:
        answer = self.http.post(path, json=said)
        assert answer.is_success, answer.text
        return dict(answer.json()["result"])

    def tap(self, seq: int) -> dict[str, Any]:
        kind, event, t = ACTS[seq]
        while self.seconds() - self.zero < t:
            time.sleep(0.01)
        told = {"seq": seq, "kind": kind, "event": event, "t": t - self.middle}
        return self.post(f"{self.at}/events", {"clock": self.clock, "events": [told]})


def _goes_on(phone: Phone) -> dict[str, Any]:
    """What is judged of an attempt whose server was killed after two acts."""
    state = phone.get(phone.at)
    assert [e["event"] for e in state["events"]] == ["on", "down"]
    for seq in (1, 2, 3):  # the second is sent again: nobody knows whether it was acknowledged
        state = phone.tap(seq)
    assert (state["phase"], state["doubled"]) == ("done", [])
    return dict(phone.post(f"{phone.at}/end", {"how": "done"})["judgement"])


def _unbroken(phone: Phone) -> dict[str, Any]:
    for seq in range(4):
        phone.tap(seq)
    return dict(phone.post(f"{phone.at}/end", {"how": "done"})["judgement"])


def test_killed_and_started_again_in_the_middle_of_an_attempt(tmp_path: Path) -> None:
    servers = Servers(tmp_path / "jobs.db")
    with closing(servers), ExitStack() as held:
        with servers.serving():
            phone = Phone(servers.port, held)
            phone.tap(0)
            phone.tap(1)
        with servers.serving():
            killed, whole = _goes_on(phone), _unbroken(Phone(servers.port, held))
    for one, other in zip(killed["bounds"], whole["bounds"], strict=True):
        assert [round(x, 6) for x in one.pop("found")] == [round(x, 6) for x in other.pop("found")]
        assert one == other
    assert (
        (killed["verdict"], killed["sentence"]) == (whole["verdict"], whole["sentence"]) == ("hit", "Every step a hit.")
    )
