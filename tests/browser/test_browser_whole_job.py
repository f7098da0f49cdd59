"""The demonstration's whole job through the pages, from an empty store to the hand-over PDF, by clicks and keys alone.

The car is simulated, and does what the coach's page says was done. What the pages tell is compared with what the
commands tell of the same files.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import httpx2 as httpx
from chromium_pages import VOICE, chromium
from click.testing import CliRunner
from pypdf import PdfReader
from served_site import served
from tools.walk import ACTS, drive_log

from tickover.attempts import Attempt, parse_attempt
from tickover.cli import tickover
from tickover.cli.demo_job import REPORTS, RULE, TOLD
from tickover.engine import PEDAL_HOLD, CarSpec, SimulatedCar, old_memory_on_cleaned_bore
from tickover.jobs import STAGES
from tickover.logs import write_log
from tickover.web.site import Site

FINISHED = "41 01 00 07 65 00"
"""The same car with every monitor finished."""
WHO = "R. H., invented"


class Car:
    """The simulated car: an old memory on a cleaned bore, warm, with its fan some minutes away."""

    def __init__(self, folder: Path) -> None:
        spec = replace(CarSpec(), metering="air", entries=(PEDAL_HOLD,), noise_seed=7, coolant_start=80.0)
        self.car = SimulatedCar(old_memory_on_cleaned_bore(spec), 7)
        self.folder = folder
        self.car.do("ignition on")
        self.car.advance(3.0)
        self.car.do("crank")

    def log(self, name: str) -> Path:
        """A minute of idle, as any log."""
        self.car.advance(12.0)
        self.car.record(period=0.2, jitter=0.01)
        self.car.advance(62.0)
        path = self.folder / name
        write_log(self.car.recording(), path)
        return path

    def performed(self, attempt: Attempt) -> str | None:
        """Have done to it what an attempt says; what became of it in the car."""
        self.car.do("ignition off")
        self.car.advance(15.0)
        acts = [e for e in attempt.events if e.kind in {kind for kind, _, _ in ACTS}]
        last = acts[0].t_lo
        for event in acts:
            self.car.advance(event.t_lo - last)
            last = event.t_lo
            self.car.do(event.kind)
        self.car.advance(2.0)
        return self.car.entry_outcome


@dataclass
class Person:
    """Somebody with a phone, a served record, and a clock that stands where it is put."""

    page: Any
    base: str
    site: Site
    clock: list[float]
    said: list[str] = field(default_factory=list)

    def press(self, name: str, within: str = "body") -> None:
        self.page.locator(within).get_by_role("button", name=name, exact=True).click()

    def unfold(self, words: str, within: str) -> None:
        """Open what is folded under these words, unless it is open."""
        head = self.page.locator(within).locator("summary", has_text=words).first
        if not head.evaluate("(s) => s.parentElement.open"):
            head.click()

    def write(self, within: str, **told: str) -> None:
        for name, value in told.items():
            self.page.locator(f"{within} [name='{name}']").first.fill(value)

    def text(self, where: str) -> str:
        return flat(self.page.locator(where).first.inner_text())

    def due(self, stage: int) -> None:
        """The page has come back, and this stage is due."""
        self.page.wait_for_selector(f".stage.due#stage-{stage}")

    def twin(self, path: str) -> dict[str, Any]:
        return dict(httpx.get(f"{self.base}/api/jobs/1{path}").json()["result"])


def flat(text: str) -> str:
    return " ".join(text.replace("\u200b", "").split())


def command(*words: object) -> dict[str, Any]:
    """The result that a command prints for programs."""
    found = CliRunner().invoke(tickover, [*map(str, words), "--json"])
    assert found.exit_code == 0, found.output
    return dict(json.loads(found.output)["result"])


@contextmanager
def at_the_pages(folder: Path) -> Iterator[Person]:
    clock = [9000.0]
    site = Site(store=folder / "jobs.db", seconds=lambda: clock[0])
    with chromium() as browser, served(site) as base:
        context = browser.new_context(viewport={"width": 360, "height": 780}, accept_downloads=True)
        context.set_default_timeout(20_000)
        context.add_init_script(VOICE)
        person = Person(context.new_page(), base, site, clock)
        person.page.on("pageerror", lambda e: person.said.append(str(e)))
        person.page.on("console", lambda m: person.said.append(m.text) if m.type == "error" else None)
        person.page.on("request", lambda r: None if r.url.startswith((base, "blob:")) else person.said.append(r.url))
        yield person
        assert person.said == []


def arrive(person: Person) -> None:
    page = person.page
    page.goto(f"{person.base}/")
    assert "No jobs yet" in person.text("main")
    person.press("New job")
    page.wait_for_url("**/jobs/1")
    car = {"car.year": "2009", "car.displacement_l": "2.0", "car.cylinders": "4", "car.complaint": "idles high"}
    person.write("#stage-1", **car)
    person.unfold("more questions", "#stage-1")
    for name, value in (told.split("=", 1) for told in TOLD):
        page.locator(f"#stage-1 input[name='{name}'][value='{value}']").check()
    person.write("#stage-1", **{"car.shop": "Larkholm Garage", "by": WHO})
    person.press("Find the ladder")
    person.due(2)
    ready(person, REPORTS)
    person.due(2)


def ready(person: Person, reports: str) -> None:
    """What the car reports, typed."""
    person.unfold("Read ", "#stage-8")
    person.write("#stage-8", hex=reports, year="2009", by=WHO)
    person.page.locator("#stage-8 [name='rule']").select_option(RULE)
    person.page.locator("#stage-8 [name='fuel']").select_option("petrol")
    with person.page.expect_navigation():
        person.press("Keep what it reports")


def measure(person: Person, stage: int, log: Path, **told: str) -> None:
    person.page.set_input_files(f"#stage-{stage} input[name=log]", log)
    person.write(f"#stage-{stage}", by=WHO, **told)
    with person.page.expect_navigation():
        person.press("Measure")
    person.page.wait_for_selector(f"#stage-{stage} .big", state="attached")


def set_up(person: Person) -> None:
    for need in person.page.locator("#stage-3 label.need").all():
        need.click()
    person.write("#stage-3", coolant="82", volts="12.6", by=WHO)
    person.press("Keep how they stand")
    person.due(4)


def coach(person: Person, kept: Path) -> Attempt:
    """The routine on its screen, tapped as it asks; the attempt as the record kept it, and as the command judges it."""
    page = person.page
    person.unfold("Other routines of the ladder", "#stage-4")
    page.get_by_role("link", name="Coach closed-throttle relearn by pedal hold").click()
    person.press("I hear them")
    for box in page.locator("label.need").all():
        box.click()
    person.press("All met: go on")
    page.get_by_role("button", name="A helper taps").click()
    person.press("Count me in")
    page.wait_for_selector("#pad")
    zero = float(page.evaluate("tickover.server.zero"))
    for _, _, t in ACTS:
        person.clock[0] = zero + t
        page.evaluate("(t) => { fake.t = t; tickover.tick(); }", zero + t - 8000)
        page.locator("#pad").click()
    page.wait_for_selector("[data-verdict]")
    sentence = person.text("[data-say]")
    page.get_by_role("link", name="To the job").click()
    person.due(5)
    [entry] = [e for e in person.twin("")["stages"][3]["entries"] if e["kind"] == "attempt"]
    digest = entry["attachments"][0]["digest"]
    kept.write_bytes(httpx.get(f"{person.base}/api/jobs/1/attachments/{digest}").content)
    judged = command("judge", kept, "--routine", "pedal-hold")
    assert (judged["verdict"], judged["sentence"]) == ("hit", sentence)
    assert sentence in person.text("#stage-4")
    return parse_attempt(kept.read_text(encoding="utf-8"))


def drive(person: Person, log: Path) -> None:
    page = person.page
    person.write("#stage-7", coolant="20", fuel="60", ambient="15", soaked="10", limit="100")
    person.press("Plan the drive")
    page.wait_for_selector("#stage-7 details.plan")
    assert "The driver does not use this screen" in person.text("#stage-7")
    page.set_input_files("#stage-7 input[name=log]", log)
    check = "#stage-7 form[action$='/drive/check']"
    person.unfold("What is known besides", check)
    person.write(check, soaked="10")
    page.locator(f"{check} [name='whole']").check()
    person.press("Check the drive")
    person.due(8)


def hand_over(person: Person, folder: Path) -> Path:
    person.write("#stage-9", by=WHO)
    person.press("Sign and keep both papers")
    person.page.wait_for_selector(".stage.done#stage-9")
    with person.page.expect_download() as came:
        person.page.get_by_role("link", name="the customer's sheet", exact=True).click()
    paper = folder / "sheet.pdf"
    came.value.save_as(paper)
    assert came.value.suggested_filename == "job-1-sheet.pdf"
    return paper


def twins_agree(person: Person) -> None:
    """Each stage stands on the page as it stands in the job's data."""
    told = person.twin("")
    assert [s["stage"] for s in told["stages"]] == list(STAGES)
    for stage in told["stages"]:
        section = person.page.locator(f"#stage-{stage['number']}")
        classes = str(section.get_attribute("class")).split()
        assert stage["standing"].replace(" ", "-") in classes, stage["stage"]
        line = stage["line"]
        if stage["stage"] == "set up":  # the page lists the needs
            needs = stage["entries"][-1]["data"]["needs"]
            line = f"{sum(n['met'] is True for n in needs)} of {len(needs)} met"
        assert line.casefold() in flat(section.inner_text()).casefold(), stage["stage"]
    assert flat(told["car"]) in person.text(".stub")


