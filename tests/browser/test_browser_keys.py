"""The coach by keyboard alone and for a screen reader; and what works without script."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from chromium_pages import VOICE, chromium
from served_site import served

from tickover.jobs import open_store
from tickover.web.site import Site

PHONE = {"width": 360, "height": 780}
EARS = """addEventListener("DOMContentLoaded", () => {
  window.heard = [];
  const told = document.querySelector("#told");
  if (told) new MutationObserver(() => heard.push(told.textContent)).observe(told, { childList: true });
});"""
RING = """() => { const e = document.activeElement, s = getComputedStyle(e);
  return [e.innerText || e.parentElement.innerText || e.name, s.outlineStyle, parseFloat(s.outlineWidth),
    e.matches(":focus-visible"), e.getClientRects().length > 0]; }"""


class Desk:
    """A record with one job, its server, and the clock of attempts."""

    def __init__(self, folder: Path) -> None:
        self.now = 9000.0
        self.site = Site(store=folder / "jobs.db", seconds=lambda: self.now)
        self.base = ""

    def new_job(self) -> int:
        with open_store(self.site.store) as store:
            return store.new(at="2026-11-25T08:00:00+00:00")

    def kept(self, job: int) -> list[Any]:
        with open_store(self.site.store) as store:
            return list(store.current(job))


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with chromium() as found:
        yield found


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Desk]:
    found = Desk(tmp_path_factory.mktemp("desk"))
    with served(found.site) as base:
        found.base = base
        yield found


class Keys:
    """A page, and nothing but keys."""

    def __init__(self, browser: Any, desk: Desk, path: str) -> None:
        self.desk = desk
        self.faults: list[str] = []
        context = browser.new_context(viewport=PHONE)
        context.set_default_timeout(15_000)
        self.page = context.new_page()
        self.page.on("pageerror", lambda e: self.faults.append(str(e)))
        self.page.add_init_script(VOICE + EARS)
        self.page.goto(desk.base + path)

    def to(self, words: str) -> None:
        """Tab until what has these words has the focus; each stop on the way shows that it has it."""
        for _ in range(30):
            self.page.keyboard.press("Tab")
            said, style, wide, visible, there = self.page.evaluate(RING)
            if there:
                assert (style, visible) == ("solid", True), said
                assert wide >= 2, said
            if words in str(said):
                return
        raise AssertionError(f"Tab does not come to “{words}”")

    def at(self, t: float, zero: float) -> None:
        self.desk.now = max(self.desk.now, zero + t)
        self.page.evaluate("(t) => { fake.t = t; tickover.tick(); }", zero + t - 8000)

    def begin(self) -> float:
        """Through all screens before an attempt; the server's clock at its zero."""
        self.page.get_by_role("button", name="I hear them").wait_for()
        self.to("I hear them")
        self.page.keyboard.press("Enter")
        for k, _ in enumerate(self.page.locator("input[type=checkbox]").all()):
            self.to("")
            self.page.keyboard.press("Space")
            assert self.page.locator("input[type=checkbox]").nth(k).is_checked()
        self.to("All met: go on")
        self.page.keyboard.press("Space")
        self.to("A helper taps")
        self.page.keyboard.press("Enter")
        assert "A helper taps" in self.page.evaluate(RING)[0], "the choice keeps the focus"
        self.to("Count me in")
        self.page.keyboard.press("Enter")
        self.page.wait_for_selector("#pad")
        return float(self.page.evaluate("tickover.server.zero"))

    def taps(self) -> list[str]:
        return list(self.page.evaluate("tickover.state.seen.map((s) => s.event)"))

    def heard(self) -> list[str]:
        return list(self.page.evaluate("heard"))


@pytest.fixture
def keys_on(browser: Any, desk: Desk) -> Iterator[Callable[[str], Keys]]:
    opened: list[Keys] = []

    def on(path: str) -> Keys:
        opened.append(Keys(browser, desk, path))
        return opened[-1]

    yield on
    for keys in opened:
        keys.page.context.close()
        assert keys.faults == []


def test_an_attempt_by_keyboard_alone_and_heard(keys_on: Callable[[str], Keys], desk: Desk) -> None:
    keys = keys_on(f"/jobs/{desk.new_job()}/coach/pedal-hold")
    zero = keys.begin()
    page = keys.page
    assert page.evaluate("document.activeElement.id") == "pad"
    assert page.evaluate(RING)[1:4] == ["solid", 3, True]
    for t, key, taps in ((5.0, "Enter", ["on"]), (8.0, "Space", ["on", "down"]), (38.0, "Enter", ["on", "down", "up"])):
        keys.at(t, zero)
        page.keyboard.down(key)
        assert keys.taps() == taps
        keys.at(t + 0.2, zero)
        page.keyboard.down(key)  # held: the key repeats, and is one press all the same
        page.keyboard.up(key)
        assert keys.taps() == taps, f"{key} is one press"
        assert page.evaluate("document.activeElement.id") == "pad"
    keys.at(40, zero)
    page.evaluate("document.activeElement.blur()")
    page.keyboard.press("Enter")
    page.wait_for_selector("[data-verdict=hit]")
    heard = keys.heard()
    assert "Key on. Next: Press and hold, 3 s, give or take 1." in heard
    assert heard[-1] == "Every step a hit."
    assert len(heard) == len(set(heard)), "nothing is said twice"
    assert page.locator("main [aria-live]").count() == 0
    keys.to("To the job")


