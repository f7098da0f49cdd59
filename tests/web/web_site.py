"""A served record for tests: the whole app behind its guard, on a clock of its own, in an empty store."""

from __future__ import annotations

import math
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from starlette.testclient import TestClient

from tickover.web.app import create_app, guarded
from tickover.web.site import Site

HOST = "127.0.0.1:8765"
SCRIPT = "<script>alert('x')</script>\"'&"
CAR = {
    "answers": {
        "drive": ["petrol"],
        "danger": ["none"],
        "complaint": ["high", "hunts"],
        "before": ["cleaned"],
        "codes": ["none"],
        "lamp": ["dark"],
    },
    "car": {"year": "2007", "displacement_l": "2,4", "cylinders": "4"},
}


def ticking() -> Callable[[], datetime]:
    """A clock that goes on by a second at each look."""
    now = datetime(2026, 11, 25, 8, 0, tzinfo=UTC)

    def look() -> datetime:
        nonlocal now
        now += timedelta(seconds=1)
        return now

    return look


def site_in(folder: Path) -> Site:
    return Site(store=folder / "jobs.db", clock=ticking())


def client_of(site: Site) -> TestClient:
    app = guarded(create_app(site), hosts=frozenset({HOST}), clock=lambda: 0.0, pairing=None, secure=False)
    return TestClient(app, base_url=f"http://{HOST}", follow_redirects=False)


def log_text(mean: float, swing: float, seconds: float = 70.0) -> bytes:
    """A warm idle, ten rows a second: a swing of 0.7 Hz and a little of 2.3 Hz about a mean [r/min]."""
    rows = ["time (s),engine speed (rpm),coolant (C),throttle (%),vehicle speed (km/h)"]
    for k in range(round(seconds * 10)):
        t = k / 10
        v = mean + swing * math.sin(2 * math.pi * 0.7 * t) + 4 * math.sin(2 * math.pi * 2.3 * t + 1)
        rows.append(f"{t:.2f},{v:.0f},88,2.4,0")
    return ("\n".join(rows) + "\n").encode()


def new_job(client: TestClient, *, arrived: bool = True) -> int:
    job = int(client.post("/api/jobs", json={}).json()["result"]["job"])
    if arrived:
        assert client.post(f"/api/jobs/{job}/arrive", json=CAR).status_code == 200
    return job


def send_log(client: TestClient, job: int, log: bytes, name: str = "idle.csv", **fields: str) -> Any:
    return client.post(f"/api/jobs/{job}/reading", files={"log": (name, log)}, data=fields)
