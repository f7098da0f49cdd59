"""Before and After through pages and API: what comes in, what is kept, what is refused; a stop keeps nothing."""

from __future__ import annotations

import io
import threading
import wave
from collections.abc import Iterator

import pytest
from starlette.testclient import TestClient
from web_site import SCRIPT, client_of, log_text, new_job, send_log, site_in

from tickover.errors import InputError
from tickover.jobs import open_store
from tickover.web.site import Site
from tickover.web.uploads import plain_name
from tickover.web.works import Work, Works

HIGH = log_text(842, 30)


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Site:
    return site_in(tmp_path_factory.mktemp("record"))


@pytest.fixture(scope="module")
def client(site: Site) -> Iterator[TestClient]:
    with client_of(site) as client:
        yield client


def test_a_log_becomes_a_reading_with_its_card_and_the_original_is_kept(client: TestClient) -> None:
    job = new_job(client)
    answer = send_log(client, job, HIGH, "../../etc/idle log.csv", normal_lo="650", normal_hi="750", by="R. H.")
    assert answer.status_code == 200, answer.text
    told = answer.json()
    assert told["what"] == "idle"
    speed = told["result"]["reading"]["states"][0]["speed"]
    assert speed["lo"] < 842 < speed["hi"]
    kept = [e for e in client.get(f"/api/jobs/{job}/record").json()["result"]["entries"] if e["kind"] == "reading"]
    assert len(kept) == 1
    assert kept[0]["data"]["normal"] == [650, 750]
    (file,) = kept[0]["attachments"]
    assert file["name"] == "idle log.csv"  # never a path
    back = client.get(f"/api/jobs/{job}/attachments/{file['digest']}")
    assert back.content == HIGH
    assert back.headers["content-type"] == "application/octet-stream"
    assert back.headers["content-disposition"].startswith("attachment")
    page = client.get(f"/jobs/{job}").text
    assert "normal 650 to 750" in page  # on the jaws
    assert "above its normal 650 to 750" in page
    assert page.index("Rests on") < page.index("Cannot tell")
    chart = client.get(f"/api/jobs/{job}/charts/{kept[0]['seq']}").json()
    assert chart["panels"][0]["normal"] == [650, 750]
    assert len(chart["panels"][0]["series"][0]["t"]) > 300


def test_the_page_says_the_same_after_every_reload(client: TestClient) -> None:
    job = new_job(client)
    send_log(client, job, HIGH)
    assert client.get(f"/jobs/{job}").text == client.get(f"/jobs/{job}").text


def test_glances_and_the_normal_range_by_form(client: TestClient) -> None:
    job = new_job(client)
    form = {"glances": "840 860 830 850 840 860 835 845 850 840", "normal_lo": "650", "normal_hi": "750"}
    answer = client.post(f"/jobs/{job}/reading", data=form)
    assert (answer.status_code, answer.headers["location"]) == (303, f"/jobs/{job}#stage-2")
    page = client.get(f"/jobs/{job}").text
    assert "read by eye" in page
    seq = client.get(f"/api/jobs/{job}").json()["result"]["stages"][1]["entries"][0]["seq"]
    assert client.get(f"/api/jobs/{job}/charts/{seq}").status_code == 400  # no trace, and that is said


def test_the_normal_range_alone_is_kept_with_the_car(client: TestClient) -> None:
    job = new_job(client)
    assert client.post(f"/jobs/{job}/reading", data={"normal_lo": "650", "normal_hi": "750,5"}).status_code == 303
    entries = client.get(f"/api/jobs/{job}/record").json()["result"]["entries"]
    assert entries[-1]["kind"] == "car"
    assert entries[-1]["data"]["normal"] == [650, 750.5]
    assert entries[-1]["data"]["year"] == 2007


