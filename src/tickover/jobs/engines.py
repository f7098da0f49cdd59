"""Connections to a store, made durable, and what a database complains of, in our words. Drivers are known only here."""

from __future__ import annotations

import contextlib
import importlib.util
import os
import sqlite3
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal
from urllib.parse import quote

from sqlalchemy import Connection, Engine, create_engine, event
from sqlalchemy.engine import URL, make_url
from sqlalchemy.exc import ArgumentError, DBAPIError
from sqlalchemy.exc import TimeoutError as PoolTimeout

from tickover.errors import (
    FullStoreError,
    InputError,
    JobError,
    LockedStoreError,
    MissingExtraError,
    ReadOnlyStoreError,
    StoreError,
)

Mode = Literal["rwc", "rw", "ro", "ro&immutable=1"]

WRITING = "tickover_writing"
_PRAGMAS = ("foreign_keys=ON", "secure_delete=ON", "trusted_schema=OFF", "cell_size_check=ON")
_DURABLE = ("synchronous=FULL", "fullfsync=ON", "checkpoint_fullfsync=ON")
"""A commit returns when the disk has it: SQLite, PRAGMA synchronous; on WAL, FULL adds the sync at each commit."""


@dataclass(frozen=True, slots=True)
class Opened:
    """An engine, what to call it in messages, and whether it may be written to."""

    engine: Engine
    name: str
    may_write: bool
    path: Path | None


def is_address(where: str | Path) -> bool:
    """Whether a store is named by an address of a server, not by a file."""
    return "://" in str(where)


def connect(where: str | Path, *, create: bool, read_only: bool, wait: float) -> Opened:
    """An engine for a file or an address; the tables are not looked at.

    Args:
        where: a file, or ``postgresql+psycopg://…``.
        create: whether a file that is not there is made.
        read_only: whether to leave it as it is.
        wait: how long to wait for others who write [s].
    Raises: StoreError, MissingExtraError, InputError.
    """
    if is_address(where):
        return _server(str(where), read_only=read_only, wait=wait)
    return _file(Path(where).expanduser().absolute(), create=create, read_only=read_only, wait=wait)


def _file(path: Path, *, create: bool, read_only: bool, wait: float) -> Opened:
    name = str(path)
    if path.is_dir():
        raise StoreError("is a folder, not a job record", store=name, way_out="Name a file inside it.")
    if not path.exists():
        if read_only or not create:
            raise StoreError("there is no job record here", store=name, way_out="Begin one with `tickover job new`.")
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            os.close(os.open(path, os.O_CREAT | os.O_RDWR, 0o600))  # customers' names are nobody else's business
        except OSError as why:
            raise StoreError(f"cannot be made: {why.strerror}", store=name, way_out="Name another --store.") from None
    elif not os.access(path, os.R_OK):
        raise StoreError("may not be read", store=name, way_out="Ask its owner, or name another --store.")
    elif not (os.access(path, os.W_OK) and os.access(path.parent, os.W_OK)):
        read_only = True
    if not read_only:
        engine = _sqlite(path, "rwc" if create else "rw", wait)
        try:
            with told(name), engine.connect() as connection:
                _use_wal(connection, name)
        except BaseException:
            engine.dispose()
            raise
        return Opened(engine, name, True, path)
    return Opened(_sqlite(path, _reading_mode(path), wait), name, False, path)


def _reading_mode(path: Path) -> Mode:
    """How to read a file that may not be written to; SQLite wants a side file even for that, where it can have one."""
    try:
        with contextlib.closing(_raw(path, "ro", 1.0)) as raw:
            raw.execute("SELECT count(*) FROM sqlite_master").fetchone()
    except sqlite3.OperationalError as why:
        log = path.with_name(path.name + "-wal")
        if why.sqlite_errorcode & 0xFF != sqlite3.SQLITE_CANTOPEN:
            return "ro"
        if log.exists() and log.stat().st_size:
            raise ReadOnlyStoreError(
                f"its newest entries are still in {log.name}, and cannot be folded in here",
                store=str(path),
                way_out="Copy the file and its -wal to a folder that may be written to.",
            ) from None
        return "ro&immutable=1"
    except (sqlite3.DatabaseError, UnicodeDecodeError):
        pass  # said when it is used
    return "ro"


def _raw(path: Path, mode: Mode, wait: float) -> sqlite3.Connection:
    raw = sqlite3.connect(
        f"file:{quote(str(path))}?mode={mode}", uri=True, timeout=wait, isolation_level=None, check_same_thread=False
    )
    raw.text_factory = _text
    return raw


def _text(data: bytes) -> str:
    return data.decode("utf-8", "surrogateescape")  # damaged text is then found by its digest, not by a crash


def _sqlite(path: Path, mode: Mode, wait: float) -> Engine:
    def connection() -> sqlite3.Connection:
        raw = _raw(path, mode, wait)
        try:
            for pragma in (*_PRAGMAS, *(() if mode.startswith("ro") else _DURABLE)):
                raw.execute(f"PRAGMA {pragma}")
        except BaseException:
            raw.close()
            raise
        return raw

    engine = create_engine("sqlite+pysqlite:///job", creator=connection)

    @event.listens_for(engine, "begin")
    def begin(connection: Connection) -> None:
        """The driver begins nothing by itself; whoever writes takes the lock at once, so that no two can read first."""
        writing = connection.get_execution_options().get(WRITING)
        connection.exec_driver_sql("BEGIN IMMEDIATE" if writing else "BEGIN")

    return engine


