"""Open a job record, make one, or bring one back from a back-up."""

from __future__ import annotations

from pathlib import Path

import platformdirs

from tickover.jobs import engines, moving
from tickover.jobs.migrating import prepare
from tickover.jobs.reports import BackedUp
from tickover.jobs.store import Store

WAIT = 10.0
"""How long one bay waits for the other to finish writing [s]; own choice, a write takes milliseconds."""


def default_store() -> Path:
    """The job record in the user's own data folder."""
    return Path(platformdirs.user_data_path("tickover", appauthor=False)) / "jobs.db"


def open_store(where: str | Path, *, create: bool = True, read_only: bool = False, wait: float = WAIT) -> Store:
    """Open a job record; make it, or bring its tables up to date, where that is needed.

    Args:
        where: a file, or ``postgresql+psycopg://user@host/database``.
        create: whether a file that is not there is made.
        read_only: whether to leave it as it is; so is a file that may not be written to.
        wait: how long to wait for others who write [s].
    Returns: the store; close it, or use it in a ``with``.

    Raises:
        StoreError: it cannot be opened, is no job record, or is damaged.
        NewerStoreError: a newer program wrote it.
        LockedStoreError: somebody else is writing for too long.
        MissingExtraError: an address of a server, without the extra ``postgres``.
    """
    found = engines.connect(where, create=create, read_only=read_only, wait=wait)
    try:
        prepare(found)
    except BaseException:
        found.engine.dispose()
        raise
    return Store(found)


def restore(path: str | Path, to: str | Path) -> BackedUp:
    """Bring a back-up back, into a new file or an empty database.

    Args:
        path: what ``backup`` wrote, or any other store's file.
        to: a file or an address, as for ``open_store``.
    Returns: what was copied, and what of it does not hold.
    Raises: InputError where the target holds jobs; StoreError where either cannot be used.
    """
    with (
        open_store(path, create=False, read_only=True) as source,
        open_store(to) as target,
        source.reading() as connection,
    ):
        return moving.copy_into(connection, target.opened, target.name)