def test_the_whole_job_through_the_pages(tmp_path: Path) -> None:
    car = Car(tmp_path)
    before, driven = car.log("before.csv"), tmp_path / "drive.csv"
    driven.write_text(drive_log(), encoding="utf-8")
    with at_the_pages(tmp_path) as person:
        arrive(person)
        measure(person, 2, before, normal_lo="700", normal_hi="800")
        person.due(3)
        set_up(person)
        attempt = coach(person, tmp_path / "attempt.jsonl")
        assert car.performed(attempt) == "written"
        after = car.log("after.csv")
        measure(person, 5, after)
        compared = command("idle", after, "--against", before, "--normal", "700-800", "--displacement", "2.0")
        assert compared["verdict"] == "settled"
        assert person.text("#stage-5 .verdict h3") == "Settled"
        assert person.text("#stage-5 .verdict p") == flat(compared["sentence"])
        assert person.twin("")["stages"][5]["standing"] == "not needed"
        assert "not needed: settled" in person.text("#stage-6")
        drive(person, driven)
        checked = command("drive", "check", driven, "--whole", "--soaked", "10")
        shown = flat(str(person.page.locator("#stage-7").text_content()))
        assert any(m["verdict"] == "met" for m in checked["monitors"])
        for monitor in checked["monitors"]:
            assert flat(monitor["words"]) in shown, monitor["title"]
        ready(person, FINISHED)
        person.due(9)
        verdict = command("ready", "check", FINISHED, "--rule", RULE, "--year", "2009", "--fuel", "petrol")
        assert person.text("#stage-8 .verdict h3").casefold() == verdict["word"]
        assert person.text("#stage-8 .verdict p") == flat(verdict["sentence"])
        paper = hand_over(person, tmp_path)
        twins_agree(person)
        sheet = person.twin("/hand-over")["sheet"]
    pages = PdfReader(paper).pages
    assert len(pages) == 1
    words = flat(pages[0].extract_text())
    for told in (sheet["headline"], sheet["lead"], sheet["car"], "Larkholm Garage", WHO):
        assert flat(told) in words, told
