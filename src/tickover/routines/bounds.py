"""Reads bounds: of a step, of a press or gap, of an answer's window, of a counted condition."""

from __future__ import annotations

import math

from tickover.errors import UnknownSignalError
from tickover.routines.grammar import CONDITIONS, INNER_BOUND, LONGEST, MIN_PRESS, WHILE
from tickover.routines.model import Bound, BoundKind, Condition
from tickover.routines.reading import Table, bare_number, near
from tickover.signals import signal

WAYS: tuple[BoundKind, ...] = ("about", "at_least", "at_most", "between")
BOUND_WORDS = (*WAYS, "give", "aim_by")

DIGITS = 6
"""Bounds are kept to a microsecond, so that 0.3 − 0.1 and 0.2 are one number."""


def read_bound(table: Table, *, needed: str = "") -> Bound | None:
    """The bound that a table states.

    Args:
        table: a step, or a bound of its own.
        needed: why there must be one; empty where there need not be.
    Returns: the bound; None where there is none or it has a fault, which is then noted.
    """
    ways = [way for way in WAYS if table.has(way)]
    if table.has("give") and "about" not in ways:
        table.fault("give", "`give` stands without `about`", "Write the time to aim at as `about`.")
    if table.has("aim_by") and "at_least" not in ways:
        table.fault("aim_by", "`aim_by` stands without `at_least`", "Other bounds are aimed at by themselves.")
    if len(ways) > 1:
        both = " and ".join(f"`{way}`" for way in ways)
        table.fault(ways[1], f"the bound is stated in {len(ways)} ways: {both}", "Keep one; a range is `between`.")
        return None
    if not ways:
        if needed and not table.has("give"):
            table.faults.add(table.path, needed, _HOW, table.step)
        return None
    return _read_way(table, ways[0])


_HOW = "Write `about` with `give`, `at_least`, `at_most` or `between`; `at_least = 0` where any time will do."


def _read_way(table: Table, way: BoundKind) -> Bound | None:
    if way == "between":
        ends = table.pair("between")
        return _checked(table, way, *ends) if ends else None
    value = table.number(way)
    if value is None:
        return None
    if way == "about":
        give = table.number("give")
        if give is None:
            if not table.has("give"):
                table.fault("about", *bare_number(value, "about"))
            return None
        if not 0 < give <= value:
            table.fault("give", f"`give` is {give:g} with `about` {value:g}", "It lies above 0 and not above `about`.")
            return None
        return _checked(table, way, value - give, value + give)
    if way == "at_least":
        aim_by = table.number("aim_by")
        if aim_by is not None and not 0 < aim_by <= LONGEST:
            table.fault("aim_by", f"`aim_by` is {aim_by:g}", "It is a number of seconds above 0.")
            return None
        return _checked(table, way, value, math.inf, aim_by)
    return _checked(table, way, 0.0, value)


def _checked(table: Table, way: BoundKind, lo: float, hi: float, aim_by: float | None = None) -> Bound | None:
    lo, hi = round(lo, DIGITS), round(hi, DIGITS)
    if lo < 0:
        table.fault(way, f"`{way}` reaches below 0: {lo:g} s", "Time is counted forwards from the step it is `after`.")
    elif lo > LONGEST or LONGEST < hi < math.inf:
        table.fault(way, f"`{way}` is longer than a day", "Times are seconds.")
    elif lo == hi:
        table.fault(way, f"`{way}` allows {lo:g} s only, which nobody hits", "Say how much it may be off.")
    else:
        return Bound(way, lo, hi, aim_by)
    return None


def read_inner_bound(table: Table, name: str, why: str) -> Bound | None:
    """The bound under ``press``, ``gap`` or ``span``; its absence is a fault that says ``why`` it must be there."""
    if not table.has(name):
        table.faults.add(
            table.path, f"`times` stands without `{name}`", f"{why}: `{name} = {{ between = [ , ] }}`.", table.step
        )
        return None
    inner = table.table(name, INNER_BOUND)
    return read_bound(inner, needed=f"`{name}` has no bound") if inner else None


