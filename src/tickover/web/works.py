"""Long work: one piece for a job at a time, in a thread of its own; it says what it is doing, and can be stopped.

A page may be left and opened again meanwhile: the work goes on, and the page says so.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any, Literal

from tickover.errors import InputError, TickoverError
from tickover.jobs import Stage
from tickover.results import Result
from tickover.web.uploads import Upload, ending_of
from tickover.web.work_marks import Held, Mark, Marks
from tickover.web.workers import shared

MOST_AT_ONCE = 3
"""Pieces of work at once over all jobs: each may hold a whole log in memory. Own choice."""

State = Literal["none", "under way", "done", "stopped", "failed", "interrupted"]


class WorkView(Result):
    """A piece of work as it stands.

    Attributes:
        state: none, under way, done, stopped, failed; or interrupted, where the server ended in the middle of it.
        stage: of the job that it is for; None where there is no work.
        log: what the file is called.
        doing: what is being done, in words.
        seconds: for how long it has been, or was, under way [s].
        what, way_out: why it failed.
        stoppable: whether it can still be stopped; not while it is being kept.
        too_late: that it was too late to stop it, and where it is kept; empty where nobody tried.
        refused: whether the file itself was refused, so that sending it again as it is does not help.
    """

    state: State
    stage: Stage | None = None
    log: str = ""
    doing: str = ""
    seconds: float = 0.0
    what: str = ""
    way_out: str = ""
    stoppable: bool = False
    too_late: str = ""
    refused: bool = False


class Stopped(Exception):  # noqa: N818 — it never leaves this file and the task inside it
    """The work was stopped; nothing of it is kept."""


@dataclass
class Work:
    """One piece of work.

    Attributes:
        began: on the clock of its registry [s].
        stage: of the job that it is for.
        log: what the file is called.
        held: the log on the disk; None for work on no log.
        entry: number of the entry in which it is kept; None before.
    """

    began: float
    clock: Callable[[], float]
    stage: Stage = "before"
    log: str = ""
    doing: str = "waiting"
    state: State = "under way"
    fault: Exception | None = None
    ended: float = 0.0
    finished: threading.Event = field(default_factory=threading.Event)
    held: Held | None = None
    entry: int | None = None
    _late: bool = False
    _lock: threading.Lock = field(default_factory=threading.Lock)
    _keeping: bool = False
    _end: Callable[[], None] = lambda: None

    def say(self, doing: str) -> None:
        """Say what comes now.

        Raises: Stopped.
        """
        with self._lock:
            self._go_on()
            self.doing = doing

    def going(self) -> None:
        """Raises: Stopped."""
        with self._lock:
            self._go_on()

    def keep(self) -> None:
        """From here on it is being kept, and cannot be stopped any more.

        Raises: Stopped.
        """
        with self._lock:
            self._go_on()
            self._keeping = True
            self.doing = "keeping it in the job"
            if self.held is not None:
                self.held.keeping()

    def done(self, task: str, **told: Any) -> Any:  # noqa: ANN401 — as the task answers
        """Have its log worked on in a process of its own, which ends at once where the work is stopped.

        Args:
            task: a name of ``labour.TASKS``.
            told: further arguments of the task.
        Raises: Stopped; what the task raises.
        """
        assert self.held is not None, "a task is for work on a log"
        return shared().do(task, self.held.path, self.log, told, say=self.say, begun=self._ended_by)

    def _ended_by(self, end: Callable[[], None]) -> None:
        with self._lock:
            self._go_on()
            self._end = end

    def stop(self, *, asked: bool = True) -> bool:
        """Stop it, with the process that works for it; False where it is too late.

        Args:
            asked: whether somebody asked for it, who is told then that it was too late.
        """
        with self._lock:
            if self.state != "under way" or self._keeping:
                self._late |= asked and self._keeping
                return False
            self.state = "stopped"
            self._end()
            return True

    def view(self) -> WorkView:
        """As it stands."""
        until = self.ended if self.finished.is_set() else self.clock()
        fault = self.fault
        told = (fault.what, fault.way_out) if isinstance(fault, TickoverError) else ("", "")
        if fault is not None and not told[0]:
            told = (f"something went wrong: {type(fault).__name__}", "Try again; if it stays so, report it.")
        if isinstance(fault, InputError) and fault.file:
            told = (f"{fault.file}: {told[0]}", told[1])
        return WorkView(
            state=self.state, stage=self.stage, log=self.log, doing=self.doing, seconds=round(until - self.began, 2),
            what=told[0], way_out=told[1], stoppable=self.state == "under way" and not self._keeping,
            too_late=self.too_late(), refused=isinstance(fault, InputError) and bool(fault.file),
        )  # fmt: skip

    def too_late(self) -> str:
        """That it was too late to stop it, and where it is kept; empty where nobody tried, or it is not kept yet."""
        if not self._late or self.state != "done" or self.entry is None:
            return ""
        return f"It was too late to stop: it is kept as entry {self.entry}; take it back under Record."

    def seen(self) -> None:
        """Somebody has read that it was too late."""
        self._late = False

    def run(self, task: Callable[[Work], None]) -> None:
        """Do it, whatever comes of it."""
        fault: Exception | None = None
        end: State = "done"
        try:
            self.going()
            task(self)
        except Stopped:
            end = "stopped"
        except Exception as why:
            fault, end = why, "failed"
        with self._lock:
            if self.state != "stopped":  # of what was stopped nobody asks what went wrong
                self.state, self.fault = end, fault
            self.ended = self.clock()
        self.finished.set()

    def _go_on(self) -> None:
        if self.state == "stopped":
            raise Stopped


class Works:
    """The work of all jobs; the last piece of each is remembered until the next.

    Args:
        clock: seconds that only rise.
        marks: what a server that was killed leaves behind; None where nothing is marked.
    """

    def __init__(self, clock: Callable[[], float], marks: Marks | None = None) -> None:
        self.marks = marks
        self._clock = clock
        self._lock = threading.Lock()
        self._by_job: dict[int, Work] = {}

    def start(
        self, job: int, task: Callable[[Work], None], *, stage: Stage = "before", log: Upload | None = None
    ) -> Work:
        """Begin a piece of work.

        Args:
            job: its job.
            task: what is done.
            stage: of the job that it is for.
            log: what is worked on; it is put on the disk under a mark until the work is over.
        Raises: InputError where this job has one under way, or all jobs together too many.
        """
        with self._lock:
            running = [j for j, w in self._by_job.items() if not w.finished.is_set()]
            if job in running:
                raise InputError("a log of this job is being read", way_out="Wait for it, or stop it.")
            if len(running) >= MOST_AT_ONCE:
                raise InputError(f"{len(running)} logs are being read", way_out="Try again in a few seconds.")
            work = Work(self._clock(), self._clock, stage, log.name if log is not None else "")
            self._by_job[job] = work

        def marked(work: Work) -> None:
            if log is None or self.marks is None:
                task(work)
                return
            work.say(f"reading {log.size}")
            with self.marks.held(Mark(job=job, stage=stage, name=log.name), log.data, ending_of(log)) as held:
                work.held = held
                task(work)

        threading.Thread(target=work.run, args=(marked,), daemon=True, name=f"work-{job}").start()
        return work

    def of(self, job: int) -> Work | None:
        """The work of a job: under way, or the last there was."""
        return self._by_job.get(job)

    def view(self, job: int) -> WorkView:
        """The same as plain values; what another server began and did not end was interrupted."""
        work = self.of(job)
        if work is not None:
            return work.view()
        left = self.marks.left(job) if self.marks is not None else None
        if left is None:
            return WorkView(state="none")
        return WorkView(
            state="interrupted", stage=left.stage, log=left.name,
            what=f"The work on {left.name} was interrupted: the server ended in the middle of it",
            way_out="It was just being kept: look whether its result stands here, else send the file again."
            if left.keeping else "Nothing of it was kept. Send the file again.",
        )  # fmt: skip

    def forget(self, job: int) -> bool:
        """Put away the word of work that failed, was interrupted or stopped too late; False where there is none."""
        with self._lock:
            work = self.of(job)
            if work is not None and work.too_late():
                work.seen()
                return True
            if self.view(job).state not in {"failed", "interrupted", "stopped"}:
                return False
            self._by_job.pop(job, None)
            if self.marks is not None:
                self.marks.clear(job)
            return True
