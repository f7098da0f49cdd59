"""A process killed at any moment loses no entry that it had acknowledged, and leaves a record that verifies."""

import os
import random
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from jobs_record import AT

from tickover.jobs import open_store

WRITERS = """
import os, sys
from tickover.jobs import open_store

def write(where, job, start, out):
    with open_store(where) as store:
        job = job or store.new(at="2026-11-25T10:00:00Z")
        n = start
        while True:
            n += 1
            attached = store.attach(f"log {n} ".encode() * 500, name=f"{n}.csv")
            entry = store.add(
                job, stage="before", kind="note", data={"n": n, "text": "x" * 3000}, at="2026-11-25T10:00:00Z",
                attachments=(attached,), personal={"phone": f"0123 {n}"},
            )
            os.write(out, f"{entry.seq} {entry.digest}\\n".encode())
            if n % 5 == 0:
                store.purge(job, "phone", at="2026-11-25T10:00:00Z")

for line in sys.stdin:
    where, job, start, out = line.rstrip("\\n").split("\\t")
    pid = os.fork()
    if pid == 0:
        try:
            write(where, int(job), int(start), os.open(out, os.O_WRONLY | os.O_APPEND | os.O_CREAT))
        finally:
            os._exit(1)
    print(pid, flush=True)
    print(os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1]), flush=True)
"""
"""Has its libraries loaded once, and makes a new process for each writer, so that hundreds of kills take a minute."""


class Writers:
    """Starts writers and kills them."""

    def __init__(self, folder: Path) -> None:
        self._said = folder / "acknowledged"
        self._made = subprocess.Popen(
            [sys.executable, "-c", WRITERS], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
        )

    def kill_one(self, where: str, job: int, rng: random.Random) -> list[tuple[int, str]]:
        """Let one write, kill it at a random moment; returns what it had acknowledged."""
        assert self._made.stdin is not None
        assert self._made.stdout is not None
        self._said.unlink(missing_ok=True)
        self._made.stdin.write(f"{where}\t{job}\t{rng.randrange(10**9)}\t{self._said}\n")
        self._made.stdin.flush()
        writer = int(self._made.stdout.readline())
        wanted = rng.randrange(6)  # so many acknowledged, then at any moment; with 0 it may be killed while it opens
        patience = time.monotonic() + 120
        while self._acknowledged() < wanted:
            assert time.monotonic() < patience, "the writer does not write"
            time.sleep(0.002)
        time.sleep(rng.uniform(0.0, 0.03))
        os.kill(writer, signal.SIGKILL)
        assert int(self._made.stdout.readline()) == -signal.SIGKILL, "it ended by itself"
        said = self._said.read_text() if self._said.exists() else ""
        lines = [line.split() for line in said.splitlines(keepends=True) if line.endswith("\n")]
        return [(int(seq), digest) for seq, digest in lines]

    def _acknowledged(self) -> int:
        return self._said.read_bytes().count(b"\n") if self._said.exists() else 0

    def close(self) -> None:
        self._made.communicate()


@pytest.fixture
def writers(tmp_path: Path) -> Iterator[Writers]:
    made = Writers(tmp_path)
    yield made
    made.close()


def _kill(writers: Writers, where: str, times: int, seed: int) -> None:
    rng = random.Random(seed)
    with open_store(where) as store:
        job = store.new(at=AT)
    acknowledged = 0
    for _ in range(times):
        said = writers.kill_one(where, job, rng)
        acknowledged += len(said)
        with open_store(where) as store:
            there = {(e.seq, e.digest) for e in store.entries(job)}
            assert not [a for a in said if a not in there]
            assert store.verify(job).ok
            assert len(there) == store.jobs()[0].entries
    assert acknowledged >= times, "the writers were killed before they wrote anything"
    with open_store(where) as store:
        assert store.verify_all().ok


def test_five_kills_lose_nothing(writers: Writers, tmp_path: Path) -> None:
    _kill(writers, str(tmp_path / "jobs.db"), 5, seed=6)


@pytest.mark.soak
def test_two_hundred_and_forty_kills_lose_nothing(writers: Writers, tmp_path: Path) -> None:
    for n in range(24):
        _kill(writers, str(tmp_path / f"{n}.db"), 10, seed=n)


@pytest.mark.soak
def test_forty_kills_lose_nothing_on_a_server(writers: Writers, postgres: str) -> None:
    _kill(writers, postgres, 40, seed=7)


@pytest.mark.soak
def test_killed_while_the_tables_are_made_it_opens_again(writers: Writers, tmp_path: Path) -> None:
    rng = random.Random(8)
    for n in range(60):
        where = str(tmp_path / f"{n}.db")
        said = writers.kill_one(where, 0, rng)
        with open_store(where) as store:
            begun = store.jobs()
            assert not said or begun[0].entries > 1
            assert store.new(at=AT) == len(begun) + 1
            assert store.verify_all().ok
