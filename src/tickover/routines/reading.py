"""Reads tables of a routine file against the grammar and collects every fault on the way; it never stops at one."""

from __future__ import annotations

import difflib
import math
import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any, TypeGuard

from tickover.errors import Fault
from tickover.routines.grammar import INSTEAD, SHAPES, Key, Shape
from tickover.routines.positions import Path, Positions

NAME = re.compile(r"[a-z][a-z0-9-]*")


class Faults:
    """The faults of one file, in the order found.

    Args:
        positions: where each path of the file stands.
    """

    def __init__(self, positions: Positions) -> None:
        self.positions = positions
        self.items: list[Fault] = []

    def add(self, path: Path, what: str, way_out: str = "", step: str | None = None) -> None:
        """Note a fault at the line of a path."""
        self.at(self.positions.line(path), what, way_out, step)

    def at(self, line: int | None, what: str, way_out: str = "", step: str | None = None) -> None:
        """Note a fault at a line; the same fault is noted once."""
        fault = Fault(line, what, way_out, step)
        if fault not in self.items:
            self.items.append(fault)

    def sorted(self) -> list[Fault]:
        """The faults from top to bottom of the file."""
        return sorted(self.items, key=lambda f: f.line or 0)


def is_number(value: object) -> TypeGuard[int | float]:
    """Whether a TOML value is a finite number; true and false are none."""
    if not isinstance(value, int | float) or isinstance(value, bool):
        return False
    try:
        return math.isfinite(value)
    except OverflowError:  # a whole number beyond any float
        return False


def near(word: str, words: Iterable[str]) -> str:
    """A way out for a word that is not known: what it is called here, or the nearest word, or all of them."""
    words = list(words)
    if word.lower() in INSTEAD:
        return INSTEAD[word.lower()]
    close = difflib.get_close_matches(word, words, n=2, cutoff=0.6)
    if close:
        return f"Did you mean {' or '.join(f'`{c}`' for c in close)}?"
    return f"Known here: {', '.join(f'`{w}`' for w in words)}." if words else ""


def bare_number(value: float, key: str) -> tuple[str, str]:
    """What is wrong with a bare number of seconds, and the way out."""
    close = float(f"{value * 0.87:.2g}")
    return (
        f"`{key}` is a bare {value:g} s, which does not say whether {close:g} s will do",
        "Write `about` with `give`, `at_least`, `at_most` or `between`.",
    )


