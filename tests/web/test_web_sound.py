"""A kept sound is played on its page: whole, or in the pieces that a player asks for."""

from __future__ import annotations

import io
import wave
from pathlib import Path

import pytest
from starlette.testclient import TestClient
from web_site import client_of, new_job, send_log, site_in


def made(seconds: float = 1.0, rate: int = 8000) -> bytes:
    out = io.BytesIO()
    with wave.open(out, "wb") as sound:
        sound.setnchannels(1)
        sound.setsampwidth(2)
        sound.setframerate(rate)
        sound.writeframes(bytes(k % 251 for k in range(2 * round(rate * seconds))))
    return out.getvalue()


@pytest.fixture
def client(tmp_path: Path) -> TestClient:
    return client_of(site_in(tmp_path))


def digest_of(client: TestClient, job: int) -> str:
    entry = client.get(f"/api/jobs/{job}/record").json()["result"]["entries"][-1]
    return str(entry["attachments"][0]["digest"])


@pytest.fixture
def kept(client: TestClient) -> tuple[int, str]:
    """Its job and its address."""
    job = new_job(client)
    name = '<b>"idle.wav'
    assert client.post(f"/api/jobs/{job}/sound", files={"sound": (name, made(2.5))}).status_code == 200
    return job, f"/jobs/{job}/sounds/{digest_of(client, job)}"


def test_the_page_plays_it_says_its_length_and_that_nothing_is_worked_out(
    client: TestClient, kept: tuple[int, str]
) -> None:
    job, address = kept
    page = client.get(f"/jobs/{job}").text
    assert f'<audio controls preload="metadata" src="{address}"' in page
    assert "2.5 s. Kept, not analysed: nothing is worked out of sounds yet." in page
    assert page.count("not analysed") == 1
    assert "<b>&#34;" not in page
    assert '<b>"' not in page


@pytest.mark.parametrize(
    ("asked", "status", "start", "stop"),
    [
        ("", 200, 0, 40044),
        ("bytes=0-", 206, 0, 40044),
        ("bytes=100-199", 206, 100, 200),
        ("bytes=40000-99999", 206, 40000, 40044),
        ("bytes=-44", 206, 40000, 40044),
        ("bytes=-99999", 206, 0, 40044),
        ("bytes=0-1,5-9", 200, 0, 40044),
        ("bytes=-", 200, 0, 40044),
        ("lines=1-2", 200, 0, 40044),
    ],
)
def test_a_player_gets_the_piece_it_asks_for(
    client: TestClient, kept: tuple[int, str], asked: str, status: int, start: int, stop: int
) -> None:
    answer = client.get(kept[1], headers={"range": asked} if asked else {})
    assert (answer.status_code, answer.headers["content-type"]) == (status, "audio/wav")
    assert answer.content == made(2.5)[start:stop]
    assert answer.headers["accept-ranges"] == "bytes"
    assert answer.headers.get("content-range") == (f"bytes {start}-{stop - 1}/40044" if status == 206 else None)
    assert "media-src 'self'" in answer.headers["content-security-policy"]
    assert answer.headers["x-content-type-options"] == "nosniff"


@pytest.mark.parametrize("asked", ["bytes=40044-", "bytes=9-3", "bytes=-0"])
def test_a_piece_that_there_is_not_is_said(client: TestClient, kept: tuple[int, str], asked: str) -> None:
    answer = client.get(kept[1], headers={"range": asked})
    assert (answer.status_code, answer.headers["content-range"], answer.content) == (416, "bytes */40044", b"")


def test_only_the_job_s_own_sounds_are_played(client: TestClient, kept: tuple[int, str]) -> None:
    job, address = kept
    digest = address.rsplit("/", 1)[1]
    other = new_job(client)
    assert client.get(f"/jobs/{other}/sounds/{digest}").status_code == 400
    assert client.get(f"/jobs/99/sounds/{digest}").status_code == 404
    assert client.get(f"/jobs/{job}/sounds/{'0' * 64}").status_code == 400
    assert client.get(f"/jobs/{job}/sounds/..%2f..%2fjobs.db").status_code in {404, 422}
    log = b"time,engine speed (rpm)\n" + b"".join(b"%d,%d\n" % (k, 800 + k % 7) for k in range(90))
    assert send_log(client, job, log).status_code == 200
    with_log = digest_of(client, job)
    assert with_log != digest
    assert client.get(f"/jobs/{job}/sounds/{with_log}").status_code == 400
