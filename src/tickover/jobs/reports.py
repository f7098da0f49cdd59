"""What a store answers besides entries."""

from __future__ import annotations

from typing import Any

from tickover.results import Result


class JobSummary(Result):
    """One job in a list.

    Attributes:
        job: its number in this store.
        uid: its mark, the same in every store it was brought to.
        at, by: when and by whom it was begun.
        car: the car as it stands, corrections applied.
        entries: how many.
        last_at, last_stage, last_kind: of the newest entry.
        simulated: whether the car was invented.
        head: digest of the newest entry.
    """

    job: int
    uid: str
    at: str
    by: str
    car: dict[str, Any]
    entries: int
    last_at: str
    last_stage: str
    last_kind: str
    simulated: bool
    head: str


class Finding(Result):
    """One thing that does not hold.

    Attributes:
        what: one sentence.
        entry: the entry it was found at, where it is one.
    """

    what: str
    entry: int | None = None


class Verification(Result):
    """Whether a job is as it was written.

    Attributes:
        job: its number.
        entries: how many entries were looked at.
        head: digest of the last of them; write it down elsewhere, and a later check can hold the record against it.
        findings: what does not hold; empty where all does.
        purged: personal fields whose values were erased on request, as ``entry.field``.
        withheld: personal fields whose values were left out when the job was brought here.
        rests_on: what the answer rests on.
        cannot_show: what no check inside the record can show, and what can.
    """

    job: int
    entries: int
    head: str
    findings: tuple[Finding, ...] = ()
    purged: tuple[str, ...] = ()
    withheld: tuple[str, ...] = ()
    rests_on: tuple[str, ...] = ()
    cannot_show: str = ""

    @property
    def ok(self) -> bool:
        """Whether everything holds."""
        return not self.findings


class StoreVerification(Result):
    """All jobs of a store, and what belongs to none of them.

    Attributes:
        jobs: one verification a job.
        findings: what does not hold outside the jobs: a job that is missing, an attachment nobody can read.
    """

    jobs: tuple[Verification, ...]
    findings: tuple[Finding, ...] = ()

    @property
    def ok(self) -> bool:
        """Whether everything holds."""
        return not self.findings and all(job.ok for job in self.jobs)


class Imported(Result):
    """What an import did.

    Attributes:
        job: the job's number here.
        added: how many entries were new.
        was_here: whether the job was here before, wholly or in part.
    """

    job: int
    added: int
    was_here: bool


class Exported(Result):
    """What an export wrote.

    Attributes:
        job: the job's number.
        path: the file.
        files: the names inside it.
        head: digest of the last entry inside it.
        sha256: of the file itself.
    """

    job: int
    path: str
    files: tuple[str, ...]
    head: str
    sha256: str


class BackedUp(Result):
    """What a back-up or a restore copied.

    Attributes:
        path: the file, or the store restored to.
        jobs, entries, attachments: how many.
        findings: what did not hold in the copy; it was copied as it was.
    """

    path: str
    jobs: int
    entries: int
    attachments: int
    findings: tuple[Finding, ...] = ()
