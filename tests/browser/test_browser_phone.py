"""The phone file in a real browser at phone size: opened from a file, offline, on a clock of the test's own."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from chromium_pages import chromium

from tickover.attempts import parse_attempt
from tickover.coaching.judging import judge_attempt
from tickover.cues.phone import LARGEST, phone_page
from tickover.routines import compile_routine, load_library, load_routine
from tickover.routines.aiming import aims_for

VOICE = """window.fake = { t: 0, cues: [] };
window.tickoverVoice = { now: () => fake.t, hasContext: true, wake: async () => {}, reported: () => 0.06,
  correct() {}, play(cues) { fake.cues = cues; }, silence() {} };"""
PRESSES = [3.0 + 0.3739 * k for k in range(10)]


class Phone:
    """One open page, and the clock it runs on."""

    def __init__(self, page: Any, start: float = 0.0) -> None:
        self.page, self.start = page, start

    def at(self, t: float) -> None:
        self.page.evaluate("(t) => { fake.t = t; tickover.tick(); }", self.start + t)

    def tap(self, t: float) -> None:
        self.at(t)
        self.page.evaluate("tickover.tap()")

    def press(self, name: str) -> None:
        self.page.get_by_role("button", name=name).click()

    def count_me_in(self, helper: bool = True) -> None:
        self.press("A helper taps" if helper else "Alone")
        self.press("Count me in")
        self.page.wait_for_selector("#stop")
        self.start = self.page.evaluate("tickover.state.startAt")

    def word(self) -> str:
        return str(self.page.locator("h1").inner_text())

    def said(self) -> str:
        return str(self.page.locator("[data-say]").inner_text())

    def as_far_as_hold(self) -> None:
        self.tap(0)
        for t in PRESSES:
            self.tap(t)
        self.tap(PRESSES[-1] + 7)


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with chromium() as found:
        yield found


@pytest.fixture
def phone(browser: Any, tmp_path: Path) -> Iterator[Phone]:
    file = tmp_path / "coach.html"
    file.write_text(phone_page(compile_routine(load_routine("pedal-count"))), encoding="utf-8")
    context = browser.new_context(viewport={"width": 360, "height": 800}, offline=True)
    page = context.new_page()
    page.set_default_timeout(4000)
    faults: list[str] = []
    asked: list[str] = []
    page.on("pageerror", lambda e: faults.append(str(e)))
    page.on("request", lambda r: asked.append(r.url))
    page.add_init_script(VOICE)
    page.goto(file.as_uri())
    page.get_by_role("button", name="Codes and readiness are written down").click()
    page.get_by_role("button", name="I hear them").click()
    page.get_by_role("button", name="Go on").click()
    yield Phone(page)
    context.close()
    assert faults == []
    assert [url for url in asked if not url.startswith(("file:", "blob:"))] == []


def test_a_hit_is_judged_on_the_spot_and_its_record_is_judged_alike(phone: Phone, tmp_path: Path) -> None:
    phone.count_me_in()
    phone.as_far_as_hold()
    down = PRESSES[-1] + 7
    phone.at(down + 9)
    assert phone.word() == "Hold"
    phone.press("It flashes")
    phone.at(down + 17)
    phone.press("It stays lit")
    phone.tap(down + 18.5)
    phone.tap(down + 20)
    assert phone.word() == "Done"
    assert phone.said() == "Hit: every step inside its window, as tapped."
    assert any(c["sound"] == "done" for c in phone.page.evaluate("fake.cues"))
    with phone.page.expect_download() as kept:
        phone.press("Keep the record")
    record = tmp_path / "kept.jsonl"
    kept.value.save_as(record)
    attempt = parse_attempt(record.read_text(encoding="utf-8"))
    assert judge_attempt(compile_routine(load_routine("pedal-count")), attempt).verdict == "hit"


def test_early_and_late_are_said_in_seconds(phone: Phone) -> None:
    phone.count_me_in()
    phone.tap(0)
    phone.tap(1.5)
    assert (phone.word(), phone.said()) == ("Missed", "Press 1 came 0.5 s early.")
    assert any(c["sound"] == "stop" for c in phone.page.evaluate("fake.cues"))
    phone.press("Again from step 1")
    phone.count_me_in()
    phone.tap(0)
    phone.tap(3)
    phone.tap(4.3)
    assert phone.said() == "Let-up 1 came 0.4 s late."


def test_silence_is_a_miss_with_the_recovery_and_after_three_it_stops(phone: Phone) -> None:
    for turn in range(3):
        phone.count_me_in()
        phone.tap(0)
        phone.at(4.9)
        assert phone.word() != "Missed"
        phone.at(5.1)
        assert phone.said() == "Press 1 did not come in its window."
        assert phone.page.locator(".left").inner_text() == "30 s"
        phone.at(15.1)
        assert phone.page.locator(".left").inner_text() == "20 s"
        assert "wait 30 s" in phone.page.locator("main").inner_text()
        again = phone.page.get_by_role("button", name="Again from step 1")
        assert again.count() == (1 if turn < 2 else 0)
        if turn < 2:
            again.click()
    assert "three attempts are the most" in phone.page.locator("main").inner_text()


def test_alone_it_runs_by_tones_and_only_the_lamp_is_tapped(phone: Phone) -> None:
    phone.count_me_in(helper=False)
    phone.at(20)
    assert phone.page.locator("#pad").count() == 0
    down = phone.page.evaluate("tickover.state.times.down") - phone.start
    aim = aims_for(compile_routine(load_library()["pedal-count"]), "coach")["down"].at
    assert down == pytest.approx(aim, abs=0.001)
    phone.at(down + 8.2)
    assert any(c["sound"] == "look out" for c in phone.page.evaluate("fake.cues"))
    phone.at(down + 9)
    phone.press("It flashes")
    phone.at(down + 15)
    phone.press("It stays lit")
    assert phone.said() == "The lamp stays lit came 1.0 s early."


def test_no_answer_of_the_car_stops_the_attempt(phone: Phone) -> None:
    phone.count_me_in(helper=False)
    phone.at(40)
    assert phone.word() == "Missed"
    assert "did not answer" in phone.said()


@pytest.mark.parametrize("key", ["Space", "Enter"])
def test_keys_tap_and_escape_stops(phone: Phone, key: str) -> None:
    phone.count_me_in()
    phone.at(0)
    phone.page.keyboard.press(key)
    assert phone.page.evaluate("tickover.state.phase") == "running"
    phone.page.keyboard.press("Escape")
    assert phone.word() == "Stopped"


def test_unread_codes_under_a_lit_lamp_are_refused(phone: Phone) -> None:
    phone.page.evaluate("tickover.show('first')")
    phone.press("Lamp lit, codes not read")
    assert "Not now" in phone.page.get_by_role("alert").inner_text()
    assert phone.page.evaluate("tickover.screen") == "first"


def test_more_than_40_ms_of_delay_is_warned_of(phone: Phone) -> None:
    phone.page.evaluate("tickover.show('sound')")
    assert "60 ms" in phone.page.get_by_role("status").inner_text()
    assert "more than 40 ms" in phone.page.get_by_role("status").inner_text()


SCREENS = ("first", "sound", "setup", "ready", "run", "hold", "missed", "done")


def go_to(phone: Phone, screen: str) -> None:
    if screen in ("first", "sound", "setup", "ready"):
        phone.page.evaluate("(s) => tickover.show(s)", screen)
        return
    phone.count_me_in(helper=screen != "done")
    if screen == "run":
        phone.tap(0)
        phone.at(2.5)
    elif screen == "hold":
        phone.as_far_as_hold()
        phone.at(22)
    elif screen == "missed":
        phone.tap(0)
        phone.tap(1.2)
    else:
        phone.at(22.5)
        phone.press("It flashes")
        phone.at(30.5)
        phone.press("It stays lit")
        phone.at(40)


@pytest.mark.parametrize("screen", SCREENS)
def test_no_sideways_scroll_and_no_serious_fault(phone: Phone, screen: str) -> None:
    axe = pytest.importorskip("axe_core_python.sync_playwright", reason="axe-core-python is not installed")
    go_to(phone, screen)
    for light in ("day", "night"):
        phone.page.evaluate("(l) => document.documentElement.setAttribute('data-light', l)", light)
        assert phone.page.evaluate("document.documentElement.scrollWidth") <= 360
        faults = axe.Axe().run(phone.page)["violations"]
        assert [(f["id"], f["nodes"][0]["html"]) for f in faults if f["impact"] in ("serious", "critical")] == []


def test_every_routine_of_the_library_makes_a_small_page() -> None:
    for routine in load_library().values():
        page = phone_page(compile_routine(routine))
        assert len(page.encode()) < LARGEST
        assert "http" not in page.replace("http-equiv", "")


ALONE = """() => {
  const { plan, voice } = tickover;
  for (let k = 0; k < 40000 && tickover.screen === "run"; k++) {
    fake.t += 0.5;
    tickover.tick();
    const answer = document.querySelector("[data-answer]");
    if (answer) {
      const wait = plan.answers.get(answer.dataset.answer);
      if (fake.t >= tickover.state.times[wait.after] + (wait.lo + wait.hi) / 2) tickover.answer(wait.event);
    }
  }
  return [tickover.screen, document.querySelector("[data-say]")?.textContent ?? tickover.state.phase];
}"""


@pytest.mark.parametrize("name", sorted(load_library()))
def test_every_routine_runs_to_its_end_by_tones(browser: Any, tmp_path: Path, name: str) -> None:
    file = tmp_path / "coach.html"
    file.write_text(phone_page(compile_routine(load_routine(name))), encoding="utf-8")
    page = browser.new_page(viewport={"width": 360, "height": 800})
    faults: list[str] = []
    page.on("pageerror", lambda e: faults.append(str(e)))
    page.add_init_script(VOICE)
    page.goto(file.as_uri())
    page.evaluate("tickover.show('ready')")
    phone = Phone(page)
    phone.count_me_in(helper=False)
    assert page.evaluate(ALONE)[0] == "done", page.evaluate(ALONE)
    assert faults == []
    page.close()
