"""An idle within a job: from a recording to a reading, and readings back out of the record."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from numpy.random import Generator

from tickover.errors import LogFileError
from tickover.idle import thousands
from tickover.idle.reading import read_idle
from tickover.idle.results import Comparison, IdleReading
from tickover.jobs import Entry
from tickover.logs.report import LogReport
from tickover.results import CannotTell
from tickover.signals import Recording

SEED = 20
"""Of the bootstrap: the same log always gives the same figures."""


def idle_of(
    recording: Recording, rng: Generator, *, file: str, diesel: bool = False, displacement: float | None = None
) -> IdleReading | CannotTell:
    """The idle in a recording.

    Args:
        recording: what was recorded.
        rng: seeded generator.
        file: what to call it in messages.
        diesel: whether the engine is a diesel.
        displacement: of the engine [l].
    Raises: LogFileError where the engine speed was not recorded.
    """
    if "engine_speed" not in recording:
        raise LogFileError("holds no engine speed, so it has no idle", file=file, way_out="Log the engine speed.")
    return read_idle(recording, rng, diesel=diesel, displacement=displacement)


def in_own_unit(recording: Recording, report: LogReport) -> tuple[Recording, LogReport]:
    """Engine speed that was certainly written in thousands, back in r/min; the report says so."""
    used = next((c for c in report.used if c.name == "engine_speed"), None)
    right = thousands.in_own_unit(recording, used.header) if used is not None else None
    if used is None or right is None:
        return recording, report
    given = {"unit": thousands.UNIT, "unit_given": True}
    columns = tuple(c.model_copy(update=given) if c is used else c for c in report.used)
    doubts = tuple(s for s in report.suspicions if s.name != "engine_speed")
    said = f"“{used.header}” was read as thousands of r/min, by its name and its range."
    remarks = (*report.remarks, said)
    return right, report.model_copy(update={"used": columns, "suspicions": doubts, "remarks": remarks})


def car_of(entries: Sequence[Entry]) -> dict[str, Any]:
    """What was told of the car, corrections applied; empty where nothing was."""
    return dict(next((e.data for e in reversed(entries) if e.stage == "arrive" and e.kind == "car"), {}))


def displacement_of(entries: Sequence[Entry]) -> float | None:
    """Of the engine, as the job has it [l]; None where nobody said, or said what cannot be."""
    told = car_of(entries).get("displacement_l")
    return float(told) if isinstance(told, int | float) and 0.05 <= told <= 20 else None


def stored_reading(data: Mapping[str, Any]) -> IdleReading | CannotTell:
    """A reading, or the reason why there is none, out of the data of its entry."""
    plain = {k: v for k, v in data.items() if k not in {"sentence", "normal"}}
    return (IdleReading if plain.get("kind") == "idle" else CannotTell).model_validate(plain)


def stored_comparison(data: Mapping[str, Any]) -> Comparison:
    """A comparison out of the data of its entry."""
    return Comparison.model_validate(dict(data))
