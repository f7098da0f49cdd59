"""What the user says about columns: a small map file, and single units. It overrides what the headers suggest."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path

from tickover.errors import LogFileError, TickoverError, UnitError
from tickover.logs.words import TIME, Match, match, unit_of
from tickover.signals import convert, signal


@dataclass(frozen=True)
class Naming:
    """How headers are understood.

    Attributes:
        columns: header to match, from the map file; None leaves the column out.
        units: column (by header or standard name) to unit, on the user's word.
        file: the map file, for messages.
    """

    columns: Mapping[str, Match | None] = field(default_factory=dict)
    units: Mapping[str, str] = field(default_factory=dict)
    file: str = ""

    def match(self, header: str, unit_row: str = "") -> Match | None:
        """As ``words.match``, with the user's word first."""
        key = _key(header)
        found = self.columns[key] if key in self.columns else match(header, unit_row)
        if found is None:
            return None
        unit = self.units.get(key) or self.units.get(_bare(header)) or self.units.get(found.name)
        if unit is None:
            return found
        check_unit(found.name, unit)
        return replace(found, unit=unit, unit_given=True)

    def check_used(self, headers: Iterable[str], names: Iterable[str], file: str) -> None:
        """Refuse a map or a unit that names a column the log does not have; a typing error is not passed over.

        Raises: LogFileError naming it and the columns there are.
        """
        shown = [h for h in headers if h]
        keys = {_key(h) for h in shown}
        known = keys | {_bare(h) for h in shown} | set(names)
        wrong = [c for c in self.columns if c not in keys] + [c for c in self.units if c not in known]
        if wrong:
            raise LogFileError(
                f"has no column “{wrong[0]}”",
                file=file,
                way_out="Its columns are " + ", ".join(f"“{h}”" for h in shown[:12]) + ".",
            )


def _key(header: str) -> str:
    return " ".join(header.lower().split())


def _bare(header: str) -> str:
    """A header without what stands in brackets."""
    return _key(re.sub(r"[(\[][^)\]]*[)\]]", " ", header))


def check_unit(name: str, unit: str) -> None:
    """Refuse a unit that cannot carry a quantity.

    Raises: LogFileError naming both.
    """
    own = "s" if name == TIME else signal(name).unit
    try:
        convert(1.0, unit, own)
    except UnitError:
        raise LogFileError(f"{name} cannot be in “{unit}”", way_out=f"Its own unit is {own}.") from None


def set_units(words: Iterable[str]) -> dict[str, str]:
    """Units on the user's word, each written ``COLUMN=UNIT``.

    Raises: LogFileError if one has no such shape or an unknown unit.
    Example: ``set_units(["MAP=mbar"])`` is ``{"map": "mbar"}``.
    """
    out = {}
    for word in words:
        column, equals, unit = word.rpartition("=")
        known = unit_of(unit)
        if not equals or not column.strip() or known is None:
            raise LogFileError(
                f"“{word}” is no column with a unit", way_out="Write it like “manifold_pressure=mbar” or “Speed=mph”."
            )
        out[_key(column)] = known
    return out


def read_map(path: str | Path) -> dict[str, Match | None]:
    """The map file: a TOML table from column header to quantity, with its unit in square brackets.

    ``"Druck 1" = "manifold_pressure [mbar]"``; ``"t" = "time [ms]"``; ``"Speed 2" = ""`` leaves a column out.

    Args:
        path: the file; the entries may stand under ``[columns]``.
    Returns: header (lower case) to match.
    Raises: LogFileError naming the file and the entry.
    """
    try:
        table = tomllib.loads(Path(path).read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError, ValueError) as why:
        words = why.strerror if isinstance(why, OSError) and why.strerror else str(why)
        raise LogFileError(
            f"is no map file: {words}", file=str(path), way_out="See docs/how-to/bring-a-log.md."
        ) from None
    entries = table.get("columns", table)
    if not isinstance(entries, dict) or not entries:
        raise LogFileError("maps no column", file=str(path), way_out='Write "Header" = "engine_speed [r/min]".')
    return {_key(header): _entry(header, said, str(path)) for header, said in entries.items()}


def _entry(header: str, said: object, file: str) -> Match | None:
    found = re.fullmatch(r"\s*(\w+)?\s*(?:\[([^\]]*)\])?\s*", said) if isinstance(said, str) else None
    if found is None or (found[2] is not None and (found[1] is None or unit_of(found[2]) is None)):
        raise LogFileError(
            f"“{header}” = “{said}” is not a signal with its unit",
            file=file,
            way_out='Write "Header" = "manifold_pressure [mbar]", or "" to leave it out.',
        )
    if found[1] is None:
        return None
    try:
        own = "s" if found[1] == TIME else signal(found[1]).unit
        unit = unit_of(found[2]) if found[2] else None
        if unit is not None:
            check_unit(found[1], unit)
    except TickoverError as why:
        raise LogFileError(f"“{header}”: {why.what}", file=file, way_out=why.way_out) from None
    return Match(found[1], unit or own, unit is not None, guessed=False)
