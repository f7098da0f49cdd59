"""Long work: one piece for a job at a time, in a thread of its own; it says what it is doing, and can be stopped.

A page may be left and opened again meanwhile: the work goes on, and the page says so.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Literal

from tickover.errors import InputError, TickoverError
from tickover.results import Result

MOST_AT_ONCE = 3
"""Pieces of work at once over all jobs: each may hold a whole log in memory. Own choice."""

State = Literal["none", "under way", "done", "stopped", "failed"]


class WorkView(Result):
    """A piece of work as it stands.

    Attributes:
        state: none, under way, done, stopped or failed.
        doing: what is being done, in words.
        seconds: for how long it has been, or was, under way [s].
        what, way_out: why it failed.
    """

    state: State
    doing: str = ""
    seconds: float = 0.0
    what: str = ""
    way_out: str = ""


class Stopped(Exception):  # noqa: N818 — it never leaves this file and the task inside it
    """The work was stopped; nothing of it is kept."""


@dataclass
class Work:
    """One piece of work.

    Attributes:
        began: on the clock of its registry [s].
    """

    began: float
    clock: Callable[[], float]
    doing: str = "waiting"
    state: State = "under way"
    fault: Exception | None = None
    ended: float = 0.0
    finished: threading.Event = field(default_factory=threading.Event)
    _lock: threading.Lock = field(default_factory=threading.Lock)
    _keeping: bool = False

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

    def stop(self) -> bool:
        """Stop it; False where it is too late."""
        with self._lock:
            if self.state != "under way" or self._keeping:
                return False
            self.state = "stopped"
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
            state=self.state, doing=self.doing, seconds=round(until - self.began, 2), what=told[0], way_out=told[1]
        )

    def run(self, task: Callable[[Work], None]) -> None:
        """Do it, whatever comes of it."""
        try:
            self.going()
            task(self)
            end: State = "done"
        except Stopped:
            end = "stopped"
        except Exception as why:
            self.fault, end = why, "failed"
        with self._lock:
            self.state = "stopped" if self.state == "stopped" else end
            self.ended = self.clock()
        self.finished.set()

    def _go_on(self) -> None:
        if self.state == "stopped":
            raise Stopped


class Works:
    """The work of all jobs; the last piece of each is remembered until the next.

    Args:
        clock: seconds that only rise.
    """

    def __init__(self, clock: Callable[[], float]) -> None:
        self._clock = clock
        self._lock = threading.Lock()
        self._by_job: dict[int, Work] = {}

    def start(self, job: int, task: Callable[[Work], None]) -> Work:
        """Begin a piece of work.

        Raises: InputError where this job has one under way, or all jobs together too many.
        """
        with self._lock:
            running = [j for j, w in self._by_job.items() if not w.finished.is_set()]
            if job in running:
                raise InputError("a log of this job is being read", way_out="Wait for it, or stop it.")
            if len(running) >= MOST_AT_ONCE:
                raise InputError(f"{len(running)} logs are being read", way_out="Try again in a few seconds.")
            work = Work(self._clock(), self._clock)
            self._by_job[job] = work
        threading.Thread(target=work.run, args=(task,), daemon=True, name=f"work-{job}").start()
        return work

    def of(self, job: int) -> Work | None:
        """The work of a job: under way, or the last there was."""
        return self._by_job.get(job)

    def view(self, job: int) -> WorkView:
        """The same as plain values."""
        work = self.of(job)
        return WorkView(state="none") if work is None else work.view()
