"""What every command needs that keeps its result in a job: the two options, the store, and ``record``.

::

    @store_option
    @job_option
    def command(..., store: str | None, job: int | None) -> None:
        ...
        record(store, job, "before", "reading", reading, attachments=(log,))
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import AbstractContextManager, contextmanager, nullcontext
from datetime import datetime
from pathlib import Path
from typing import Any, Protocol, TypeVar

import click
from pydantic import BaseModel

from tickover.jobs import Entry, Stage, Store, default_store, open_store
from tickover.results import Envelope

_F = TypeVar("_F", bound=Callable[..., Any])


class Drafted(Protocol):
    """An entry to be: where it belongs, what it is, its data."""

    @property
    def stage(self) -> Stage: ...  # noqa: D102 — as of an entry
    @property
    def kind(self) -> str: ...  # noqa: D102 — as of an entry
    @property
    def data(self) -> dict[str, Any]: ...  # noqa: D102 — as of an entry


def store_option(command: _F) -> _F:
    """The job record: an option, or in the environment, or the user's own data folder."""
    return click.option(
        "--store",
        metavar="FILE",
        envvar="TICKOVER_STORE",
        show_envvar=True,
        help="The job record: a file, or postgresql+psycopg://…; in your own data folder where not given.",
    )(command)


class JobNumber(click.IntRange):
    """The number of a job."""

    name = "job"

    def __init__(self) -> None:
        super().__init__(min=1)

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:  # noqa: ANN401 — as click has it
        """A whole number from 1; where the jobs are listed is said for anything else."""
        try:
            return super().convert(value, param, ctx)
        except click.BadParameter:
            self.fail(f"“{value}” is no number of a job; `tickover job list` lists them", param, ctx)


JOB = JobNumber()


def job_option(command: _F) -> _F:
    """The job that a result is kept in; none where not given."""
    return click.option("--job", type=JOB, metavar="N", help="Keep the result in this job, with what it came from.")(
        command
    )


def by_option(command: _F) -> _F:
    """Who writes the entry."""
    return click.option(
        "--by", envvar="TICKOVER_BY", show_envvar=True, default="", metavar="WHO", help="Who writes it, as initials."
    )(command)


def at_option(command: _F) -> _F:
    """When it was, for what is written down later."""
    return click.option("--at", metavar="TIME", help="When it was, like 2026-11-25T10:00:00+00:00; now if not given.")(
        command
    )


def now() -> str:
    """The time of an entry: now, with this place's offset."""
    return datetime.now().astimezone().isoformat(timespec="seconds")


def opened(store: str | None, *, create: bool = True, read_only: bool = False) -> Store:
    """The job record that the options name; use it in a ``with``."""
    return open_store(store or default_store(), create=create, read_only=read_only)


@contextmanager
def unmade_on_failure(store: str | None) -> Iterator[None]:
    """A record file that was not there before, and that nothing was put into, goes again where the work fails."""
    where = str(store or default_store())
    path = None if "://" in where else Path(where).expanduser().absolute()
    was_there = path is None or path.exists()
    try:
        yield
    except BaseException:
        if path is not None and not was_there and path.exists() and not _jobs_in(path):
            for part in ("", "-wal", "-shm"):
                path.with_name(path.name + part).unlink(missing_ok=True)
        raise


def _jobs_in(path: Path) -> bool:
    with opened(str(path), create=False) as held:
        return bool(held.jobs())


def holding(store: Store | str | None) -> AbstractContextManager[Store]:
    """A store that is open already, or the one that the options name. It is not made for a job that cannot be in it."""
    return nullcontext(store) if isinstance(store, Store) else opened(store, create=False)


def car_of(store: str | None, job: int | None) -> dict[str, Any]:
    """What the job says of the car; nothing where no job was named."""
    if job is None:
        return {}
    with opened(store, create=False, read_only=True) as held:
        return next((e.data for e in reversed(held.current(job)) if e.stage == "arrive" and e.kind == "car"), {})


def record(
    store: Store | str | None,
    job: int | None,
    stage: Stage,
    kind: str,
    result: BaseModel | Mapping[str, Any],
    *,
    attachments: Sequence[str | Path] = (),
    by: str | None = None,
    at: str | None = None,
    inputs: Mapping[str, Any] | None = None,
    simulated: bool | None = None,
    sentence: str = "",
) -> Entry | None:
    """Keep a result in a job; nothing where no job was named.

    Args:
        store: as the option gives it, or a store that is open.
        job: as the option gives it.
        stage, kind: where it belongs, and what it is.
        result: a result model, an envelope (its inputs and ``simulated`` go along), or plain JSON values.
        attachments: the files it came from.
        by: who; from the environment where None.
        at: when; now where None.
        inputs: names and settings it was computed from.
        simulated: whether data or car were invented; as the job's first entry where not known.
        sentence: one line for lists, where the result has none of its own.
    Returns: the entry, or None.
    Raises: as ``Store.add`` and ``Store.attach``.
    """
    if job is None:
        return None
    if isinstance(result, Envelope):
        inputs = {**result.inputs, **(inputs or {})}
        simulated = result.simulated if simulated is None else simulated
        result = result.result
    data = result.model_dump(mode="json") if isinstance(result, BaseModel) else dict(result)
    if sentence:
        data.setdefault("sentence", sentence)
    with holding(store) as held:
        return held.add(
            job,
            stage=stage,
            kind=kind,
            data=data,
            at=at or now(),
            by=os.environ.get("TICKOVER_BY", "") if by is None else by,
            attachments=[held.attach(Path(file)) for file in attachments],
            inputs=inputs,
            simulated=simulated,
        )


def record_drafts(
    store: Store | str | None,
    job: int | None,
    drafts: Iterable[Drafted],
    *,
    attachments: Sequence[str | Path] = (),
    by: str | None = None,
    at: str | None = None,
    inputs: Mapping[str, Any] | None = None,
    simulated: bool | None = None,
) -> tuple[Entry, ...]:
    """Keep several entries of one command; the files go with the first."""
    if job is None:
        return ()
    kept: list[Entry] = []
    with holding(store) as held:
        for draft in drafts:
            files = () if kept else attachments
            entry = record(
                held,
                job,
                draft.stage,
                draft.kind,
                draft.data,
                attachments=files,
                by=by,
                at=at,
                inputs=inputs,
                simulated=simulated,
            )
            kept += [entry] if entry is not None else []
    return tuple(kept)


def kept_line(job: int | None, kept: Entry | Sequence[Entry] | None) -> str:
    """What to say when a result was kept; empty where it was not."""
    entries = [kept] if isinstance(kept, Entry) else list(kept or ())
    if job is None or not entries:
        return ""
    numbers = ", ".join(str(e.seq) for e in entries)
    return f"Kept in job {job}, {'entry' if len(entries) == 1 else 'entries'} {numbers}."
