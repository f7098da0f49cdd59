"""The demonstration's job on its pages: a server over an empty record, and a client that fills in form after form.

For ``make screenshots``, and for the tests that look at every page on the way.
"""

from __future__ import annotations

import socket
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import httpx2 as httpx
import numpy as np
import uvicorn

from tickover.cli.demo_job import NORMAL, REPORTS, RULE, TOLD
from tickover.web.serving import local_app
from tickover.web.site import Site

ACTS = (("ignition on", "on", 5.0), ("press", "down", 8.0), ("release", "up", 38.0), ("crank", "start", 40.0))
"""The pedal hold, done as asked [s of the attempt]."""
SLIP = 33.0
"""The first try lets the pedal up here, five seconds too early [s]."""


@dataclass
class Shop:
    """A server, the client that fills in its forms, and the clock of attempts."""

    base: str
    http: httpx.Client
    now: float = 5000.0

    def post(self, path: str, **said: Any) -> None:  # noqa: ANN401 — as httpx takes it
        """Fill in a form; a fault ends it all."""
        answer = self.http.post(path, **said)
        assert answer.status_code == 303, f"{path}: {answer.status_code} {answer.text[-800:]}"

    def attempt(self, job: int, up: float) -> None:
        """One attempt on one phone whose clock is the server's."""
        state = self.http.post(f"/api/jobs/{job}/attempts", json={"routine": "pedal-hold", "by": "R. H."}).json()
        name, zero = state["result"]["id"], state["result"]["zero"]
        here = self.now - zero
        exchange = {"sent": here - 0.004, "server": self.now, "back": here + 0.004}
        said = {"device": "one", "exchanges": [exchange]}
        clock = self.http.post(f"/api/attempts/{name}/clocks", json=said).json()["result"]["clock"]
        acts = [(k, e, up if e == "up" else t) for k, e, t in ACTS]
        for seq, (kind, event, t) in enumerate(acts):
            self.now = max(self.now, zero + t + 0.02)
            told = {"clock": clock, "events": [{"seq": seq, "kind": kind, "event": event, "t": t}]}
            answer = self.http.post(f"/api/attempts/{name}/events", json=told)
            assert answer.status_code == 200, answer.text
            if event == "up" and up != 38.0:
                break
        how = "done" if up == 38.0 else "missed"
        answer = self.http.post(f"/api/attempts/{name}/end", json={"how": how})
        assert answer.status_code == 200, answer.text


@contextmanager
def served(folder: Path) -> Iterator[Shop]:
    """A server over an empty record."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    base = f"http://127.0.0.1:{port}"
    with httpx.Client(base_url=base, timeout=120.0) as http:
        shop = Shop(base, http)
        app = local_app(Site(store=folder / "jobs.db", seconds=lambda: shop.now), port)
        server = uvicorn.Server(uvicorn.Config(app, port=port, log_level="warning", ws="none"))
        thread = threading.Thread(target=server.run, daemon=True)
        thread.start()
        while not server.started:
            time.sleep(0.01)
        try:
            yield shop
        finally:
            server.should_exit = True
            thread.join()


def drive_log() -> str:
    """A drive that holds some of what monitors wait for, once a second: a town, a road at 60 to 80 km/h, a stop."""
    t = np.arange(0.0, 1500.0)
    speed = np.where((t > 60) & (t < 1400), np.clip(66 + 18 * np.sin(t / 110), 0, None), 0.0)
    coolant = np.minimum(88.0, 20 + t / 5)
    rows = zip(t, speed, 780 + 21 * speed, coolant, strict=True)
    head = "time (s),vehicle speed (km/h),engine speed (rpm),coolant temperature (°C)"
    return "\n".join([head, *(f"{a:.0f},{v:.1f},{n:.0f},{c:.1f}" for a, v, n, c in rows)])


def walk(shop: Shop, logs: Path) -> Iterator[tuple[str, str]]:
    """The demonstration's job through the forms; names and paths of pages worth a picture, as they come to be."""
    who = {"by": "R. H."}
    yield "01-no-jobs", "/"
    made = shop.http.post("/api/jobs", json={"simulated": True, "shop": "Larkholm Garage"}).json()
    job = int(made["result"]["job"])
    sheet = f"/jobs/{job}"
    yield "02-arrive", sheet
    answers: dict[str, Any] = dict(t.split("=", 1) for t in TOLD)
    car = {"car.year": "2009", "car.displacement_l": "2.0", "car.cylinders": "4", "car.complaint": "idles high"}
    shop.post(f"{sheet}/arrive", data={**answers, **car, **who})
    asked = {"hex": REPORTS, "rule": RULE, "year": "2009", "fuel": "petrol"}
    shop.post(f"{sheet}/ready", data={**asked, **who})
    yield "03-before", sheet
    for name, shot in (("before", "04-set-up"), ("after", "")):
        if name == "after":
            yield from _relearn(shop, job, sheet)
        normal = {"normal_lo": f"{NORMAL[0]:g}", "normal_hi": f"{NORMAL[1]:g}", **who}
        with (logs / f"idle-{name}.csv").open("rb") as log:
            shop.post(f"{sheet}/reading", data=normal, files={"log": (f"idle-{name}.csv", log)})
        if shot:
            yield shot, sheet
    yield "07-drive", sheet
    situation = {"coolant": "20", "fuel": "60", "ambient": "15", "soaked": "10", "limit": "100"}
    shop.post(f"{sheet}/drive/plan", data={**situation, **who})
    yield "08-drive-planned", sheet
    yield "09-passenger", f"{sheet}/drive/passenger"
    yield "10-passenger-coach", f"{sheet}/drive/coach"
    shop.post(
        f"{sheet}/drive/check", data={"whole": "yes", "soaked": "10", **who}, files={"log": ("drive.csv", drive_log())}
    )
    yield "11-ready", sheet
    day = (datetime.now() + timedelta(days=9)).date().isoformat()
    shop.post(f"{sheet}/ready", data={**asked, "inspection": day, "per_day": "4", **who})
    yield "12-hand-over", sheet
    shop.post(f"{sheet}/hand-over", data={"vin": "masked", "by": "R. H."})
    yield "13-done", sheet
    yield "14-record", f"{sheet}/record"
    yield from _cause(shop)
    yield "17-jobs", "/"
    yield "18-not-there", "/jobs/999"


def _relearn(shop: Shop, job: int, sheet: str) -> Iterator[tuple[str, str]]:
    shop.post(f"{sheet}/set-up", data={"coolant": "82", "volts": "12.6", "by": "R. H."})
    yield "05-relearn", sheet
    yield "05-practice", "/practice/pedal-hold"
    yield "05-coach", f"{sheet}/coach/pedal-hold"
    shop.attempt(job, SLIP)
    yield "06-missed", sheet
    shop.attempt(job, 38.0)
    yield "06-after", sheet


def _cause(shop: Shop) -> Iterator[tuple[str, str]]:
    """Another car, whose idle is not the memory's doing."""
    job = int(shop.http.post("/api/jobs", json={"simulated": True, "year": 2007}).json()["result"]["job"])
    sheet = f"/jobs/{job}"
    for stage in ("arrive", "before", "set up", "relearn", "after"):
        shop.http.post(f"{sheet}/notes", data={"kind": "skipped", "stage": stage, "text": "done elsewhere"})
    yield "15-cause", sheet
    seen = {"trims.idle": "+14", "codes": "none", "metering": "air", "idle_speed": "840", "history": "cleaned"}
    shop.post(f"{sheet}/cause", data=seen)
    yield "16-cause-found", sheet
