"""What happened in a live attempt, line by line, on the disk before it is acknowledged.

One file an attempt, JSON lines. Everything else of a live attempt follows from these lines, so that a server that was
killed and started again goes on where it was. A last line that was cut off was never acknowledged, and is dropped.
"""

from __future__ import annotations

import contextlib
import errno
import json
import os
from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field, TypeAdapter, ValidationError

from tickover.attempts import Kind
from tickover.errors import FullStoreError, StoreError
from tickover.jobs.engines import sync_folder
from tickover.results import Result
from tickover.routines import Switch


class Begun(Result):
    """First line.

    Attributes:
        id: of the attempt, 16 letters of hexadecimal.
        job, routine, switch, digest: what is attempted, and with which form of the routine.
        tapped: whether a helper taps each act; if not, acts are taken to be done with their tones, and are not judged.
        number: which try at this routine.
        zero: the server's clock at its beginning [s].
        at, by: when and by whom, for the record.
        simulated: whether the job's car is invented.
    """

    record: Literal["begun"] = "begun"
    id: str
    job: int
    routine: str
    switch: Switch
    digest: str
    tapped: bool
    number: int
    zero: float
    at: str
    by: str
    simulated: bool


class Joined(Result):
    """A page with a clock of its own.

    Attributes:
        device: what the page calls itself, the same after a reload.
        phone: its name for people, such as “phone 2”.
        clock: name of this clock in the attempt file; a reload begins a new one.
        middle: attempt time less the page's time, as well as known [s].
        half: how far that may be off [s].
    """

    record: Literal["joined"] = "joined"
    device: str
    phone: str
    clock: str
    middle: float
    half: float


class Came(Result):
    """Something a page told.

    Attributes:
        clock, seq: whose it is, and its number there.
        kind: what happened.
        event: the planned event that the page took it for; empty where it is none.
        condition: of counted time, where somebody said that it began or ceased to hold.
        t: when, on the attempt's time as well as the page's clock is known [s].
        by: “tap” where somebody saw it; “tone” where it is only taken to have been done with its tone.
        arrived: when it was here, on the attempt's time [s].
    """

    record: Literal["came"] = "came"
    clock: str
    seq: int
    kind: Kind
    event: str = ""
    condition: str = ""
    t: float
    by: Literal["tap", "tone"] = "tap"
    arrived: float


class Ended(Result):
    """The attempt is over: when [s, attempt time], and how."""

    record: Literal["ended"] = "ended"
    at: float
    how: Literal["done", "missed", "stopped"]


class Kept(Result):
    """What became of it in the job: the number of its entry, or None where it does not count as a try."""

    record: Literal["kept"] = "kept"
    entry: int | None


Line = Begun | Joined | Came | Ended | Kept
_LINE: TypeAdapter[Line] = TypeAdapter(Annotated[Line, Field(discriminator="record")])


class Journal:
    """One attempt's file.

    Args:
        path: of the file; read where it is there, without a cut-off last line.
    Raises: StoreError for a line that cannot be read, and is not the last.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self.lines: list[Line] = []
        self._size = 0
        if path.exists():
            self._read()

    def _read(self) -> None:
        data = self.path.read_bytes()
        whole = data[: data.rfind(b"\n") + 1]
        self._size = len(whole)
        for number, line in enumerate(whole.splitlines(), start=1):
            try:
                self.lines.append(_LINE.validate_python(json.loads(line)))
            except (ValueError, ValidationError):
                raise StoreError(
                    f"line {number} of {self.path.name} cannot be read",
                    store=str(self.path.parent),
                    way_out="Move the file elsewhere; the job itself is not touched by it.",
                ) from None

    def append(self, *lines: Line) -> None:
        """Add lines; when this returns they are on the disk.

        Raises: FullStoreError, StoreError; nothing was written then.
        """
        data = b"".join(line.model_dump_json().encode() + b"\n" for line in lines)
        try:
            self.path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
            new = not self.path.exists()
            with self.path.open("ab") as file:
                try:
                    file.truncate(self._size)  # a line that was cut off
                    file.write(data)
                    file.flush()
                    os.fsync(file.fileno())
                except OSError:
                    with contextlib.suppress(OSError):
                        file.truncate(self._size)
                    raise
            if new:
                sync_folder(self.path.parent)
        except OSError as why:
            leaf = FullStoreError if why.errno == errno.ENOSPC else StoreError
            raise leaf(
                f"the attempt cannot be written: {why.strerror}",
                store=str(self.path.parent),
                way_out="Make room or give access to the folder; the taps stay on the phone until then.",
            ) from None
        self._size += len(data)
        self.lines += lines
