"""Practice on the phone: taps to a beat and pairs of taps, on a clock of the test's own, read by the command."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from chromium_pages import chromium

from tickover.cli.people import learned_of, read_taps
from tickover.cues.phone import LARGEST, phone_page
from tickover.routines import compile_routine, load_routine

VOICE = """window.fake = { t: 0, cues: [] };
window.tickoverVoice = { now: () => fake.t, hasContext: true, wake: async () => {}, reported: () => 0.06,
  correct() {}, play(cues) { fake.cues = cues; }, silence() {} };"""


@pytest.fixture
def page(tmp_path: Path) -> Iterator[Any]:
    file = tmp_path / "coach.html"
    text = phone_page(compile_routine(load_routine("pedal-hold")))
    assert len(text.encode()) < LARGEST
    file.write_text(text, encoding="utf-8")
    with chromium() as browser:
        page = browser.new_context(viewport={"width": 360, "height": 740}, offline=True).new_page()
        page.set_default_timeout(4000)
        faults: list[str] = []
        page.on("pageerror", lambda e: faults.append(str(e)))
        page.add_init_script(VOICE)
        page.goto(file.as_uri())
        while page.locator("h1").inner_text() != "Can you hear it":
            page.locator(".foot button").first.click()
        page.get_by_role("button", name="Practise timing").click()
        yield page
        assert faults == []


def touch(page: Any, t: float) -> None:
    page.evaluate("(t) => { fake.t = t; }", t)
    page.locator("#pad").dispatch_event("pointerdown")


def test_taps_are_kept_as_text_that_the_command_reads(page: Any, tmp_path: Path) -> None:
    page.get_by_role("button", name="Along a beat").click()
    page.wait_for_function("fake.cues.length === 16")
    beats = page.evaluate("fake.cues.map((c) => c.at)")
    assert [round(b - beats[0], 6) for b in beats] == list(range(16))
    for k, at in enumerate(beats):
        touch(page, at + (0.02 if k % 2 else -0.02))
    page.evaluate("(t) => { fake.t = t; tickover.tick(); }", beats[-1] + 1)
    t, aimed = 30.0, []
    for k in range(12):
        d = float(page.locator("h1").inner_text().split()[0])
        aimed.append(d)
        touch(page, t)
        assert page.locator("h1").inner_text() == "And …"
        touch(page, t + d * (1.1 if k % 2 else 0.95))
        t += d + 3
    assert sorted(aimed[:3]) == [0.5, 2.0, 6.0]
    with page.expect_download() as kept:
        page.get_by_role("button", name="Save the taps").click()
    file = tmp_path / "taps.csv"
    kept.value.save_as(file)
    assert page.locator("textarea").input_value() == file.read_text(encoding="utf-8")
    found = read_taps(file)
    own = [x for x in found.taps if not x.cued]
    assert [x.aimed for x in own] == aimed
    assert [round(x.made / x.aimed, 2) for x in own] == [0.95, 1.1] * 6
    assert [round(x.made - x.aimed, 3) for x in found.taps if x.cued] == [-0.02, 0.02] * 6
    learned = learned_of(found)
    assert (learned.intervals, learned.cued) == (12, 12)
    assert learned.event_sd.kind == "quantity"


def test_a_bounce_is_no_interval_and_keys_tap_too(page: Any) -> None:
    touch(page, 1.0)
    touch(page, 1.03)
    assert "0 of 42" in page.locator("main").inner_text()
    page.evaluate("fake.t = 5")
    page.keyboard.press(" ")
    page.evaluate("fake.t = 6.9")
    page.keyboard.press(" ")
    assert "1 of 42" in page.locator("main").inner_text()
    page.get_by_role("button", name="Back to the routine").click()
    assert page.locator("h1").inner_text() == "Can you hear it"


def test_nothing_lies_outside_the_phone_s_width(page: Any) -> None:
    touch(page, 1.0)
    touch(page, 1.9)
    assert page.evaluate("document.documentElement.scrollWidth <= 360")
