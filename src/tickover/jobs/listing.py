"""The list of jobs, read without the readings inside them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from sqlalchemy import Connection, Row, select

from tickover.jobs.chain import opened, shown
from tickover.jobs.entries import WITHDRAWN, Entry, current
from tickover.jobs.reports import JobSummary
from tickover.jobs.tables import entries, jobs


def summaries(connection: Connection) -> list[JobSummary]:
    """All jobs, by number. A damaged entry does not hide the others; its job stands without its car."""
    cards: dict[int, list[Entry]] = {}
    wanted = (
        select(entries.c.job, entries.c.body, entries.c.digest)
        .where(entries.c.stage == "arrive", entries.c.kind.in_(("car", WITHDRAWN)))
        .order_by(entries.c.job, entries.c.seq)
    )
    for job, body, digest in connection.execute(wanted):
        try:
            cards.setdefault(job, []).append(opened(body, digest))
        except ValueError:
            continue
    rows = connection.execute(
        select(jobs, entries.c.stage, entries.c.kind, entries.c.at)
        .join(entries, (entries.c.job == jobs.c.job) & (entries.c.seq == jobs.c.entries), isouter=True)
        .order_by(jobs.c.job)
    )
    return [_summary(row, cards.get(row.job, [])) for row in rows]


def _summary(row: Row[Any], cards: Sequence[Entry]) -> JobSummary:
    standing = [e for e in current(cards) if e.kind == "car"]
    first = cards[0] if cards and cards[0].seq == 1 else None
    return JobSummary(
        job=row.job,
        uid=shown(row.uid),
        at=first.at if first else "",
        by=first.by if first else "",
        car=standing[-1].data if standing else {},
        entries=row.entries if isinstance(row.entries, int) else 0,
        last_at=shown(row.at),
        last_stage=shown(row.stage),
        last_kind=shown(row.kind),
        simulated=bool(first and first.simulated),
        head=shown(row.head),
    )
