"""What can be said of a compiled routine: when each step may happen, and how long it takes."""

from __future__ import annotations

import math

from pydantic import Field

from tickover.results import Result
from tickover.routines.aiming import aims_for
from tickover.routines.compiled import CompiledRoutine, CompiledStep
from tickover.timing import Aim, Network


class StepWindow(Result):
    """When one step may happen.

    Attributes:
        step: its id.
        after: the event its bound is counted from; empty for the first step.
        lo, hi: earliest and latest after that, of counted time where it is counted [s]; ``hi`` None where open.
        aim: when to do it after that [s]; None for the first step and for the car's answers.
        since_lo, since_hi: earliest and latest since the first step, by the clock [s]; ``since_hi`` None where open.
        counted: true where time may stand.
    """

    step: str
    after: str = ""
    lo: float = 0.0
    hi: float | None = 0.0
    aim: float | None = None
    since_lo: float = 0.0
    since_hi: float | None = 0.0
    counted: bool = False


class Times(Result):
    """When everything may happen.

    Attributes:
        windows: one for each step, in order.
        lo, hi: shortest and longest time from the first step to the last [s]; ``hi`` None where it is open.
    """

    windows: tuple[StepWindow, ...]
    lo: float
    hi: float | None


class RoutineLine(Result):
    """One row of the library.

    Attributes:
        id, title, kind, throttle, disturbs, may_erase: as in the file.
        basis: kind of basis.
        lo, hi: shortest and longest time it takes [s]; ``hi`` None where it is open.
        digest: of what is judged.
        yours: true where it is from the user's own folder.
        file: where it was read from.
    """

    id: str
    title: str
    kind: str
    throttle: tuple[str, ...]
    disturbs: int
    may_erase: bool
    basis: str
    lo: float
    hi: float | None
    digest: str
    yours: bool
    file: str


class Library(Result):
    """The whole library."""

    routines: tuple[RoutineLine, ...]


class Shown(Result):
    """A routine with its times, as shown to a person."""

    routine: CompiledRoutine
    times: Times
    digest: str


class FileFault(Result):
    """One thing wrong in a file."""

    line: int | None
    step: str | None
    what: str
    way_out: str


class FileCheck(Result):
    """What the check of one file found.

    Attributes:
        file: its name.
        ok: whether it has no fault.
        id, title: of a routine without fault.
        controllable: whether it can be done whatever moment the car's answers take; None where it has faults.
        times: of a routine without fault.
        faults: all of them.
        cannot: switches on which it cannot be done, each with the reason.
    """

    file: str
    ok: bool
    id: str = ""
    title: str = ""
    controllable: bool | None = None
    times: Times | None = None
    faults: tuple[FileFault, ...] = ()
    cannot: dict[str, str] = Field(default_factory=dict)


class Checked(Result):
    """What the check of several files found."""

    files: tuple[FileCheck, ...]


def times_of(routine: CompiledRoutine) -> Times:
    """When every step may happen, from the minimal network, and where to aim by feel.

    Args:
        routine: compiled; its bounds can be kept, as every routine's that was read from a file.
    Returns: windows and the whole length.
    """
    plan = routine.plan()
    network = Network.of(plan)
    aimed = aims_for(routine, "none")
    windows = tuple(_window(routine, step, network, aimed) for step in routine.steps)
    ends = [network.window(plan.origin, event) for event in plan.events]
    return Times(windows=windows, lo=max(lo for lo, _ in ends), hi=_or_none(max(hi for _, hi in ends)))


def _or_none(value: float) -> float | None:
    return None if math.isinf(value) else _tidy(value)


def _tidy(value: float) -> float:
    return round(value, 6) + 0.0


def _window(routine: CompiledRoutine, step: CompiledStep, network: Network, aimed: dict[str, Aim]) -> StepWindow:
    event = step.events[0]
    if event == routine.events[0].name:
        return StepWindow(step=step.id)
    since = network.window(routine.events[0].name, event)
    counter = next((k for k in routine.counters if k.event == event), None)
    if counter is not None:
        after, lo, hi = counter.start, counter.lo, counter.hi
    else:
        answer = next((w for w in routine.answers if w.event == event), None)
        own = next((c for c in routine.constraints if c.group == step.id and c.rule == "bound"), None)
        after = answer.after if answer is not None else own.a if own is not None else routine.events[0].name
        window = network.window(after, event)
        lo, hi = _tidy(window[0]), _or_none(window[1])
    return StepWindow(
        step=step.id,
        after=after,
        lo=lo,
        hi=hi,
        aim=_aim_after(aimed, event, after, routine.events[0].name),
        since_lo=_tidy(since[0]),
        since_hi=_or_none(since[1]),
        counted=counter is not None,
    )


def _aim_after(aimed: dict[str, Aim], event: str, after: str, origin: str) -> float | None:
    """The aim of an act as a delay after the event its bound is counted from; None where that is not settled."""
    aim = aimed.get(event)
    if aim is None:
        return None
    if aim.after == after:
        return _tidy(aim.delay)
    start = 0.0 if after == origin else aimed[after].at if after in aimed else None
    return _tidy(aim.at - start) if aim.at is not None and start is not None else None
