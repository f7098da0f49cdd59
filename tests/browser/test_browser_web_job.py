"""The job sheet in a real browser: phone and desk, keyboard alone, logs with progress and Stop, charts, sounds."""

from __future__ import annotations

import io
import math
import socket
import threading
import time
import wave
from collections.abc import Iterator
from typing import Any

import pytest
from chromium_pages import chromium
from served_site import served

from tickover.jobs import open_store
from tickover.web.site import Site
from tickover.web.works import Work

PHONE, DESK = {"width": 360, "height": 780}, {"width": 1280, "height": 900}


HEADING = """[...document.querySelectorAll("#stage-2 .chart text.strong")].map((t) => t.textContent)
  .filter((t) => !/^(used|[a-z])$/.test(t)).join(" ")"""
CUT = """[...document.querySelectorAll("#stage-2 .chart text")].filter((t) => {
  const { x, width } = t.getBBox();
  return x < -1 || x + width > t.ownerSVGElement.clientWidth + 1;
}).map((t) => t.textContent)"""


def log_text(mean: float, swing: float, seconds: float = 70.0) -> bytes:
    rows = ["time (s),engine speed (rpm),coolant (C),throttle (%),vehicle speed (km/h)"]
    for k in range(round(seconds * 10)):
        v = mean + swing * math.sin(2 * math.pi * 0.07 * k) + 4 * math.sin(2 * math.pi * 0.23 * k)
        rows.append(f"{k / 10:.2f},{v:.0f},88,2.4,0")
    return ("\n".join(rows) + "\n").encode()


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with chromium() as found:
        yield found


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Site:
    return Site(store=tmp_path_factory.mktemp("web") / "jobs.db")


@pytest.fixture(scope="module")
def address(site: Site) -> Iterator[str]:
    with served(site) as found:
        yield found


@pytest.fixture
def tab(browser: Any) -> Iterator[Any]:
    context = browser.new_context(viewport=PHONE)
    context.set_default_timeout(10_000)
    found = context.new_page()
    said: list[str] = []
    found.on("console", lambda m: said.append(m.text) if m.type == "error" else None)
    found.on("pageerror", lambda e: said.append(str(e)))
    found.on("dialog", lambda d: said.append(f"dialog: {d.message}"))
    yield found
    context.close()
    assert [s for s in said if "status of 400" not in s] == []


def begin(tab: Any, address: str) -> int:
    tab.goto(f"{address}/")
    tab.get_by_role("button", name="New job").click()
    tab.wait_for_url("**/jobs/*")
    return int(tab.url.rsplit("/", 1)[1])


def entries(site: Site, job: int) -> list[str]:
    with open_store(site.store) as store:
        return [e.kind for e in store.current(job)]


def answer_arrive(tab: Any) -> None:
    tab.get_by_label("petrol, injected").check()
    tab.get_by_label("none of these").check()
    tab.get_by_label("idles high").check()
    tab.get_by_label("the throttle was cleaned").check()
    tab.get_by_role("button", name="Find the ladder").click()
    tab.wait_for_selector(".stage.due#stage-2")


def no_sideways(tab: Any) -> None:
    assert tab.evaluate("document.documentElement.scrollWidth") <= tab.viewport_size["width"]


def serious(tab: Any) -> list[str]:
    axe = pytest.importorskip("axe_core_python.sync_playwright", reason="axe is not installed")
    found = axe.Axe().run(tab)
    return [
        f"{v['id']}: {n['target']} {n['failureSummary']}"
        for v in found["violations"]
        if v["impact"] in {"serious", "critical"}
        for n in v["nodes"]
    ]


def unfold(tab: Any) -> None:
    tab.evaluate("for (const d of document.querySelectorAll('details')) d.open = true")


