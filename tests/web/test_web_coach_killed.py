"""A server of its own process, killed in the middle of an attempt and started again."""

from __future__ import annotations

import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import httpx2 as httpx

SPEED = 40.0
SERVER = f"""
import sys, time
from tickover.web.serving import local_app, run
from tickover.web.site import Site
port = int(sys.argv[2])
run(local_app(Site(store=sys.argv[1], seconds=lambda: {SPEED} * time.monotonic()), port), "127.0.0.1", port)
"""
ACTS = [("ignition on", "on", 5.0), ("press", "down", 8.0), ("release", "up", 38.0), ("crank", "start", 40.0)]


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@contextmanager
def serving(store: Path, port: int) -> Iterator[subprocess.Popen[bytes]]:
    server = subprocess.Popen([sys.executable, "-c", SERVER, str(store), str(port)])
    try:
        for _ in range(600):
            try:
                httpx.get(f"http://127.0.0.1:{port}/api/clock")
                break
            except httpx.TransportError:
                assert server.poll() is None
                time.sleep(0.05)
        yield server
    finally:
        server.kill()
        server.wait()


class Phone:
    """One page over the network; it sends again what was not acknowledged."""

    def __init__(self, port: int) -> None:
        self.base = f"http://127.0.0.1:{port}"
        job = self.post("/api/jobs", {})["job"]
        state = self.post(f"/api/jobs/{job}/attempts", {"routine": "pedal-hold"})
        self.at, self.zero = f"/api/attempts/{state['id']}", state["zero"]
        asked = {"sent": 0.0, "server": self.seconds(), "back": 0.001}
        joined = self.post(f"{self.at}/clocks", {"device": "a", "exchanges": [asked]})
        self.clock, self.middle = joined["clock"], joined["middle"]

    def seconds(self) -> float:
        return float(self.get("/api/clock")["seconds"])

    def get(self, path: str) -> dict[str, Any]:
        return dict(httpx.get(self.base + path, timeout=20).json()["result"])

    def post(self, path: str, said: dict[str, Any]) -> dict[str, Any]:
        answer = httpx.post(self.base + path, json=said, timeout=20)
        assert answer.is_success, answer.text
        return dict(answer.json()["result"])

    def tap(self, seq: int) -> dict[str, Any]:
        kind, event, t = ACTS[seq]
        while self.seconds() - self.zero < t:
            time.sleep(0.01)
        told = {"seq": seq, "kind": kind, "event": event, "t": t - self.middle}
        return self.post(f"{self.at}/events", {"clock": self.clock, "events": [told]})


def test_killed_and_started_again_in_the_middle_of_an_attempt(tmp_path: Path) -> None:
    port = free_port()
    with serving(tmp_path / "jobs.db", port) as server:
        phone = Phone(port)
        phone.tap(0)
        phone.tap(1)
        server.send_signal(signal.SIGKILL)
        server.wait()
    with serving(tmp_path / "jobs.db", port):
        state = phone.get(phone.at)
        assert [e["event"] for e in state["events"]] == ["on", "down"]
        for seq in (1, 2, 3):  # the second is sent again: nobody knows whether it was acknowledged
            state = phone.tap(seq)
        assert (state["phase"], state["doubled"]) == ("done", [])
        killed = phone.post(f"{phone.at}/end", {"how": "done"})["judgement"]
        whole = Phone(port)
        for seq in range(4):
            whole.tap(seq)
        unbroken = whole.post(f"{whole.at}/end", {"how": "done"})["judgement"]
    for one, other in zip(killed["bounds"], unbroken["bounds"], strict=True):
        assert [round(x, 6) for x in one.pop("found")] == [round(x, 6) for x in other.pop("found")]
        assert one == other
    assert (
        (killed["verdict"], killed["sentence"])
        == (unbroken["verdict"], unbroken["sentence"])
        == ("hit", "Every step a hit.")
    )
