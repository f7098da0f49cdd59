"""A real Chromium, offline, for the tests of the phone page."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import pytest

CHROMIUM = shutil.which("chromium")
FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
]
VOICE = """window.fake = { t: 1000, cues: [] };
window.tickoverVoice = { now: () => fake.t, hasContext: true, wake: async () => {}, reported: () => 0.01,
  correct() {}, play(cues) { fake.cues = cues; }, silence() {} };"""
"""Clock and sound of a coach's page, as a script to begin with: the clock stands where a test puts it."""


@contextmanager
def chromium() -> Iterator[Any]:
    """A browser; the test is skipped where there is none."""
    playwright = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    if CHROMIUM is None:
        pytest.skip("chromium is not installed")
    with playwright.sync_playwright() as drive:
        browser = drive.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        yield browser
        browser.close()
