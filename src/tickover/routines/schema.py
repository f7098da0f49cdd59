"""Reads a routine file. What comes out is checked through and through; else every fault comes out at once."""

from __future__ import annotations

from pathlib import Path
from typing import Any, get_args

from tickover.errors import ContradictionError, InputError, NotControllableError, RoutineFileError
from tickover.routines.bounds import read_signal
from tickover.routines.compile import Judged
from tickover.routines.compiled import plan_of
from tickover.routines.grammar import BASIS, HEAD, NEED
from tickover.routines.model import Basis, BasisKind, Cycle, Need, Routine, Step
from tickover.routines.physics import check_physics
from tickover.routines.positions import read_toml
from tickover.routines.reading import Faults, Table
from tickover.routines.steps import StepReader
from tickover.routines.unroll import Turn, unroll
from tickover.timing import Answer, Constraint, Counter, Network, check_controllable

MOST_EVENTS = 200
"""Most events of one routine, cycles written out. Own choice: far above any that is done by hand."""


def read_routine(path: Path) -> Routine:
    """Read and check a routine file.

    Args:
        path: a TOML file, UTF-8.
    Returns: the routine.
    Raises: InputError if the file cannot be read; RoutineFileError with all its faults.
    """
    try:
        text = path.read_text(encoding="utf-8")
    except OSError as why:
        raise InputError(
            f"cannot be read: {why.strerror}", file=str(path), way_out="Name a routine file, *.toml."
        ) from None
    except UnicodeDecodeError:
        raise InputError("is not text in UTF-8", file=str(path), way_out="Name a routine file, *.toml.") from None
    return parse_routine(text, str(path))


def parse_routine(text: str, file: str = "routine") -> Routine:
    """Read and check a routine from its text.

    Args:
        text: TOML.
        file: its name, for the faults.
    Returns: the routine. Its bounds can be kept, and it can be done whatever moment the car's answers take.
    Raises: RoutineFileError with all faults, each with line, step and way out.
    """
    values, positions = read_toml(text, file)
    faults = Faults(positions)
    head = Table(values, (), HEAD, faults)
    fields: dict[str, Any] = {
        "id": head.text("id"),
        "title": head.text("title"),
        "kind": head.text("kind"),
        "throttle": head.texts("throttle") or ("cable", "electronic"),
        "fits": head.word("fits"),
        "disturbs": head.whole("disturbs", 0, 3),
        "may_erase": head.flag("may_erase"),
        "requires": head.texts("requires"),
        "needs": _needs(head),
        "signs": head.texts("signs"),
        "after_miss": head.word("after_miss"),
        "cautions": head.texts("cautions"),
        "basis": _basis(head),
    }
    if fields["id"] is not None and fields["id"] in head.texts("requires"):
        head.fault("requires", "the routine requires itself", "Leave it out.")
    steps = _steps(head, faults)
    if faults.items:
        raise RoutineFileError(file, faults.sorted())
    lines = {str(key): positions.line((key,)) for key in values}
    return Routine(**fields, steps=steps or (), file=file, lines=lines)


def _basis(head: Table) -> Basis | None:
    table = head.table("basis", BASIS)
    if table is None:
        return None
    kind = table.text("kind")
    if kind == "published" and not table.has("source"):
        table.fault("kind", "“published” stands without `source`", "Say where, or call it common practice.")
    if table.has("clause") and not table.has("source"):
        table.fault("clause", "`clause` stands without `source`", "Say in which source.")
    found = next((k for k in get_args(BasisKind) if k == kind), None)
    return Basis(found, table.word("source"), table.word("clause")) if found else None


def _needs(head: Table) -> tuple[Need, ...]:
    found = []
    for path, raw in head.tables("needs"):
        table = Table(raw, path, NEED, head.faults)
        need, why = table.text("need"), table.text("why")
        shown = read_signal(table)
        if need is not None and why is not None:
            name, lo, hi = (shown[0], shown[2], shown[3]) if shown else (None, None, None)
            found.append(Need(need, why, name, lo, hi))
    return tuple(found)


def _steps(head: Table, faults: Faults) -> tuple[Step | Cycle, ...] | None:
    """The steps, checked as far as their faults allow: the acts in any case, the times if none of them is faulty."""
    before = len(faults.items)
    items = head.tables("steps")
    if head.has("steps") and not items and len(faults.items) == before:
        head.fault("steps", "the routine has no steps", "Write at least one under [[steps]].")
    steps = StepReader(faults).read(items)
    if not steps:
        return None
    readable = len(faults.items) == before
    turns = unroll(steps)
    check_physics(turns, faults)
    if readable:
        check_times(turns, faults)
    return steps


def check_times(turns: tuple[Turn, ...], faults: Faults) -> None:
    """Note bounds that contradict each other, or that the car's answers can defeat.

    Args:
        turns: the routine, cycles written out; every turn but the first has a bound.
        faults: where faults go.
    """
    judged = Judged(turns)
    if len(judged.events) > MOST_EVENTS:
        last = turns[-1].step
        faults.at(last.line, f"the routine has {len(judged.events)} events", f"Keep it below {MOST_EVENTS}.", last.id)
        return
    plan = plan_of(judged.events, judged.constraints, judged.answers, judged.counters)
    bounds: tuple[Constraint | Answer | Counter, ...] = (*plan.constraints, *plan.answers, *plan.counters)
    groups = {b.label: b.group for b in bounds}
    steps = {turn.id: turn.step for turn in turns}
    try:
        Network.of(plan).minimal()
        check_controllable(plan)
    except ContradictionError as why:
        _note(faults, [steps[groups[label]] for label in why.cycle if label in groups], why.what, why.way_out)
    except NotControllableError as why:
        _note(faults, [steps[groups[label]] for label in why.labels if label in groups], why.what, why.way_out)


def _note(faults: Faults, steps: list[Step], what: str, way_out: str) -> None:
    """Note one fault at the last of its steps, naming the lines of the others."""
    last = max(steps, key=lambda s: s.line)
    others = sorted({s.line for s in steps} - {last.line})
    where = f" (with line {', '.join(str(n) for n in others)})" if others else ""
    faults.at(last.line, what + where, way_out, last.id)
