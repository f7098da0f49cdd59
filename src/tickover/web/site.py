"""What every page needs: the store, the library, the clock. One value, passed in; nothing here is global."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any

from tickover.jobs import Attached, Entry, Store, open_store
from tickover.routines import Routine, load_library
from tickover.visit.drafts import Draft
from tickover.web.places import beside
from tickover.web.work_marks import Marks
from tickover.web.works import Works


def wall_clock() -> datetime:
    """Now, with this place's offset."""
    return datetime.now().astimezone()


@dataclass(frozen=True)
class Site:
    """One served record.

    Attributes:
        store: where the job record is, as ``open_store`` takes it.
        folder: the user's own routine files; None for the library alone.
        clock: the time of entries.
        by: who writes them, where a page does not say.
        seed: fixes the bootstrap, so that the same log always gives the same figures.
        works: long work that is under way.
        memo: what Arrive has worked out of answers and routines.
        seconds: the clock of attempts, which nobody sets back [s].
    """

    store: str | Path
    folder: Path | None = None
    clock: Callable[[], datetime] = field(default=wall_clock)
    by: str = ""
    seed: int = 20
    works: Works = field(default_factory=lambda: Works(time.monotonic), compare=False)
    memo: dict[tuple[str, str], dict[str, str]] = field(default_factory=dict, compare=False)
    seconds: Callable[[], float] = time.monotonic

    def __post_init__(self) -> None:
        if self.works.marks is None:
            self.works.marks = Marks(self.beside("works"))

    def beside(self, name: str) -> Path:
        """Where the record keeps what stands beside it."""
        return beside(self.store, name)

    @contextmanager
    def opened(self) -> Iterator[Store]:
        """The record, for one request."""
        with open_store(self.store) as store:
            yield store

    def library(self) -> Mapping[str, Routine]:
        """The routines, read anew: a file that was just written is offered at once."""
        return load_library(self.folder)

    def now(self) -> str:
        """The time of an entry."""
        return self.clock().isoformat(timespec="seconds")

    def keep(
        self,
        store: Store,
        job: int,
        drafts: Iterable[Draft],
        *,
        attachments: Iterable[Attached] = (),
        by: str = "",
        inputs: Mapping[str, Any] | None = None,
        simulated: bool | None = None,
    ) -> tuple[Entry, ...]:
        """Keep what a stage found; attachments go with the first entry."""
        kept: list[Entry] = []
        for draft in drafts:
            kept.append(
                store.add(
                    job,
                    stage=draft.stage,
                    kind=draft.kind,
                    data=draft.data,
                    at=self.now(),
                    by=by or self.by,
                    attachments=() if kept else tuple(attachments),
                    inputs=inputs,
                    simulated=simulated,
                )
            )
        return tuple(kept)
