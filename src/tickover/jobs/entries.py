"""A job is a list of entries that only grows; what is due, done or not needed is worked out from them."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, Literal, get_args

from pydantic import BaseModel, ConfigDict, Field, field_validator

Stage = Literal["arrive", "before", "set up", "relearn", "after", "cause", "drive", "ready", "hand over"]

STAGES: tuple[Stage, ...] = get_args(Stage)
"""The nine stages, in their order."""

WITHDRAWN = "withdrawn"
"""The kind of a correction that takes the old entry back and puts nothing in its place."""
PURGED = "purged"
"""The kind of an entry that says which personal values were erased on request."""


class Attached(BaseModel):
    """A recording, sound or picture that an entry brought along.

    Attributes:
        digest: SHA-256 of its bytes, in hexadecimal; it is stored once under this.
        name: the file's name as it was given; never used as a path.
        media_type: such as ``text/csv``.
        size: [bytes]
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    digest: str = Field(pattern=r"^[0-9a-f]{64}$")
    name: str = ""
    media_type: str = "application/octet-stream"
    size: int = Field(default=0, ge=0)

    def __str__(self) -> str:
        return self.digest


class Entry(BaseModel):
    """One thing that was said, measured or done.

    Attributes:
        seq: its number in the job, from 1, rising without gaps.
        stage: the stage it belongs to.
        kind: what it is: ``answers``, ``reading``, ``needs``, ``attempt``, ``comparison``, ``note`` …
        at: when, ISO 8601 with offset.
        by: who, free text.
        data: the result itself, plain JSON values.
        simulated: true where the car was invented.
        corrects: the entry that this one corrects; the old one stays in the record.
        personal: name of a personal field to the salted digest of its value. The value is kept outside the chain.
        attachments: what it brought along; a bare digest is taken as an attachment without a name.
        inputs: names and settings that the result was computed from.
        made_by: program and version that wrote it.
        previous: digest of the entry before; of the first one, of the job's own mark.
        digest: SHA-256 over the canonical JSON of all the rest. Empty for an entry that no store holds.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    seq: int = Field(ge=1)
    stage: Stage
    kind: str
    at: str
    by: str = ""
    data: dict[str, Any] = Field(default_factory=dict)
    simulated: bool = False
    corrects: int | None = Field(default=None, ge=1)
    personal: dict[str, str] = Field(default_factory=dict)
    attachments: tuple[Attached, ...] = ()
    inputs: dict[str, Any] = Field(default_factory=dict)
    made_by: str = ""
    previous: str = ""
    digest: str = ""

    @field_validator("attachments", mode="before")
    @classmethod
    def _named(cls, given: Any) -> Any:  # noqa: ANN401 — whatever the caller gave; pydantic judges it
        return tuple({"digest": a} if isinstance(a, str) else a for a in given)


def current(entries: Iterable[Entry]) -> tuple[Entry, ...]:
    """The entries as they stand, corrections applied.

    A corrected entry keeps its place: number and time are the old one's, all else the last correction's, whose
    ``corrects`` names the old one. A correction of a correction counts for the entry that was corrected first. A
    withdrawn entry is left out, and so are notices of purges.

    Args:
        entries: of one job, ``seq`` rising.
    Returns: the entries that count now, ``seq`` rising.
    """
    standing: dict[int, Entry] = {}
    root: dict[int, int] = {}
    for entry in entries:
        if entry.corrects is None:
            root[entry.seq] = entry.seq
            standing[entry.seq] = entry
            continue
        first = root.get(entry.corrects, entry.corrects)
        root[entry.seq] = first
        at = standing[first].at if first in standing else entry.at
        standing[first] = entry.model_copy(update={"seq": first, "at": at, "corrects": first})
    return tuple(e for _, e in sorted(standing.items()) if e.kind not in {WITHDRAWN, PURGED})
