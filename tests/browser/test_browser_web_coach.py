"""The served coach in a real browser: taps judged by the server, reload, two phones, keyboard, 360 px."""

from __future__ import annotations

import socket
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import httpx2 as httpx
import pytest
import uvicorn
from chromium_pages import chromium

from tickover.attempts import parse_attempt
from tickover.coaching import judge_attempt
from tickover.jobs import open_store
from tickover.routines import compile_routine, load_library
from tickover.web.serving import local_app
from tickover.web.site import Site

VOICE = """window.fake = { t: %s, cues: [] };
window.tickoverVoice = { now: () => fake.t, hasContext: true, wake: async () => {}, reported: () => 0.01,
  correct() {}, play(cues) { fake.cues = cues; }, silence() {} };"""


@dataclass
class Shop:
    """A server on a clock of the test's own, and its address."""

    base: str
    store: Path
    now: float = 9000.0

    def new_job(self) -> int:
        return int(httpx.post(f"{self.base}/api/jobs", json={}).json()["result"]["job"])

    def attempts(self, job: int) -> list[Any]:
        with open_store(self.store) as store:
            return [e for e in store.current(job) if e.kind == "attempt"]


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Shop]:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    found = Shop(f"http://127.0.0.1:{port}", tmp_path_factory.mktemp("shop") / "jobs.db")
    app = local_app(Site(store=found.store, seconds=lambda: found.now), port)
    server = uvicorn.Server(uvicorn.Config(app, port=port, log_level="warning", ws="none"))
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    while not server.started:
        time.sleep(0.01)
    yield found
    server.should_exit = True
    thread.join()


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with chromium() as found:
        yield found


class Phone:
    """One page; its clock stands ``ahead`` of the server's."""

    def __init__(self, browser: Any, shop: Shop, path: str, ahead: float = -8000.0, width: int = 360) -> None:
        self.shop, self.ahead = shop, ahead
        context = browser.new_context(viewport={"width": width, "height": 740}, service_workers="block")
        self.page = context.new_page()
        self.page.add_init_script(VOICE % (shop.now + ahead))
        self.faults: list[str] = []
        self.page.on("pageerror", lambda e: self.faults.append(str(e)))
        self.page.on("console", lambda m: self.faults.append(m.text) if m.type == "error" else None)
        self.page.on("request", lambda r: None if r.url.startswith(shop.base) else self.faults.append(r.url))
        self.page.goto(shop.base + path)

    def press(self, name: str) -> None:
        self.page.get_by_role("button", name=name).click()

    def set_up(self) -> None:
        self.press("I hear them")
        for box in self.page.locator("input[type=checkbox]").all():
            box.check()
        self.press("All met: go on")

    def count_me_in(self) -> float:
        """Begin; the answer is the server's clock at the attempt's zero."""
        self.set_up()
        self.press("A helper taps")
        self.press("Count me in")
        self.page.wait_for_selector("#stop")
        return float(self.page.evaluate("tickover.server.zero"))

    def at(self, now: float) -> None:
        """Both clocks stand at ``now`` of the server."""
        self.shop.now = max(self.shop.now, now)
        self.page.evaluate("(t) => { fake.t = t; tickover.tick(); }", now + self.ahead)

    def tap(self, now: float) -> None:
        self.at(now)
        self.page.evaluate("tickover.tap()")

    def events(self) -> list[str]:
        return list(self.page.evaluate("tickover.server.events.map((e) => e.event)"))

    def wait(self, what: str) -> None:
        """Until a condition holds; the page's own policy forbids the browser to evaluate one by itself."""
        until = time.monotonic() + 15
        while not self.page.evaluate(what):
            assert time.monotonic() < until, what
            self.page.wait_for_timeout(30)

    def word(self) -> str:
        return str(self.page.locator("h1").inner_text())

    def fits(self) -> bool:
        return bool(self.page.evaluate("document.documentElement.scrollWidth <= innerWidth"))


@pytest.fixture
def open_phone(browser: Any, shop: Shop) -> Iterator[Callable[..., Phone]]:
    phones: list[Phone] = []

    def opened(path: str, **how: Any) -> Phone:
        phones.append(Phone(browser, shop, path, **how))
        return phones[-1]

    yield opened
    for phone in phones:
        phone.page.context.close()
        assert phone.faults == []


def judged_from_its_file(shop: Shop, entry: Any) -> Any:
    with open_store(shop.store) as store:
        attempt = parse_attempt(store.attachment(entry.attachments[0]).decode())
    return judge_attempt(compile_routine(load_library()["pedal-hold"]), attempt)