def read_press(table: Table) -> Bound | None:
    """The bound on each press of a repeat. An open lower end is the shortest press that counts."""
    bound = read_inner_bound(table, "press", "Say how long each press lasts")
    if bound is None:
        return None
    if bound.kind == "at_most" and bound.hi > MIN_PRESS:
        return Bound("between", MIN_PRESS, bound.hi)
    if bound.lo < MIN_PRESS:
        table.fault(
            "press",
            f"a press of {min(bound.lo, bound.hi):g} s may not count",
            f"A press lasts at least {MIN_PRESS:g} s: raise its lower end.",
        )
        return None
    return bound


def read_window(table: Table) -> Bound | None:
    """The window of an answer: `between`, finite, and nothing else."""
    for name in BOUND_WORDS:
        partner = {"give": "about", "aim_by": "at_least"}.get(name, name)
        if name != "between" and table.has(name) and (name == partner or not table.has(partner)):
            table.fault(
                name,
                f"an answer of the car has no `{name}`: nobody chooses its moment",
                "Write `between` with the earliest and the latest it may come.",
            )
    ends = table.pair("between")
    if not table.has("between"):
        if not any(table.has(name) for name in BOUND_WORDS):
            table.faults.add(
                table.path,
                "an answer of the car has no window",
                "Write `between` with the earliest and the latest it may come.",
                table.step,
            )
        return None
    if ends is None:
        return None
    lo, hi = round(ends[0], DIGITS), round(ends[1], DIGITS)
    if lo < 0 or hi > LONGEST:
        table.fault("between", f"the window is {lo:g} to {hi:g} s", f"It lies within 0 to {LONGEST:g}.")
        return None
    return Bound("between", lo, hi)


def read_condition(table: Table) -> Condition | None:
    """What `count_only_while` says: a named condition, or a signal with a bound in its unit."""
    if not table.has("count_only_while"):
        return None
    raw = table.raw["count_only_while"]
    if isinstance(raw, dict):
        return _signal_condition(Table(raw, (*table.path, "count_only_while"), WHILE, table.faults, table.step))
    name = table.text("count_only_while")
    if name is not None and name not in CONDITIONS:
        table.fault("count_only_while", f"no condition is called “{name}”", near(name, CONDITIONS))
        return None
    return Condition(name) if name is not None else None


def _signal_condition(inner: Table) -> Condition | None:
    found = read_signal(inner)
    if found is None:
        return None
    name, unit, lo, hi = found
    if lo is None and hi is None:
        inner.fault("signal", "the condition has no bound", "Write `at_least`, `at_most` or `between` in its unit.")
        return None
    return Condition(f"{name} {range_words(lo, hi)} {unit}", name, lo, hi)


def range_words(lo: float | None, hi: float | None) -> str:
    """A range for people.

    Example: ``range_words(40, None)`` is ``"at least 40"``.
    """
    if lo is None:
        return f"at most {hi:g}"
    return f"at least {lo:g}" if hi is None else f"{lo:g} to {hi:g}"


def read_signal(table: Table) -> tuple[str, str, float | None, float | None] | None:
    """A quantity and its range: name, unit, lowest, highest; None where absent or faulty."""
    ways = [way for way in ("at_least", "at_most", "between") if table.has(way)]
    name = table.text("signal")
    if name is None:
        if ways and not table.has("signal") and "signal" in table.keys and not table.keys["signal"].needed:
            table.fault(ways[0], f"`{ways[0]}` stands without `signal`", "Name the quantity it bounds.")
        return None
    try:
        unit = signal(name).unit
    except UnknownSignalError as why:
        table.fault("signal", why.what, why.way_out)
        return None
    if len(ways) > 1:
        table.fault(ways[1], "the range is stated in more than one way", "Keep one; a range is `between`.")
        return None
    pair = table.pair("between")
    lo, hi = pair if pair else (table.number("at_least"), table.number("at_most"))
    return name, unit, lo, hi
