"""The tables, the same in SQLite and PostgreSQL. Only text, whole numbers and bytes, so that nothing is rewritten."""

from __future__ import annotations

from sqlalchemy import Column, ForeignKey, Index, Integer, LargeBinary, MetaData, String, Table, Text

SCHEMA = "0001"
"""The revision that this program reads and writes; the last of ``migrations/versions``."""

metadata = MetaData()

store = Table(
    "tickover_store",
    metadata,
    Column("id", Integer, primary_key=True, autoincrement=False),
    Column("last_job", Integer, nullable=False),
)
"""One row. Its lock hands out job numbers; its count shows a job that was taken out."""

jobs = Table(
    "tickover_jobs",
    metadata,
    Column("job", Integer, primary_key=True, autoincrement=False),
    Column("uid", String(32), nullable=False, unique=True),
    Column("entries", Integer, nullable=False),
    Column("head", String(64), nullable=False),
)
"""One row a job, with how many entries it has and the digest of the last. Its lock hands out entry numbers."""

entries = Table(
    "tickover_entries",
    metadata,
    Column("job", Integer, ForeignKey("tickover_jobs.job"), primary_key=True, autoincrement=False),
    Column("seq", Integer, primary_key=True, autoincrement=False),
    Column("stage", Text, nullable=False),
    Column("kind", Text, nullable=False),
    Column("at", Text, nullable=False),
    Column("body", Text, nullable=False),
    Column("digest", String(64), nullable=False),
    Index("tickover_entries_kind", "kind", "job", "seq"),
)
"""One row an entry. ``body`` is the line that counts; stage, kind and time are copies for searching."""

personal = Table(
    "tickover_personal",
    metadata,
    Column("job", Integer, ForeignKey("tickover_jobs.job"), primary_key=True, autoincrement=False),
    Column("seq", Integer, primary_key=True, autoincrement=False),
    Column("field", String(64), primary_key=True),
    Column("salt", String(64)),
    Column("value", Text),
)
"""Personal values, outside the chain. Salt and value are NULL where an import left them out."""

attachments = Table(
    "tickover_attachments",
    metadata,
    Column("digest", String(64), primary_key=True),
    Column("size", Integer, nullable=False),
    Column("data", LargeBinary, nullable=False),
)
"""Recordings, sounds and pictures, once each."""
