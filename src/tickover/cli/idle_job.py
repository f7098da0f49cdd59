"""An idle within a job: what the job knows of the car, the reading before, and where the new one belongs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from tickover.cli.job_store import opened, record_drafts
from tickover.idle.results import Comparison, IdleReading
from tickover.jobs import Entry
from tickover.results import CannotTell
from tickover.visit.drafts import comparison_draft, idle_drafts, normal_of, reading_before, reading_draft, reading_stage
from tickover.visit.measuring import displacement_of


class InJob:
    """The job that an idle is kept in; all of it does nothing where no job was named.

    Args:
        store, job, by: as the options give them.
    Raises: UnknownJobError, StoreError.
    """

    def __init__(self, store: str | None, job: int | None, by: str) -> None:
        self._store = store
        self._job = job
        self._by = by
        self._entries: tuple[Entry, ...] = ()
        if job is not None:
            with opened(store, create=False, read_only=True) as held:
                self._entries = held.current(job)

    @property
    def normal(self) -> tuple[float, float] | None:
        """The car's normal idle as the job has it [r/min]."""
        return normal_of(self._entries)

    @property
    def displacement(self) -> float | None:
        """Of the engine, as the job has it [l]."""
        return displacement_of(self._entries)

    @property
    def before(self) -> IdleReading | None:
        """The reading from before the relearn; None where the new one is itself from before."""
        return reading_before(self._entries) if reading_stage(self._entries) == "after" else None

    def compared(self, reading: IdleReading | CannotTell, normal: tuple[float, float] | None) -> Comparison | None:
        """The new reading against the one before; None where there is nothing to compare with."""
        return idle_drafts(self._entries, reading, normal)[0]

    def keep(
        self,
        reading: IdleReading | CannotTell,
        found: Comparison | None,
        normal: tuple[float, float] | None,
        *,
        files: Sequence[Path],
        inputs: Mapping[str, Any],
        simulated: bool,
    ) -> tuple[Entry, ...]:
        """Keep the reading, and the comparison where there is one."""
        if self._job is None:
            return ()
        stage = "after" if found is not None else reading_stage(self._entries)
        drafts = [reading_draft(reading, stage)]
        if normal is not None:
            drafts[0].data["normal"] = list(normal)
        if found is not None:
            drafts.append(comparison_draft(found))
        return record_drafts(
            self._store,
            self._job,
            drafts,
            attachments=files,
            by=self._by or None,
            inputs=inputs,
            simulated=simulated or None,
        )
