"""The words of a drive: what was asked, what was found, what was missed and by what."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from tickover.drive.conditions import Condition, Limit, label_of
from tickover.results import CannotTell

if TYPE_CHECKING:
    from tickover.drive.truth import Block, Log

_SMALL = {1: "once", 2: "twice"}


def mmss(seconds: float) -> str:
    """A time or a length as on a stopwatch.

    Example: ``mmss(161)`` is ``"2:41"`` and ``mmss(3725)`` is ``"1:02:05"``.
    """
    whole = math.floor(seconds + 1e-6)
    hours, rest = divmod(abs(whole), 3600)
    minutes, left = divmod(rest, 60)
    sign = "−" if whole < 0 else ""
    return f"{sign}{hours}:{minutes:02d}:{left:02d}" if hours else f"{sign}{minutes}:{left:02d}"


def span(seconds: float) -> str:
    """A length in words: seconds below two minutes, else minutes and seconds; never rounded away to nothing.

    Example: ``span(19)`` is ``"19 s"`` and ``span(870)`` is ``"14:30 min"``.
    """
    if seconds < 1:
        return f"{seconds:.1f} s"
    return f"{seconds:.0f} s" if seconds < 120 else f"{mmss(seconds)} min"


def figure(value: float, unit: str) -> str:
    """A reading with its unit; one decimal where it has one."""
    text = f"{value:.1f}" if abs(value - round(value)) > 0.05 else f"{value:.0f}"
    return f"{text.replace('-', '−')} {unit}"


def times(n: int) -> str:
    """How often, in words."""
    return _SMALL.get(n, f"{n} times")


def names(titles: Sequence[str]) -> str:
    """Titles of monitors inside a sentence.

    Example: ``names(["Catalyst", "EGR"])`` is ``"catalyst and EGR"``.
    """
    small = [t if t[:2].isupper() else f"{t[:1].lower()}{t[1:]}" for t in titles]
    return small[0] if len(small) == 1 else f"{', '.join(small[:-1])} and {small[-1]}" if small else ""


def range_words(one: Limit) -> str:
    """A limit in words, with its unit."""
    lo, hi = (f"{v:.3g}".replace("-", "−") for v in (one.lo, one.hi))
    if math.isinf(one.hi):
        return f"at least {lo} {one.unit}"
    return f"at most {hi} {one.unit}" if math.isinf(one.lo) else f"{lo} to {hi} {one.unit}"


def asks(condition: Condition) -> str:
    """What a condition asks, in a few words.

    Example: ``"3:00 at 80 to 100 km/h"``.
    """
    first = condition.limits[0]
    what = "engine running" if first.of == "engine_speed" else _told(first)
    if condition.kind == "total":
        return f"{mmss(condition.seconds)} in all, {what}"
    if condition.kind != "stretch":
        return ", ".join(_told(one) for one in condition.limits)
    often = f"{condition.times} times " if condition.times > 1 else ""
    length = mmss(condition.seconds) if condition.seconds >= 120 else f"{condition.seconds:.0f} s"
    if first.of == "vehicle_speed":
        what = "car standing" if first.hi < 5 else _told(first)
    coolant = condition.limit("coolant_temperature")
    engine = f", {_told(coolant)}" if coolant is not None and coolant is not first else ""
    at = " at" if first.of == "vehicle_speed" and first.hi >= 5 else ","
    return f"{often}{length}{at} {what}{engine}"


def _told(one: Limit) -> str:
    if one.of == "vehicle_speed":
        return range_words(one).replace("at least 40.2 km/h", "40.2 km/h or more")
    if one.of == "pedal_travel":
        return "pedal up"
    return f"{label_of(one.of)} {range_words(one)}"


def lost(one: Limit, value: float) -> str:
    """Why a stretch ended.

    Example: ``"speed fell to 79.6"``.
    """
    if one.of == "pedal_travel":
        return "the pedal was pressed"
    if one.of == "engine_speed" and value < one.lo:
        return "the engine stopped"
    if one.of == "vehicle_speed" and math.isinf(one.lo):
        return "the car moved"
    way = "fell" if value < one.lo else "rose"
    text = f"{value:.1f}" if abs(value - round(value)) > 0.05 else f"{value:.0f}"
    return f"{one.label} {way} to {text.replace('-', '−')}"


def tale(block: Block, need: float, log: Log) -> str:
    """A near miss, in the words of the trade's stopwatch.

    Example: ``"2:41 of 3:00; lost at 12:04 when speed fell to 79.6"``.
    """
    have = f"{mmss(block.nominal)} of {mmss(need)}"
    at = mmss(block.true.end - log.start)
    if block.why is not None:
        return f"{have}; lost at {at} when {lost(*block.why)}"
    return f"{have}; the log ends at {at}" if block.cut else f"{have}; readings are missing from {at} on"


def not_recorded(absent: Sequence[Limit]) -> CannotTell:
    """Quantities that the log does not hold."""
    names = list(dict.fromkeys(_name(one.of) for one in absent))
    listed = names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
    are = "is" if len(names) == 1 else "are"
    return CannotTell(reason=f"{listed} {are} not known from this log", way_out=f"Log or state: {', '.join(names)}.")


_FROM_START = {"coolant_rise": "coolant_temperature", "coolant_above_outside": "coolant_temperature"}
"""What is worked out from the engine's start, and the recorded quantity it is worked out from."""

