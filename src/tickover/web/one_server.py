"""One server for one record: live attempts are files that two servers would write over each other.

The lock is the operating system's, so it goes with the process that holds it, however that ends.
"""

from __future__ import annotations

import contextlib
import fcntl
import json
import os
from pathlib import Path
from types import TracebackType

from tickover.errors import InputError
from tickover.web.places import beside


class OneServer:
    """The right to serve a record; held until it is let go of, or the process ends.

    Args:
        store: the record, as ``open_store`` takes it. Of a database server only this machine's servers see each other.
        port: where it will be served, for the message to the next.
    Raises: InputError naming the process and the port that serve it already.
    """

    def __init__(self, store: str | Path, port: int) -> None:
        self.path = beside(store, "served")
        self._held: int | None = None
        try:
            self.path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
            held = os.open(self.path, os.O_CREAT | os.O_RDWR | os.O_CLOEXEC, 0o600)
        except OSError:
            return  # a folder that may only be read: no attempt can be written there by anybody
        try:
            fcntl.flock(held, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            who = os.pread(held, 200, 0)
            os.close(held)
            process, at = _named(who)
            if process == os.getpid():
                return  # two apps of one process share it
            raise _served(store, process, at) from None
        os.ftruncate(held, 0)
        os.pwrite(held, json.dumps({"process": os.getpid(), "port": port}).encode(), 0)
        self._held = held

    def __enter__(self) -> OneServer:
        return self

    def __exit__(self, kind: type[BaseException] | None, why: BaseException | None, at: TracebackType | None) -> None:
        self.release()

    def release(self) -> None:
        """Let others serve it."""
        if self._held is not None:
            with contextlib.suppress(OSError):
                os.close(self._held)
            self._held = None

    def __del__(self) -> None:
        self.release()


def _named(who: bytes) -> tuple[int, int]:
    """Process and port of who holds the lock; 0 where it is just about to say."""
    try:
        told = json.loads(who)
        return int(told["process"]), int(told["port"])
    except (ValueError, KeyError, TypeError):
        return 0, 0


def _served(store: str | Path, process: int, port: int) -> InputError:
    by = f"by process {process} on port {port}" if process else "by another process"
    end = f"Ctrl-C where it runs, or kill {process}" if process else "Ctrl-C where it runs"
    return InputError(f"{store} is served already, {by}", way_out=f"Use that one, or end it first: {end}.")
