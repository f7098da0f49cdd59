"""Processes that work on logs: one is kept warm, each does one thing at a time, and a stop ends it."""

from __future__ import annotations

import atexit
import contextlib
import functools
import pickle
import subprocess
import sys
import threading
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from tickover.errors import InputError
from tickover.web.labour import unpacked

KEPT = 1
"""Idle processes that are kept: about 200 MB each. Own choice."""
LIGHT = 8_000_000
"""A process that worked on a larger log is not kept: its memory would stay with it [bytes]. Own choice."""
_RUN = [sys.executable, "-c", "from tickover.web.labour import main; main()"]


class Worker:
    """One process; it loads its rooms as soon as it begins."""

    def __init__(self) -> None:
        self._process = subprocess.Popen(_RUN, stdin=subprocess.PIPE, stdout=subprocess.PIPE)
        self._busy = False

    def do(self, task: str, path: Path, name: str, told: Mapping[str, Any], say: Callable[[str], None]) -> Any:  # noqa: ANN401 — as the task answers
        """Have a task done.

        Args:
            task: a name of ``labour.TASKS``.
            path: the log.
            name: what to call it.
            told: further arguments of the task.
            say: told what is being done; may raise.
        Raises: what the task raises; EOFError where the process ended without an answer.
        """
        orders, answers = self._process.stdin, self._process.stdout
        assert orders is not None
        assert answers is not None
        self._busy = True
        try:
            pickle.dump((task, path, name, dict(told)), orders)
            orders.flush()
            while True:
                kind, answer = pickle.load(answers)
                if kind == "say":
                    say(answer)
                elif kind in {"done", "fault"}:
                    self._busy = False
                    break
        except (BrokenPipeError, pickle.UnpicklingError):
            raise EOFError from None
        if kind == "fault":
            raise unpacked(answer)
        return answer

    @property
    def free(self) -> bool:
        """Whether it can take another task."""
        return not self._busy and self._process.poll() is None

    @property
    def how_it_ended(self) -> str:
        """Why there is no answer, in words."""
        code = self._process.wait(10)
        return f"signal {-code}" if code < 0 else f"exit code {code}"

    def end(self) -> None:
        """End it, whatever it is doing."""
        self._process.kill()

    def close(self) -> None:
        """End it and let go of it."""
        self._process.kill()
        self._process.wait()
        for pipe in (self._process.stdin, self._process.stdout):
            if pipe is not None:
                with contextlib.suppress(BrokenPipeError):
                    pipe.close()


class Workers:
    """The processes of one server."""

    def __init__(self) -> None:
        self._idle: list[Worker] = []
        self._lock = threading.Lock()
        atexit.register(self.close)

    def warm(self) -> None:
        """Have one load its rooms, before somebody has chosen a file."""
        with self._lock:
            if not self._idle:
                self._idle.append(Worker())

    def do(
        self,
        task: str,
        path: Path,
        name: str,
        told: Mapping[str, Any],
        *,
        say: Callable[[str], None],
        begun: Callable[[Callable[[], None]], None],
    ) -> Any:  # noqa: ANN401 — as the task answers
        """Have a task done by a process of its own; arguments as ``Worker.do``.

        Args:
            begun: given what ends the process, before it begins; may raise.
        Raises: what the task, ``say`` or ``begun`` raise; InputError where the process ended without an answer.
        """
        with self._lock:
            worker = self._idle.pop() if self._idle else Worker()
        if not worker.free:  # something ended it while it waited
            worker.close()
            worker = Worker()
        try:
            begun(worker.end)
            return worker.do(task, path, name, told, say)
        except EOFError:
            raise InputError(
                f"the work on it ended without an answer ({worker.how_it_ended})",
                file=name,
                way_out="The machine may be short of memory. Close what else runs, or send a shorter log.",
            ) from None
        finally:
            self._back(worker, heavy=path.stat().st_size > LIGHT)

    def close(self) -> None:
        """End those that wait."""
        with self._lock:
            idle, self._idle = self._idle, []
        for worker in idle:
            worker.close()

    def _back(self, worker: Worker, *, heavy: bool) -> None:
        with self._lock:
            keep = worker.free and not heavy and len(self._idle) < KEPT
            if keep:
                self._idle.append(worker)
        if not keep:
            worker.close()


@functools.cache
def shared() -> Workers:
    """The processes of this server."""
    return Workers()