def test_after_an_attempt_a_log_is_compared(client: TestClient, site: Site) -> None:
    job = new_job(client)
    send_log(client, job, HIGH, normal_lo="650", normal_hi="750")
    with open_store(site.store) as store:
        store.add(job, stage="relearn", kind="attempt", data={"routine": "power-cycle", "verdict": "hit"},
                  at="2026-11-25T09:00:00+00:00")  # fmt: skip
    answer = send_log(client, job, log_text(702, 2), "after.csv").json()["result"]
    assert answer["stage"] == "after"
    assert answer["comparison"]["verdict"] == "settled"
    page = client.get(f"/jobs/{job}").text
    assert "<h3>Settled</h3>" in page
    assert answer["comparison"]["sentence"] in page
    overlay = client.get(f"/api/jobs/{job}/charts/{answer['entries'][-1]}").json()
    assert [s["colour"] for s in overlay["panels"][0]["series"]] == ["line", "do"]


@pytest.mark.parametrize(
    ("log", "says"),
    [
        (b"", "empty"),
        (b"PK\x03\x04" + b"x" * 200, "zip"),
        (b"\x89PNG\r\n\x1a\n" + b"\0" * 200, "picture"),
        (b"time,colour\n0,red\n1,blue\n", "engine speed"),
        (bytes(range(256)) * 40, ""),
        (b"<html><script>alert(1)</script></html>", ""),
        (b"time,rpm\n" + b"0,7\n" * 3, ""),
    ],
)
def test_what_is_no_log_is_refused_under_its_own_name_and_nothing_is_kept(
    client: TestClient, log: bytes, says: str
) -> None:
    job = new_job(client)
    count = len(client.get(f"/api/jobs/{job}/record").json()["result"]["entries"])
    answer = send_log(client, job, log, "mine.csv")
    if answer.status_code == 200:  # rows it can read but no idle in them: kept as what cannot be told
        assert answer.json()["result"]["reading"]["kind"] == "cannot tell"
        return
    assert answer.status_code == 400, answer.text
    told = answer.json()
    assert told["error"] in {"LogFileError", "InputError"}
    assert says in told["what"]
    assert "/tmp" not in answer.text
    assert told["way_out"]
    assert len(client.get(f"/api/jobs/{job}/record").json()["result"]["entries"]) == count
    page = client.post(f"/jobs/{job}/reading", files={"log": ("mine.csv", log)})
    assert page.status_code == 400
    assert 'role="alert"' in page.text


@pytest.mark.parametrize(
    "form",
    [
        {},
        {"glances": "high"},
        {"glances": "700 720"},
        {"glances": "7 7 7 7 7 7"},
        {"glances": "700 710 720 730 740", "normal_lo": "750", "normal_hi": "650"},
        {"glances": "700 710 720 730 740", "normal_lo": "650"},
        {"normal_lo": "nan", "normal_hi": "inf"},
    ],
)
def test_what_is_no_reading_is_told_on_a_page_with_a_way_back(client: TestClient, form: dict[str, str]) -> None:
    job = new_job(client)
    answer = client.post(f"/jobs/{job}/reading", data=form)
    if form == {"glances": "700 720"}:
        assert answer.status_code == 303  # too few to tell: kept as that
        assert "too few" in client.get(f"/jobs/{job}").text
        return
    assert answer.status_code == 400
    assert f'href="/jobs/{job}"' in answer.text


def test_a_job_that_there_is_not(client: TestClient) -> None:
    assert send_log(client, 999, HIGH).status_code == 404
    assert client.post("/jobs/999/reading", data={"glances": "700 710 720 730 740"}).status_code == 404
    assert client.get("/api/jobs/999/work").json()["result"]["state"] == "none"


def test_names_never_hold_folders_or_control_letters() -> None:
    assert plain_name("../../x/idle.csv", "log") == "idle.csv"
    assert plain_name("C:\\logs\\idle\x00\r\n.csv", "log") == "idle.csv"
    assert plain_name("..", "log") == "log"
    assert plain_name(None, "log") == "log"
    assert len(plain_name("a" * 500, "log")) == 80


def test_a_later_log_is_worked_off_while_the_page_may_be_left(client: TestClient, site: Site) -> None:
    job = new_job(client)
    answer = client.post(f"/api/jobs/{job}/reading?later=true", files={"log": ("idle.csv", HIGH)})
    assert answer.status_code == 202
    work = site.works.of(job)
    assert work is not None
    assert work.finished.wait(30)
    assert client.get(f"/api/jobs/{job}/work").json()["result"]["state"] == "done"
    assert any(e["kind"] == "reading" for e in client.get(f"/api/jobs/{job}/record").json()["result"]["entries"])


