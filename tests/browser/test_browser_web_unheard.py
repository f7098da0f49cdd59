"""A reload in the middle of an attempt: the browser holds the sound back, the page says so, a touch brings it back."""

from __future__ import annotations

import time
from collections.abc import Iterator
from typing import Any

import httpx2 as httpx
import pytest
from chromium_pages import chromium
from served_site import served

from tickover.web.site import Site

SOUNDED = """window.sounded = []; window.elements = [];
const start = AudioBufferSourceNode.prototype.start;
AudioBufferSourceNode.prototype.start = function (...at) {
  sounded.push(this.context.state);
  return start.apply(this, at);
};
const play = HTMLMediaElement.prototype.play;
HTMLMediaElement.prototype.play = function () { elements.push(this.src.slice(0, 5)); return play.apply(this); };"""
WORDS = "Touch anywhere to hear the tones"
NOTICE = "Boolean(document.querySelector('.unheard'))"
RECT = "document.querySelector('%s').getBoundingClientRect()"
AHEAD = "tickover.voice.now() - performance.now() / 1000"


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with chromium() as found:
        yield found


class Phone:
    """A phone's page, looked at without a gesture: what Playwright itself evaluates counts as one."""

    def __init__(self, page: Any) -> None:
        self.page = page
        self.cdp = page.context.new_cdp_session(page)

    def look(self, what: str) -> Any:
        told = self.cdp.send("Runtime.evaluate", {"expression": what, "returnByValue": True, "userGesture": False})
        assert "exceptionDetails" not in told, told
        return told["result"].get("value")

    def until(self, what: str) -> None:
        end = time.monotonic() + 10
        while not self.look(what):
            assert time.monotonic() < end, what
            time.sleep(0.03)

    def touch(self, selector: str) -> None:
        box = self.look(f"(({{x, y, width, height}}) => [x + width / 2, y + height / 2])({RECT % selector})")
        self.page.touchscreen.tap(*box)


@pytest.fixture(scope="module")
def joined(browser: Any, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Phone]:
    """A phone in the middle of an attempt."""
    context = browser.new_context(viewport={"width": 360, "height": 740}, has_touch=True)
    context.set_default_timeout(10_000)
    page, faults = context.new_page(), []
    page.on("console", lambda m: faults.append(m.text) if m.type == "error" else None)
    page.on("pageerror", lambda e: faults.append(str(e)))
    page.add_init_script(SOUNDED)
    with served(Site(store=tmp_path_factory.mktemp("shop") / "jobs.db")) as address:
        job = httpx.post(f"{address}/api/jobs", json={}).json()["result"]["job"]
        httpx.post(f"{address}/api/jobs/{job}/attempts", json={"routine": "pedal-hold"})
        page.goto(f"{address}/jobs/{job}/coach/pedal-hold")
        page.get_by_role("button", name="Join it here").click()
        page.wait_for_selector("#pad")
        yield Phone(page)
        context.close()
    assert faults == []  # no tone was refused by the page's own policy


@pytest.fixture
def phone(joined: Phone) -> Phone:
    """Just reloaded: nobody has touched the page since."""
    joined.page.reload()
    joined.until("Boolean(document.querySelector('#pad'))")
    joined.until(NOTICE)
    return joined


def test_a_touch_on_the_notice_brings_the_tones_back_and_is_no_tap(phone: Phone) -> None:
    assert phone.look("[...document.querySelectorAll('[role=alert]')].map((n) => n.innerText)") == [WORDS]
    phone.until("elements.length > 0")  # what the browser refuses until then
    assert set(phone.look("elements")) == {"blob:"}
    assert phone.look("sounded") == []
    assert phone.look(f"{RECT % '.unheard'}.height") >= 64
    assert phone.look("document.documentElement.scrollWidth <= innerWidth")
    before = phone.look(AHEAD)
    phone.touch(".unheard")
    phone.until("sounded.includes('running')")
    phone.until(f"!{NOTICE}")
    assert phone.look("tickover.state.seen.length") == 0
    assert abs(phone.look(AHEAD) - before) < 0.1  # the coach's clock goes on where it was


def test_a_key_on_the_notice_brings_the_tones_back_and_is_no_tap(phone: Phone) -> None:
    phone.look("document.querySelector('.unheard').focus()")
    phone.page.keyboard.press("Enter")
    phone.until("sounded.includes('running')")
    assert phone.look("tickover.state.seen.length") == 0


def test_a_tap_on_the_pad_counts_and_brings_the_tones_back(phone: Phone) -> None:
    phone.touch("#pad")
    phone.until("tickover.state.seen.length === 1")
    phone.until("sounded.includes('running')")
    phone.until(f"!{NOTICE}")
