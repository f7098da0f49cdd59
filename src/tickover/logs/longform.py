"""Long tables, a line a value: (time, signal, value[, unit]) -> the same table a wide file gives.

Lines that follow one another with the same time make one row; a row has a number only where the file has one.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray

from tickover.errors import LogFileError
from tickover.logs.memory import BROKEN, available_memory, refuse_too_large
from tickover.logs.naming import Naming
from tickover.logs.report import BrokenRow
from tickover.logs.table import LARGEST, PRIVATE, SHOWN, Column, Table, only_lines, read_texts, shape_of, unquote
from tickover.logs.words import TIME, Match, match, unit_of

Floats = NDArray[np.float64]

_SIGNAL = frozenset(
    {"signal", "name", "parameter", "channel", "quantity", "pid", "item", "variable", "sensor", "größe", "kanal"}
)
_VALUE = frozenset(["value", "reading", "data", "wert", "valeur", "valor", "valore", "waarde"])
_UNIT = frozenset(["unit", "units", "einheit", "unité", "unite", "unidad"])
_DATE = frozenset(["date", "datum", "fecha"])
_WITHIN = 60


@dataclass(frozen=True, slots=True)
class _Roles:
    line: int
    separator: str
    names: list[str]
    time: int
    date: int | None
    signal: int
    value: int
    unit: int | None
    body: int


def _find(data: bytes) -> _Roles | None:
    position = 0
    for number in range(1, _WITHIN + 1):
        if position >= len(data):
            return None
        end = data.find(b"\n", position)
        end = len(data) if end < 0 else end
        raw = data[position : min(end, position + 2000)].decode("utf-8", "replace")
        position = end + 1
        for separator in (",", ";", "\t", "|"):
            names = [n.strip().strip('"') for n in raw.split(separator)]
            roles = _roles(names) if 3 <= len(names) <= 12 else None
            if roles is not None:
                return _Roles(number, separator, names, *roles, position)
    return None


def _roles(names: list[str]) -> tuple[int, int | None, int, int, int | None] | None:
    words = [set(re.findall(r"[^\W\d_]+", n.lower())) for n in names]
    signal_at = next((i for i, w in enumerate(words) if w & _SIGNAL and not w & _VALUE), None)
    value_at = next((i for i, w in enumerate(words) if w & _VALUE and i != signal_at), None)
    unit_at = next((i for i, w in enumerate(words) if w & _UNIT and i not in {signal_at, value_at}), None)
    taken = {signal_at, value_at, unit_at}
    found = [match(n) if i not in taken else None for i, n in enumerate(names)]
    times = [i for i, m in enumerate(found) if m is not None and m.name == TIME]
    if signal_at is None or value_at is None or not times:
        return None
    date_at = next((i for i in times if words[i] & _DATE), None) if len(times) > 1 else None
    time_at = next(i for i in times if i != date_at)
    return time_at, date_at, signal_at, value_at, unit_at


def parse_long(data: bytes, file: str, naming: Naming) -> tuple[Table, tuple[str, ...]] | None:
    """A long table as a wide one.

    Args:
        data: UTF-8 text as ``open_log`` gives it.
        file: its name, for messages.
        naming: how signal names are understood.
    Returns: the table and what to say about it; None if the file has no header of a long table.
    Raises: LogFileError if it has one and no rows, or no row names the engine speed.
    """
    roles = _find(data)
    if roles is None:
        return None
    body, separator = data[roles.body :], roles.separator
    if b'"' in body:
        body, separator = unquote(body, separator), PRIVATE
    start, stop, fields = shape_of(body, separator)
    blank = fields == 0
    if np.all(blank):
        raise LogFileError("has a header but no rows", file=file, line=roles.line, way_out="Record again.")
    width = len(roles.names)
    need = max(roles.time, roles.date or 0, roles.signal, roles.value) + 1
    good = (fields >= need) & (fields <= width + 1)  # one more for a separator at the end
    line = roles.line + 1 + np.arange(len(fields))
    odd = np.flatnonzero(~good & ~blank)
    if len(odd) > 0.5 * np.count_nonzero(~blank):
        at = int(line[odd[0]])
        raise LogFileError("rows have no usual shape", file=file, line=at, way_out="Export the log again.")
    refuse_too_large(BROKEN * len(odd), file, available_memory(), f"{len(odd):,} broken rows")
    broken = [BrokenRow(line=int(line[i]), what=f"{int(fields[i])} fields where {width} are named") for i in odd]
    if not np.all(good):
        body = only_lines(body, start, stop, good)
    frame = read_texts(body, separator, width + 1, file)
    return _widen(frame, line[good], broken, roles, naming, line[blank], file)


def _numbers_of(texts: pl.Series) -> Floats:
    values = texts.str.strip_chars().str.replace(",", ".", literal=True).cast(pl.Float64, strict=False)
    out = values.to_numpy().astype(np.float64)
    out[~(np.abs(out) < LARGEST)] = np.nan
    return out


def _widen(
    frame: pl.DataFrame,
    line: NDArray[np.int64],
    broken: list[BrokenRow],
    roles: _Roles,
    naming: Naming,
    blank: NDArray[np.int64],
    file: str,
) -> tuple[Table, tuple[str, ...]]:
    value = _numbers_of(frame.to_series(roles.value))
    good = np.isfinite(value)
    broken += [BrokenRow(line=int(line[i]), what="no number in it") for i in np.flatnonzero(~good)]
    frame, value, line = frame.filter(pl.Series(good)), value[good], line[good]
    index, columns = _signals(frame, roles, naming)
    _need_engine_speed(columns, file, roles.line)
    time = frame.to_series(roles.time).str.strip_chars()
    if roles.date is not None and np.isnan(_numbers_of(time)).mean() > 0.5:  # a stopwatch needs no date
        time = frame.to_series(roles.date).str.strip_chars() + " " + time
    row, first = _rows_of(time, index)
    numbers: dict[int, Floats] = {}
    for column in columns[1:]:
        if column.match is not None:
            numbers[column.at] = np.full(len(first), np.nan)
            mine = index == column.at
            numbers[column.at][row[mine]] = value[mine]
    texts: dict[int, pl.Series] = {}
    stamps = time.gather(first)
    clock = _numbers_of(stamps)
    if len(clock) and np.isnan(clock).mean() > 0.5:
        texts[0] = stamps
    else:
        numbers[0] = clock
    said = f"{len(value)} values of {len(columns) - 1} signals make {len(first)} rows"
    remark = f"A long table: {said}; {len(value)} + {len(broken)} broken are its {len(value) + len(broken)} lines."
    still = _still(numbers, len(first), without=0)
    again = time.gather(first).eq_missing(time.gather(first).shift(1)).to_numpy().astype(bool)
    table = Table(
        columns=columns,
        missing=(),
        numbers=numbers,
        texts=texts,
        line=line[first],
        broken=tuple(sorted(broken, key=lambda b: b.line)),
        blank=len(blank),
        bad_cells=0,
        same=still & again,
        still=still,
        blank_at=tuple(blank[:SHOWN].tolist()),
    )
    return table, (remark,)


def _still(numbers: dict[int, Floats], rows: int, *, without: int) -> NDArray[np.bool_]:
    """Whether a row tells nothing new: every value it has is the last one known of that signal."""
    still = np.ones(rows, dtype=bool)
    still[:1] = False
    for at, values in numbers.items():
        if at == without:
            continue
        has = np.isfinite(values)
        known = values[has]
        still[np.flatnonzero(has)[1:]] &= known[1:] == known[:-1]
        still[np.flatnonzero(has)[:1]] = False
    return still


def _signals(frame: pl.DataFrame, roles: _Roles, naming: Naming) -> tuple[NDArray[np.int64], tuple[Column, ...]]:
    """Which signal each line is about, counted from 1; and the columns, the time first."""
    name = frame.to_series(roles.signal).fill_null("").str.strip_chars()
    unit = frame.to_series(roles.unit).fill_null("").str.strip_chars() if roles.unit is not None else name.clear()
    pair = name + PRIVATE + unit if roles.unit is not None else name + PRIVATE
    known = pair.unique(maintain_order=True).to_list()
    place = {text: i + 1 for i, text in enumerate(known)}
    index = (
        pair.replace_strict(place, return_dtype=pl.Int64).to_numpy().astype(np.int64)
        if known
        else np.empty(0, np.int64)
    )
    header = roles.names[roles.time]
    columns = [Column(header, naming.match(header), 0)]
    for text in known:
        called, _, said = text.partition(PRIVATE)
        columns.append(Column(f"{called} [{said}]" if said else called, _named(called, said, naming), len(columns)))
    return index, tuple(columns)


def _named(name: str, unit: str, naming: Naming) -> Match | None:
    return naming.match(name, unit if unit_of(unit) else "")


def _need_engine_speed(columns: tuple[Column, ...], file: str, line: int) -> None:
    if any(c.match is not None and c.match.name == "engine_speed" for c in columns):
        return
    shown = ", ".join(f"“{c.header}”" for c in columns[1:9])
    raise LogFileError(
        f"no row names the engine speed; the names are {shown}", file=file, line=line,
        way_out="Name it “engine speed”, or say which it is in a map file.",
    )  # fmt: skip


def _rows_of(time: pl.Series, index: NDArray[np.int64]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Which row each value goes to, and the first value of each row.

    A new row begins where the time changes; a signal that comes again at one time goes one row further.
    """
    if not len(index):
        return np.empty(0, np.int64), np.empty(0, np.int64)
    change = time.ne_missing(time.shift(1)).to_numpy()
    run = np.cumsum(change)
    order = np.lexsort((np.arange(len(index)), index, run))
    fresh = np.concatenate([[True], (np.diff(run[order]) != 0) | (np.diff(index[order]) != 0)])
    begins = np.flatnonzero(fresh)
    again = np.empty(len(index), dtype=np.int64)
    again[order] = np.arange(len(index)) - np.repeat(begins, np.diff(np.append(begins, len(index))))
    key = run * (int(again.max()) + 1) + again
    _, first, row = np.unique(key, return_index=True, return_inverse=True)
    return row.astype(np.int64), first.astype(np.int64)
