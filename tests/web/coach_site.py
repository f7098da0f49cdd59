"""A record with one job, on a clock of the test's own, and pages that tap in it."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from starlette.testclient import TestClient

from tickover.routines import CompiledRoutine, compile_routine, load_library
from tickover.web.app import create_app
from tickover.web.site import Site


@dataclass
class Clock:
    """Seconds that a test sets."""

    now: float = 5000.0

    def __call__(self) -> float:
        return self.now


def routine(name: str = "pedal-hold") -> CompiledRoutine:
    """A routine of the library."""
    return compile_routine(load_library()[name])


def client(folder: Path, clock: Clock) -> TestClient:
    """A new server over the record in a folder."""
    return TestClient(create_app(Site(store=folder / "jobs.db", seconds=clock)))


def new_job(http: TestClient) -> int:
    """Begin a job."""
    return int(http.post("/api/jobs", json={}).json()["result"]["job"])


@dataclass
class Page:
    """A phone whose clock is ``ahead`` of the attempt's, known to ``half`` seconds."""

    http: TestClient
    attempt: str
    clock: Clock
    zero: float
    device: str = "one"
    ahead: float = 100.0
    half: float = 0.004
    name: str = ""
    seq: int = 0
    sent: list[dict[str, Any]] = field(default_factory=list)

    def join(self) -> Page:
        """Set the clock against the server's."""
        here = self.clock.now - self.zero + self.ahead
        asked = {"sent": here - self.half, "server": self.clock.now, "back": here + self.half}
        said = {"device": self.device, "exchanges": [asked]}
        answer = self.http.post(f"/api/attempts/{self.attempt}/clocks", json=said)
        assert answer.status_code == 200, answer.text
        self.name = answer.json()["result"]["clock"]
        self.seq = 0
        return self

    def tap(self, kind: str, event: str, t: float, late: float = 0.02) -> dict[str, Any]:
        """An act at ``t`` of the attempt, which is at the server ``late`` seconds later."""
        self.clock.now = max(self.clock.now, self.zero + t + late)
        self.sent.append({"seq": self.seq, "kind": kind, "event": event, "t": t + self.ahead})
        self.seq += 1
        return self.tell(self.sent[-1:])

    def tell(self, events: list[dict[str, Any]]) -> dict[str, Any]:
        """Send events."""
        said = {"clock": self.name, "events": events}
        answer = self.http.post(f"/api/attempts/{self.attempt}/events", json=said)
        assert answer.status_code == 200, answer.text
        return dict(answer.json()["result"])

    def end(self, how: str) -> dict[str, Any]:
        """End the attempt."""
        answer = self.http.post(f"/api/attempts/{self.attempt}/end", json={"how": how})
        assert answer.status_code == 200, answer.text
        return dict(answer.json()["result"])


def begin(http: TestClient, job: int, clock: Clock, name: str = "pedal-hold", **said: Any) -> Page:
    """Begin an attempt with one phone in it."""
    answer = http.post(f"/api/jobs/{job}/attempts", json={"routine": name, **said})
    assert answer.status_code in {200, 201}, answer.text
    state = answer.json()["result"]
    return Page(http, state["id"], clock, state["zero"]).join()
