"""Drive through its forms: the need of readiness, the plan and what is taken along, the check; the passenger's page."""

from __future__ import annotations

import base64
import hashlib
import re
import wave
from collections.abc import Iterator
from io import BytesIO
from pathlib import Path

import numpy as np
import pytest
from starlette.testclient import TestClient

from tickover.cues.phone import phone_page
from tickover.jobs import open_store
from tickover.routines import compile_routine, parse_routine
from tickover.web.app import create_app
from tickover.web.guard import POLICY, Guard, as_strict, own_policy
from tickover.web.site import Site

HOST = "127.0.0.1:8765"
SITUATION = {"coolant": "80", "fuel": "60", "ambient": "15", "soaked": "0", "limit": "100"}


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("shop")


@pytest.fixture(scope="module")
def http(folder: Path) -> Iterator[TestClient]:
    guard = Guard(
        create_app(Site(store=folder / "jobs.db")),
        hosts=frozenset({HOST}), pairing=None, clock=lambda: 0.0, secure=False,
    )  # fmt: skip
    with TestClient(guard, base_url=f"http://{HOST}", follow_redirects=False) as client:
        yield client


@pytest.fixture(scope="module")
def planned(http: TestClient) -> int:
    """A job whose catalyst is open, with a plan for it."""
    job = new_job(http)
    answer = http.post(f"/jobs/{job}/drive/plan", data={**SITUATION, "open": "o2", "roads": ["town", "country"]})
    assert answer.status_code == 303, answer.text
    return job


def new_job(http: TestClient) -> int:
    return int(http.post("/api/jobs", json={}).json()["result"]["job"])


def log(speed: float = 70.0) -> bytes:
    t = np.arange(0.0, 900.0)
    v = np.where((t > 60) & (t < 840), speed, 0.0)
    rows = "\n".join(f"{a:.0f},{b:.1f},{800 + 20 * b:.0f},{min(88, 20 + a / 5):.1f}"
                     for a, b in zip(t, v, strict=True))  # fmt: skip
    return f"time (s),vehicle speed (km/h),engine speed (rpm),coolant temperature (°C)\n{rows}\n".encode()


def test_a_plan_asks_for_the_readiness_first(http: TestClient) -> None:
    job = new_job(http)
    assert "readiness bytes</a> first" in http.get(f"/jobs/{job}").text
    answer = http.post(f"/jobs/{job}/drive/plan", data=SITUATION)
    assert (answer.status_code, "holds no readiness by name" in answer.text) == (400, True)
    http.post(f"/jobs/{job}/ready", data={"hex": "41 01 00 07 65 20"})
    assert http.post(f"/jobs/{job}/drive/plan", data=SITUATION).status_code == 303
    assert "readiness bytes</a> first" not in http.get(f"/jobs/{job}").text


def test_what_is_taken_along_is_made_of_the_plan_that_was_kept(http: TestClient, planned: int) -> None:
    toml = http.get(f"/jobs/{planned}/drive/plan.toml")
    routine = compile_routine(parse_routine(toml.text, "plan.toml"))
    assert http.get(f"/jobs/{planned}/drive/plan.html").text == phone_page(routine)
    assert http.get(f"/jobs/{planned}/drive/plan.pdf").content.startswith(b"%PDF-")
    for answer in (toml, http.get(f"/api/jobs/{planned}/drive/plan.toml")):
        assert answer.headers["content-disposition"].startswith("attachment;")


@pytest.mark.soak
def test_the_tones_are_a_sound_file(http: TestClient, planned: int) -> None:
    with wave.open(BytesIO(http.get(f"/jobs/{planned}/drive/plan.wav").content)) as sound:
        assert sound.getnframes() / sound.getframerate() > 60


@pytest.mark.parametrize("path", ["plan.exe", "plan.toml.pdf", "../../../etc/passwd", "plan.%2e%2e", "plan."])
def test_no_other_file_comes_out(path: str, http: TestClient, planned: int) -> None:
    answer = http.get(f"/jobs/{planned}/drive/{path}")
    assert answer.status_code in {404, 422}
    assert "root:" not in answer.text


