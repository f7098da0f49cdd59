"""A job out of a store and into another; a whole store copied. Each step runs inside a transaction of its caller."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Row, Table, delete, func, insert, select, update

from tickover.errors import InputError, PartedJobError, StoreError
from tickover.jobs import checking, engines, keeping
from tickover.jobs.archive import Contents
from tickover.jobs.chain import Secret, mark, opened, purged_fields
from tickover.jobs.migrating import prepare
from tickover.jobs.reports import BackedUp, Imported
from tickover.jobs.tables import attachments, entries, jobs, metadata, personal
from tickover.jobs.tables import store as store_table
from tickover.jobs.unpacking import Unpacked
from tickover.signals import Recording


def contents_of(
    connection: Connection,
    row: Row[Any],
    *,
    sheet: bytes | None,
    recordings: Mapping[str, Recording] | None,
    with_personal: bool,
    name: str,
) -> Contents:
    """A job as it goes into a zip; one that does not verify does not go.

    Raises: StoreError saying what does not hold.
    """
    checked = checking.verify_job(connection, row)
    if not checked.ok:
        raise StoreError(
            f"job {row.job} is not as it was written: {checked.findings[0].what}",
            store=name,
            way_out=f"`tickover job verify {row.job}` says all; go back to a back-up.",
        )
    lines = [str(line.body) for line in checking.lines(connection, row.job)]
    digests = [str(line.digest) for line in checking.lines(connection, row.job)]
    secrets = checking.secrets_of(connection, row.job)
    if not with_personal:
        secrets = [Secret(s.seq, s.field, None, None) for s in secrets]
    return Contents(
        uid=row.uid,
        lines=lines,
        entries=[opened(line, digest) for line, digest in zip(lines, digests, strict=True)],
        secrets=secrets,
        attachment=lambda a: keeping.content(connection, a),
        sheet=sheet,
        recordings=recordings,
    )


def take_in(connection: Connection, found: Unpacked) -> Imported:
    """Store a job from a zip, or what is new of it.

    Raises: PartedJobError where the job is here and went another way.
    """
    keeping.lock_numbers(connection)  # two imports at once: the second waits, then finds the job here
    row = connection.execute(select(jobs).where(jobs.c.uid == found.uid).with_for_update()).one_or_none()
    if row is None:
        job, here = keeping.next_job(connection), 0
        connection.execute(insert(jobs).values(job=job, uid=found.uid, entries=0, head=mark(found.uid)))
    else:
        job, here = row.job, row.entries
        _check_same(connection, job, found)
    for digest in found.attached:
        keeping.keep(connection, digest, found.attachment(digest))
    for entry, body in list(zip(found.entries, found.lines, strict=True))[here:]:
        keeping.append(connection, job, entry, body)
    _take_secrets(connection, job, found, here)
    return Imported(job=job, added=max(len(found.entries) - here, 0), was_here=row is not None)


def _check_same(connection: Connection, job: int, found: Unpacked) -> None:
    there = connection.execute(select(entries.c.digest).where(entries.c.job == job).order_by(entries.c.seq)).scalars()
    for seq, (ours, theirs) in enumerate(zip(there, found.entries, strict=False), start=1):
        if ours != theirs.digest:
            raise PartedJobError(job, seq)


def _take_secrets(connection: Connection, job: int, found: Unpacked, here: int) -> None:
    """Values of new entries; values that were withheld before; and out with what the new entries say was erased."""
    for secret in found.secrets:
        seq = int(str(secret.seq))
        values = {"salt": secret.salt, "value": secret.value}
        if seq > here:
            connection.execute(insert(personal).values(job=job, seq=seq, field=secret.field, **values))
        elif secret.value is not None:
            place = (personal.c.job == job) & (personal.c.seq == seq) & (personal.c.field == secret.field)
            connection.execute(update(personal).where(place, personal.c.value.is_(None)).values(**values))
    forget(connection, job, purged_fields(found.entries))


def forget(connection: Connection, job: int, fields: Iterable[tuple[int, str]]) -> None:
    """Erase personal values."""
    for seq, field in fields:
        place = (personal.c.job == job) & (personal.c.seq == seq) & (personal.c.field == field)
        connection.execute(delete(personal).where(place))


def copy_to_file(source: Connection, path: Path, *, replace: bool) -> BackedUp:
    """A whole store as one file, checked, and only then put in its place.

    Raises: InputError where a file is in the way; StoreError, FullStoreError where it cannot be written.
    """
    if path.exists() and not replace:
        raise InputError("is there already", file=str(path), way_out="Name another file, or give --replace.")
    if not path.parent.is_dir():  # not made: it may be the place of a disk that is not plugged in
        raise InputError(f"there is no folder {path.parent}", file=str(path), way_out="Name a folder that is there.")
    partial = path.with_name(path.name + ".partial")
    _remove(partial)
    found: engines.Opened | None = None
    try:
        found = engines.connect(partial, create=True, read_only=False, wait=1.0)
        prepare(found)
        report = copy_into(source, found, str(path))
        with engines.told(found.name), found.engine.connect() as connection:
            raw: Any = connection.connection.dbapi_connection
            raw.execute("PRAGMA journal_mode=DELETE")  # one file, readable from a medium that cannot be written to
        found.engine.dispose()
        partial.replace(path)
        engines.sync_folder(path.parent)
    except OSError as why:
        raise InputError(f"cannot be written: {why.strerror or why}", file=str(path)) from None
    finally:
        if found is not None:
            found.engine.dispose()
        _remove(partial)
    return report


def _remove(path: Path) -> None:
    for end in ("", "-wal", "-shm", "-journal"):
        path.with_name(path.name + end).unlink(missing_ok=True)


def copy_into(source: Connection, target: engines.Opened, name: str) -> BackedUp:
    """Copy every row into an empty store, in one transaction, and check the copy.

    Raises: InputError where the target holds jobs.
    """
    writer = target.engine.execution_options(**{engines.WRITING: True})
    with engines.told(target.name), writer.connect() as connection:
        if target.path is not None:  # a damaged store is copied as it is; its damage is reported, not hidden
            raw: Any = connection.connection.dbapi_connection
            raw.execute("PRAGMA foreign_keys=OFF")
        with connection.begin():
            keeping.lock_numbers(connection)
            if connection.execute(select(func.count()).select_from(jobs)).scalar():
                raise InputError(
                    "holds jobs already", file=target.name, way_out="Restore into a new file, or an empty database."
                )
            connection.execute(delete(store_table))
            counts = {table.name: _copy(source, connection, table) for table in metadata.sorted_tables}
            checked = checking.verify_store(connection)
    findings = [*checked.findings]
    for job in checked.jobs:
        findings += (f.model_copy(update={"what": f"job {job.job}: {f.what}"}) for f in job.findings)
    return BackedUp(
        path=name,
        jobs=counts[jobs.name],
        entries=counts[entries.name],
        attachments=counts[attachments.name],
        findings=tuple(findings),
    )


def _copy(source: Connection, target: Connection, table: Table) -> int:
    count = 0
    at_once = 1 if table is attachments else 200
    rows = source.execution_options(yield_per=at_once).execute(select(table))
    for part in rows.partitions():
        target.execute(insert(table), [{k: _storable(v) for k, v in row._mapping.items()} for row in part])
        count += len(part)
    return count


def _storable(value: Any) -> Any:  # noqa: ANN401 — a cell
    """Damaged text cannot be written as text; as bytes it stays what it is."""
    if isinstance(value, str):
        try:
            value.encode()
        except UnicodeEncodeError:
            return value.encode("utf-8", "surrogateescape")
    return value