class Table:
    """One table of the file, read key by key. A key of the wrong shape is a fault and reads as absent.

    Args:
        raw: its values.
        path: where it stands.
        keys: the keys it may have.
        faults: where faults go.
        step: the step it belongs to, for the faults.
        elsewhere: keys that are known but belong to another kind of table, with the reason.
    """

    def __init__(
        self,
        raw: Mapping[str, Any],
        path: Path,
        keys: Sequence[Key],
        faults: Faults,
        step: str | None = None,
        elsewhere: Mapping[str, str] | None = None,
    ) -> None:
        self.raw = raw
        self.path = path
        self.faults = faults
        self.step = step
        self.keys = {key.name: key for key in keys}
        for name in raw:
            if elsewhere and name in elsewhere:
                self.fault(name, f"`{name}` does not belong here", elsewhere[name])
            elif name not in self.keys:
                self.fault(name, f"no key is called `{name}`", near(name, self.keys))
        for key in keys:
            if key.needed and key.name not in raw:
                self.faults.add(path, f"`{key.name}` is missing", key.meaning, step)

    def fault(self, name: str, what: str, way_out: str = "") -> None:
        """Note a fault at one key of this table."""
        self.faults.add((*self.path, name), what, way_out, self.step)

    def has(self, name: str) -> bool:
        """Whether the key is written, well or badly."""
        return name in self.raw

    def text(self, name: str) -> str | None:
        """A text, stripped; an empty one is a fault."""
        value = self._checked(name)
        return str(value).strip() if value is not None else None

    def word(self, name: str) -> str:
        """A text, empty where it is absent."""
        return self.text(name) or ""

    def texts(self, name: str) -> tuple[str, ...]:
        """A list of texts, or of names, or of choices; empty where it is absent."""
        value = self._checked(name)
        return tuple(str(v).strip() for v in value) if value is not None else ()

    def flag(self, name: str) -> bool:
        """True or false; false where it is absent."""
        return bool(self._checked(name))

    def whole(self, name: str, lo: int, hi: int) -> int | None:
        """A whole number from ``lo`` to ``hi``."""
        value = self._checked(name)
        if value is None:
            return None
        if not lo <= value <= hi:
            self.fault(name, f"`{name}` is {value}", f"It lies from {lo} to {hi}.")
            return None
        return int(value)

    def number(self, name: str) -> float | None:
        """A finite number."""
        value = self._checked(name)
        return float(value) if value is not None else None

    def pair(self, name: str) -> tuple[float, float] | None:
        """Two numbers, the first not above the second."""
        value = self._checked(name)
        if value is None:
            return None
        lo, hi = float(value[0]), float(value[1])
        if lo > hi:
            self.fault(name, f"`{name}` is upside down: {lo:g} to {hi:g}", f"Write [{hi:g}, {lo:g}].")
            return None
        return lo, hi

    def table(self, name: str, keys: Sequence[Key]) -> Table | None:
        """A table within this one."""
        value = self._checked(name)
        return Table(value, (*self.path, name), keys, self.faults, self.step) if value is not None else None

    def tables(self, name: str) -> list[tuple[Path, Mapping[str, Any]]]:
        """A list of tables, each with where it stands."""
        value = self._checked(name)
        return [((*self.path, name, number), item) for number, item in enumerate(value or ())]

    def _checked(self, name: str) -> Any:  # noqa: ANN401 - a TOML value, of the shape that its key asks for
        """The raw value where it has the shape of its key, else None and a fault."""
        if name not in self.raw or name not in self.keys:  # an unknown key was noted already
            return None
        key, value = self.keys[name], self.raw[name]
        if _SHAPE_TESTS[key.shape](value):
            return value if self._among(key, value) else None
        if is_number(value) and key.name in {"press", "gap", "span", "after"}:
            self.fault(name, *bare_number(float(value), name))
        elif key.shape == "name" and isinstance(value, str):
            self.fault(name, f"“{value}” is not a name", "Small letters, digits and hyphens, a letter first.")
        else:
            takes = ", ".join(f"`{w}`" for w in key.among) if key.among else SHAPES[key.shape]
            shown = repr(value) if not isinstance(value, bool) else str(value).lower()
            self.fault(name, f"`{name}` is {shown[:60]}", f"It takes {takes}.")
        return None

    def _among(self, key: Key, value: str | list[str]) -> bool:
        words = [value] if isinstance(value, str) else value
        strange = [w for w in words if w not in key.among] if key.among else []
        for word in strange:
            self.fault(key.name, f"“{word}” is not a `{key.name}`", near(word, key.among))
        return not strange


def _is_text(value: object) -> bool:
    return isinstance(value, str) and bool(value.strip())


def _is_name(value: object) -> bool:
    return isinstance(value, str) and NAME.fullmatch(value) is not None


def _list_of(test: Callable[[object], bool], *, least: int = 0) -> Callable[[Any], bool]:
    return lambda value: isinstance(value, list) and len(value) >= least and all(test(v) for v in value)


def _is_table(value: object) -> bool:
    return isinstance(value, dict)


_SHAPE_TESTS: dict[Shape, Callable[[Any], bool]] = {
    "text": _is_text,
    "texts": _list_of(_is_text),
    "name": _is_name,
    "names": _list_of(_is_name),
    "flag": lambda value: isinstance(value, bool),
    "whole": lambda value: isinstance(value, int) and not isinstance(value, bool),
    "number": is_number,
    "pair": lambda value: isinstance(value, list) and len(value) == 2 and all(is_number(v) for v in value),
    "choice": _is_text,
    "choices": _list_of(_is_text, least=1),
    "table": _is_table,
    "tables": _list_of(_is_table),
    "while": lambda value: _is_text(value) or isinstance(value, dict),
}
