"""Attempts within a job: the stop rule over all that the job holds, and each attempt kept with its file."""

from __future__ import annotations

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
        """Keep an attempt.

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
            kept = record_drafts(held, self._job, [draft], attachments=[file], by=self._by or None, simulated=simulated)
            self._entries = list(held.current(self._job))
        return f"{kept_line(self._job, kept)} Next: tickover job next {self._job}"