def _use_wal(connection: Connection, name: str) -> None:
    """Readers then never wait for a writer. Once set it stays in the file."""
    raw: Any = connection.connection.dbapi_connection
    for _ in range(5):
        if raw.execute("PRAGMA journal_mode").fetchone()[0] == "wal":
            return
        with contextlib.suppress(sqlite3.OperationalError):  # another one switches it at this moment
            raw.execute("PRAGMA journal_mode=WAL")
        raw.execute("BEGIN IMMEDIATE")  # waits for the other one
        raw.execute("COMMIT")
    raise StoreError("its journal cannot be a log", store=name, way_out="Keep it on a local disk, not on a share.")


def sync_folder(folder: Path) -> None:
    """See that a new name in a folder is on the disk too, where the system can do that."""
    with contextlib.suppress(OSError):
        descriptor = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(descriptor)
        finally:
            os.close(descriptor)


def _server(address: str, *, read_only: bool, wait: float) -> Opened:
    try:
        url = make_url(address.replace("postgres://", "postgresql://", 1))
    except (ArgumentError, ValueError):
        raise InputError("this address of a store cannot be read", way_out=_ADDRESS) from None
    if url.get_backend_name() != "postgresql":
        raise InputError(f"a store at “{url.drivername}://” is not known", way_out=_ADDRESS)
    if importlib.util.find_spec("psycopg") is None:
        raise MissingExtraError("psycopg", "postgres", "a job record in PostgreSQL")
    engine = create_engine(url.set(drivername="postgresql+psycopg"), pool_pre_ping=True, connect_args=_patience(url))

    @event.listens_for(engine, "connect")
    def settle(raw: Any, _record: object) -> None:  # noqa: ANN401 — the driver's connection
        """Durable whatever the server's default, and patient for so long."""
        with raw.cursor() as cursor:
            cursor.execute("SET synchronous_commit = on")
            cursor.execute(f"SET lock_timeout = {round(wait * 1000)}")
            if read_only:
                cursor.execute("SET default_transaction_read_only = on")
        raw.commit()

    return Opened(engine, url.render_as_string(hide_password=True), not read_only, None)


_ADDRESS = "Write it like postgresql+psycopg://user@host/database, or name a file."


def _patience(url: URL) -> dict[str, Any]:
    return {} if "connect_timeout" in url.query else {"connect_timeout": 10}


@contextlib.contextmanager
def told(store: str) -> Iterator[None]:
    """What the database complains of, as one of our errors. The transaction was rolled back by then."""
    try:
        yield
    except DBAPIError as why:
        raise _leaf(why.orig, store) from why
    except sqlite3.Error as why:
        raise _leaf(why, store) from why
    except UnicodeDecodeError as why:  # the driver cannot even read its own complaint about the file
        raise _damaged("its tables cannot be read", store) from why
    except PoolTimeout as why:
        raise LockedStoreError("too many of its connections are in use", store=store, way_out=_LOCKED) from why


def _leaf(why: object, store: str) -> JobError:
    if isinstance(why, sqlite3.Error):
        return _sqlite_leaf(why, store)
    return _server_leaf(why, store)


_LOCKED = "Nothing was written. Try again; if it stays so, see which other tickover is at work."
_READ_ONLY = "Nothing was written. Name another --store, or ask whoever owns it."
_FULL = "Nothing was written, and what is there is whole. Make room, then do it again."


def _sqlite_leaf(why: sqlite3.Error, store: str) -> JobError:
    code = getattr(why, "sqlite_errorcode", None) or 0
    primary = code & 0xFF  # SQLite, Result and Error Codes: the low eight bits
    if primary in {sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED}:
        return LockedStoreError("somebody else is writing to it", store=store, way_out=_LOCKED)
    if primary == sqlite3.SQLITE_READONLY:
        return ReadOnlyStoreError("may only be read", store=store, way_out=_READ_ONLY)
    if primary == sqlite3.SQLITE_FULL:
        return FullStoreError("the disk is full", store=store, way_out=_FULL)
    if primary == sqlite3.SQLITE_IOERR:
        return StoreError(
            "the disk does not read or write it",
            store=store,
            way_out="Nothing more was written. Look at the disk: room, quota, cable.",
        )
    if primary == sqlite3.SQLITE_NOTADB:
        return StoreError("is not a job record", store=store, way_out="Name another --store; it was left as it is.")
    if primary == sqlite3.SQLITE_CANTOPEN:
        return StoreError("cannot be opened", store=store, way_out="Name a file in a folder you may write to.")
    if primary == sqlite3.SQLITE_CORRUPT or isinstance(why, sqlite3.DatabaseError):
        return _damaged(_first_line(why), store)
    return StoreError(f"cannot be used: {_first_line(why)}", store=store)


def _damaged(what: str, store: str) -> StoreError:
    return StoreError(
        f"is damaged: {what}",
        store=store,
        way_out="Keep the file as it is, and go back to a back-up: `tickover job restore`.",
    )


def _server_leaf(why: object, store: str) -> JobError:
    state = str(getattr(why, "sqlstate", None) or "")  # PostgreSQL documentation, appendix A, error codes
    if state in {"55P03", "40P01", "40001"}:
        return LockedStoreError("somebody else is writing to it", store=store, way_out=_LOCKED)
    if state in {"25006", "42501"}:
        return ReadOnlyStoreError("may only be read", store=store, way_out=_READ_ONLY)
    if state == "53100":
        return FullStoreError("the server's disk is full", store=store, way_out=_FULL)
    if not state or state.startswith(("08", "28", "3D", "57P")):
        return StoreError(
            f"the server does not let us in: {_first_line(why)}",
            store=store,
            way_out="See that it runs, and that the address, user and database are right.",
        )
    return StoreError(f"the server refuses: {_first_line(why)}", store=store)


def _first_line(why: object) -> str:
    lines = str(why).strip().splitlines()
    return lines[0].rstrip(".") if lines else type(why).__name__