def test_a_stop_while_it_is_read_keeps_nothing_and_the_page_says_what_is_done(
    client: TestClient, site: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    reached, go_on = threading.Event(), threading.Event()
    say = Work.say

    def slowly(work: Work, doing: str) -> None:
        say(work, doing)
        if doing.startswith("measuring"):
            reached.set()
            go_on.wait(30)

    monkeypatch.setattr(Work, "say", slowly)
    job = new_job(client)
    count = len(client.get(f"/api/jobs/{job}/record").json()["result"]["entries"])
    client.post(f"/api/jobs/{job}/reading?later=true", files={"log": ("idle.csv", HIGH)})
    assert reached.wait(30)
    page = client.get(f"/jobs/{job}").text
    assert "Measuring 700 rows" in page
    assert f'action="/jobs/{job}/work/stop"' in page
    assert send_log(client, job, HIGH).status_code == 400  # one at a time
    assert client.post(f"/api/jobs/{job}/work/stop").json()["result"]["state"] == "stopped"
    go_on.set()
    work = site.works.of(job)
    assert work is not None
    assert work.finished.wait(30)
    assert len(client.get(f"/api/jobs/{job}/record").json()["result"]["entries"]) == count
    assert send_log(client, job, HIGH).status_code == 200  # and it can be sent again


def test_work_that_is_being_kept_cannot_be_stopped_any_more() -> None:
    inside, go_on = threading.Event(), threading.Event()

    def task(work: Work) -> None:
        work.keep()
        inside.set()
        go_on.wait(30)

    works = Works(lambda: 0.0)
    work = works.start(1, task)
    assert inside.wait(30)
    assert not work.stop()
    for job in (2, 3):
        works.start(job, task)
    with pytest.raises(InputError, match="being read"):
        works.start(4, task)
    go_on.set()
    assert work.finished.wait(30)
    assert work.view().state == "done"


def test_work_that_fails_says_why_on_the_page(client: TestClient) -> None:
    job = new_job(client)
    name = f"{SCRIPT[:20]}.csv"
    send_log(client, job, b"time,colour\n0,red\n1,blue\n", name)
    page = client.get(f"/jobs/{job}").text
    assert "engine speed" in page
    assert "<script>alert" not in page


def sound(rate: int = 44100, channels: int = 1, width: int = 2, seconds: float = 1.0) -> bytes:
    out = io.BytesIO()
    with wave.open(out, "wb") as made:
        made.setnchannels(channels)
        made.setsampwidth(width)
        made.setframerate(rate)
        made.writeframes(b"\0" * round(rate * seconds) * channels * width)
    return out.getvalue()


def test_a_sound_is_kept_and_said_not_to_be_analysed(client: TestClient) -> None:
    job = new_job(client)
    answer = client.post(f"/api/jobs/{job}/sound", files={"sound": ("idle.wav", sound())})
    assert answer.status_code == 200, answer.text
    page = client.get(f"/jobs/{job}").text
    assert "not analysed" in page
    entry = client.get(f"/api/jobs/{job}/record").json()["result"]["entries"][-1]
    assert (entry["kind"], entry["stage"], entry["data"]["seconds"]) == ("sound", "before", 1.0)


@pytest.mark.parametrize(
    "data",
    [
        b"RIFF",
        b"ID3" + b"x" * 100,
        sound(channels=2),
        sound(width=1),
        sound(rate=2000),
        sound(seconds=61, rate=8000),
        sound()[:-500],
        b"RIFF\xff\xff\xff\xffWAVEfmt \x10\0\0\0\1\0\0\0\0\0\0\0\0\0\0\0\2\0\x10\0data\xff\xff\xff\xff",
        b"",
    ],
)
def test_what_is_no_such_sound_is_refused(client: TestClient, data: bytes) -> None:
    job = new_job(client)
    answer = client.post(f"/api/jobs/{job}/sound", files={"sound": ("idle.wav", data)})
    assert answer.status_code == 400, answer.text
    assert answer.json()["way_out"]
