"""The shop's record of a job, as plain data: everything that was said, measured and done, by whom and when."""

from __future__ import annotations

from typing import Any

from pydantic import Field

from tickover.handover.sheet import Sheet, Try, Verdict
from tickover.results import CannotTell, Measured, Result

RECORD_VERSION = 1


class Said(Result):
    """Something that stands in the record under its stage.

    Attributes:
        seq: number of its entry.
        stage, kind: of the entry.
        at, by: when and by whom.
        text: in a sentence.
        lines: what else it says.
    """

    seq: int
    stage: str
    kind: str
    at: str
    by: str = ""
    text: str = ""
    lines: tuple[str, ...] = ()


class Stated(Result):
    """One load state of a reading.

    Attributes:
        name: which load.
        seconds: time that counts [s].
        speed: engine speed [r/min]; trim: short and long together [%]; other quantities by name.
        spread: standard deviation over time [r/min].
        coolant: lowest and highest [°C].
    """

    name: str
    seconds: float = 0.0
    speed: Measured
    spread: float | None = None
    trim: Measured | None = None
    coolant: tuple[float, float] | None = None
    others: dict[str, Measured] = Field(default_factory=dict)


class Reading(Result):
    """An idle as it was measured, or why it could not be.

    Attributes:
        seq, stage, at, by: of the entry.
        source: file or device.
        states: by load.
        swing: how far the speed swings [r/min].
        hunting: whether it swings regularly, in words.
        refusals: what cannot be told.
        rests_on: what it rests on.
    """

    seq: int
    stage: str
    at: str
    by: str = ""
    source: str = ""
    states: tuple[Stated, ...] = ()
    swing: Measured | None = None
    hunting: str = ""
    refusals: tuple[CannotTell, ...] = ()
    rests_on: tuple[str, ...] = ()


class Need(Result):
    """One need of the set-up: what was found, and whether it was met.

    Attributes:
        need: in words.
        value: what was found; empty where nothing was.
        met: None where nobody said, nobody looked, or it cannot be told.
        standing: as the set-up found it: met, not met, by hand, cannot tell; empty where the entry does not say.
    """

    need: str
    value: str = ""
    met: bool | None = None
    standing: str = ""


class SetUpFound(Result):
    """The set-up of a routine."""

    seq: int
    at: str
    by: str = ""
    routine: str = ""
    needs: tuple[Need, ...]


class Attempted(Result):
    """One attempt with its judgement.

    Attributes:
        seq, at, by: of the entry.
        routine, routine_hash: id, and the digest over all that is judged.
        may_erase: whether the routine may erase codes or readiness.
        basis: what the routine rests on.
        attempt: the acts with their windows.
        advice: what to change.
        changed: what is known of the car's memory afterwards.
    """

    seq: int
    at: str
    by: str = ""
    routine: str = ""
    routine_hash: str = ""
    may_erase: bool
    basis: str = ""
    attempt: Try
    advice: str = ""
    changed: str = ""


class Compared(Result):
    """One idle against another, as it was judged."""

    seq: int
    at: str
    by: str = ""
    verdict: Verdict
    sentence: str = ""
    state: str = ""
    before: Measured | None = None
    after: Measured | None = None
    difference: Measured | None = None
    normal: tuple[float, float] | None = None
    rests_on: tuple[str, ...] = ()


class Correction(Result):
    """A correction, shown as one.

    Attributes:
        seq: number of the correcting entry; ``corrects``: of the corrected one, which stays in the record.
        at, by: when and by whom it was corrected.
        withdrawn: true where the old entry was taken back and nothing put in its place.
        changes: field by field, old against new.
    """

    seq: int
    corrects: int
    at: str
    by: str = ""
    stage: str
    kind: str
    withdrawn: bool = False
    changes: tuple[str, ...] = ()


class Listed(Result):
    """One entry as the store holds it.

    Attributes:
        corrects, corrected_by: numbers of other entries; ``purged`` and ``withdrawn`` are kinds of their own.
        digest: SHA-256 over the entry; empty where no store held it.
        made_by: program and version.
        attachments: name and digest of what it brought along.
        personal: names of the values that are kept outside the chain.
    """

    seq: int
    stage: str
    kind: str
    at: str
    by: str = ""
    made_by: str = ""
    simulated: bool = False
    corrects: int | None = None
    corrected_by: int | None = None
    digest: str = ""
    previous: str = ""
    attachments: tuple[str, ...] = ()
    personal: tuple[str, ...] = ()


class Record(Result):
    """The shop's record.

    Attributes:
        v: version of this shape.
        sheet: the customer's sheet that goes with it.
        people: who wrote entries.
        opened, closed: time of the first and of the last entry.
        told: what was told at Arrive: question to answer.
        said: stories, ladders, notes, causes, repairs, plans, readiness, skips; in their order.
        readings, set_ups, attempts, comparisons: what was measured and done, corrections applied.
        corrections: which entries were corrected, by whom, and what was changed.
        erasing: what is known of erasing, in a sentence; empty where no routine was done.
        sources: what routines and readings rest on.
        versions: programs that wrote entries, and digests of routines.
        entries: all of them, as written, corrected ones too.
        raw: the data of every entry by its number, as it stands, for those who read this as JSON.
    """

    v: int = RECORD_VERSION
    sheet: Sheet
    people: tuple[str, ...] = ()
    opened: str = ""
    closed: str = ""
    told: dict[str, str] = Field(default_factory=dict)
    said: tuple[Said, ...] = ()
    readings: tuple[Reading, ...] = ()
    set_ups: tuple[SetUpFound, ...] = ()
    attempts: tuple[Attempted, ...] = ()
    comparisons: tuple[Compared, ...] = ()
    corrections: tuple[Correction, ...] = ()
    erasing: str = ""
    sources: tuple[str, ...] = ()
    versions: tuple[str, ...] = ()
    entries: tuple[Listed, ...] = ()
    raw: dict[int, dict[str, Any]] = Field(default_factory=dict)
