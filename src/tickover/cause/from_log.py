"""Evidence from a recording: idle, idle with load, 2,500 r/min, cruise and hard load, each with its stretches shown.

The idle is the one that ``idle`` measures; bank 2, commanded idle air and volts are read in the same stretches. The
other points are found by engine speed, road speed and load, each held for a while, engine warm and fuel in closed loop.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from tickover.cause.evidence import Evidence, How, Point, Value, VoltsWhen
from tickover.cause.log_beside import Span, beside, measured
from tickover.cause.log_rows import Rows, at_point, pieces
from tickover.idle import IdleReading, IdleState, read_idle
from tickover.results import CannotTell, Quantity, Result
from tickover.signals import Recording

Floats = NDArray[np.float64]

LEAST_SPREAD, BETWEEN = 1.0, 1.5
"""Least spread of a trim from a log, and of one stretch against another [%]. Own choice."""
ZERO_SECONDS = 120.0
"""A long trim of exactly 0 for so long, idling and driving, is a memory just cleared [s]. Own choice."""
PASSING_ZERO = 20.0
"""A zero at the begin no longer than this is a cell like any other [s]. Own choice."""
FRESH_CLEAR = 180.0
"""Running time since the clear that is worth saying [min]. Own choice."""
PARKED = 60.0
"""Only an idle so long shows its spread; shorter ones are still coming down from the road [s]. Own choice."""
SETTLED_COOLANT, COOLANT_SWING = 120.0, 6.0
"""An idle so long whose coolant moves no further than that shows where it settles [s], [K]. Own choice."""


class LogStretch(Result):
    """A piece of a log that evidence comes from.

    Attributes:
        point: which operating point; or when, of volts that were read before the engine ran.
        start, stop: when [s on the recording's clock].
        trim: short and long together, bank 1, mean [%]; None where not recorded.
        says: how it was known for that point, and what else was read there.
    """

    point: Point | VoltsWhen
    start: float
    stop: float
    trim: float | None
    says: str


@dataclass(frozen=True)
class FromLog:
    """What a recording tells.

    Attributes:
        evidence: all of it.
        stretches: where it came from.
        refusals: what it cannot say.
    """

    evidence: Evidence
    stretches: tuple[LogStretch, ...]
    refusals: tuple[CannotTell, ...]


def evidence_from_log(recording: Recording, rng: Generator) -> FromLog:
    """Evidence from one recording.

    Args:
        recording: of one car in one state.
        rng: seeded generator, for the intervals.
    Returns: see ``FromLog``; empty evidence with the reason where nothing can be used
    """
    if "engine_speed" not in recording or len(recording["engine_speed"]) < 2:
        refused = CannotTell(reason="No engine speed was recorded.", way_out="Log engine speed.")
        return FromLog(Evidence(), (), (refused,))
    found: list[LogStretch] = []
    refusals = list(_half_trims(recording))
    given: dict[str, Any] = {}
    idles: list[tuple[Point, tuple[Span, ...]]] = []
    rows = Rows.of(recording)
    reading = read_idle(recording, rng)
    if isinstance(reading, CannotTell):
        refusals.append(
            CannotTell(
                reason=f"The idle: {reading.reason}. So no idle was read from this log.", way_out=reading.way_out
            )
        )
    else:
        given = reading_evidence(reading, "log")
        idles = [(point, state.dwells) for point, state in _idles(reading)]
    extra = beside(recording, rows, idles, rng)
    if not isinstance(reading, CannotTell):
        for point, state in _idles(reading):
            found += _idle_stretches(point, state, extra.says.get(point, ""))
    found += [LogStretch(point=w, start=a, stop=b, trim=None, says=says) for w, (a, b), says in extra.before]
    trims: dict[int, dict[Point, Value]] = {1: given.pop("trims", {}), 2: dict(extra.trims_bank2)}
    for one in ("2500", "cruise", "hard load"):
        found += _off_idle(rows, one, trims, rng)
    clear = _since_clear(recording)
    evidence = Evidence(
        **given,
        **extra.single,
        trims=trims[1],
        trims_bank2=trims[2],
        volts=extra.volts,
        long_trim_zero=long_trim_zero(rows),
        since_clear=clear if clear is not None and clear < FRESH_CLEAR else None,
    )
    if evidence == Evidence():
        refusals.append(CannotTell(reason="Nothing else was read from it: it says neither for nor against a fault."))
    return FromLog(evidence, tuple(sorted(found, key=lambda s: s.start)), tuple(refusals))


def _half_trims(recording: Recording) -> list[CannotTell]:
    """Banks of which only the short or only the long trim was recorded: what is held in the other is not known."""
    found = []
    for bank in (1, 2):
        there = {k: bool(len(recording.get(f"{k}_trim_{bank}") or ())) for k in ("short", "long")}
        if there["short"] != there["long"]:
            has, lacks = ("short", "long") if there["short"] else ("long", "short")
            found.append(
                CannotTell(
                    reason=f"Of bank {bank} only the {has} trim was recorded, so its trim is not known.",
                    way_out=f"Log its {lacks} trim too.",
                )
            )
    return found


def reading_evidence(reading: IdleReading, how: How) -> dict[str, Any]:
    """The numbers of an idle reading as evidence.

    Args:
        reading: a measured idle.
        how: how it was got.
    Returns: fields of ``Evidence``, those that the reading has
    """
    given: dict[str, dict[Point, Value]] = {"trims": {}, "manifold": {}, "air_flow": {}}
    single: dict[str, Value] = {}
    for point, state in _idles(reading):
        for into, mean, least in (
            ("trims", state.trim, LEAST_SPREAD),
            ("manifold", state.manifold_pressure, 0.7),
            ("air_flow", state.air_flow, 0.05),
        ):
            if isinstance(mean, Quantity):
                given[into][point] = _value(mean, least, how)
        if point != "idle":
            continue
        if isinstance(state.speed, Quantity):
            single["idle_speed"] = _value(state.speed, 8.0, how)
        parked = max((b - a for a, b in state.dwells), default=0.0) >= PARKED
        if parked and state.spread is not None and state.spread > 0:
            single["roughness"] = Value(value=state.spread, spread=0.2 * state.spread, how=how)
        if state.coolant is not None and state.seconds >= SETTLED_COOLANT:
            low, high = state.coolant
            if high - low <= COOLANT_SWING:
                single["coolant"] = Value(value=(low + high) / 2, spread=max(2.0, (high - low) / 2), how=how)
    return {**given, **single}


def _idles(reading: IdleReading) -> list[tuple[Point, IdleState]]:
    """The states of an idle by point; a single state counts as one without loads."""
    return [("idle with load" if s.name == "loads on" else "idle", s) for s in reading.states]


def _value(measured: Quantity, least: float, how: How) -> Value:
    half = measured.half_width
    return Value(value=measured.value, spread=max((half or 0.0) / 1.96, least), how=how)


def _idle_stretches(point: Point, state: IdleState, also: str) -> list[LogStretch]:
    trim = state.trim.value if isinstance(state.trim, Quantity) else None
    says = "pedal at rest, car standing, warm" + (", load on" if point == "idle with load" else "")
    says += f"; {also}" if also else ""
    return [LogStretch(point=point, start=a, stop=b, trim=trim, says=says) for a, b in state.dwells]


def _off_idle(rows: Rows, point: Point, trims: dict[int, dict[Point, Value]], rng: Generator) -> list[LogStretch]:
    """Trims of both banks at a point off idle; its stretches."""
    good = {bank: rows.usable(bank) & np.isfinite(rows.trim(bank)) for bank in (1, 2)}
    stretches = []
    found = {1: pieces(rows, point, good[1]), 2: pieces(rows, point, good[2])}
    says = at_point(rows, point)[1]
    for bank, kept in found.items():
        if kept:
            trims[bank][point] = _trim_value(rows, bank, kept, rng)
    two = trims[2].get(point)
    also = f"; bank 2 {two.value:+.1f} %" if two is not None and found[2] else ""
    for keep in found[1] or found[2]:
        weights = rows.seconds[keep]
        mean = float(np.average(rows.trim(1)[keep], weights=weights)) if found[1] else None
        start, stop = float(rows.t[keep[0]]), float(rows.t[keep[-1]])
        stretches.append(LogStretch(point=point, start=start, stop=stop, trim=mean, says=says + also))
    return stretches


def _trim_value(rows: Rows, bank: int, kept: Sequence[NDArray[np.intp]], rng: Generator) -> Value:
    """Mean over stretches with its spread: of the samples, which follow each other, and from stretch to stretch."""
    means = [float(np.average(rows.trim(bank)[k], weights=rows.seconds[k] + 1e-9)) for k in kept]
    seconds = [float(rows.seconds[k].sum()) for k in kept]
    scatter = max(float(np.std(means)) if len(means) > 2 else BETWEEN, BETWEEN) / len(means) ** 0.5
    inside = measured(np.concatenate([rows.trim(bank)[k] for k in kept]), [len(k) for k in kept], rng, LEAST_SPREAD)
    spread = LEAST_SPREAD if inside is None else inside.spread
    return Value(
        value=float(np.average(means, weights=seconds)),
        spread=max(LEAST_SPREAD, scatter, spread or 0.0),
        how="log",
    )


def long_trim_zero(rows: Rows) -> bool | None:
    """Whether the long trim stood at exactly 0 from the begin on, through idle and road alike.

    A cell may hold 0 by chance, every cell may not; so idle and driving must both have been seen, loop closed.

    Returns: None where the recording does not show it either way.
    """
    long = rows.get("long_trim_1")
    good = rows.usable(1) & np.isfinite(long)
    if not good.any():
        return None
    learned = good & (long != 0.0)
    first = int(np.argmax(learned)) if learned.any() else len(long)
    before = good & (np.arange(len(long)) < first)
    road = np.nan_to_num(rows.get("vehicle_speed"), nan=0.0)
    total, standing, moving = (float((rows.seconds * (before & w)).sum()) for w in (road >= 0, road < 1, road > 15))
    if total < PASSING_ZERO:
        return False
    return True if total >= ZERO_SECONDS and standing > 15 and moving > 30 else None


def _since_clear(recording: Recording) -> float | None:
    one = recording.get("time_since_clear")
    if one is None or not len(one):
        return None
    value = float(one.value[0])
    return value if value > 0 else None


def together(parts: Sequence[Evidence]) -> Evidence:
    """Evidence of several sources as one; what comes later replaces what came before, place by place.

    Args:
        parts: in order, each of the same car in the same state.
    """
    merged: dict[str, Any] = {}
    for part in parts:
        for name in part.model_fields_set:
            value = getattr(part, name)
            if isinstance(value, Mapping):
                merged[name] = {**merged.get(name, {}), **value}
            elif value is not None and not (name == "attempts" and value == 0):
                merged[name] = value
    return Evidence.model_validate(merged)