def test_arrive_measure_zoom_and_set_up_on_a_phone(tab: Any, address: str, site: Site) -> None:
    job = begin(tab, address)
    no_sideways(tab)
    answer_arrive(tab)
    no_sideways(tab)
    # A log, with script: read on the server while the page says so, then the card.
    tab.set_input_files("input[name=log]", {"name": "idle.csv", "mimeType": "text/csv", "buffer": log_text(842, 30)})
    tab.fill("input[name=normal_lo]", "650")
    tab.fill("input[name=normal_hi]", "750")
    tab.get_by_role("button", name="Measure", exact=True).click()
    tab.wait_for_selector("#stage-2 .big")
    assert tab.inner_text("#stage-2 .big").startswith("842")
    assert entries(site, job).count("reading") == 1
    no_sideways(tab)
    # The chart by keyboard.
    place = tab.locator("#stage-2 .chart")
    place.scroll_into_view_if_needed()
    tab.wait_for_selector("#stage-2 .chart.live text")
    assert tab.evaluate(HEADING) == "engine speed, r/min; dotted: normal 650 to 750"
    assert tab.evaluate(CUT) == []
    tab.wait_for_selector("#stage-2 .chart.live svg")
    shown = tab.locator("#stage-2 .shown")
    assert "0 to 70 s" in shown.inner_text()
    place.focus()
    place.press("+")
    place.press("ArrowLeft")
    assert "0 to 70 s" not in shown.inner_text()
    place.press("0")
    assert "0 to 70 s" in shown.inner_text()
    no_sideways(tab)
    # Needs as rows: the whole row taps.
    tab.locator("#stage-3 label.need").nth(1).click()
    assert tab.locator("#stage-3 input[name=seen]").nth(1).is_checked()
    tab.fill("#stage-3 input[name=volts]", "12,6")
    tab.get_by_role("button", name="Keep how they stand").click()
    tab.wait_for_selector(".stage.due#stage-4")
    assert "2 of" in tab.inner_text("#stage-3")
    unfold(tab)
    no_sideways(tab)


def test_pages_at_a_desk(tab: Any, address: str) -> None:
    tab.set_viewport_size(DESK)  # the same at 360 px by day and night: test_browser_access
    sheet = f"/jobs/{begin(tab, address)}"
    answer_arrive(tab)
    for path in ("/", f"{sheet}/record", sheet):
        tab.goto(address + path)
        unfold(tab)
        no_sideways(tab)
    assert serious(tab) == []


def test_by_keyboard_alone_a_job_is_begun_and_arrive_is_answered(tab: Any, address: str) -> None:
    tab.goto(f"{address}/")
    tab.locator("text=New job").focus()
    tab.keyboard.press("Enter")
    tab.wait_for_url("**/jobs/*")
    reach = """(text) => { const labels = [...document.querySelectorAll('label.choice')];
      const l = labels.find((n) => n.innerText.trim() === text);
      return l.querySelector('input') === document.activeElement; }"""
    ring = "getComputedStyle(document.activeElement).outline"
    for text in ("petrol, injected", "none of these", "idles high", "the throttle was cleaned"):
        for _ in range(60):
            tab.keyboard.press("Tab")
            assert "solid 3px" in tab.evaluate(ring), "where the focus is can be seen"
            inside = tab.evaluate("(t) => document.activeElement.type === 'radio'", text)
            if inside and text == "petrol, injected":
                break
            if tab.evaluate(reach, text):
                break
        if text == "petrol, injected":  # one stop of Tab for all choices of one; arrows choose
            for _ in range(8):
                tab.keyboard.press("ArrowDown")
                if tab.evaluate(reach, text):
                    break
        else:
            tab.keyboard.press("Space")
        assert tab.evaluate(reach, text), text
    tab.keyboard.press("Enter")
    tab.wait_for_selector(".stage.due#stage-2")


def test_typed_words_outlive_a_reload_and_a_fault_is_told_beside_them(tab: Any, address: str) -> None:
    begin(tab, address)
    tab.get_by_label("In the customer's words").fill("hunts <script>alert(1)</script>")
    tab.locator("[name='car.year']").fill("soon")
    tab.get_by_label("idles high").check()
    tab.reload()
    assert tab.get_by_label("In the customer's words").input_value() == "hunts <script>alert(1)</script>"
    assert tab.get_by_label("idles high").is_checked()
    tab.get_by_role("button", name="Find the ladder").click()
    alert = tab.locator("form .told")
    alert.wait_for()
    assert "soon" in alert.inner_text()
    assert tab.locator("[name='car.year']").input_value() == "soon"
    tab.locator("[name='car.year']").fill("2007")
    tab.get_by_label("petrol, injected").check()
    tab.get_by_role("button", name="Find the ladder").click()
    tab.wait_for_selector("#stage-1.done, #stage-1 .caution, #stage-1 .dunno")
    assert "hunts <script>alert(1)</script>" in tab.inner_text(".stub")
    assert tab.locator("[name='car.year']").input_value() == "2007"


