"""The job record in a database: entries only ever enter, and are there for good when ``add`` returns."""

from __future__ import annotations

import contextlib
import secrets
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from types import TracebackType
from typing import Any

from pydantic import ValidationError
from sqlalchemy import Connection, insert, select

from tickover import __version__
from tickover.errors import InputError, ReadOnlyStoreError, UnknownEntryError
from tickover.jobs import checking, engines, keeping, listing, moving
from tickover.jobs.archive import write_archive
from tickover.jobs.chain import mark, plain, purged_fields, salted, sealed
from tickover.jobs.entries import PURGED, Attached, Entry, Stage, current
from tickover.jobs.reports import BackedUp, Exported, Imported, JobSummary, StoreVerification, Verification
from tickover.jobs.sound import Draft
from tickover.jobs.tables import entries, jobs, personal
from tickover.jobs.unpacking import unpacked
from tickover.signals import Recording

MADE_BY = f"tickover {__version__}"


class Store:
    """A job record; made by ``open_store``.

    Attributes:
        name: what to call it in messages; a password is not shown.
        may_write: whether entries can be added.
    """

    def __init__(self, found: engines.Opened) -> None:
        self.opened = found
        self.name = found.name
        self.may_write = found.may_write
        self.path = found.path
        self._engine = found.engine
        snapshot: dict[str, Any] = {"isolation_level": "REPEATABLE READ"} if found.path is None else {}
        self._reader = found.engine.execution_options(**snapshot)
        self._writer = found.engine.execution_options(**{engines.WRITING: True})

    def __enter__(self) -> Store:
        return self

    def __exit__(self, kind: type[BaseException] | None, why: BaseException | None, at: TracebackType | None) -> None:
        self.close()

    def close(self) -> None:
        """Let go of the database; the store cannot be used afterwards."""
        self._engine.dispose()

    @contextlib.contextmanager
    def reading(self) -> Iterator[Connection]:
        """One consistent view of the whole store. For this room only."""
        with engines.told(self.name), self._reader.connect() as connection:
            yield connection

    @contextlib.contextmanager
    def writing(self) -> Iterator[Connection]:
        """One transaction: all of it is kept, or nothing. For this room only."""
        if not self.may_write:
            raise ReadOnlyStoreError(
                "may only be read", store=self.name, way_out="Name another --store, or ask whoever owns it."
            )
        with engines.told(self.name), self._writer.begin() as connection:
            yield connection

    # --- jobs and entries

    def new(
        self,
        *,
        at: str,
        by: str = "",
        car: Mapping[str, Any] | None = None,
        personal: Mapping[str, str] | None = None,
        simulated: bool = False,
    ) -> int:
        """Begin a job; its first entry is the car.

        Args:
            at: when, ISO 8601 with offset.
            by: who.
            car: ``year``, ``fuel``, ``displacement_l``, ``cylinders``, ``complaint`` … plain JSON values, nothing
                personal.
            personal: name to value of what may have to be erased one day: customer, phone, plate, VIN.
            simulated: whether the car is invented.
        Returns: the job's number in this store, from 1 without gaps.
        Raises: as ``add``.
        """
        first = Draft("arrive", "car", at, by, plain(car or {}), dict(personal or {}), simulated=simulated)
        uid = secrets.token_hex(16)
        with self.writing() as connection:
            job = keeping.next_job(connection)
            connection.execute(insert(jobs).values(job=job, uid=uid, entries=0, head=mark(uid)))
            self._append(connection, job, 0, mark(uid), first)
        return job

    def jobs(self) -> list[JobSummary]:
        """All jobs, by number. Only what the list shows is read, not the readings inside."""
        with self.reading() as connection:
            return listing.summaries(connection)

    def entries(self, job: int) -> tuple[Entry, ...]:
        """All entries of a job, as they were written.

        Raises: UnknownJobError; StoreError for an entry that cannot be read.
        """
        with self.reading() as connection:
            keeping.job_row(connection, job, self.name)
            return self._entries(connection, job)

    def current(self, job: int) -> tuple[Entry, ...]:
        """The entries that count now, corrections applied."""
        return current(self.entries(job))

    def _entries(self, connection: Connection, job: int) -> tuple[Entry, ...]:
        rows = connection.execute(
            select(entries.c.body, entries.c.digest).where(entries.c.job == job).order_by(entries.c.seq)
        )
        return tuple(keeping.read(body, digest, self.name) for body, digest in rows)

    def add(
        self,
        job: int,
        *,
        stage: Stage,
        kind: str,
        data: Mapping[str, Any] | None = None,
        at: str,
        by: str = "",
        personal: Mapping[str, str] | None = None,
        attachments: Sequence[Attached | str] = (),
        corrects: int | None = None,
        inputs: Mapping[str, Any] | None = None,
        simulated: bool | None = None,
    ) -> Entry:
        """Add an entry. When this returns, the entry is on the disk.

        Args:
            job: the job's number.
            stage, kind: where it belongs, and what it is.
            data: the result, plain JSON values.
            at: when, ISO 8601 with offset.
            by: who.
            personal: name to value; only salted digests enter the chain, and the values can be purged.
            attachments: what ``attach`` gave.
            corrects: the entry that this one takes the place of.
            inputs: names and settings the result was computed from.
            simulated: whether the data are invented; as the job's first entry where not given.
        Returns: the entry with its number and digest.

        Raises:
            UnknownJobError, UnknownEntryError: no such job; nothing to correct.
            InputError: a time without offset, data that JSON cannot carry.
            AttachmentError: an attachment that this store does not hold.
            LockedStoreError, ReadOnlyStoreError, FullStoreError, StoreError: nothing was written.
        """
        draft = Draft(
            stage,
            kind,
            at,
            by,
            plain(data or {}),
            dict(personal or {}),
            simulated=simulated,
            attachments=tuple(attachments),
            corrects=corrects,
            inputs=plain(inputs or {}),
        )
        with self.writing() as connection:
            row = keeping.job_row(connection, job, self.name, lock=True)
            return self._append(connection, job, row.entries, row.head, draft)

    def _append(self, connection: Connection, job: int, count: int, head: str, draft: Draft) -> Entry:
        if draft.corrects is not None and not 1 <= draft.corrects <= count:
            raise UnknownEntryError(job, draft.corrects, count)
        brought = tuple(keeping.held(connection, a) for a in draft.attachments)
        salts = {name: secrets.token_hex(32) for name in draft.personal}
        simulated = draft.simulated
        if simulated is None:
            simulated = keeping.is_simulated(connection, job)
        try:
            entry = Entry(
                seq=count + 1,
                stage=draft.stage,
                kind=draft.kind,
                at=draft.at,
                by=draft.by,
                data=draft.data,
                simulated=simulated,
                corrects=draft.corrects,
                personal={name: salted(salts[name], value) for name, value in draft.personal.items()},
                attachments=brought,
                inputs=draft.inputs,
                made_by=MADE_BY,
                previous=head,
            )
        except ValidationError as why:
            fault = why.errors()[0]
            raise InputError(f"this entry cannot be kept: {'.'.join(map(str, fault['loc']))}: {fault['msg']}") from None
        entry, body = sealed(entry)
        keeping.append(connection, job, entry, body)
        if draft.personal:
            connection.execute(
                insert(personal),
                [
                    {"job": job, "seq": entry.seq, "field": name, "salt": salts[name], "value": value}
                    for name, value in draft.personal.items()
                ],
            )
        return entry

    # --- attachments

    def attach(self, content: str | Path | bytes, *, name: str = "", media_type: str = "") -> Attached:
        """Keep a recording, sound or picture. The same bytes are kept once, whatever they are called.

        Args:
            content: a file, or the bytes themselves.
            name: what to call it; a file's own name where not given.
            media_type: guessed from the name where not given.
        Returns: what ``add`` takes; ``str()`` of it is the digest.
        Raises: InputError for a file that cannot be read; AttachmentError over 256 MiB; StoreError.
        """
        data, attached = keeping.described(content, name, media_type)
        with self.writing() as connection:
            keeping.keep(connection, attached.digest, data)
        return attached

    def attachment(self, digest: Attached | str) -> bytes:
        """The bytes of an attachment, checked against their digest.

        Raises: AttachmentError naming it, where it is not there or is damaged.
        """
        with self.reading() as connection:
            return keeping.content(connection, digest)

    # --- personal values

    def personal(self, job: int) -> dict[str, str]:
        """The personal values of a job that are still held; where a field was given twice, the newer one.

        Raises: UnknownJobError.
        """
        with self.reading() as connection:
            keeping.job_row(connection, job, self.name)
            rows = connection.execute(
                select(personal.c.field, personal.c.value).where(personal.c.job == job).order_by(personal.c.seq)
            )
            return {field: value for field, value in rows if value is not None}

    def purge(self, job: int, field: str | None = None, *, at: str, by: str = "") -> tuple[str, ...]:
        """Erase personal values for good, and note in the record that this was done, not what they were.

        Args:
            job: the job's number.
            field: which; all where None.
            at, by: when and by whom.
        Returns: the fields that were erased; empty where there was nothing left to erase.
        Raises: UnknownJobError; InputError for a field that the job never had.
        """
        with self.writing() as connection:
            row = keeping.job_row(connection, job, self.name, lock=True)
            known = self._entries(connection, job)
            gone = purged_fields(known)
            named = [(e, name) for e in known for name in sorted(e.personal) if field in {None, name}]
            if field is not None and not named:
                raise InputError(
                    f"job {job} has no personal field “{field}”",
                    way_out=f"It has: {', '.join(sorted({n for e in known for n in e.personal})) or 'none'}.",
                )
            due = [(e, name) for e, name in named if (e.seq, name) not in gone]
            if not due:
                return ()
            moving.forget(connection, job, ((e.seq, name) for e, name in due))
            data = {"fields": [{"entry": e.seq, "field": name} for e, name in due]}
            notice = Draft(due[0][0].stage, PURGED, at, by, data, {})
            self._append(connection, job, row.entries, row.head, notice)
        self._forget()
        return tuple(dict.fromkeys(name for _, name in due))

    def _forget(self) -> None:
        """Fold SQLite's log into the file, where what was erased is overwritten; else it would linger in the log."""
        if self.path is not None:
            with engines.told(self.name), self._engine.connect() as connection:
                raw: Any = connection.connection.dbapi_connection
                raw.execute("PRAGMA wal_checkpoint(TRUNCATE)")

    # --- out and in

    def export(
        self,
        job: int,
        path: str | Path,
        *,
        sheet_pdf: bytes | None = None,
        recordings: Mapping[str, Recording] | None = None,
        with_personal: bool = True,
    ) -> Exported:
        """Write a job as one zip: JSON entries, Parquet series, attachments, the sheet, checksums; see its README.txt.

        Args:
            job: the job's number.
            path: where to; an exported job that is there is replaced, anything else is not.
            sheet_pdf: the customer's sheet.
            recordings: attachments that could be read as a log, by digest; they enter as Parquet too.
            with_personal: whether the personal values go along.
        Returns: what was written. The same job gives the same bytes.
        Raises: UnknownJobError; StoreError for a job that does not verify; InputError where it cannot be written.
        """
        with self.reading() as connection:
            row = keeping.job_row(connection, job, self.name)
            contents = moving.contents_of(
                connection, row, sheet=sheet_pdf, recordings=recordings, with_personal=with_personal, name=self.name
            )
            files, sha256 = write_archive(contents, Path(path))
        return Exported(job=job, path=str(path), files=files, head=row.head, sha256=sha256)

    def import_(self, path: str | Path) -> Imported:
        """Take in a job that ``export`` wrote. Twice does no harm; a longer copy of a job that is here is continued.

        Raises: ArchiveError for anything that does not hold; PartedJobError where the job went another way here.
            Nothing is stored then.
        """
        with unpacked(Path(path)) as found, self.writing() as connection:
            report = moving.take_in(connection, found)
        self._forget()
        return report

    def backup(self, path: str | Path, *, replace: bool = False) -> BackedUp:
        """Copy the whole store into one file, which is checked before it gets its name; others may go on writing.

        Args:
            path: where to.
            replace: whether an older file of that name may go.
        Raises: InputError where a file is in the way; StoreError, FullStoreError.
        """
        with self.reading() as connection:
            return moving.copy_to_file(connection, Path(path).expanduser().absolute(), replace=replace)

    # --- checking

    def verify(self, job: int, *, head: str | None = None) -> Verification:
        """Hold a job against its own chain.

        Args:
            job: the job's number.
            head: a head digest that was written down elsewhere, whole or its first letters; it must be in the chain.
        Returns: what does not hold, if anything, and what this cannot show.
        Raises: UnknownJobError.
        """
        with self.reading() as connection:
            row = keeping.job_row(connection, job, self.name)
            return checking.verify_job(connection, row, head)

    def verify_all(self) -> StoreVerification:
        """Hold every job, every attachment and the count of jobs against what they should be."""
        with self.reading() as connection:
            return checking.verify_store(connection)
