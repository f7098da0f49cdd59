"""Attempts within a job: the stop rule over all that the job holds, and each attempt kept with its file."""

from __future__ import annotations

import hashlib
from datetime import datetime
from pathlib import Path

from tickover.cli.job_store import kept_line, opened, record_drafts
from tickover.coaching import AttemptJudgement
from tickover.jobs import Entry
from tickover.routines import CompiledRoutine, load_library
from tickover.visit import MayTry, may_try
from tickover.visit.drafts import attempt_draft
from tickover.visit.rules import Known, known


class AttemptBook:
    """What was tried, in a job or, where none was named, in this run alone.

    Args:
        store, job, by: as the options give them.
        folder: the user's own routine files, for what prepares and what may erase.
    Raises: UnknownJobError, StoreError.
    """

    def __init__(self, store: str | None, job: int | None, by: str, folder: Path | None) -> None:
        self._store = store
        self._job = job
        self._by = by
        self._about = Known()
        self._entries: list[Entry] = []
        if job is not None:
            self._about = known(load_library(folder))
            with opened(store, create=False) as held:
                self._entries = list(held.current(job))

    @property
    def in_job(self) -> bool:
        """Whether a job was named."""
        return self._job is not None

    def may_try(self, routine: CompiledRoutine) -> MayTry:
        """Whether another attempt at this routine may be made; in a job a lit lamp with unread codes refuses too."""
        erasing = self._about.erasing | ({routine.id} if routine.may_erase and self.in_job else set())
        return may_try(self._entries, routine.id, preparing=self._about.preparing, erasing=erasing)

    def keep(self, routine: CompiledRoutine, judgement: AttemptJudgement, number: int, file: Path) -> str:
        """Keep an attempt; a file that is in the job as an attempt already is not kept again.

        Returns: what to say of it; empty where no job was named.
        """
        draft = attempt_draft(routine, judgement, number)
        if self._job is None:
            at = datetime.now().astimezone().isoformat(timespec="seconds")
            seq = len(self._entries) + 1
            self._entries.append(Entry(seq=seq, stage=draft.stage, kind=draft.kind, at=at, data=draft.data))
            return ""
        simulated = judgement.simulated or None
        with opened(self._store, create=False) as held:
            self._entries = list(held.current(self._job))
            there = self._kept_as(file)
            if there is not None:
                return self._said_already(there, routine.id)
            kept = record_drafts(held, self._job, [draft], attachments=[file], by=self._by or None, simulated=simulated)
            self._entries = list(held.current(self._job))
        return f"{kept_line(self._job, kept)} Next: tickover job next {self._job}"

    def _kept_as(self, file: Path) -> Entry | None:
        """The attempt that this file's very bytes are attached to, if one counts."""
        try:
            digest = hashlib.sha256(file.read_bytes()).hexdigest()
        except OSError:
            return None  # said when it is attached
        made = (e for e in self._entries if e.kind == "attempt")
        return next((e for e in made if any(a.digest == digest for a in e.attachments)), None)

    def _said_already(self, there: Entry, routine: str) -> str:
        said = f"This attempt is already entry {there.seq} of job {self._job}; nothing was added."
        judged = there.data.get("routine")
        if judged in (None, routine):
            return said
        return (
            f"{said} It was kept under the routine {judged}; "
            f"to keep it under this one, take that back first: tickover job correct {self._job} {there.seq} --withdraw"
        )
