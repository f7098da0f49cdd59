"""Corrections: an entry is never changed; a new one stands in its place."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from tickover.errors import UnknownEntryError
from tickover.jobs import WITHDRAWN, Attached, Entry, Stage, current


@dataclass(frozen=True)
class Correction:
    """The entry that is to stand in the place of another; the store gives it number and digest.

    Attributes:
        stage, kind, data, attachments, inputs, simulated: as of any entry.
        corrects: the entry that it takes the place of.
    """

    stage: Stage
    kind: str
    data: dict[str, Any]
    corrects: int
    attachments: tuple[Attached, ...]
    inputs: dict[str, Any]
    simulated: bool


def correction(
    job: int,
    entries: tuple[Entry, ...],
    entry: int,
    data: Mapping[str, Any],
    *,
    anew: bool = False,
    withdraw: bool = False,
) -> Correction:
    """What corrects an entry.

    Args:
        job: its number, for messages.
        entries: all of it, as written.
        entry: number of the entry to be corrected.
        data: the values that are right; others stay as they were.
        anew: keep none of the old values.
        withdraw: take it back; nothing stands in its place but ``data``, which may say why.
    Raises: UnknownEntryError.
    """
    if not 1 <= entry <= len(entries):
        raise UnknownEntryError(job, entry, len(entries))
    old = standing_entry(entries, entry)
    return Correction(
        stage=old.stage,
        kind=WITHDRAWN if withdraw else old.kind,
        data=dict(data) if anew or withdraw else {**old.data, **data},
        corrects=entry,
        attachments=() if withdraw else old.attachments,
        inputs={} if withdraw else old.inputs,
        simulated=old.simulated,
    )


def standing_entry(entries: tuple[Entry, ...], entry: int) -> Entry:
    """The entry as it stands: with the corrections made to it so far."""
    root = entries[entry - 1].corrects or entry
    return next((e for e in current(entries) if e.seq == root), entries[entry - 1])