def test_the_passenger_is_warned_before_anything_plays(http: TestClient, planned: int) -> None:
    page = http.get(f"/jobs/{planned}/drive/passenger")
    assert 'data-light="night"' in page.text
    assert page.text.index("The driver must not use this") < page.text.index("I am the passenger: begin")
    assert page.headers["content-security-policy"] == POLICY
    assert http.get(f"/jobs/{new_job(http)}/drive/passenger").status_code == 400


def test_the_coach_may_run_its_own_script_and_no_other(http: TestClient, planned: int) -> None:
    page = http.get(f"/jobs/{planned}/drive/coach")
    [policy] = page.headers.get_list("content-security-policy")
    [script] = re.findall(r"<script>(.*?)</script>", page.text, re.DOTALL)
    digest = base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
    assert f"script-src 'sha256-{digest}';" in policy
    assert "unsafe" not in policy.replace("style-src-attr 'unsafe-inline'", "")


@pytest.mark.parametrize(
    "policy",
    [
        "",
        "default-src 'self'",
        POLICY.replace("script-src 'self'", "script-src 'self' 'unsafe-inline'"),
        POLICY.replace("script-src 'self'", "script-src *"),
        POLICY.replace("style-src 'self'", "style-src 'unsafe-inline'"),
        POLICY.replace("frame-ancestors 'none'", "frame-ancestors 'self'"),
        POLICY.replace("; form-action 'self'", ""),
        f"default-src 'none' https:; {POLICY}",
    ],
)
def test_a_weaker_policy_does_not_stand(policy: str) -> None:
    assert not as_strict(policy)


def test_our_policy_and_one_of_digests_stand() -> None:
    assert as_strict(POLICY)
    assert as_strict(own_policy("<style>a</style><script>b</script>"))


def test_a_drive_is_checked_and_drawn_with_what_was_missed(http: TestClient, planned: int, folder: Path) -> None:
    files = {"log": ("../../my drive.csv", log())}
    answer = http.post(f"/jobs/{planned}/drive/check", files=files, data={"whole": "yes", "soaked": "9"})
    assert answer.status_code == 303, answer.text
    with open_store(folder / "jobs.db") as store:
        [entry] = [e for e in store.current(planned) if e.kind == "check"]
    assert entry.attachments[0].name == "my drive.csv"
    assert max(entry.data["speed"]) == 70.0
    assert entry.data["sentence"] == "15 min, plan held for oxygen sensor"
    assert entry.data["planned"] == ["o2"]
    page = http.get(f"/jobs/{planned}").text
    part = page[page.index('id="stage-7"') : page.index('id="stage-8"')]
    assert "only the car knows that" in part
    assert "<svg" in part
    assert "<h3>Plan held for oxygen sensor</h3>" in part
    seen = part[: part.index("Monitor by monitor, the others too")]
    assert "Cold idle" not in seen
    assert "Cold idle" in part  # folded, with the others


def test_the_page_says_how_large_the_tones_are(http: TestClient, planned: int) -> None:
    page = http.get(f"/jobs/{planned}").text
    told = int(page.split("the tones</a> (about ")[1].split(" MB")[0])
    with http.stream("GET", f"/jobs/{planned}/drive/plan.wav") as answer:
        size = int(answer.headers["content-length"]) / 1e6
    assert abs(told - size) < 1 + 0.2 * size


@pytest.mark.parametrize("data", [b"", b"\x00\x01\x02", b"MDF     lies", b"<gpx", b"a,b\n1,2\n"])
def test_an_upload_that_lies_is_refused(data: bytes, http: TestClient, planned: int) -> None:
    answer = http.post(f"/api/jobs/{planned}/drive/check", files={"log": ("drive.csv", data)})
    assert answer.status_code == 400
    assert answer.json()["what"]


def test_a_road_that_there_is_not(http: TestClient, planned: int) -> None:
    answer = http.post(f"/jobs/{planned}/drive/plan", data={"open": "o2", "roads": "moon"})
    assert (answer.status_code, "no road is called" in answer.text) == (400, True)
