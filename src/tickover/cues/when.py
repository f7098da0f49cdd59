"""When each step of a card comes, in words, and what time counts while the step before it lasts."""

from __future__ import annotations

from collections.abc import Mapping

from tickover.attempts import Kind
from tickover.routines import CompiledCondition, CompiledCounter, CompiledRoutine, CompiledStep

ROAD: frozenset[Kind] = frozenset({"drive", "coast", "stand"})
"""Kinds of steps that are done on the road."""
CLOCK_FROM = 90.0
"""Longer times are said in minutes and seconds [s]; own choice."""
AT_ONCE = 5.0
"""A counted time no longer than this only waits for its condition [s]; own choice."""
COUNTS = "Time counts only while this holds:"


def on_road(routine: CompiledRoutine) -> bool:
    """Whether any step is done on the road."""
    return any(s.kind in ROAD for s in routine.steps)


def clock(seconds: float) -> str:
    """A time in seconds, above 90 s in minutes and seconds.

    Example: ``clock(30)`` is ``"30 s"`` and ``clock(300)`` is ``"5:00"``.
    """
    if seconds <= CLOCK_FROM:
        return f"{seconds:g} s"
    minutes, rest = divmod(round(seconds), 60)
    hours, minutes = divmod(minutes, 60)
    return f"{hours}:{minutes:02d}:{rest:02d}" if hours else f"{minutes}:{rest:02d}"


def when_of(routine: CompiledRoutine, step: CompiledStep, numbers: Mapping[str, int]) -> str:
    """When a step comes, as the card says it beside the title.

    Args:
        routine: compiled.
        step: one of its steps.
        numbers: step id to the number that the card gives it.
    Returns: with counted time how much of what must be done after which step; on the road the time after a numbered
        step, since "the car drives" may be one of many; else the step's own words. Empty for the first step.
    """
    counter = _counter(routine, step)
    if counter is not None:
        return f"after step {_number(routine, counter.start, numbers)}, once {_done(routine, counter)}"
    bound = next((c for c in routine.constraints if c.rule == "bound" and c.group == step.id), None)
    if bound is None or step.answer or not on_road(routine):
        return f"{step.bound} after {step.counted_from}" if step.bound and step.counted_from else step.bound
    after = f"after step {_number(routine, bound.a, numbers)}"
    if not bound.lo and bound.hi is None:
        return f"{after}, when road and traffic allow" if step.kind in ROAD else after
    return f"{_range(bound.lo, bound.hi)} {after}"


def notes_of(routine: CompiledRoutine, numbers: Mapping[str, int]) -> dict[int, tuple[str, ...]]:
    """What time counts, under the number of the step during which it is counted: not under the one that it lets begin.

    Args:
        routine: compiled.
        numbers: step id to the number that the card gives it.
    Returns: number to sentences.
    """
    found: dict[int, list[str]] = {}
    for step in routine.steps:
        counter = _counter(routine, step)
        if counter is None:
            continue
        first, ends = _number(routine, counter.start, numbers), numbers[step.id]
        told = []
        if counter.lo > AT_ONCE:
            until = f"Until step {ends}: " if ends > first + 1 else ""
            text = f"{COUNTS} {_name(counter)}."
            told.append(f"{until}{text[:1].lower()}{text[1:]}" if until else text)
        if routine.kind == "drive" and step.why:
            told.append(step.why.split(". ")[0].rstrip(".") + ".")
        row = found.setdefault(first, [])
        row += [t for t in told if t not in row]
    return {number: tuple(told) for number, told in found.items()}


def own_detail(routine: CompiledRoutine, step: CompiledStep) -> str:
    """A step's further words, less the counted time that is told under the step before."""
    counter = _counter(routine, step)
    text = step.detail
    if counter is not None:
        text = text.replace(f"{COUNTS} {counter.condition}.", "")
    return " ".join(text.replace("_", " ").split())


def _counter(routine: CompiledRoutine, step: CompiledStep) -> CompiledCounter | None:
    return next((k for k in routine.counters if k.group == step.id), None)


def _number(routine: CompiledRoutine, event: str, numbers: Mapping[str, int]) -> int:
    return numbers[next(e.step for e in routine.events if e.name == event)]


def _name(counter: CompiledCounter) -> str:
    return counter.condition.replace("_", " ")


def _done(routine: CompiledRoutine, counter: CompiledCounter) -> str:
    """How much of what must be done, in words."""
    if counter.lo <= AT_ONCE and counter.hi is None:
        return f"this holds: {_name(counter)}"
    shown: CompiledCondition | None = next((c for c in routine.conditions if c.name == counter.condition), None)
    long = clock(counter.lo) if counter.hi is None else f"{clock(counter.lo)} to {clock(counter.hi)}"
    if shown is not None and shown.signal == "vehicle_speed":
        if shown.lo is not None and shown.hi is not None:
            return f"{long} at {shown.lo:g} to {shown.hi:g} km/h is done"
        return (
            f"{long} at {shown.lo:g} km/h or more is done"
            if shown.hi is None
            else f"{long} with {_name(counter)} is done"
        )
    return f"{long} with {_name(counter)} is done"


def _range(lo: float | None, hi: float | None) -> str:
    if hi is None:
        return f"at least {clock(lo or 0.0)}"
    return f"{clock(lo)} to {clock(hi)}" if lo else f"at most {clock(hi)}"
