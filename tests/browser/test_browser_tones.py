"""Tones as rendered by the browser: each onset is where the plan has it."""

from __future__ import annotations

import base64

import numpy as np
import pytest
from chromium_pages import chromium
from numpy.typing import NDArray

from tickover.cues.phone import bundle, phone_data
from tickover.routines import compile_routine, load_routine

RATE = 22050

RENDER = """async (data) => {
  const plan = planOf(data);
  const state = beginAttempt(plan, 0.5, false);
  const cues = toneSchedule(plan, state, 0.5).filter((c) => c.sound !== "words" && c.at < 70);
  const context = new OfflineAudioContext(1, 22050 * 75, 22050);
  for (const cue of cues) playOn(context, plan, cue, cue.at);
  const samples = (await context.startRendering()).getChannelData(0);
  const bytes = new Uint8Array(samples.buffer);
  let text = "";
  for (let k = 0; k < bytes.length; k += 8192) text += String.fromCharCode(...bytes.subarray(k, k + 8192));
  return { cues, audio: btoa(text) };
}"""


def onsets(sound: NDArray[np.float32]) -> NDArray[np.float64]:
    """Where something begins: the level of 2 ms is twice that of the 40 ms before, and over -50 dB. Knows no plan."""
    width = int(0.002 * RATE)
    total = np.concatenate([[0.0], np.cumsum(sound.astype(float) ** 2)])
    level = np.sqrt(np.maximum(total[width:] - total[:-width], 0) / width)  # level[k] covers k .. k + width
    found: list[float] = []
    k = int(0.05 * RATE)
    while k < len(level):
        before = level[k - int(0.04 * RATE) : k - int(0.008 * RATE)].max()
        if level[k] > 2 * before + 10 ** (-50 / 20):
            found.append((k + width / 2) / RATE)
            k += int(0.16 * RATE)
        else:
            k += 8
    return np.array(found)


@pytest.mark.parametrize("name", ["pedal-count", "pedal-hold", "power-cycle"])
def test_every_onset_is_within_5_ms_of_plan(name: str) -> None:
    with chromium() as browser:
        page = browser.new_page()
        page.add_script_tag(content=bundle("sound.js"))
        got = page.evaluate(RENDER, phone_data(compile_routine(load_routine(name))))
    sound = np.frombuffer(base64.b64decode(got["audio"]), dtype="<f4")
    planned = np.array([c["at"] for c in got["cues"] if c["sound"] != "hold"])
    found = onsets(sound)
    assert len(planned) > 15
    assert len(found) == len(planned)
    assert float(np.percentile(np.abs(found - planned), 99)) < 0.005
    assert float(np.abs(sound).max()) < 1.0
