"""Every page at 360 px, by day and by night: axe finds no serious fault, and nothing has to be scrolled sideways.

One browser session and one walk through the demonstration's job, so that each page is looked at as it comes to be.
"""

from __future__ import annotations

import math
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from chromium_pages import VOICE, chromium
from served_site import served as serving
from tools.walk import Shop, served, walk

from tickover.web.pair import Lan
from tickover.web.pairing import Pairing
from tickover.web.site import Site

PHONE = {"width": 360, "height": 780}
LOOKED_AT = {
    "01-no-jobs": "",
    "02-arrive": "#stage-1",
    "03-before": "#stage-2",
    "05-relearn": "#stage-4",
    "08-drive-planned": "#stage-7",
    "09-passenger": "",
    "10-passenger-coach": "",
    "12-hand-over": "#stage-9",
    "13-done": "",
    "14-record": "",
    "15-cause": "#stage-6",
    "16-cause-found": "#stage-6",
    "17-jobs": "",
    "18-not-there": "",
}
"""Pages of the walk; of a sheet that is looked at whole elsewhere, the stage that is new on it.

On the last sheet, 13, all nine stages have been done and are unfolded, with their forms."""


class Looker:
    """Looks at the page that is open, in both lights."""

    def __init__(self, page: Any) -> None:
        axe = pytest.importorskip("axe_core_python.sync_playwright", reason="axe is not installed")
        self.page, self.axe = page, axe.Axe()
        self.faults: list[str] = []
        self.seen: list[str] = []
        page.on("pageerror", lambda e: self.faults.append(str(e)))

    def look(self, name: str, part: str = "") -> None:
        """Width, then every rule by day, then by night those that go by colour."""
        self.seen.append(name)
        self.page.evaluate("for (const d of document.querySelectorAll('details')) d.open = true")
        wide = self.page.evaluate("document.documentElement.scrollWidth")
        if wide > PHONE["width"]:
            self.faults.append(f"{name}: {wide} px wide")
        grounds = []
        for light, rules in (("light", None), ("dark", ["color-contrast", "link-in-text-block"])):
            self.page.emulate_media(color_scheme=light)
            grounds.append(self.page.evaluate("getComputedStyle(document.querySelector('main')).color"))
            options: dict[str, Any] = {"resultTypes": ["violations"]}
            if rules:
                options["runOnly"] = rules
            found = self.axe.run(self.page, context=part or None, options=options)
            self.faults += [
                f"{name}, {light}: {v['id']}: {n['target']} {n['failureSummary']}"
                for v in found["violations"]
                if v["impact"] in {"serious", "critical"}
                for n in v["nodes"]
            ]
        if name not in {"09-passenger", "10-passenger-coach"}:  # dark always; the phone page asks for its light itself
            assert grounds[0] != grounds[1], f"{name}: night looks like day"


def log_text(mean: float) -> str:
    rows = ["time (s),engine speed (rpm),coolant (C),throttle (%),vehicle speed (km/h)"]
    for k in range(700):
        v = mean + 5 * math.sin(0.44 * k) + 4 * math.sin(1.45 * k)
        rows.append(f"{k / 10:.2f},{v:.0f},88,2.4,0")
    return "\n".join(rows) + "\n"


def coach(looker: Looker, shop: Shop) -> None:
    """The coach before, while it runs, waiting for the car's answer, and after a miss."""
    page, job = looker.page, int(shop.http.post("/api/jobs", json={}).json()["result"]["job"])
    page.goto(f"{shop.base}/jobs/{job}/coach/pedal-hold")
    press(page, "I hear them")
    looker.look("coach, set up")
    for box in page.locator("input[type=checkbox]").all():
        box.check()
    press(page, "All met: go on")
    press(page, "A helper taps")
    looker.look("coach, ready")
    press(page, "Count me in")
    page.wait_for_selector("#pad")
    zero = float(page.evaluate("tickover.server.zero"))
    ahead = 1000 - shop.now
    for t, name in ((5.0, "coach, waits"), (7.5, "coach, strip"), (8.0, "coach, holds")):
        shop.now = zero + t
        page.evaluate("(t) => { fake.t = t; tickover.tick(); }", shop.now + ahead)
        if name != "coach, strip":
            page.locator("#pad").click()
        looker.look(name)
    shop.now = zero + 20
    page.evaluate("(t) => { fake.t = t; tickover.tick(); }", shop.now + ahead)
    page.locator("#pad").click()
    page.wait_for_selector("[data-verdict=missed]")
    looker.look("coach, missed")
    page.goto(f"{shop.base}/jobs/{job}/coach/pedal-count")
    page.get_by_role("alert").wait_for()
    looker.look("coach, refused")


def practice(looker: Looker, shop: Shop) -> None:
    page = looker.page
    page.goto(f"{shop.base}/practice/pedal-hold")
    press(page, "Count me in")
    page.wait_for_selector("#pad")
    looker.look("practice, runs")
    page.keyboard.press("Escape")
    page.wait_for_selector("[data-verdict]")
    looker.look("practice, told")


def paired(looker: Looker, folder: Path) -> None:
    """The pages that are there for the workshop's network only."""
    lan = Lan(Pairing(), "https://192.0.2.7:8765", "AB:CD:EF", time.monotonic)
    with serving(Site(store=folder / "lan.db"), lan=lan) as base:
        for name, path in (("pair", f"/pair?token={lan.pairing.offer(time.monotonic())}"), ("devices", "/devices")):
            looker.page.goto(base + path)
            looker.look(name)
        press(looker.page, "Show a code")
        looker.look("devices, a code")


def press(page: Any, name: str) -> None:
    page.get_by_role("button", name=name).click()


@pytest.fixture
def looker() -> Iterator[Looker]:
    with chromium() as browser:
        context = browser.new_context(viewport=PHONE)
        context.set_default_timeout(20_000)
        yield Looker(context.new_page())


def test_no_serious_fault_and_no_sideways_scroll_on_any_page(looker: Looker, tmp_path: Path) -> None:
    for name, mean in (("before", 989.0), ("after", 750.0)):
        (tmp_path / f"idle-{name}.csv").write_text(log_text(mean), encoding="utf-8")
    with served(tmp_path) as shop:
        looker.page.add_init_script(VOICE)
        for name, path in walk(shop, tmp_path):
            if name in {*LOOKED_AT, "05-coach", "05-practice"}:
                looker.page.goto(shop.base + path)
                if name.startswith("05-"):
                    looker.page.wait_for_selector(".foot, .stage")
                looker.look(name, LOOKED_AT.get(name, ""))
        coach(looker, shop)
        practice(looker, shop)
    paired(looker, tmp_path)
    assert set(LOOKED_AT) <= set(looker.seen)
    assert looker.faults == []