def test_taps_are_judged_by_the_server(shop: Shop, open_phone: Callable[..., Phone]) -> None:
    job = shop.new_job()
    phone = open_phone(f"/jobs/{job}/coach/pedal-hold")
    zero = phone.count_me_in()
    pips = []
    for t in (0.5, 3.2, 4.1):  # the count-in stays where it was planned
        phone.at(zero + t)
        pips.append(
            phone.page.evaluate(
                "fake.cues.filter((c) => c.sound === 'pip' && c.at < tickover.state.startAt).map((c) => c.at)"
            )
        )
    assert [[round(t - zero + 8000, 3) for t in found] for found in pips] == [[2.6, 3.4, 4.2], [3.4, 4.2], [4.2]]
    for t in (5.0, 8.0, 38.0):
        phone.tap(zero + t)
    assert phone.fits()
    phone.at(zero + 39.99)
    phone.page.keyboard.press("Space")
    phone.page.wait_for_selector("[data-verdict]")
    assert phone.page.locator("[data-verdict]").get_attribute("data-verdict") == "hit"
    [entry] = shop.attempts(job)
    again = judged_from_its_file(shop, entry)
    assert (
        (entry.data["verdict"], entry.data["sentence"])
        == (again.verdict, again.sentence)
        == ("hit", "Every step a hit.")
    )
    assert phone.page.get_by_role("status").last.inner_text() == again.sentence
    assert phone.fits()


def test_a_late_tap_is_missed_and_the_next_try_is_the_second(shop: Shop, open_phone: Callable[..., Phone]) -> None:
    job = shop.new_job()
    phone = open_phone(f"/jobs/{job}/coach/pedal-hold")
    zero = phone.count_me_in()
    phone.tap(zero + 5)
    phone.tap(zero + 10)
    phone.page.wait_for_selector("[data-verdict=missed]")
    assert phone.word() == "Missed"
    assert "1.00 s too late" in phone.page.locator("[data-say]").inner_text()
    phone.press("Again from step 1")
    phone.page.wait_for_selector("text=I hear them")
    phone.set_up()
    assert "try 2 of 3" in phone.page.locator(".head").inner_text()


def test_without_a_network_and_after_a_reload_it_goes_on_where_it_was(
    shop: Shop, open_phone: Callable[..., Phone]
) -> None:
    job = shop.new_job()
    phone = open_phone(f"/jobs/{job}/coach/pedal-hold")
    zero = phone.count_me_in()
    phone.tap(zero + 5)
    phone.wait("tickover.server.events.length === 1")
    phone.page.context.set_offline(True)
    phone.tap(zero + 8)
    phone.page.wait_for_selector("text=1 tap waits here")
    assert phone.word() == "Hold"
    phone.page.context.set_offline(False)
    phone.wait("tickover.server.events.length === 2")
    phone.faults[:] = [f for f in phone.faults if "ERR_INTERNET_DISCONNECTED" not in f]
    phone.page.add_init_script(f"fake.t = {shop.now + phone.ahead}")
    phone.page.reload()
    phone.page.wait_for_selector("#stop")
    assert phone.events() == ["on", "down"]
    phone.at(zero + 20)
    assert phone.word() == "Hold"
    phone.tap(zero + 38)
    phone.tap(zero + 40)
    phone.page.wait_for_selector("[data-verdict=hit]")
    assert len(shop.attempts(job)) == 1


def test_two_phones_in_one_attempt(shop: Shop, open_phone: Callable[..., Phone]) -> None:
    job = shop.new_job()
    one = open_phone(f"/jobs/{job}/coach/pedal-hold")
    zero = one.count_me_in()
    two = open_phone(f"/jobs/{job}/coach/pedal-hold", ahead=-300.0)
    two.press("Join it here")
    two.page.wait_for_selector("#stop")
    one.tap(zero + 5)
    two.at(zero + 5.5)
    two.wait("tickover.server.events.length === 1")
    two.tap(zero + 8)
    one.at(zero + 8.1)
    one.wait("tickover.server.events.length === 2")
    assert one.page.evaluate("tickover.server.events.map((e) => e.source)") == ["phone 1", "phone 2"]
    assert one.page.evaluate("tickover.state.seen.map((s) => s.event)") == ["on", "down"]
    two.at(zero + 38)
    one.tap(zero + 38)
    two.wait("tickover.server.events.length === 3")
    two.tap(zero + 40)
    one.at(zero + 40)
    for phone in (one, two):
        phone.page.wait_for_selector("[data-verdict=hit]")
    assert len(shop.attempts(job)) == 1


