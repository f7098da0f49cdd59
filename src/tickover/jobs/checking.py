"""Hold what a store keeps against digests: one job, or all of it."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from sqlalchemy import Connection, Row, select, text

from tickover.errors import AttachmentError
from tickover.jobs import keeping
from tickover.jobs.chain import Line, Secret, check_chain, check_secrets, shown
from tickover.jobs.entries import Attached, Entry
from tickover.jobs.reports import Finding, StoreVerification, Verification
from tickover.jobs.tables import attachments, entries, jobs, personal, store

RESTS_ON = ("the digest of every entry, each naming the one before, up to the head that the job keeps",)
CANNOT_SHOW = (
    "that somebody cut off the newest entries and moved the head back, or wrote the whole job anew with all its"
    " digests. A head that was written down elsewhere shows that (--head); every export has it"
)
HEAD_SEEN = "the head digest that was written down elsewhere is in the chain"


def verify_job(connection: Connection, row: Row[Any], head: str | None = None) -> Verification:
    """One job against its chain, its personal values and its attachments."""
    found, findings = check_chain(row.uid, lines(connection, row.job), row.entries, row.head)
    secrets = check_secrets(found, secrets_of(connection, row.job))
    rests_on: tuple[str, ...] = RESTS_ON
    if head is not None:
        if head and any(e.digest.startswith(head.lower()) for e in found):
            rests_on = (HEAD_SEEN, *RESTS_ON)
        else:
            findings += (Finding(what=f"no entry has the digest {head} that was written down elsewhere"),)
    return Verification(
        job=row.job,
        entries=len(found),
        head=shown(row.head),
        findings=(*findings, *secrets.findings, *_attachment_findings(connection, found)),
        purged=secrets.purged,
        withheld=secrets.withheld,
        rests_on=rests_on,
        cannot_show=CANNOT_SHOW,
    )


def lines(connection: Connection, job: int) -> Iterable[Line]:
    """The stored lines of a job, one at a time."""
    wanted = select(entries).where(entries.c.job == job).order_by(entries.c.seq)
    for row in connection.execute(wanted):
        yield Line(row.seq, row.body, row.digest, {"stage": row.stage, "kind": row.kind, "at": row.at})


def secrets_of(connection: Connection, job: int) -> list[Secret]:
    """The personal values of a job as they are stored."""
    wanted = select(personal).where(personal.c.job == job).order_by(personal.c.seq, personal.c.field)
    return [Secret(r.seq, r.field, r.salt, r.value) for r in connection.execute(wanted)]


def _attachment_findings(connection: Connection, found: Iterable[Entry]) -> list[Finding]:
    findings = []
    judged: dict[str, str] = {}
    for entry in found:
        for attached in entry.attachments:
            if attached.digest not in judged:
                judged[attached.digest] = _fault(connection, attached)
            if judged[attached.digest]:
                findings.append(Finding(what=judged[attached.digest], entry=entry.seq))
    return findings


def _fault(connection: Connection, attached: Attached | str) -> str:
    """What is wrong with an attachment; empty where nothing is."""
    try:
        data = keeping.content(connection, attached)
    except AttachmentError as why:
        return why.what
    size = connection.execute(select(attachments.c.size).where(attachments.c.digest == str(attached))).scalar()
    if size != len(data) or (isinstance(attached, Attached) and attached.size != len(data)):
        return f"attachment {str(attached)[:12]} has another size than it says"
    return ""


def verify_store(connection: Connection) -> StoreVerification:
    """Every job, and what belongs to none."""
    rows = connection.execute(select(jobs).order_by(jobs.c.job)).all()
    checked = tuple(verify_job(connection, row) for row in rows)
    findings: list[Finding] = []
    last = connection.execute(select(store.c.id, store.c.last_job)).all()
    if [tuple(r) for r in last] != [(1, len(rows))]:
        findings.append(Finding(what=f"the count of jobs does not fit: {len(rows)} are there"))
    numbers = {row.job for row in rows}
    there = max((n for n in numbers if isinstance(n, int)), default=0)
    findings += (Finding(what=f"job {n} is missing") for n in range(1, there + 1) if n not in numbers)
    for table in (entries, personal):
        for (job,) in connection.execute(select(table.c.job).distinct()):
            if job not in numbers:
                findings.append(Finding(what=f"there are rows of a job {shown(job)}, which is not there"))
    for (digest,) in connection.execute(select(attachments.c.digest).order_by(attachments.c.digest)).all():
        fault = _fault(connection, shown(digest))
        if fault:
            findings.append(Finding(what=fault))
    findings += _file_findings(connection)
    return StoreVerification(jobs=checked, findings=tuple(findings))


def _file_findings(connection: Connection) -> list[Finding]:
    """What SQLite itself finds wrong with its file."""
    if connection.dialect.name != "sqlite":
        return []
    said = [str(row[0]) for row in connection.execute(text("PRAGMA integrity_check(10)"))]
    return [] if said == ["ok"] else [Finding(what=f"the file is damaged: {line}") for line in said]
