"""Which option of ``tickover cause`` takes what a test gives."""

from __future__ import annotations

from collections.abc import Mapping
from typing import get_args

from tickover.cause import TESTS, Causes, NextTest
from tickover.cause.evidence import History
from tickover.cli.cause_read import TYPED

OPTIONS: Mapping[str, str] = {
    "vacuum": "--vacuum 18inHg (your reading with its unit)",
    "speed": "--speed N (r/min)",
    "idle air": "--idle-air NOW:NORMAL (both in %)",
    "misfires": "--misfires N (missed firings per 1,000 revolutions)",
    "roughness": "--roughness N (r/min)",
    "coolant": "--coolant N (°C)",
    "ethanol": "--ethanol N (%)",
    "codes": "--codes P0171,P0300 (what is stored, or none)",
    "history": f"--did {'|'.join(get_args(History))}",
    "both banks": "--trim idle=N --trim2 idle=N (%)",
    "verdict": '--verdict "settled|better|no change|worse"',
    "long trim": "--log FILE (a log with the long trim in it)",
    "coolant behaviour": '--coolant-is "normal|slow to warm|jumps"',
}
"""What is written for each thing that is read, by the name of its test; what needs a place is below."""
PLACED: Mapping[str, tuple[str, str]] = {
    "trim": ("--trim", "%, short and long trim together"),
    "flow": ("--air", "g/s"),
    "map": ("--map", "kPa, absolute"),
    "volts": ("--volts", "V"),
}


def option_of(test: str) -> str:
    """The option that takes the result of a test, with what to write and in which unit; empty for none.

    Args:
        test: its name, as ``NextTest`` has it.
    Example: ``option_of("pinch")`` is "--test pinch=falls|nothing".
    """
    if test in TESTS:
        outcomes = "|".join(TESTS[test].outcomes)
        return f"--test {_quoted(f'{test}={outcomes}')}"
    kind, _, place = test.partition(" ")
    if kind in PLACED and place:
        option, unit = PLACED[kind]
        return f"{option} {_quoted(TYPED.get(place, place) + '=N')} ({unit})"
    return OPTIONS.get(test, "")


def _quoted(text: str) -> str:
    """In quotation marks where it holds a blank, as a shell wants it."""
    return f'"{text}"' if " " in text else text


def with_options(found: Causes) -> Causes:
    """The same answer with the option of each test."""

    def told(one: NextTest) -> NextTest:
        return one.model_copy(update={"option": option_of(one.name)})

    first = found.next_test
    return found.model_copy(
        update={
            "next_test": told(first) if isinstance(first, NextTest) else first,
            "tests": tuple(map(told, found.tests)),
            "spare": tuple(map(told, found.spare)),
        }
    )