def test_stop_while_a_log_is_read_keeps_nothing_also_after_a_reload(
    tab: Any, address: str, site: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    go_on = threading.Event()
    say = Work.say

    def slowly(work: Work, doing: str) -> None:
        say(work, doing)
        if doing.startswith("reading"):
            while not go_on.wait(0.02):
                work.going()

    monkeypatch.setattr(Work, "say", slowly)
    job = begin(tab, address)
    answer_arrive(tab)
    count = len(entries(site, job))
    big = log_text(842, 30, 600)
    for reload in (False, True):
        tab.set_input_files("input[name=log]", {"name": "idle.csv", "mimeType": "text/csv", "buffer": big})
        tab.get_by_role("button", name="Measure", exact=True).click()
        tab.get_by_text(f"Reading {round(len(big) / 1e3)} kB").wait_for()
        if reload:  # the server goes on; the page says so again
            tab.reload()
            tab.get_by_text(f"Reading {round(len(big) / 1e3)} kB").wait_for()
            tab.get_by_role("button", name="Stop").click()
            tab.wait_for_selector("form[data-log]:visible")
        else:
            tab.get_by_role("button", name="Stop").click()
            tab.get_by_text("Stopped. Nothing was kept.").wait_for()
        assert len(entries(site, job)) == count
    go_on.set()
    tab.set_input_files("input[name=log]", {"name": "idle.csv", "mimeType": "text/csv", "buffer": b"time,x\n0,1\n"})
    tab.get_by_role("button", name="Measure", exact=True).click()
    tab.locator("form .told").wait_for()
    assert "engine speed" in tab.inner_text("form .told")
    assert chosen(tab, "log") == 0  # what was refused is not sent again with the glances
    keep, kept = Work.keep, threading.Event()
    monkeypatch.setattr(Work, "keep", lambda work: (keep(work), kept.wait(30)))
    tab.set_input_files("input[name=log]", {"name": "idle.csv", "mimeType": "text/csv", "buffer": log_text(842, 30)})
    tab.get_by_role("button", name="Measure", exact=True).click()
    for _ in range(2):  # what is being kept cannot be stopped, also after a reload
        tab.get_by_text("Keeping it in the job").wait_for()
        assert tab.get_by_role("button", name="Stop").count() == 0
        tab.reload()
    kept.set()
    tab.wait_for_selector("#stage-2 .big")


def chosen(tab: Any, name: str) -> int:
    return int(tab.evaluate("(n) => document.querySelector(`input[name=${n}]`).files.length", name))


def test_a_chosen_file_can_be_taken_out_again_in_every_form(tab: Any, address: str, site: Site) -> None:
    job = begin(tab, address)
    answer_arrive(tab)
    log = {"name": "idle.csv", "mimeType": "text/csv", "buffer": b"\x89PNG\r\n\x1a\n" + bytes(80)}
    out = tab.get_by_role("button", name="Take the file out")
    assert out.count() == 0
    tab.set_input_files("input[name=log]", log)
    tab.fill("input[name=glances]", "700 720 690 710 700 705 695 710 700 690")
    tab.get_by_role("button", name="Measure", exact=True).click()
    tab.get_by_text("not from both").wait_for()
    no_sideways(tab)
    out.click()
    assert (chosen(tab, "log"), out.count()) == (0, 0)
    assert tab.evaluate("document.activeElement.name") == "log"
    tab.get_by_role("button", name="Measure", exact=True).click()
    tab.wait_for_selector("#stage-2 .big, #stage-2 .verdict")
    assert entries(site, job).count("reading") == 1
    unfold(tab)  # a log of the last minutes at Set up is kept, and no fault is told
    tab.set_input_files("#stage-3 input[name=log]", {**log, "buffer": log_text(842, 30)})
    assert out.count() == 1
    tab.locator("#stage-3 input[name=seen]").first.check()
    tab.get_by_role("button", name="Keep how they stand").click()
    tab.wait_for_selector("#stage-3.done, #stage-3 .told")
    assert tab.locator("#stage-3 .told").all_inner_texts() == []
    tab.goto(f"{address}/")
    unfold(tab)
    tab.set_input_files("input[name=file]", {**log, "name": "job.zip"})
    out.click()
    assert chosen(tab, "file") == 0


def test_a_sound_is_decoded_in_the_browser_and_kept_as_wav_of_one_channel(tab: Any, address: str, site: Site) -> None:
    job = begin(tab, address)
    answer_arrive(tab)
    made = io.BytesIO()
    with wave.open(made, "wb") as out:  # 8 bits, two channels, 22,050 a second: nothing that the server takes
        out.setnchannels(2)
        out.setsampwidth(1)
        out.setframerate(22050)
        out.writeframes(bytes(128 + round(100 * math.sin(k * 0.05)) for k in range(22050) for _ in (0, 1)))
    tab.get_by_text("Add a sound").click()
    assert "Nothing is worked out of sounds yet" in tab.inner_text("#stage-2")
    assert tab.get_by_role("button", name="Record 20 s").is_visible()  # this machine's own page is a secure context
    sound = {"name": "idle.8bit.wav", "mimeType": "audio/wav", "buffer": made.getvalue()}
    tab.set_input_files("input[name=sound]", sound)
    tab.get_by_role("button", name="Keep the sound").click()
    tab.get_by_text("not analysed").wait_for()
    with open_store(site.store) as store:
        (kept,) = [e for e in store.current(job) if e.kind == "sound"]
        held = store.attachment(kept.attachments[0])
    with wave.open(io.BytesIO(held)) as found:
        assert (found.getnchannels(), found.getsampwidth(), found.getframerate()) == (1, 2, 44100)
        assert abs(found.getnframes() / 44100 - 1) < 0.01
    # It is played on its page, from any place in it.
    player = tab.locator("#stage-2 audio")
    assert "1.0 s. Kept, not analysed" in tab.inner_text("#stage-2 .sound")
    length = player.evaluate("(a) => a.duration || new Promise((r) => { a.onloadedmetadata = () => r(a.duration); })")
    assert abs(length - 1) < 0.01
    player.evaluate(
        """async (a) => { a.muted = true; a.currentTime = 0.7; await a.play();
        await new Promise((r) => { a.onended = r; }); }"""
    )
    assert player.evaluate("(a) => [a.error, a.ended]") == [None, True]
    no_sideways(tab)


def test_night_and_day_by_hand(tab: Any, address: str) -> None:
    sheet = f"{address}/jobs/{begin(tab, address)}"
    ground = "getComputedStyle(document.querySelector('.page')).backgroundColor"
    day = tab.evaluate(ground)
    tab.get_by_role("button", name="Night").click()
    tab.get_by_role("button", name="Day").wait_for()
    assert tab.url == sheet
    assert tab.evaluate(ground) != day
    tab.get_by_role("button", name="Day").click()
    tab.get_by_role("button", name="Night").wait_for()
    assert tab.evaluate(ground) == day


def test_without_script_the_forms_still_work(browser: Any, address: str) -> None:
    context = browser.new_context(viewport=PHONE, java_script_enabled=False)
    tab = context.new_page()
    begin(tab, address)
    answer_arrive(tab)
    tab.set_input_files("input[name=log]", {"name": "idle.csv", "mimeType": "text/csv", "buffer": log_text(842, 30)})
    tab.get_by_role("button", name="Measure", exact=True).click()
    tab.wait_for_selector("#stage-2 .big")
    assert tab.locator("#stage-2 .chart svg").count() == 1
    context.close()


def test_a_visitor_who_goes_away_has_stopped_the_reading(
    address: str, site: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    reached = threading.Event()
    say = Work.say

    def slowly(work: Work, doing: str) -> None:
        say(work, doing)
        reached.set()
        while True:
            time.sleep(0.02)
            work.going()

    monkeypatch.setattr(Work, "say", slowly)
    with open_store(site.store) as store:
        job = store.new(at="2026-11-25T08:00:00+00:00")
    log = log_text(842, 30)
    body = b'--x\r\nContent-Disposition: form-data; name="log"; filename="a.csv"\r\n\r\n' + log + b"\r\n--x--\r\n"
    head = (
        f"POST /jobs/{job}/reading HTTP/1.1\r\nHost: {address.removeprefix('http://')}\r\n"
        f"Content-Type: multipart/form-data; boundary=x\r\nContent-Length: {len(body)}\r\n\r\n"
    )
    port = int(address.rsplit(":", 1)[1])
    with socket.create_connection(("127.0.0.1", port)) as line:
        line.sendall(head.encode() + body)
        assert reached.wait(20)
    work = site.works.of(job)
    assert work is not None
    assert work.finished.wait(20)
    assert work.state == "stopped"
    assert entries(site, job) == ["car"]
