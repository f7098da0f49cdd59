"""Evidence from a job: what was told at Arrive, codes, the latest reading, the comparison, attempts without effect.

Of two entries that say different things the newer counts. A repair makes another car of it: of what came before it only
what happened in the past still holds. What came back is no longer as it was read before: of a watch that says so the
newest trim and spread count, and the readings and the comparison before it do not.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, get_args

from pydantic import ValidationError

from tickover.cause.evidence import Car, Complaint, Evidence, History, Value
from tickover.cause.from_log import reading_evidence, together
from tickover.idle import IdleReading
from tickover.jobs import Entry
from tickover.results import Quantity

_BORE = {"clean": "clean", "dirty": "dirty"}
_REPAIR, _RELAPSE, _WATCH = "repair", "relapse", "watch"
_LASTING = ("tests", "history", "ethanol")
"""What was typed before it came back and still holds; numbers read then are of another idle."""
_OURS = {"log", "job"}
"""How a number came in that nobody typed."""
_OF_ITS_TIME = ("attempts", "verdict", "since_clear", "long_trim_zero")
"""Held of the moment only, or are worked out anew from the job."""


def evidence_from_job(entries: Sequence[Entry], attempts: int, *, carry: bool = False) -> Evidence:
    """What a job knows of the car's state now.

    Args:
        entries: of the job, corrections applied.
        attempts: correct attempts since the last repair that changed nothing; routines that only prepare for another
            and attempts that were not judged hit are none of them.
        carry: whether what was typed for earlier answers of Cause still holds, as far as nothing newer says otherwise.
    Returns: evidence, each number with ``how`` "job", what was carried as it was; empty where the job holds nothing
    """
    begin = max((k + 1 for k, e in enumerate(entries) if e.kind == _REPAIR), default=0)
    past, now = entries[:begin], entries[begin:]
    watch = _newest(now, _WATCH, ("drive",))
    back = max((k + 1 for k, e in enumerate(now) if e.kind == _RELAPSE or (e is watch and _is_back(e))), default=0)
    reading = _newest(now[back:], "reading", ("before", "after"))
    comparison = _newest(now[back:], "comparison", ("after",))
    parts = [_story(e.data) for e in past if (e.stage, e.kind) == ("arrive", "answers")]
    for k, entry in enumerate(now):
        match entry.stage, entry.kind:
            case "arrive", "answers":
                parts.append(_told(entry.data))
            case "ready", "codes":
                parts.append(_codes(entry.data))
            case "cause", "causes" if carry:
                typed = _typed(entry.inputs)
                parts.append(typed if k >= back else Evidence(**{n: getattr(typed, n) for n in _LASTING}))
            case (("before" | "after"), "reading") if entry is reading:
                plain = {k: v for k, v in entry.data.items() if k not in {"sentence", "normal"}}
                parts.append(Evidence(**reading_evidence(IdleReading.model_validate(plain), "job")))
            case "drive", "watch" if entry is watch:
                parts.append(_watched(entry.data))
            case "after", "comparison" if entry is comparison:
                parts.append(_compared(entry, reading, attempts))
    return together([*parts, Evidence(attempts=min(attempts, 10))])


def _newest(entries: Sequence[Entry], kind: str, stages: tuple[str, ...]) -> Entry | None:
    return next((e for e in reversed(entries) if e.stage in stages and e.kind == kind), None)


def _story(told: Mapping[str, Any]) -> Evidence:
    """What happened before the car came."""
    before = tuple(h for h in told.get("before") or () if h in get_args(History))
    return Evidence(history=before) if before else Evidence()


def _told(told: Mapping[str, Any]) -> Evidence:
    """The answers at Arrive."""
    given: dict[str, Any] = {}
    if told.get("codes") is not None:
        given["codes"] = tuple(told["codes"])
    complaint = tuple(c for c in told.get("complaint") or () if c in get_args(Complaint))
    if complaint:
        given["complaint"] = complaint
    tests = {}
    if told.get("bore") in _BORE:
        tests["bore"] = _BORE[told["bore"]]
    if told.get("misfire") in ("yes", "no"):
        tests["hand at exhaust"] = "missing" if told["misfire"] == "yes" else "even"
    return together([_story(told), Evidence(**given, tests=tests)])


def _codes(read: Mapping[str, Any]) -> Evidence:
    """Codes that the car reported as stored."""
    stored = read.get("stored")
    return Evidence() if stored is None else Evidence(codes=tuple(map(str, stored)))


def _compared(comparison: Entry, reading: Entry | None, attempts: int) -> Evidence:
    """The idle after against before.

    It says nothing of now where a newer idle was read as a beginning; and that nothing changed says nothing where no
    correct attempt lay between.
    """
    verdict = comparison.data.get("verdict")
    overtaken = reading is not None and reading.stage == "before" and reading.seq > comparison.seq
    if overtaken or (verdict == "no change" and attempts == 0):
        return Evidence()
    return Evidence(verdict=verdict)


def _is_back(watch: Entry) -> bool:
    return watch.data.get("verdict") == "comes back"


def _watched(watch: Mapping[str, Any]) -> Evidence:
    """The newest idle trim and spread of a watch; empty where it kept none, as those of older versions."""
    given: dict[str, Any] = {}
    if (trim := _measured(watch.get("newest_trim"))) is not None:
        given["trims"] = {"idle": trim}
    if (spread := _measured(watch.get("newest_spread"))) is not None:
        given["roughness"] = spread
    try:
        return Evidence(**given)
    except ValidationError:
        return Evidence()


def _measured(told: Any) -> Value | None:  # noqa: ANN401 — one field of an entry, as JSON
    """A measured number with its standard deviation; None where there is none."""
    if not isinstance(told, Mapping) or told.get("kind") != "quantity":
        return None
    found = Quantity.model_validate(told)
    half = found.half_width
    return Value(value=found.value, spread=half / 1.96 if half else None, how="job")


def _typed(inputs: Mapping[str, Any]) -> Evidence:
    """What somebody typed for an earlier answer; empty where it cannot be read any more."""
    given = inputs.get("typed")
    if not isinstance(given, Mapping):
        given = inputs.get("evidence")
    if not isinstance(given, Mapping):
        return Evidence()
    kept = {name: _by_hand(told) for name, told in given.items() if name not in _OF_ITS_TIME}
    try:
        return Evidence.model_validate({name: told for name, told in kept.items() if told not in (None, {})})
    except ValidationError:
        return Evidence()


def _by_hand(told: Any) -> Any:  # noqa: ANN401 — one field of an evidence, as JSON
    """A field without the numbers that a log or the job gave; they are read anew from there."""
    if not isinstance(told, Mapping):
        return told
    if "value" in told:
        return None if told.get("how") in _OURS else told
    return {place: one for place, one in told.items() if _by_hand(one) is not None}


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
