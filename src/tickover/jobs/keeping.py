"""The single steps of keeping: numbers, rows, attachments. Each runs inside a transaction of the store's."""

from __future__ import annotations

import mimetypes
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Row, func, insert, select, update
from sqlalchemy.dialects import postgresql, sqlite

from tickover.errors import AttachmentError, InputError, StoreError, UnknownJobError
from tickover.jobs.chain import digest_of, opened
from tickover.jobs.entries import Attached, Entry
from tickover.jobs.tables import attachments, entries, jobs, store

LARGEST = 256 * 2**20
"""The largest attachment [bytes]; own choice: an hour of ten signals at 100 Hz is a tenth of it."""


def job_row(connection: Connection, job: int, name: str, *, lock: bool = False) -> Row[Any]:
    """The job's row; with ``lock`` nobody else adds to the job until the transaction ends.

    Raises: UnknownJobError.
    """
    wanted = select(jobs).where(jobs.c.job == job)
    row = connection.execute(wanted.with_for_update() if lock else wanted).one_or_none()
    if row is None:
        last = connection.execute(select(func.max(jobs.c.job))).scalar()
        raise UnknownJobError(job, name, last=last or 0)
    return row


def lock_numbers(connection: Connection) -> int:
    """Take the lock on job numbers; returns the last one handed out."""
    last = connection.execute(select(store.c.last_job).where(store.c.id == 1).with_for_update()).scalar()
    if not isinstance(last, int):
        raise StoreError("its count of jobs is gone", store="the job record", way_out="Go back to a back-up.")
    return last


def next_job(connection: Connection) -> int:
    """Hand out the next job number."""
    job = lock_numbers(connection) + 1
    connection.execute(update(store).where(store.c.id == 1).values(last_job=job))
    return job


def append(connection: Connection, job: int, entry: Entry, body: str) -> None:
    """Write an entry and move the job's head to it."""
    connection.execute(
        insert(entries).values(
            job=job, seq=entry.seq, stage=entry.stage, kind=entry.kind, at=entry.at, body=body, digest=entry.digest
        )
    )
    connection.execute(update(jobs).where(jobs.c.job == job).values(entries=entry.seq, head=entry.digest))


def is_simulated(connection: Connection, job: int) -> bool:
    """Whether the job's first entry says that the car is invented."""
    row = connection.execute(
        select(entries.c.body, entries.c.digest).where(entries.c.job == job, entries.c.seq == 1)
    ).one_or_none()
    return row is not None and opened(row.body, row.digest).simulated


def read(body: str, digest: str, name: str) -> Entry:
    """The entry of a stored line.

    Raises: StoreError where it is damaged.
    """
    try:
        return opened(body, digest)
    except ValueError:
        raise StoreError(
            "an entry in it is damaged", store=name, way_out="`tickover job verify --all` says which."
        ) from None


def described(content: str | Path | bytes, name: str, media_type: str) -> tuple[bytes, Attached]:
    """The bytes to keep, and what to call them.

    Raises: InputError for a file that cannot be read; AttachmentError for too large a one.
    """
    if isinstance(content, bytes):
        data = content
    else:
        path = Path(content)
        name = name or path.name
        try:
            if path.stat().st_size > LARGEST:
                raise too_large(name)
            data = path.read_bytes()
        except OSError as why:
            raise InputError(f"cannot be read: {why.strerror}", file=str(path)) from None
    if len(data) > LARGEST:
        raise too_large(name)
    kind = media_type or mimetypes.guess_type(name)[0] or "application/octet-stream"
    return data, Attached(digest=digest_of(data), name=name, media_type=kind, size=len(data))


def too_large(name: str) -> AttachmentError:
    """What to say of an attachment over the limit."""
    return AttachmentError(
        f"{name or 'this attachment'} is larger than {LARGEST // 2**20} MiB",
        name=name,
        way_out="Cut it to the part that matters.",
    )


def keep(connection: Connection, digest: str, data: bytes) -> None:
    """Store bytes under their digest, unless they are there. A damaged copy is replaced by the sound one."""
    stored = connection.execute(select(attachments.c.data).where(attachments.c.digest == digest)).scalar()
    row = {"size": len(data), "data": data}
    if stored is None:
        dialect = postgresql if connection.dialect.name == "postgresql" else sqlite
        connection.execute(dialect.insert(attachments).values(digest=digest, **row).on_conflict_do_nothing())
    elif digest_of(bytes(stored)) != digest:
        connection.execute(update(attachments).where(attachments.c.digest == digest).values(**row))


def held(connection: Connection, attached: Attached | str) -> Attached:
    """The attachment, which this store must hold.

    Raises: AttachmentError.
    """
    size = connection.execute(select(attachments.c.size).where(attachments.c.digest == str(attached))).scalar()
    if size is None:
        raise _unknown(attached)
    name, media_type = "", "application/octet-stream"
    if isinstance(attached, Attached):
        name, media_type = attached.name, attached.media_type
    return Attached(digest=str(attached), name=name, media_type=media_type, size=size)


def content(connection: Connection, attached: Attached | str) -> bytes:
    """The bytes of an attachment, checked.

    Raises: AttachmentError naming it.
    """
    stored = connection.execute(select(attachments.c.data).where(attachments.c.digest == str(attached))).scalar()
    if stored is None:
        raise _unknown(attached)
    data = bytes(stored) if isinstance(stored, bytes | memoryview) else str(stored).encode("utf-8", "surrogateescape")
    if digest_of(data) != str(attached):
        raise AttachmentError(
            f"attachment {_called(attached)} is damaged: its bytes do not fit its digest",
            digest=str(attached),
            name=getattr(attached, "name", ""),
            way_out="Attach the original file again: the sound bytes take its place. Or go back to a back-up.",
        )
    return data


def _unknown(attached: Attached | str) -> AttachmentError:
    return AttachmentError(
        f"attachment {_called(attached)} is not in this store",
        digest=str(attached),
        name=getattr(attached, "name", ""),
        way_out="Attach the file first.",
    )


def _called(attached: Attached | str) -> str:
    name = getattr(attached, "name", "")
    return f"“{name}” ({str(attached)[:12]})" if name else str(attached)[:12]
