"""What the tests of the job record share: a time, a filled job, a look at every cell."""

import contextlib
import sqlite3
from collections.abc import Iterator
from pathlib import Path

from tickover.jobs import Store

QUICK = "/dev/shm" if Path("/dev/shm").is_dir() else None
"""Where many small stores are made that no power cut is going to test: in memory, if there is such a place."""
AT = "2026-11-25T10:00:00+00:00"
LATER = "2026-11-25T11:30:00+01:00"
CAR = {"year": 2009, "fuel": "petrol", "displacement_l": 2.0, "cylinders": 4, "complaint": "idles high"}
LOG = b"time [s],engine speed [rpm]\n0,700\n1,710\n2,705\n"
SHEET = b"%PDF-1.7 a sheet"


def filled(store: Store) -> int:
    """A job with something of everything: personal values, attachments, a correction, a purge."""
    job = store.new(at=AT, by="R. H.", car=CAR, personal={"customer": "A. Bär", "phone": "0123 45"})
    log = store.attach(LOG, name="idle.csv")
    trace = {"t": [0.0, 1.0, 2.0], "speed": [700.0, 710.0, 705.0]}
    store.add(job, stage="before", kind="reading", data={"n": 3, "trace": trace}, at=AT, attachments=(log,))
    store.add(job, stage="relearn", kind="attempt", data={"verdict": "hit", "try": 1}, at=LATER, inputs={"seed": 20})
    store.add(job, stage="before", kind="reading", data={"n": 4, "trace": trace}, at=LATER, corrects=2)
    sheet = store.attach(SHEET, name="sheet.pdf")
    store.add(job, stage="hand over", kind="sheet", data={}, at=LATER, attachments=(sheet,), personal={"vin": "X1"})
    store.purge(job, "phone", at=LATER, by="R. H.")
    return job


@contextlib.contextmanager
def raw(path: str | Path) -> Iterator[sqlite3.Connection]:
    """The file as somebody sees it who goes around the program."""
    with contextlib.closing(sqlite3.connect(path)) as connection:
        connection.text_factory = bytes
        yield connection
        connection.commit()


TABLES = ("store", "jobs", "entries", "personal", "attachments")


def cells(path: str | Path) -> list[tuple[str, int, str]]:
    """Every cell there is: table, row, column."""
    found = []
    with raw(path) as connection:
        for table in TABLES:
            names = [row[1].decode() for row in connection.execute(f"PRAGMA table_info(tickover_{table})")]
            for (rowid,) in connection.execute(f"SELECT rowid FROM tickover_{table} ORDER BY rowid"):
                found += [(table, rowid, name) for name in names]
    return found


def content_of(store: Store) -> list[object]:
    """All that a store holds, as anybody reads it."""
    everything: list[object] = []
    for job in store.jobs():
        entries = store.entries(job.job)
        files = {a.digest: store.attachment(a) for e in entries for a in e.attachments}
        everything += [job, entries, files, store.personal(job.job)]
    return everything
