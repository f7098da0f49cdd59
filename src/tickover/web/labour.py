"""What is done to a log in a process of its own, so that a stop ends it at once and pages stay quick meanwhile.

The process is told a task, says what it is doing, and answers; ``workers`` is the other end. It ends with its parent.
"""

from __future__ import annotations

import os
import pickle
import queue
import signal
import sys
import threading
from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

from tickover.cause import Car, Causes, Evidence, diagnose
from tickover.cause.from_log import evidence_from_log, together
from tickover.drive import DriveCheck, check_drive, load_conditions
from tickover.drive.conditions import Condition
from tickover.errors import LogFileError
from tickover.idle import IdleReading
from tickover.logs import LogReport, read_log_report
from tickover.results import CannotTell
from tickover.signals import Recording
from tickover.visit.measuring import idle_of, in_own_unit

Say = Callable[[str], None]


class Measured(NamedTuple):
    """An idle out of a log, what the reader did with the log, and whether the car is invented."""

    reading: IdleReading | CannotTell
    reader: tuple[str, ...]
    simulated: bool


class Driven(NamedTuple):
    """A drive that was checked; as ``Measured``."""

    check: DriveCheck
    reader: tuple[str, ...]
    simulated: bool


class Reasoned(NamedTuple):
    """What a log told, the causes from that and all else, and whether the car is invented."""

    logged: Evidence
    causes: Causes
    simulated: bool


def recorded(path: Path, name: str, displacement: float | None = None) -> tuple[Recording, LogReport]:
    """A log that came in, read.

    Raises: LogFileError under the file's own name.
    """
    try:
        recording, report = read_log_report(path, displacement=displacement)
    except LogFileError as why:
        why.file = name
        raise
    recording, report = in_own_unit(recording, report)
    return replace(recording, source=name), report.model_copy(update={"file": name})


def measured(say: Say, path: Path, name: str, *, seed: int, diesel: bool, displacement: float | None) -> Measured:
    """The idle in a log.

    Raises: LogFileError.
    """
    recording, report = recorded(path, name, displacement)
    say(f"measuring {_extent(report)}")
    reading = idle_of(recording, np.random.default_rng(seed), file=name, diesel=diesel, displacement=displacement)
    return Measured(reading, report.sentences(), recording.simulated)


def driven(
    say: Say, path: Path, name: str, *, diesel: bool, known: Mapping[str, float], whole: bool,
    steps: tuple[Condition, ...],
) -> Driven:  # fmt: skip
    """What a drive held.

    Raises: LogFileError.
    """
    recording, report = recorded(path, name)
    say(f"checking {_extent(report)}")
    conditions = load_conditions().for_engine(diesel=diesel)
    check = check_drive(recording, conditions, known=dict(known), whole=whole, steps=steps)
    return Driven(check, report.sentences(), recording.simulated)


def reasoned(
    say: Say, path: Path, name: str, *, seed: int, before: tuple[Evidence, ...], told: Evidence, car: Car
) -> Reasoned:
    """Causes from a log over what the job knows, and what was typed over both.

    Raises: LogFileError.
    """
    recording, report = recorded(path, name)
    say(f"looking for evidence in {_extent(report)}")
    found = evidence_from_log(recording, np.random.default_rng(seed)).evidence
    say("weighing the causes")
    return Reasoned(found, diagnose(together([*before, found, told]), car), recording.simulated)


def _extent(report: LogReport) -> str:
    return f"{report.rows_out:,} rows, {report.seconds:.0f} s of log"


TASKS: dict[str, Callable[..., Any]] = {"measure": measured, "drive": driven, "cause": reasoned}


def packed(why: Exception) -> tuple[type[Exception], tuple[Any, ...], dict[str, Any]]:
    """An error as it goes through the pipe: ours do not pickle by themselves."""
    return type(why), why.args, dict(vars(why))


def unpacked(held: tuple[type[Exception], tuple[Any, ...], dict[str, Any]]) -> Exception:
    """The error again."""
    kind, args, values = held
    why = kind.__new__(kind, *args)
    why.__dict__.update(values)
    return why


def main() -> None:
    """Do what comes in on standard input until it is closed."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is for the server; this process ends with it
    answers = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)  # whatever prints must not print into the answers
    orders: queue.SimpleQueue[tuple[str, Path, str, dict[str, Any]]] = queue.SimpleQueue()
    threading.Thread(target=_listen, args=(orders,), daemon=True).start()

    def answer(kind: str, told: object) -> None:
        pickle.dump((kind, told), answers)
        answers.flush()

    answer("ready", None)
    while True:
        task, path, name, told = orders.get()
        try:
            answer("done", TASKS[task](lambda words: answer("say", words), path, name, **told))
        except Exception as why:  # whatever went wrong is told to the server, and the worker lives on
            answer("fault", packed(why))


def _listen(orders: queue.SimpleQueue[tuple[str, Path, str, dict[str, Any]]]) -> None:
    """Hand on what comes in; where nothing can come any more the server is gone, and so are we, in mid-work."""
    while True:
        try:
            orders.put(pickle.load(sys.stdin.buffer))
        except Exception:  # closed, or cut off in the middle of an order: both mean that the server is gone
            os._exit(0)


__all__ = ["TASKS", "Driven", "Measured", "Reasoned", "main", "measured", "packed", "recorded", "unpacked"]
