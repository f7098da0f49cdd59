"""Evidence from a job: what was told at Arrive, the latest reading, the comparison, and attempts without effect."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, get_args

from tickover.cause.evidence import Car, Complaint, Evidence, History
from tickover.cause.from_log import reading_evidence
from tickover.idle import IdleReading
from tickover.jobs import Entry

_BORE = {"clean": "clean", "dirty": "dirty"}


def evidence_from_job(entries: Sequence[Entry], attempts: int) -> Evidence:
    """What a job knows of the car's state now.

    Args:
        entries: of the job, corrections applied.
        attempts: correct attempts since the last repair that changed nothing.
    Returns: evidence, each number with ``how`` "job"; empty where the job holds nothing that helps
    """
    told = _last(entries, "arrive", "answers") or {}
    given: dict[str, Any] = {}
    reading = _last(entries, "after", "reading") or _last(entries, "before", "reading")
    if reading is not None:
        plain = {k: v for k, v in reading.items() if k not in {"sentence", "normal"}}
        given.update(reading_evidence(IdleReading.model_validate(plain), "job"))
    if told.get("codes") is not None:
        given["codes"] = tuple(told["codes"])
    before = tuple(h for h in told.get("before") or () if h in get_args(History))
    if before:
        given["history"] = before
    complaint = tuple(c for c in told.get("complaint") or () if c in get_args(Complaint))
    if complaint:
        given["complaint"] = complaint
    tests = {}
    if told.get("bore") in _BORE:
        tests["bore"] = _BORE[told["bore"]]
    if told.get("misfire") in ("yes", "no"):
        tests["hand at exhaust"] = "missing" if told["misfire"] == "yes" else "even"
    comparison = _last(entries, "after", "comparison")
    if comparison is not None:
        given["verdict"] = comparison.get("verdict")
    return Evidence(**given, tests=tests, attempts=min(attempts, 10))


def car_from_job(entries: Sequence[Entry]) -> Car:
    """What a job knows of the car."""
    told = _last(entries, "arrive", "car") or {}
    litres, cylinders = told.get("displacement_l"), told.get("cylinders")
    metering = told.get("metering")
    return Car(
        metering=metering if metering in ("air", "pressure") else None,
        displacement_l=float(litres) if isinstance(litres, int | float) and 0.6 <= litres <= 6 else None,
        cylinders=int(cylinders) if isinstance(cylinders, int | float) and 2 <= cylinders <= 12 else None,
        normal=_normal(entries),
    )


def _normal(entries: Sequence[Entry]) -> tuple[float, float] | None:
    for entry in reversed(entries):
        told = entry.data.get("normal")
        if isinstance(told, list | tuple) and len(told) == 2 and all(isinstance(x, int | float) for x in told):
            low, high = sorted(map(float, told))
            return (low, high) if 300 <= low <= high <= 1500 else None
    return None


def _last(entries: Sequence[Entry], stage: str, kind: str) -> Mapping[str, Any] | None:
    return next((e.data for e in reversed(entries) if e.stage == stage and e.kind == kind), None)
