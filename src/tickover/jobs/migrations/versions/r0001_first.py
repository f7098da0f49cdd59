"""The first tables: jobs, entries, personal values, attachments."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None


def upgrade() -> None:
    """Make the tables."""
    store = op.create_table(
        "tickover_store",
        sa.Column("id", sa.Integer, primary_key=True, autoincrement=False),
        sa.Column("last_job", sa.Integer, nullable=False),
    )
    op.bulk_insert(store, [{"id": 1, "last_job": 0}])
    op.create_table(
        "tickover_jobs",
        sa.Column("job", sa.Integer, primary_key=True, autoincrement=False),
        sa.Column("uid", sa.String(32), nullable=False, unique=True),
        sa.Column("entries", sa.Integer, nullable=False),
        sa.Column("head", sa.String(64), nullable=False),
    )
    op.create_table(
        "tickover_entries",
        sa.Column("job", sa.Integer, sa.ForeignKey("tickover_jobs.job"), primary_key=True, autoincrement=False),
        sa.Column("seq", sa.Integer, primary_key=True, autoincrement=False),
        sa.Column("stage", sa.Text, nullable=False),
        sa.Column("kind", sa.Text, nullable=False),
        sa.Column("at", sa.Text, nullable=False),
        sa.Column("body", sa.Text, nullable=False),
        sa.Column("digest", sa.String(64), nullable=False),
    )
    op.create_index("tickover_entries_kind", "tickover_entries", ["kind", "job", "seq"])
    op.create_table(
        "tickover_personal",
        sa.Column("job", sa.Integer, sa.ForeignKey("tickover_jobs.job"), primary_key=True, autoincrement=False),
        sa.Column("seq", sa.Integer, primary_key=True, autoincrement=False),
        sa.Column("field", sa.String(64), primary_key=True),
        sa.Column("salt", sa.String(64)),
        sa.Column("value", sa.Text),
    )
    op.create_table(
        "tickover_attachments",
        sa.Column("digest", sa.String(64), primary_key=True),
        sa.Column("size", sa.Integer, nullable=False),
        sa.Column("data", sa.LargeBinary, nullable=False),
    )
