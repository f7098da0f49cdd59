"""Reads the steps of a routine file, and its cycles; every fault is noted, none stops the reading."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

from tickover.attempts import Kind
from tickover.routines.bounds import BOUND_WORDS, read_bound, read_condition, read_inner_bound, read_press, read_window
from tickover.routines.grammar import CAR, CYCLE, DO, LAMP, MOST_TIMES, STEP
from tickover.routines.model import Bound, Cycle, Repeat, Step
from tickover.routines.positions import Path
from tickover.routines.reading import Faults, Table, is_number, near

Items = Sequence[tuple[Path, Mapping[str, Any]]]

NO_BOUND = "the step has no bound"
FIRST = "The clock starts with the first step: it has no bound and no `after`."
REPEATS = ("press", "gap", "span")
NO_ACTS = ("wait", "pause", "hold", "action")
_ANY = Bound("at_least", 0.0, math.inf)


class StepReader:
    """Reads the list of steps.

    Args:
        faults: where faults go.
    """

    def __init__(self, faults: Faults) -> None:
        self.faults = faults
        self.lines: dict[str, int] = {}
        self.known: set[str] = set()

    def read(self, items: Items) -> tuple[Step | Cycle, ...] | None:
        """Read the steps.

        Args:
            items: the tables under ``steps``.
        Returns: steps and cycles in their order; None where one of them is not even clear in what it does. A step
            whose bound is faulty is returned without one: what is done can be checked all the same.
        """
        self.known = {str(name) for _, raw in items for name in _names_in(raw)}
        found: list[Step | Cycle | None] = []
        visible: list[str] = []
        for number, (path, raw) in enumerate(items):
            first = number == 0
            item = self._cycle(path, raw, visible, first) if _is_cycle(raw) else self._step(path, raw, visible, first)
            found.append(item)
            if item is not None:
                visible += [*(s.id for s in item.steps), item.id] if isinstance(item, Cycle) else [item.id]
        return tuple(i for i in found if i is not None) if all(i is not None for i in found) else None

    def _cycle(self, path: Path, raw: Mapping[str, Any], visible: list[str], first: bool) -> Cycle | None:
        name = _label(raw, path)
        table = Table(raw, path, CYCLE, self.faults, name, _misplaced(CYCLE, "It belongs to the steps of the cycle."))
        identity = self._identity(table)
        times = table.whole("times", 2, MOST_TIMES)
        after, bound = self._start(table, visible, first)
        inner: list[Step | None] = []
        round_ids: list[str] = []
        items = table.tables("cycle")
        for number, (place, step_raw) in enumerate(items):
            step = None
            if _is_cycle(step_raw):
                self.faults.add(
                    place, "a cycle stands within a cycle", "Write its rounds out.", _label(step_raw, place)
                )
            else:
                step = self._step(place, step_raw, round_ids, False, leads_round=number == 0)
            inner.append(step)
            round_ids += [step.id] if step else []
        if table.has("cycle") and not items:
            table.fault("cycle", "the cycle has no steps", "Write at least two.")
        if identity is None or times is None or not inner or any(s is None for s in inner):
            return None
        return Cycle(
            id=identity,
            line=self.faults.positions.line(path),
            times=times,
            steps=tuple(s for s in inner if s is not None),
            after=after,
            bound=bound,
            caution=table.word("caution"),
            why=table.word("why"),
        )

    def _step(
        self, path: Path, raw: Mapping[str, Any], visible: list[str], first: bool, *, leads_round: bool = False
    ) -> Step | None:
        name = _label(raw, path)
        table = Table(
            raw, path, STEP, self.faults, name, _misplaced(STEP, "A cycle is an item of its own, without an act.")
        )
        identity = self._identity(table)
        act = self._act(table)
        if leads_round and table.has("after"):
            table.fault(
                "after", "the first step of a cycle is counted from the end of the round before", "Leave it out."
            )
        if act is None:
            self._start(table, visible, first, bounded=False)
            return None
        kind, answer = act
        if answer and first:
            table.faults.add(
                path, "the first step is an answer of the car", "Begin with something a person does.", name
            )
        after, bound = self._start(table, visible, first, answer=answer, leads_round=leads_round)
        self._strangers(table, kind, answer)
        repeat = self._repeat(table) if kind == "press" and table.has("times") else None
        condition = None if answer or first else read_condition(table)
        until = self._earlier(table, "forbidden_until", visible) if not answer else None
        if identity is None:
            return None
        return Step(
            id=identity,
            line=self.faults.positions.line(path),
            kind=kind,
            answer=answer,
            after=after,
            bound=bound,
            repeat=repeat,
            load=table.word("load"),
            speed=self._speed(table, "speed", 500, 6000),
            road_speed=self._speed(table, "road_speed", 1, 250),
            condition=condition,
            forbidden_until=until,
            harm=table.word("harm"),
            bus_silent=table.flag("bus_silent"),
            if_none=table.word("if_none"),
            caution=table.word("caution"),
            why=table.word("why"),
            say=table.word("say"),
            title=table.word("title"),
        )

    def _identity(self, table: Table) -> str | None:
        name = table.text("id")
        if name is None:
            return None
        if name in self.lines:
            table.fault("id", f"“{name}” is the name of two steps, the other in line {self.lines[name]}", "Rename one.")
        self.lines.setdefault(name, self.faults.positions.line((*table.path, "id")))
        return name

    def _act(self, table: Table) -> tuple[Kind, bool] | None:
        ways = [way for way in ("do", "lamp", "car") if table.has(way)]
        if len(ways) > 1:
            table.fault(ways[1], f"the step has both `{ways[0]}` and `{ways[1]}`", "Make two steps of it.")
            return None
        if not ways:
            if not any(table.has(word) for word in NO_ACTS):  # that fault is noted already, with its way out
                self.faults.add(
                    table.path,
                    "the step says neither `do` nor `lamp` nor `car`",
                    f"`do` takes {', '.join(f'`{w}`' for w in DO)}.",
                    table.step,
                )
            return None
        word = table.text(ways[0])
        if word is None:
            return None
        if ways[0] == "do":
            return next((kind, False) for kind in DO if kind == word)
        return (LAMP if ways[0] == "lamp" else CAR)[word], True

    def _start(
        self,
        table: Table,
        visible: list[str],
        first: bool,
        *,
        answer: bool = False,
        leads_round: bool = False,
        bounded: bool = True,
    ) -> tuple[str | None, Bound | None]:
        """What the step's bound is counted from, and the bound."""
        if first:
            for name in ("after", *BOUND_WORDS, "count_only_while"):
                if table.has(name):
                    table.fault(name, f"`{name}` stands on the first step", FIRST)
            return None, None
        after = None if leads_round else self._earlier(table, "after", visible)
        if after is None and visible and not leads_round:
            after = visible[-1]
        if answer:
            return after, read_window(table)
        bounded = bounded and not is_number(table.raw.get("after"))  # that fault says all there is to say
        return after, read_bound(table, needed=NO_BOUND if bounded else "")

    def _earlier(self, table: Table, key: str, visible: list[str]) -> str | None:
        name = table.text(key)
        if name is None or name in visible:
            return name
        if name == table.raw.get("id"):
            table.fault(key, f"`{key}` names the step itself", "It names an earlier one.")
        elif name in self.lines and name not in visible and len(table.path) > 2:
            table.fault(key, f"`{key}` names “{name}”, which is outside this round", "It names an earlier step of it.")
        elif name in self.known:
            table.fault(key, f"`{key}` names “{name}”, which comes later", "It names an earlier step.")
        else:
            table.fault(key, f"`{key}` names “{name}”, which is no step", near(name, visible))
        return None

    def _repeat(self, table: Table) -> Repeat:
        times = table.whole("times", 2, MOST_TIMES)
        press = read_press(table)
        gap = read_inner_bound(table, "gap", "Say how long the pedal is up between two presses")
        span = read_inner_bound(table, "span", "Say how long all of them take, first press to last let-up")
        # Any bound stands in for a faulty one, so that the order of the acts can still be checked.
        return Repeat(times or 2, press or _ANY, gap or _ANY, span or _ANY)

    def _speed(self, table: Table, name: str, least: float, most: float) -> tuple[float, float] | None:
        ends = table.pair(name)
        if ends is None:
            return None
        if not least <= ends[0] < ends[1] <= most:
            table.fault(
                name,
                f"`{name}` is {ends[0]:g} to {ends[1]:g}",
                f"It is a range within {least:g} to {most:g}, its ends apart.",
            )
            return None
        return ends

    def _partner(self, table: Table, name: str, wanted: bool, stands_with: str, add: str) -> None:
        """A key that one sort of act must have and no other may."""
        if table.has(name) and not wanted:
            table.fault(name, f"`{name}` stands without {stands_with}")
        elif wanted and not table.has(name):
            self.faults.add(table.path, f"the step does not say which {name}", add, table.step)

    def _strangers(self, table: Table, kind: Kind, answer: bool) -> None:
        """Keys that mean nothing for this sort of step, and keys that miss their partner."""
        if table.has("times") and kind != "press":
            table.fault("times", "only presses have `times`", "Several steps repeat as a `cycle`.")
        for name in REPEATS:
            if table.has(name) and not table.has("times"):
                table.fault(name, f"`{name}` stands without `times`", "A single press is a step, its let-up another.")
        self._partner(table, "load", kind in {"load on", "load off"}, "`load on` or `load off`", 'Add `load = "…"`.')
        self._partner(table, "speed", kind == "hold speed", "`hold speed`", "Add `speed = [ , ]`, in r/min.")
        if table.has("road_speed") and kind != "drive":
            table.fault("road_speed", "`road_speed` stands without `drive`")
        if table.has("harm") and not table.has("forbidden_until"):
            table.fault("harm", "`harm` stands without `forbidden_until`", "Say before which step it is a harm.")
        if answer and not table.has("if_none"):
            self.faults.add(
                table.path, "nothing says what to do if the answer does not come", 'Add `if_none = "stop"`.', table.step
            )
        for name in ("count_only_while", "forbidden_until") if answer else ("if_none",):
            if table.has(name):
                why = "an answer of the car has no" if answer else "only an answer of the car has"
                table.fault(name, f"{why} `{name}`", "Leave it out.")


def _is_cycle(raw: Mapping[str, Any]) -> bool:
    return "cycle" in raw and not any(way in raw for way in ("do", "lamp", "car"))


def _label(raw: Mapping[str, Any], path: Path) -> str:
    name = raw.get("id")
    return name if isinstance(name, str) and name else ".".join(str(p + 1) for p in path if isinstance(p, int))


def _misplaced(keys: Sequence[Any], why: str) -> dict[str, str]:
    """Keys of the other sort of table, with the reason that they do not belong here."""
    here = {key.name for key in keys}
    return {key.name: why for key in (*STEP, *CYCLE) if key.name not in here}


def _names_in(raw: Mapping[str, Any]) -> list[Any]:
    inner = raw.get("cycle")
    listed = inner if isinstance(inner, list) else []
    return [r.get("id") for r in (raw, *(i for i in listed if isinstance(i, dict)))]
