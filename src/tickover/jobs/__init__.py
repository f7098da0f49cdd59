"""The job record: entries that only ever enter, chained by digest, in SQLite or PostgreSQL.

::

    with open_store(default_store()) as store:
        job = store.new(at="2026-11-25T10:00:00+00:00", by="R. H.", car={"year": 2009, "fuel": "petrol"})
        log = store.attach("idle-before.csv")
        store.add(job, stage="before", kind="reading", data={...}, at=..., attachments=(log,))
        assert store.verify(job).ok

Nothing in here reads a clock: the time comes with every entry.
"""

from tickover.jobs.entries import PURGED, STAGES, WITHDRAWN, Attached, Entry, Stage, current
from tickover.jobs.opening import default_store, open_store, restore
from tickover.jobs.reports import (
    BackedUp,
    Exported,
    Finding,
    Imported,
    JobSummary,
    StoreVerification,
    Verification,
)
from tickover.jobs.store import Store

__all__ = [
    "PURGED",
    "STAGES",
    "WITHDRAWN",
    "Attached",
    "BackedUp",
    "Entry",
    "Exported",
    "Finding",
    "Imported",
    "JobSummary",
    "Stage",
    "Store",
    "StoreVerification",
    "Verification",
    "current",
    "default_store",
    "open_store",
    "restore",
]
