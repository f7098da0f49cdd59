"""In which line of a TOML text each key stands.

The standard library reads TOML but forgets the lines, and a fault without its line is half a fault. This scan walks a
text that ``tomllib`` has already accepted and notes where every key, table and list item begins. It reads structure
only: values are skipped, never interpreted.
"""

from __future__ import annotations

import bisect
import re
import tomllib
from typing import Any

from tickover.errors import Fault, RoutineFileError

Path = tuple[str | int, ...]
"""Where a value stands: ``("steps", 2, "about")`` is written ``steps[2].about``."""

_BARE = re.compile(r"[A-Za-z0-9_-]+")
_SPACE = re.compile(r"[ \t]*")
_BLANK = re.compile(r"(?:[ \t\r\n]|#[^\n]*)*")
_SCALAR = re.compile(r"[^,\]}#\r\n]*")
_WHERE = re.compile(r" \(at (?:line (?P<line>\d+), column \d+|end of document)\)$")


def path_words(path: Path) -> str:
    """Write a path as people do.

    Example: ``path_words(("steps", 2, "about"))`` is ``"steps[2].about"``.
    """
    words = ""
    for part in path:
        words += f"[{part}]" if isinstance(part, int) else f".{part}" if words else str(part)
    return words


class Positions:
    """Lines of a TOML text by path; a path that is not there answers with its nearest parent's line."""

    def __init__(self, lines: dict[Path, int]) -> None:
        self.lines = lines

    def line(self, path: Path) -> int:
        """The line of a path, counted from 1; of its nearest parent where the path itself is absent."""
        while path and path not in self.lines:
            path = path[:-1]
        return self.lines.get(path, 1)


def read_toml(text: str, file: str) -> tuple[dict[str, Any], Positions]:
    """Parse TOML and find the line of every key.

    Args:
        text: the whole text.
        file: its name, for the error.
    Returns: the values as ``tomllib`` gives them, and their positions.
    Raises: RoutineFileError with the line and a way out where the text is not TOML.
    """
    try:
        values = tomllib.loads(text)
    except RecursionError:
        raise RoutineFileError(file, [Fault(None, "lists are nested too deeply to be read")]) from None
    except ValueError as why:
        raise RoutineFileError(file, [_syntax_fault(text, str(why))]) from None
    return values, scan(text)


def scan(text: str) -> Positions:
    """Find the line of every key, table and list item.

    Args:
        text: valid TOML 1.0.
    Returns: lines counted from 1, by path. A table that is only implied stands where it is first mentioned.
    """
    return Positions(_Scanner(text).document())


def _syntax_fault(text: str, message: str) -> Fault:
    found = _WHERE.search(message)
    line = None
    if found:
        line = int(found["line"]) if found["line"] else max(1, len(text.splitlines()))
    what = _WHERE.sub("", message)
    row = text.splitlines()[line - 1] if line is not None and line <= len(text.splitlines()) else ""
    if text.startswith("\ufeff"):
        return Fault(1, "begins with a byte order mark", "Save the file as plain UTF-8.")
    if row.count("{") > row.count("}"):
        return Fault(
            line,
            f"not TOML: {what}",
            "TOML keeps { … } on one line: join the lines, or write the step under [[steps]].",
        )
    if re.search(r"=\s*[A-Za-z]", row) and "value" in what.lower():
        return Fault(line, f"not TOML: {what}", "Text stands in quotes; true and false are written small.")
    return Fault(line, f"not TOML: {what}", "A line reads name = value, with text in quotes.")


class _Scanner:
    """One pass over the text. ``at`` is the place of the next character."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.at = 0
        self.breaks = [m.start() for m in re.finditer("\n", text)]
        self.lines: dict[Path, int] = {}
        self.counts: dict[Path, int] = {}

    def document(self) -> dict[Path, int]:
        base: Path = ()
        while True:
            self._skip(_BLANK)
            if self.at >= len(self.text):
                return self.lines
            base = self._header() if self._here() == "[" else self._pair(base)

    def _header(self) -> Path:
        listed = self.text.startswith("[[", self.at)
        line = self._line()
        self.at += 2 if listed else 1
        keys = self._keys()
        self.at += 2 if listed else 1
        path: Path = ()
        for number, (key, _) in enumerate(keys):
            path = (*path, key)
            self.lines.setdefault(path, line)
            if listed and number == len(keys) - 1:
                self.counts[path] = self.counts.get(path, 0) + 1
            if path in self.counts:
                path = (*path, self.counts[path] - 1)
                self.lines.setdefault(path, line)
        if not listed:
            self.lines[path] = line
        return path

    def _pair(self, base: Path) -> Path:
        path = base
        for key, line in self._keys():
            path = (*path, key)
            self.lines.setdefault(path, line)
        self.at += 1  # the equals sign
        self._skip(_SPACE)
        self._value(path)
        return base

    def _keys(self) -> list[tuple[str, int]]:
        keys = []
        while True:
            self._skip(_SPACE)
            line, start = self._line(), self.at
            if self._here() in "\"'":
                self._string()
                keys.append((str(tomllib.loads(f"key = {self.text[start : self.at]}")["key"]), line))
            else:
                self._skip(_BARE)
                keys.append((self.text[start : self.at], line))
            self._skip(_SPACE)
            if self._here() != ".":
                return keys
            self.at += 1

    def _value(self, path: Path) -> None:
        mark = self._here()
        if mark == "[":
            self._array(path)
        elif mark == "{":
            self._inline(path)
        elif mark in "\"'":
            self._string()
        else:
            self._skip(_SCALAR)

    def _array(self, path: Path) -> None:
        self.at += 1
        count = 0
        while True:
            self._skip(_BLANK)
            if self._here() == "]":
                break
            if self._here() == ",":
                self.at += 1
                continue
            item = (*path, count)
            self.lines[item] = self._line()
            self._value(item)
            count += 1
        self.at += 1

    def _inline(self, path: Path) -> None:
        self.at += 1
        while True:
            self._skip(_BLANK)
            if self._here() == "}":
                break
            if self._here() == ",":
                self.at += 1
                continue
            self._pair(path)
        self.at += 1

    def _string(self) -> None:
        quote = self._here()
        if not self.text.startswith(quote * 3, self.at):
            self.at = self._closing(self.at + 1, quote, quote) + 1
            return
        self.at = self._closing(self.at + 3, quote * 3, quote) + 3
        for _ in range(2):  # one or two quotes may stand just before the closing three
            if self._here() == quote:
                self.at += 1

    def _closing(self, start: int, delimiter: str, quote: str) -> int:
        at = start
        while not self.text.startswith(delimiter, at):
            at += 2 if quote == '"' and self.text[at] == "\\" else 1
        return at

    def _here(self) -> str:
        return self.text[self.at] if self.at < len(self.text) else "\0"

    def _skip(self, pattern: re.Pattern[str]) -> None:
        found = pattern.match(self.text, self.at)
        assert found is not None
        self.at = found.end()

    def _line(self) -> int:
        return bisect.bisect_left(self.breaks, self.at) + 1
