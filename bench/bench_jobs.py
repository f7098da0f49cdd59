"""The job record: a durable entry against a bare insert of the same durability; checking and listing."""

from __future__ import annotations

import sqlite3
import tempfile
from collections.abc import Callable
from itertools import count
from pathlib import Path

from bench.common import Row, median_time

from tickover.jobs import Store, open_store

AT = "2026-11-25T10:00:00+00:00"
DATA = {"sentence": "idles at 705 ± 3 r/min, loads off", "trace": {"t": list(range(120)), "speed": [705.0] * 120}}
CAR = {"year": 2009, "fuel": "petrol", "displacement_l": 2.0, "cylinders": 4, "complaint": "idles high"}


def rows() -> list[Row]:
    """Three rows: one add, a check of 1,000 entries, a list of 200 jobs of 20 entries."""
    with tempfile.TemporaryDirectory() as folder:
        with open_store(Path(folder) / "jobs.db") as store:
            job = store.new(at=AT, car=CAR)
            ours, bare = _add_times(store, job, Path(folder) / "bare.db")
        with open_store(Path(folder) / "long.db") as store:
            job = store.new(at=AT, car=CAR)
            for _ in range(999):
                _add(store, job)
            check = median_time(lambda: store.verify(job))
        with open_store(Path(folder) / "many.db") as store:
            for _ in range(200):
                job = store.new(at=AT, car=CAR)
                for _ in range(19):
                    _add(store, job)
            listing = median_time(store.jobs)
    limit = 3 * bare + 0.003
    return [
        Row(
            "one entry, on the disk when it returns",
            ours * 1e3,
            bare * 1e3,
            "bare sqlite3",
            limit * 1e3,
            "ms",
            ours <= limit,
        ),
        Row("a job of 1,000 entries checked", check, None, "", 1.0, "s", check <= 1.0),
        Row("200 jobs of 20 entries listed", listing * 1e3, None, "", 200.0, "ms", listing <= 0.2),
    ]


def _add(store: Store, job: int) -> None:
    store.add(job, stage="before", kind="reading", data=DATA, at=AT)


def _add_times(store: Store, job: int, path: Path) -> tuple[float, float]:
    """Seconds for one entry, and for one bare insert of as many bytes: WAL, synchronous FULL, one commit each."""
    bare = sqlite3.connect(path, isolation_level=None)
    bare.execute("PRAGMA journal_mode=WAL")
    bare.execute("PRAGMA synchronous=FULL")
    bare.execute("CREATE TABLE entries (seq INTEGER PRIMARY KEY, body TEXT)")
    _add(store, job)
    body = store.entries(job)[-1].model_dump_json()
    numbers = count(1)

    def insert() -> None:
        bare.execute("BEGIN IMMEDIATE")
        bare.execute("INSERT INTO entries VALUES (?, ?)", (next(numbers), body))
        bare.execute("COMMIT")

    work: Callable[[], None] = lambda: _add(store, job)  # noqa: E731 — the same shape as insert
    times = median_time(work, repeats=9, number=20), median_time(insert, repeats=9, number=20)
    bare.close()
    return times
