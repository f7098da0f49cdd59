"""Run by alembic: migrate on the connection, and in the transaction, that ``migrating.py`` hands over."""

from __future__ import annotations

from alembic import context

from tickover.jobs.migrating import VERSION_TABLE
from tickover.jobs.tables import metadata

context.configure(
    connection=context.config.attributes["connection"], target_metadata=metadata, version_table=VERSION_TABLE
)
with context.begin_transaction():
    context.run_migrations()
