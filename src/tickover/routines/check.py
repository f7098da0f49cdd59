"""Answers to the questions of the ``routine`` command: what is there, what is in it, is this file right."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import get_args

from tickover.errors import InputError, RoutineFileError, SwitchError
from tickover.routines.compile import compile_routine
from tickover.routines.compiled import Switch
from tickover.routines.library import BUILT_IN
from tickover.routines.model import Routine
from tickover.routines.report import FileCheck, FileFault, Library, RoutineLine, Shown, times_of
from tickover.routines.schema import read_routine
from tickover.timing import is_controllable


def library_of(routines: Mapping[str, Routine]) -> Library:
    """The library as rows, the least disturbing first.

    Args:
        routines: from ``load_library``.
    Returns: the rows.
    """
    rows = [_row(routine) for routine in routines.values()]
    return Library(routines=tuple(sorted(rows, key=lambda r: (r.disturbs, r.may_erase, r.id))))


def _row(routine: Routine) -> RoutineLine:
    compiled = compile_routine(routine)
    times = times_of(compiled)
    return RoutineLine(
        id=routine.id,
        title=routine.title,
        kind=routine.kind,
        throttle=routine.throttle,
        disturbs=routine.disturbs,
        may_erase=routine.may_erase,
        basis=routine.basis.kind,
        lo=times.lo,
        hi=times.hi,
        digest=compiled.digest,
        yours=Path(routine.file).parent != BUILT_IN,
        file=Path(routine.file).name,
    )


def show(routine: Routine, switch: Switch = "key") -> Shown:
    """A routine with its times, compiled for a switch.

    Raises: SwitchError where it cannot be done on this switch.
    """
    compiled = compile_routine(routine, switch)
    return Shown(routine=compiled, times=times_of(compiled), digest=compiled.digest)


def check_file(path: Path) -> FileCheck:
    """Check one routine file; faults are an answer here, nothing is raised.

    Args:
        path: the file.
    Returns: its times, or every fault; a file that cannot be read is one fault.
    """
    try:
        routine = read_routine(path)
    except RoutineFileError as why:
        faults = tuple(FileFault(line=f.line, step=f.step, what=f.what, way_out=f.way_out) for f in why.faults)
        return FileCheck(file=str(path), ok=False, faults=faults)
    except InputError as why:
        fault = FileFault(line=None, step=None, what=why.what, way_out=why.way_out)
        return FileCheck(file=str(path), ok=False, faults=(fault,))
    switches: tuple[Switch, ...] = get_args(Switch)
    cannot: dict[str, str] = {}
    for switch in switches:
        try:
            compile_routine(routine, switch)
        except SwitchError as no:
            cannot[switch] = f"{no.why}, step “{no.step}”"
    compiled = compile_routine(routine)
    return FileCheck(
        file=str(path),
        ok=True,
        id=routine.id,
        title=routine.title,
        controllable=is_controllable(compiled.plan()),
        times=times_of(compiled),
        cannot=cannot,
    )