def test_keys_on_another_control_are_its_own_and_a_screen_reader_s_click_is_one_tap(
    keys_on: Callable[[str], Keys], desk: Desk
) -> None:
    job = desk.new_job()
    keys = keys_on(f"/jobs/{job}/coach/pedal-hold")
    zero = keys.begin()
    keys.at(5, zero)
    keys.page.evaluate("document.querySelector('#pad').click()")
    assert keys.taps() == ["on"]
    keys.at(7, zero)
    keys.page.keyboard.press("Shift+Tab")
    assert keys.page.evaluate("document.activeElement.id") == "stop"
    keys.page.keyboard.press("Enter")
    keys.page.wait_for_selector("main.end")
    assert "Stopped" in keys.page.locator("h1").inner_text()
    assert [e.kind for e in desk.kept(job)] == ["car", "needs"]


def test_by_heart_a_screen_reader_hears_the_act_and_no_clock(keys_on: Callable[[str], Keys]) -> None:
    keys = keys_on("/practice/pedal-hold")
    keys.page.get_by_role("button", name="By heart").wait_for()
    keys.to("By heart")
    keys.page.keyboard.press("Space")
    keys.to("Count me in")
    keys.page.keyboard.press("Enter")
    keys.page.wait_for_selector("#pad")
    assert keys.page.locator("main [aria-live]").count() == 1
    keys.page.keyboard.press("Enter")
    assert keys.taps() == ["on"]
    keys.page.keyboard.press("Escape")
    keys.page.wait_for_selector("[data-verdict]")
    assert keys.heard() == [keys.page.locator("[data-say]").inner_text()]


def test_without_script_a_job_goes_from_arrive_to_its_signature(browser: Any, desk: Desk) -> None:
    context = browser.new_context(viewport=PHONE, java_script_enabled=False)
    context.set_default_timeout(15_000)
    page = context.new_page()
    page.goto(f"{desk.base}/")
    page.get_by_role("button", name="New job").click()
    job = int(page.url.rsplit("/", 1)[1])
    for label in ("petrol, injected", "none of these", "idles high", "the throttle was cleaned"):
        page.get_by_label(label).check()
    page.get_by_role("button", name="Find the ladder").click()
    page.wait_for_selector(".stage.due#stage-2")
    page.fill("input[name=glances]", "980 990 985 995 988 992 986 991 989 990")
    page.get_by_role("button", name="Measure", exact=True).click()
    page.wait_for_selector(".stage.due#stage-3")
    assert page.locator("#stage-2 .big").inner_text().startswith("98")
    while (due := page.locator(".stage.due")).get_attribute("id") != "stage-8":
        due.locator("summary", has_text="Leave this stage out").click()
        due.locator("input[name=text]").fill("another day")
        due.get_by_role("button", name="Leave ").click()
    page.fill("#stage-8 textarea[name=hex]", "41 01 00 07 65 04")
    page.locator("#stage-8 select[name=rule]").select_option("us-federal")
    page.fill("#stage-8 input[name=year]", "2009")
    page.get_by_role("button", name="Keep what it reports").click()
    page.wait_for_selector(".stage.due#stage-9")
    assert "Would be ready" in page.locator("#stage-8 .verdict").inner_text()
    page.fill("#stage-9 input[name=by]", "R. H., invented")
    page.get_by_role("button", name="Sign and keep both papers").click()
    page.wait_for_selector(".stage.done#stage-9")
    assert desk.kept(job)[-1].kind == "sheet"
    page.goto(f"{desk.base}/jobs/{job}/coach/pedal-hold")
    assert "This screen needs scripts" in page.locator("main").inner_text()
    context.close()


def test_without_script_a_fault_is_a_page_that_leads_back(browser: Any, desk: Desk) -> None:
    job = desk.new_job()
    context = browser.new_context(viewport=PHONE, java_script_enabled=False)
    page = context.new_page()
    page.goto(f"{desk.base}/jobs/{job}")
    page.fill("[name='car.year']", "soon")
    page.get_by_role("button", name="Find the ladder").click()
    assert "soon" in page.get_by_role("alert").inner_text()
    page.get_by_role("link", name="Back", exact=True).click()
    assert page.url.endswith(f"/jobs/{job}")
    assert [e.kind for e in desk.kept(job)] == ["car"]
    context.close()
