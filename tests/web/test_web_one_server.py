"""Two servers on one record, as processes: the second is refused by name; one that was killed is in nobody's way."""

from __future__ import annotations

import os
import re
import signal
import socket
import subprocess
import sys
import time
from pathlib import Path

import httpx2 as httpx
import pytest

from tickover.errors import InputError
from tickover.jobs import open_store
from tickover.web.one_server import OneServer
from tickover.web.places import beside

HOLD = """
import sys
from tickover.web.one_server import OneServer
with OneServer(sys.argv[1], 8765):
    print("held", flush=True)
    sys.stdin.read()
"""


def holding(store: Path) -> subprocess.Popen[bytes]:
    """A process that serves the record, as far as the lock goes."""
    held = subprocess.Popen([sys.executable, "-c", HOLD, str(store)], stdin=subprocess.PIPE, stdout=subprocess.PIPE)
    assert held.stdout is not None
    assert held.stdout.readline() == b"held\n"
    return held


@pytest.mark.parametrize("how", [signal.SIGKILL, None])
def test_the_second_is_told_who_serves_it_and_a_lock_goes_with_its_process(
    tmp_path: Path, how: signal.Signals | None
) -> None:
    store = tmp_path / "jobs.db"
    with holding(store) as first:
        with pytest.raises(InputError, match=f"by process {first.pid} on port 8765") as refused:
            OneServer(store, 8766)
        assert "end it first" in refused.value.way_out
        OneServer(tmp_path / "other.db", 8766).release()  # another record is another matter
        if how is None:
            assert first.stdin is not None
            first.stdin.close()
        else:
            first.send_signal(how)
        first.wait(20)
    with OneServer(store, 8766) as mine:
        assert f'"process": {os.getpid()}' in mine.path.read_text()


def test_a_folder_that_may_only_be_read_is_served_without_a_lock(tmp_path: Path) -> None:
    where = tmp_path / "shut"
    where.write_text("no folder")
    with OneServer(where / "jobs.db", 8765) as held:
        assert not held.path.exists()


def test_a_record_on_a_database_server_has_a_place_of_its_own_on_this_machine() -> None:
    one, other = (beside(f"postgresql+psycopg://shop@host/{name}", "attempts") for name in ("a", "b"))
    assert one != other
    assert one.name == other.name == "attempts"
    assert beside("/shop/jobs.db", "attempts") == Path("/shop/jobs-attempts")


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def served(store: Path, port: int) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-c", "from tickover.cli import main; main()", "serve", "--port", str(port), "--store",
         str(store)],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip


def answers(port: int, server: subprocess.Popen[str]) -> httpx.Client:
    http = httpx.Client(base_url=f"http://127.0.0.1:{port}", timeout=60)
    for _ in range(1200):
        try:
            http.get("/api/clock")
            return http
        except httpx.TransportError:
            assert server.poll() is None
            time.sleep(0.05)
    raise AssertionError("it did not begin")


def rows(count: int) -> bytes:
    lines = [f"{k / 10:.1f},{2000 + k % 31},88,{60 + k % 17}" for k in range(count)]
    return ("time (s),engine speed (rpm),coolant (C),vehicle speed (km/h)\n" + "\n".join(lines) + "\n").encode()


@pytest.mark.soak
def test_a_server_killed_in_the_middle_of_a_log_leaves_word_no_half_entry_no_process_and_no_lock(
    tmp_path: Path,
) -> None:
    store, port = tmp_path / "jobs.db", free_port()
    with served(store, port) as first:
        http = answers(port, first)
        job = http.post("/api/jobs", json={}).json()["result"]["job"]
        second = served(store, free_port())
        said = second.communicate(timeout=120)[1]
        assert second.returncode == 2
        assert re.search(rf"served already, by process {first.pid} on port {port}", said)
        taken = http.post(f"/api/jobs/{job}/drive/check?later=true", files={"log": ("drive.csv", rows(120_000))})
        assert taken.status_code == 202
        while not http.get(f"/api/jobs/{job}/work").json()["result"]["doing"].startswith("checking"):
            time.sleep(0.02)
        working = [n for task in Path(f"/proc/{first.pid}/task").iterdir()
                   for n in map(int, (task / "children").read_text().split())]  # fmt: skip
        assert working
        first.kill()
        first.wait()
        http.close()
    for process in working:
        for _ in range(100):
            if not Path(f"/proc/{process}").exists() or "Z" in Path(f"/proc/{process}/stat").read_text().split()[2]:
                break
            time.sleep(0.05)
        else:
            raise AssertionError(f"process {process} works on for a server that is gone")
    with served(store, port) as again:
        http = answers(port, again)
        work = http.get(f"/api/jobs/{job}/work").json()["result"]
        assert (work["state"], work["log"]) == ("interrupted", "drive.csv")
        assert "interrupted" in http.get(f"/jobs/{job}").text
        http.close()
        again.kill()
    with open_store(store) as held:
        assert [e.kind for e in held.entries(job)] == ["car"]
