"""Where a record keeps what stands beside it: live attempts, work under way, who serves it."""

from __future__ import annotations

import hashlib
from pathlib import Path

import platformdirs

from tickover.jobs.engines import is_address


def beside(store: str | Path, name: str) -> Path:
    """A path beside a record.

    Args:
        store: the record, as ``open_store`` takes it.
        name: what is kept there.
    Returns: ``jobs-NAME`` for the file ``jobs.db``; for a database server a folder of its own on this machine.
    """
    if is_address(store):
        own = Path(platformdirs.user_data_path("tickover", appauthor=False)) / "servers"
        return own / hashlib.sha256(str(store).encode()).hexdigest()[:16] / name
    path = Path(store).expanduser().absolute()
    return path.with_name(f"{path.stem}-{name}")
