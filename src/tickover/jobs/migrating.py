"""Bring a store's tables up to date when it is opened, in one transaction; refuse what a newer program wrote."""

from __future__ import annotations

import logging

from alembic import command
from alembic.config import Config
from alembic.script import ScriptDirectory
from sqlalchemy import Connection, inspect, text

from tickover.errors import NewerStoreError, ReadOnlyStoreError, StoreError
from tickover.jobs.engines import WRITING, Opened, told
from tickover.jobs.tables import SCHEMA

VERSION_TABLE = "tickover_version"
_MIGRATION_LOCK = 0x7469636B  # any fixed number; no other program takes this one by chance


def revision_of(connection: Connection) -> str | None:
    """The revision a store's tables have; None where it has none of ours."""
    if not inspect(connection).has_table(VERSION_TABLE):
        return None
    found = connection.execute(text(f"SELECT version_num FROM {VERSION_TABLE}")).scalars().all()
    return str(found[0]) if len(found) == 1 else "unclear"


def is_current(connection: Connection, store: str, *, may_write: bool) -> bool:
    """Whether a store can be used as it is.

    Returns: False where ``migrate`` has to run first.

    Raises:
        NewerStoreError: tables that this program does not know.
        StoreError: no tables of ours in a store that may only be read.
        ReadOnlyStoreError: older tables in a store that may only be read.
    """
    found = revision_of(connection)
    if found == SCHEMA:
        return True
    if found is not None and found not in known():
        raise NewerStoreError(
            f"its tables are of revision {found}, and this program knows only up to {SCHEMA}",
            store=store,
            way_out="A newer tickover wrote it: update tickover. The store was left as it is.",
        )
    if not may_write:
        if found is None:
            raise StoreError("holds no job record", store=store, way_out="Name another --store.")
        raise ReadOnlyStoreError(
            f"its tables are of the older revision {found}, and they cannot be brought up to date read-only",
            store=store,
            way_out="Open it once where it may be written to.",
        )
    return False


def known() -> frozenset[str]:
    """All revisions that this program knows."""
    scripts = ScriptDirectory.from_config(_config())
    return frozenset(script.revision for script in scripts.walk_revisions())


def prepare(found: Opened) -> None:
    """See that the tables are up to date; make or migrate them where not. Whoever comes second finds them made.

    Raises: as ``is_current``; StoreError for another program's database.
    """
    with told(found.name), found.engine.connect() as connection:
        if is_current(connection, found.name, may_write=found.may_write):
            return
    writer = found.engine.execution_options(**{WRITING: True})
    with told(found.name), writer.begin() as connection:
        if found.path is None:
            connection.execute(text("SELECT pg_advisory_xact_lock(:n)"), {"n": _MIGRATION_LOCK})
        elif _is_foreign(connection):
            raise StoreError(
                "is another program's database, not a job record",
                store=found.name,
                way_out="Name another --store; it was left as it is.",
            )
        if not is_current(connection, found.name, may_write=True):
            migrate(connection)


def _is_foreign(connection: Connection) -> bool:
    names = inspect(connection).get_table_names()
    return bool(names) and not any(name.startswith("tickover_") for name in names)


def migrate(connection: Connection) -> None:
    """Bring the tables up to date, inside the transaction that ``connection`` is in."""
    config = _config()
    config.attributes["connection"] = connection
    command.upgrade(config, "head")


def _config() -> Config:
    logging.getLogger("alembic").setLevel(logging.WARNING)  # each step is no news to a technician
    config = Config()
    config.set_main_option("script_location", "tickover.jobs:migrations")
    config.set_main_option("path_separator", "os")
    return config
