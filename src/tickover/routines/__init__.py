"""Routine files: the grammar, the library, and the compiled form that coach, judge and cards work from."""

from tickover.routines.compile import compile_routine
from tickover.routines.compiled import (
    CompiledAnswer,
    CompiledBasis,
    CompiledCondition,
    CompiledConstraint,
    CompiledCounter,
    CompiledEvent,
    CompiledNeed,
    CompiledRoutine,
    CompiledStep,
    Switch,
)
from tickover.routines.library import load_library, load_routine
from tickover.routines.model import Routine
from tickover.routines.schema import parse_routine, read_routine

__all__ = [
    "CompiledAnswer",
    "CompiledBasis",
    "CompiledCondition",
    "CompiledConstraint",
    "CompiledCounter",
    "CompiledEvent",
    "CompiledNeed",
    "CompiledRoutine",
    "CompiledStep",
    "Routine",
    "Switch",
    "compile_routine",
    "load_library",
    "load_routine",
    "parse_routine",
    "read_routine",
]