def test_escape_stops_and_nothing_is_counted(shop: Shop, open_phone: Callable[..., Phone]) -> None:
    job = shop.new_job()
    phone = open_phone(f"/jobs/{job}/coach/pedal-hold")
    phone.count_me_in()
    phone.page.keyboard.press("Escape")
    phone.wait("tickover.screen === 'end'")
    assert phone.word() == "Stopped"
    assert shop.attempts(job) == []


def test_what_may_not_be_tried_is_said_in_words(shop: Shop, open_phone: Callable[..., Phone]) -> None:
    job = shop.new_job()
    phone = open_phone(f"/jobs/{job}/coach/pedal-count")
    assert "nobody has read them" in phone.page.get_by_role("alert").inner_text()
    assert phone.page.get_by_role("link", name="To the job").count() == 1


def test_practice_on_the_simulated_car_tells_the_odds_and_touches_no_job(
    shop: Shop, open_phone: Callable[..., Phone]
) -> None:
    job = shop.new_job()
    phone = open_phone("/practice/pedal-count")
    phone.press("With the tones")
    assert phone.fits()
    phone.press("Count me in")
    phone.page.wait_for_selector("#stop")
    zero = shop.now
    for _ in range(12):
        aim = phone.page.evaluate("tickover.nextAim()")
        phone.tap(aim - phone.ahead)
    for answer, by in (("flashes", 12.0), ("stays", 24.0)):
        phone.at(zero + 20 + by)
        phone.wait(f"{answer!r} in tickover.state.times")
    for _ in range(2):
        aim = phone.page.evaluate("tickover.nextAim()")
        phone.tap(aim - phone.ahead)
    phone.page.wait_for_selector("[data-verdict]")
    assert phone.page.locator("[data-verdict]").get_attribute("data-verdict") == "hit"
    assert "The simulated car took it" in phone.page.locator("main").inner_text()
    assert "Clean run with the tones" in phone.page.locator("[data-odds]").inner_text()
    assert "try 1" in str(phone.page.locator(".odds svg").get_attribute("aria-label"))
    assert phone.fits()
    phone.page.reload()
    phone.page.wait_for_selector("text=1 tried")
    phone.press("By heart")
    phone.press("Count me in")
    phone.page.wait_for_selector("#pad")
    assert (phone.word(), phone.page.locator(".strip").count()) == ("Key on", 0)
    assert phone.page.evaluate("fake.cues.length") == 0
    phone.page.keyboard.press("Escape")
    phone.page.wait_for_selector("[data-verdict]")
    assert shop.attempts(job) == []


def test_the_sheet_leads_to_the_coach(shop: Shop, open_phone: Callable[..., Phone]) -> None:
    job = shop.new_job()
    answers = {"complaint": ["high"], "before": ["cleaned"], "codes": ["none"], "drive": ["petrol"], "danger": ["none"]}
    told = httpx.post(f"{shop.base}/api/jobs/{job}/arrive", json={"answers": {**answers, "lamp": ["dark"]}}).json()
    first = next(r["routine"] for r in told["result"]["ladder"]["rungs"] if r["routine"])
    at = "2026-11-25T08:00:00+00:00"
    with open_store(shop.store) as store:
        store.add(job, stage="before", kind="skipped", data={"reason": "it does not idle"}, at=at)
        store.add(job, stage="set up", kind="skipped", data={"reason": "seen to before"}, at=at)
    phone = open_phone(f"/jobs/{job}")
    sheet = phone.page.locator("#stage-4")
    assert "Try 1 of at most 3." in sheet.inner_text()
    assert phone.fits()
    sheet.get_by_text("Start button").click()
    sheet.get_by_label("Who").fill("K. <b>")
    sheet.get_by_role("button", name="Coach it on this screen").click()
    phone.page.wait_for_selector("text=I hear them")
    assert f"/jobs/{job}/coach/{first}?switch=button" in phone.page.url
    phone.count_me_in()
    assert (phone.page.evaluate("tickover.server.by"), phone.page.evaluate("tickover.server.switch")) == (
        "K. <b>",
        "button",
    )
    phone.page.keyboard.press("Escape")
    phone.wait("tickover.screen === 'end'")