START_WAY_OUT = "Say --whole if the log runs from the engine's start to the end of the drive; else log from key on."


def not_known(absent: Sequence[Limit], log: Log) -> CannotTell:
    """Why quantities are not known from a log: not recorded, or recorded without the engine's start being shown."""
    unplaced = [one for one in absent if not log.begins and _FROM_START.get(one.of, "") in log.series]
    if not unplaced:
        return not_recorded(absent)
    listed = " and ".join(dict.fromkeys(_name(one.of) for one in unplaced))
    first = next((log.series[_FROM_START[one.of]].value[0] for one in unplaced), math.nan)
    reason = (
        f"the log does not show the engine's start, so {listed} cannot be placed "
        f"(its first reading: {figure(float(first), '°C')})"
    )
    others = [one for one in absent if one not in unplaced]
    if not others:
        return CannotTell(reason=reason, way_out=START_WAY_OUT)
    more = not_recorded(others)
    return CannotTell(reason=f"{reason}; {more.reason}", way_out=f"{START_WAY_OUT} {more.way_out}")


def _name(of: str) -> str:
    return {
        "soaked": "how long the car stood before",
        "coolant_above_outside": "coolant against outside air at the start",
        "coolant_rise": "coolant at the start",
        "pedal_travel": "the pedal",
        "fuel_level": "the fuel level",
    }.get(of, label_of(of))


def undecided_total(nominal: float, need: float, unknown: float, log: Log) -> CannotTell:
    """Why a total cannot be told."""
    if nominal >= need:
        return CannotTell(
            reason="readings come too seldom to be sure of the last seconds", way_out="Poll faster, or drive longer."
        )
    if nominal + unknown >= need:
        return CannotTell(reason=f"{span(unknown)} are missing from the log", way_out="Log without gaps.")
    side = _cut_side(log)
    return CannotTell(reason=f"the log {side}", way_out="Log from key on until the engine is off, or say --whole.")


def _cut_side(log: Log) -> str:
    if not log.begins and not log.ends:
        return "holds neither the engine's start nor its end"
    return "ends with the engine running" if log.begins else "does not hold the engine's start"


def undecided_stretch(block: Block, need: float, log: Log) -> CannotTell:
    """Why a stretch cannot be told."""
    at = mmss(block.true.start - log.start)
    if block.cut:
        return CannotTell(
            reason=f"the stretch from {at} is cut off by the log after {mmss(block.nominal)} of {mmss(need)}",
            way_out="Log from key on until the engine is off, or say --whole.",
        )
    if block.gap:
        return CannotTell(reason=f"readings are missing in the stretch from {at}", way_out="Log without gaps.")
    return CannotTell(
        reason=f"readings come too seldom for a stretch of {span(need)} (from {at}: {span(block.lo)} to "
        f"{span(block.hi)})",
        way_out="Poll fewer quantities, so that each is asked more often.",
    )


def outside(one: Limit, value: float) -> str:
    """A reading outside its limits."""
    return f"{one.label} {figure(value, one.unit)}, asked is {range_words(one)}"


def at_start(log: Log, of: str) -> float | None:
    """The reading at the engine's start: the latest by then, else the first within half a minute."""
    series = log.series[of]
    k = int(np.searchsorted(series.t_hi, log.start, side="right")) - 1
    k = max(k, 0)
    return float(series.value[k]) if abs(series.t_hi[k] - log.start) <= 30 or math.isinf(log.holds.get(of, 0)) else None


def closest(condition: Condition, log: Log, start: float, end: float) -> str:
    """How near to a limit a stretch came: the nearest for its own unit, of the first limit."""
    one = condition.limits[0]
    if one.of not in log.series or math.isinf(one.lo) or math.isinf(one.hi):
        return ""
    series = log.series[one.of]
    inside = series.value[(series.t_hi >= start) & (series.t_hi < end)]
    if not len(inside):
        return ""
    low, high = float(inside.min()), float(inside.max())
    near, by = (low, low - one.lo) if low - one.lo <= one.hi - high else (high, one.hi - high)
    return f"{one.label} came to {figure(near, one.unit)}, {by:.1f} inside"


def nearest(condition: Condition, log: Log) -> str:
    """The best each quantity came to, of those that did not reach their limit."""
    told = []
    for one in condition.limits:
        if one.of in log.series:
            values = log.series[one.of].value
            best = float(values.max()) if math.isinf(one.hi) else float(values.min())
            if not one.least <= best <= one.most:
                told.append(f"{one.label} came to {figure(best, one.unit)}, asked is {range_words(one)}")
    return "; ".join(told) or "not together"
