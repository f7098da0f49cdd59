"""Live attempts: kept before they are acknowledged, judged as ``tickover judge`` judges, the same after a restart."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from coach_site import Clock, Page, begin, client, new_job, routine
from hypothesis import given, settings
from hypothesis import strategies as st
from starlette.testclient import TestClient

from tickover.cli import tickover
from tickover.jobs import open_store
from tickover.web.coach_book import Book, Exchange, Told
from tickover.web.site import Site

ACTS = [("ignition on", "on"), ("press", "down"), ("release", "up"), ("crank", "start")]
GOOD = [5.0, 8.0, 38.0, 40.0]
LATE = [5.0, 8.0, 44.0, 46.0]


@pytest.fixture(scope="module")
def clock() -> Clock:
    return Clock()


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("shop")


@pytest.fixture(scope="module")
def http(folder: Path, clock: Clock) -> TestClient:
    return client(folder, clock)


def play(page: Page, times: list[float], acts: list[tuple[str, str]] = ACTS) -> dict[str, Any]:
    state: dict[str, Any] = {}
    for (kind, event), t in zip(acts, times, strict=True):
        state = page.tap(kind, event, t)
    return state


def kept(folder: Path, job: int) -> list[Any]:
    with open_store(folder / "jobs.db") as store:
        return [e for e in store.current(job) if e.kind == "attempt"]


@pytest.mark.parametrize(("times", "phase", "verdict"), [(GOOD, "done", "hit"), (LATE, "missed", "missed")])
def test_the_server_judges_as_tickover_judge_judges(
    times: list[float], phase: str, verdict: str, http: TestClient, clock: Clock, folder: Path
) -> None:
    job = new_job(http)
    page = begin(http, job, clock, by="K.")
    assert play(page, times)["phase"] == phase
    over = page.end(phase)
    [entry] = kept(folder, job)
    assert (entry.data["verdict"], entry.data["sentence"]) == (verdict, over["judgement"]["sentence"])
    assert (entry.by, entry.data["try"], entry.seq) == ("K.", 1, over["kept"])
    with open_store(folder / "jobs.db") as store:
        (folder / "attempt.jsonl").write_bytes(store.attachment(entry.attachments[0]))
    asked = ["judge", str(folder / "attempt.jsonl"), "--routine", "pedal-hold", "--json"]
    told = CliRunner().invoke(tickover, asked)
    assert json.loads(told.stdout)["result"] == over["judgement"]
    assert over["judgement"]["verdict"] == verdict


def test_told_again_it_is_not_taken_again(http: TestClient, clock: Clock) -> None:
    page = begin(http, new_job(http), clock)
    page.tap("ignition on", "on", 5.0)
    page.tap("press", "down", 8.0)
    state = page.tell(page.sent)
    assert [e["event"] for e in state["events"]] == ["on", "down"]
    assert state["doubled"] == []


def test_two_phones_tap_in_one_attempt_each_on_its_own_clock(http: TestClient, clock: Clock, folder: Path) -> None:
    job = new_job(http)
    one = begin(http, job, clock)
    two = Page(http, one.attempt, clock, one.zero, device="two", ahead=-70.0, half=0.02).join()
    one.tap("ignition on", "on", 5.0)
    one.tap("press", "down", 8.0)
    state = two.tap("press", "down", 8.1)
    assert state["doubled"] == [{"event": "down", "source": "phone 2", "first": "phone 1"}]
    two.tap("release", "up", 38.0)
    one.tap("crank", "start", 40.0)
    assert http.get(f"/api/attempts/{one.attempt}").json()["result"]["phase"] == "done"
    over = two.end("done")
    assert over["judgement"]["verdict"] == "hit"
    assert [e["source"] for e in over["events"]] == ["phone 1", "phone 1", "phone 2", "phone 1"]
    assert over["phones"] == pytest.approx({"phone 1": 0.016, "phone 2": 0.032})
    found = next(b for b in over["judgement"]["bounds"] if b["event"] == "up")["found"]
    assert found == pytest.approx([30.0 - 0.048, 30.0 + 0.048])  # two clocks, so both their uncertainties
    [entry] = kept(folder, job)
    with open_store(folder / "jobs.db") as store:
        lines = [json.loads(x) for x in store.attachment(entry.attachments[0]).splitlines()]
    assert [x["source"] for x in lines[1:]] == [
        "taps, phone 1",
        "taps, phone 1",
        "taps, phone 2",
        "taps, phone 1",
        "server",
    ]


def test_a_second_phone_that_begins_joins_the_attempt_that_runs(http: TestClient, clock: Clock) -> None:
    job = new_job(http)
    one = begin(http, job, clock)
    again = http.post(f"/api/jobs/{job}/attempts", json={"routine": "pedal-hold"})
    assert (again.status_code, again.json()["result"]["id"]) == (200, one.attempt)
    other = http.post(f"/api/jobs/{job}/attempts", json={"routine": "double-hold"})
    assert other.status_code == 400
    assert "is running in this job" in other.json()["what"]


@settings(max_examples=8, deadline=None)
@given(cuts=st.sets(st.integers(0, 6)), torn=st.booleans())
def test_a_restart_anywhere_changes_nothing(
    cuts: set[int], torn: bool, tmp_path_factory: pytest.TempPathFactory
) -> None:
    folder, clock = tmp_path_factory.mktemp("cut"), Clock()
    site = Site(store=folder / "jobs.db", seconds=clock)
    with site.opened() as store:
        job = store.new(at=site.now())
    book = Book(site)
    begun, _ = book.begin(job, "pedal-hold", "key", tapped=True, by="")
    joined, _ = book.join(begun.id, "a", [Exchange(sent=0.0, server=clock.now, back=0.0)])

    def restarted(n: int) -> Book:
        if n not in cuts:
            return book
        if torn:
            [journal] = (folder / "jobs-attempts").glob("*.jsonl")
            with journal.open("ab") as file:
                file.write(b'{"record":"came","clock":"pho')
        return Book(site)

    told: list[Told] = []
    for n, ((kind, event), t) in enumerate(zip(ACTS, GOOD, strict=True)):
        book = restarted(n)
        clock.now = begun.zero + t + 0.1
        told.append(Told(seq=n, kind=kind, event=event, t=t))  # type: ignore[arg-type]  # kinds by their names
        book.tell(begun.id, joined.clock, told)  # what was not sure to have arrived is sent again
    book = restarted(4)
    over = book.end(begun.id, "done")
    book = restarted(5)
    again = book.end(begun.id, "done")
    book = restarted(6)
    assert book.state(begun.id) == again == over
    assert over.judgement is not None
    assert over.judgement.verdict == "hit"
    assert [b.found for b in over.judgement.bounds] == [pytest.approx((d, d)) for d in (3, 30, 2)]
    assert len(kept(folder, job)) == 1


def test_killed_between_the_entry_and_its_note_it_is_kept_once(http: TestClient, clock: Clock, folder: Path) -> None:
    job = new_job(http)
    page = begin(http, job, clock)
    play(page, GOOD)
    first = page.end("done")
    [journal] = (folder / "jobs-attempts").glob(f"{job:06d}-*.jsonl")
    lines = journal.read_bytes().splitlines(keepends=True)
    assert b'"kept"' in lines[-1]
    journal.write_bytes(b"".join(lines[:-1]))
    again = Book(Site(store=folder / "jobs.db", seconds=clock)).end(page.attempt, "done")
    assert again.kept == first["kept"]
    assert len(kept(folder, job)) == 1


def test_silence_is_a_miss_but_a_late_report_of_a_timely_tap_counts(http: TestClient, clock: Clock) -> None:
    page = begin(http, new_job(http), clock)
    page.tap("ignition on", "on", 5.0)
    clock.now = page.zero + 10.5  # the press was due by 9.0
    assert http.get(f"/api/attempts/{page.attempt}").json()["result"]["phase"] == "missed"
    state = page.tap("press", "down", 8.5, late=2.0)
    assert state["phase"] == "running"


def test_the_stop_rule_counts_what_was_coached_here(http: TestClient, clock: Clock) -> None:
    job = new_job(http)
    for number in (1, 2, 3):
        page = begin(http, job, clock)
        play(page, LATE)
        assert page.end("missed")["number"] == number
    plan = http.get(f"/api/jobs/{job}/coach/pedal-hold").json()["result"]
    assert not plan["allowed"]
    assert plan["why"].startswith("Three attempts at this routine are enough")
    refused = http.post(f"/api/jobs/{job}/attempts", json={"routine": "pedal-hold"})
    assert (refused.status_code, refused.json()["what"]) == (400, plan["why"])
    erasing = http.get(f"/api/jobs/{job}/coach/pedal-count").json()["result"]
    assert "nobody has read them" in erasing["why"]


@pytest.mark.parametrize("done", [0, 2])
def test_stopped_before_anything_was_missed_is_no_try(done: int, http: TestClient, clock: Clock, folder: Path) -> None:
    job = new_job(http)
    page = begin(http, job, clock)
    play(page, GOOD[:done], ACTS[:done])
    over = page.end("stopped")
    assert (over["over"], over["kept"]) == ("stopped", None)
    assert kept(folder, job) == []


def test_done_alone_it_is_kept_as_cannot_tell(http: TestClient, clock: Clock, folder: Path) -> None:
    job = new_job(http)
    page = begin(http, job, clock, tapped=False)
    for (kind, event), t in zip(ACTS, GOOD, strict=True):
        clock.now = page.zero + t
        page.sent.append({"seq": page.seq, "kind": kind, "event": event, "t": t + page.ahead, "by": "tone"})
        page.seq += 1
    page.tell(page.sent)
    assert page.end("done")["judgement"]["verdict"] == "undecided"
    assert kept(folder, job)[0].data["verdict"] == "undecided"


@pytest.mark.parametrize(("resumed", "verdict"), [(140.0, "hit"), (200.0, "missed")])
def test_counted_time_that_paused_is_judged_by_what_was_told(
    resumed: float, verdict: str, http: TestClient, clock: Clock
) -> None:
    page = begin(http, new_job(http), clock, "fast-run-in")
    acts = [("crank", "start"), ("hold speed", "hold"), ("fan on", "fan"), ("let idle", "idle")]
    state = play(page, [5.0, 10.0, 100.0, 103.0], acts)
    assert [(t["condition"], t["holds"]) for t in state["turns"]] == [("fan off", False)]  # the fan itself told it
    told = {"kind": "time counts", "event": "", "condition": "fan off", "t": resumed + page.ahead}
    clock.now = page.zero + resumed + 1
    state = page.tell([{**told, "seq": page.seq}])
    assert state["turns"][-1] == {"condition": "fan off", "holds": True, "t": pytest.approx(resumed, abs=0.03)}
    page.seq += 1
    page.tap("ignition off", "off", 445.0)
    assert page.end("done")["judgement"]["verdict"] == verdict


def test_a_forgotten_attempt_makes_way(http: TestClient, clock: Clock, folder: Path) -> None:
    job = new_job(http)
    first = begin(http, job, clock)
    play(first, [5.0, 8.0], ACTS[:2])
    clock.now += 5 * 3600
    second = begin(http, job, clock)
    assert second.attempt != first.attempt
    assert [e.data["verdict"] for e in kept(folder, job)] == ["missed"]


@pytest.mark.parametrize(
    ("path", "said", "status", "what"),
    [
        ("events", {"clock": "phone 9", "events": [{"seq": 0, "kind": "press", "t": 1}]}, 400, "has joined"),
        (
            "events",
            {"clock": "phone 1", "events": [{"seq": 9, "kind": "press", "event": "up", "t": 105}]},
            400,
            "is not",
        ),
        ("events", {"clock": "phone 1", "events": [{"seq": 9, "kind": "press", "t": 9e9}]}, 400, "no time of this"),
        ("events", {"clock": "phone 1", "events": [{"seq": 9, "kind": "wink", "t": 101}]}, 422, "kind"),
        ("events", {"clock": "phone 1", "events": [{"seq": -1, "kind": "press", "t": 101}]}, 422, "seq"),
        ("clocks", {"device": "<b>", "exchanges": [{"sent": 1, "server": 1, "back": 2}]}, 422, "device"),
        ("clocks", {"device": "x", "exchanges": [{"sent": 1e300, "server": 5000, "back": 2}]}, 422, "sent"),
        ("clocks", {"device": "x", "exchanges": [{"sent": 2, "server": 1, "back": 1}]}, 400, "contradict"),
        ("clocks", {"device": "x", "exchanges": [{"sent": 1, "server": 9e9, "back": 2}]}, 400, "too old"),
        ("end", {"how": "won"}, 422, "how"),
    ],
)
def test_what_cannot_be_is_refused_in_words(
    path: str, said: dict[str, Any], status: int, what: str, http: TestClient, clock: Clock
) -> None:
    page = begin(http, new_job(http), clock)
    clock.now += 2
    answer = http.post(f"/api/attempts/{page.attempt}/{path}", json=said)
    assert answer.status_code == status, answer.text
    assert what in answer.json()["what"]


@pytest.mark.parametrize(
    ("path", "status"),
    [
        ("/api/attempts/0123456789abcdef", 404),
        ("/api/attempts/..%2f..%2fjobs.db", 404),
        ("/api/attempts/0123456789ABCDEF", 422),
        ("/api/jobs/999/coach/pedal-hold", 404),
        ("/api/jobs/1/coach/no-such", 400),
        ("/jobs/999/coach/pedal-hold", 404),
        ("/static/coach/nothing.js", 404),
        ("/static/coach/..%2fphone.py", 404),
        ("/static/coach/%2e%2e%2fphone.py", 404),
        ("/api/jobs/1/coach/pedal-hold?switch=lever", 422),
    ],
)
def test_there_is_nothing_at_other_addresses(path: str, status: int, http: TestClient) -> None:
    new_job(http)
    assert http.get(path).status_code == status


def test_the_phone_pages_own_modules_are_served(http: TestClient) -> None:
    for name, kind in (("attempt.js", "text/javascript"), ("phone.css", "text/css")):
        answer = http.get(f"/static/coach/{name}")
        assert answer.headers["content-type"].startswith(kind)
    text = http.get(f"/jobs/{new_job(http)}/coach/pedal-hold").text
    assert "<script>" not in text
    assert "onclick" not in text


def test_every_answer_has_its_model(http: TestClient) -> None:
    paths = http.get("/api/openapi.json").json()["paths"]
    mine = {p: v for p, v in paths.items() if "attempt" in p or "/coach/" in p or "practice" in p or p == "/api/clock"}
    assert len(mine) >= 6
    for path, verbs in mine.items():
        for verb, told in verbs.items():
            good = next(v for k, v in told["responses"].items() if k in {"200", "201"})
            model = good["content"]["application/json"]["schema"]
            assert model["$ref"].endswith("/Envelope"), (path, verb)
            assert told["summary"]


def test_a_simulated_job_says_so(http: TestClient, clock: Clock, folder: Path) -> None:
    job = int(http.post("/api/jobs", json={"simulated": True}).json()["result"]["job"])
    page = begin(http, job, clock)
    play(page, GOOD)
    assert page.end("done")["simulated"] is True
    assert http.get(f"/api/attempts/{page.attempt}").json()["simulated"] is True
    assert kept(folder, job)[0].simulated is True
    assert "(simulated)" in http.get(f"/jobs/{job}/coach/pedal-hold").text


def relearn(http: TestClient, job: int) -> str:
    """Stage Relearn of the sheet, where it is due."""
    page = http.get(f"/jobs/{job}").text
    return page[page.index('id="stage-4"') : page.index('id="stage-5"')]


def test_the_sheet_says_that_an_attempt_runs_and_leads_to_it(http: TestClient, clock: Clock, folder: Path) -> None:
    job = new_job(http)
    for stage in ("arrive", "before", "set up"):
        http.post(f"/jobs/{job}/notes", data={"kind": "skipped", "stage": stage, "text": "done elsewhere"})
    assert "running" not in relearn(http, job)
    page = begin(http, job, clock, by="K. <b>", switch="button")
    page.tap("ignition on", "on", 5.0)
    for server in (http, client(folder, clock)):  # another server over the same record, too
        told = relearn(server, job)
        assert "Try 1 is running on another screen" in told
        assert "by K. &lt;b&gt;" in told
        assert f'href="/jobs/{job}/coach/pedal-hold?switch=button">Join</a>' in told
        assert "Every routine of the library" not in told
    assert page.tap("press", "down", 8.0)["over"] == ""  # looking at the sheet has ended nothing
    page.end("stopped")
    assert "running" not in relearn(http, job)


def test_a_coached_miss_is_not_told_to_be_cued(http: TestClient, clock: Clock, folder: Path) -> None:
    page = begin(http, job := new_job(http), clock)
    play(page, LATE)
    advice = page.end("missed")["judgement"]["advice"]
    assert "One thing to change" in advice
    assert "Have it cued" not in advice
    with open_store(folder / "jobs.db") as store:
        text = store.attachment(kept(folder, job)[0].attachments[0]).decode()
    assert json.loads(text.splitlines()[0])["cued"] is True


def test_needs_ticked_beside_the_coach_are_the_set_up_of_that_routine(
    http: TestClient, clock: Clock, folder: Path
) -> None:
    job = new_job(http)
    needs = [n.need for n in routine().needs]
    begin(http, job, clock, seen=needs[:2]).end("stopped")
    begin(http, job, clock, seen=needs[1:3]).end("stopped")
    begin(http, job, clock, seen=needs[:3]).end("stopped")  # all of it is told already
    begin(http, job, clock, seen=[]).end("stopped")
    with open_store(folder / "jobs.db") as store:
        held = [e for e in store.current(job) if e.stage == "set up"]
    assert [e.data["routine"] for e in held] == ["pedal-hold", "pedal-hold"]
    assert [[n["need"] for n in e.data["needs"] if n["met"]] for e in held] == [needs[:2], needs[:3]]
