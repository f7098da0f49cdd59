"""The tables that migrations make are the tables that the program means; the last revision is the one it knows."""

import logging
from pathlib import Path

from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import text

from tickover.jobs import Store, open_store
from tickover.jobs.migrating import VERSION_TABLE, _config, known
from tickover.jobs.tables import SCHEMA, metadata


def test_the_last_revision_is_the_one_the_program_reads() -> None:
    script = ScriptDirectory.from_config(_config())
    assert script.get_heads() == [SCHEMA]
    assert SCHEMA in known()


def test_migrated_tables_are_those_of_the_program(store: Store) -> None:
    """In both stores, column by column, as the database itself tells it."""
    with store.reading() as connection:
        context = MigrationContext.configure(connection, opts={"version_table": VERSION_TABLE, "compare_type": True})
        assert compare_metadata(context, metadata) == []


def test_opening_again_changes_nothing(where: str) -> None:
    open_store(where).close()
    with open_store(where) as again, again.reading() as connection:
        assert connection.execute(text(f"SELECT version_num FROM {VERSION_TABLE}")).scalars().all() == [SCHEMA]
        assert connection.execute(text("SELECT id, last_job FROM tickover_store")).all() == [(1, 0)]


def test_making_tables_says_nothing(tmp_path: Path) -> None:
    """Migrations are no news to a technician."""
    with open_store(tmp_path / "jobs.db"):
        assert logging.getLogger("alembic").level == logging.WARNING
