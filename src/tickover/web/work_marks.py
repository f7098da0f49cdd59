"""A mark on the disk for each piece of long work, so that a server that was killed says so when it is started again."""

from __future__ import annotations

import contextlib
import errno
import json
import os
from collections.abc import Callable, Iterator
from pathlib import Path

from pydantic import ValidationError

from tickover.errors import FullStoreError, StoreError
from tickover.jobs import Stage
from tickover.jobs.engines import sync_folder
from tickover.results import Result


class Mark(Result):
    """A piece of work that was begun.

    Attributes:
        job, stage: what it is for.
        name: what the file is called.
        keeping: whether its result was just being kept.
    """

    job: int
    stage: Stage
    name: str
    keeping: bool = False


class Held:
    """A log on the disk under its mark; ``keeping`` says on the mark that the result is being kept."""

    def __init__(self, path: Path, keeping: Callable[[], None]) -> None:
        self.path = path
        self.keeping = keeping


class Marks:
    """The marks of one record, with the logs that are worked on beside them.

    Args:
        folder: where they are; made when the first is set.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    @contextlib.contextmanager
    def held(self, mark: Mark, data: bytes, ending: str) -> Iterator[Held]:
        """The log on the disk under a mark, both gone at the end.

        Args:
            mark: what is done.
            data: the log.
            ending: of its file, which the reader goes by.
        Raises: FullStoreError, StoreError where it cannot be written.
        """
        log = self.folder / f"{mark.job:06d}.{ending}"
        try:
            self._write(log, data)
            self._mark(mark)
            yield Held(log, lambda: self._mark(mark.model_copy(update={"keeping": True})))
        finally:
            self.clear(mark.job)

    def left(self, job: int) -> Mark | None:
        """The mark that a killed server left in a job; the log beside it is thrown away."""
        try:
            mark = Mark.model_validate(json.loads(self._path(job).read_bytes()))
        except FileNotFoundError:
            return None
        except (OSError, ValueError, ValidationError):
            self.clear(job)  # torn: it never began
            return None
        self._drop_logs(job)
        return mark

    def clear(self, job: int) -> None:
        """Take the mark away."""
        self._drop_logs(job)
        with contextlib.suppress(OSError):
            self._path(job).unlink()

    def _mark(self, mark: Mark) -> None:
        self._write(self._path(mark.job), mark.model_dump_json().encode())

    def _path(self, job: int) -> Path:
        return self.folder / f"{job:06d}.json"

    def _drop_logs(self, job: int) -> None:
        for ending in ("csv", "mf4", "new"):
            with contextlib.suppress(OSError):
                (self.folder / f"{job:06d}.{ending}").unlink()

    def _write(self, path: Path, data: bytes) -> None:
        try:
            self.folder.mkdir(mode=0o700, parents=True, exist_ok=True)
            fresh = path.with_suffix(".new")
            with fresh.open("wb") as file:
                file.write(data)
                file.flush()
                os.fsync(file.fileno())
            fresh.replace(path)  # a mark is whole, or not there
            sync_folder(self.folder)
        except OSError as why:
            leaf = FullStoreError if why.errno == errno.ENOSPC else StoreError
            raise leaf(
                f"the log cannot be put down: {why.strerror}",
                store=str(self.folder),
                way_out="Make room or give access to the folder, and send it again.",
            ) from None
