"""Text of any ordinary shape -> columns of numbers, with every row that had to be left out.

Bytes are counted before they are parsed: a row whose number of fields is not the file's usual one is broken, and is
known by its line. What is left has one shape, and polars reads it in bulk.
"""

from __future__ import annotations

import csv
import io
import re
from collections import Counter
from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray

from tickover.errors import LogFileError
from tickover.logs.memory import BROKEN, available_memory, refuse_too_large
from tickover.logs.naming import Naming
from tickover.logs.report import BrokenRow
from tickover.logs.words import TIME, Match, unit_of

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_SEPARATORS = (",", ";", "\t", "|")
_HEADER_WITHIN = 60
_CHUNK = 1 << 20
SHOWN = 100  # blank lines that are named; the rest are counted
LARGEST = 1e17  # no quantity of a car, and no date in microseconds, is larger
PRIVATE = "\x1f"  # unit separator: stands between fields once quotes have been dealt with


@dataclass(frozen=True, slots=True)
class Column:
    """One column: its header, what it was taken for (None where nothing fits), its position."""

    header: str
    match: Match | None
    at: int


@dataclass(frozen=True)
class Table:
    """Rows of one shape.

    Attributes:
        columns: every named column that the rows have.
        missing: names in the header that no row has a field for.
        numbers: parsed columns by position, float64, NaN where there is no number; only those that were matched.
        texts: string columns by position, for time columns that are not plain numbers.
        line: line in the file of each row, counted from 1.
        broken: rows left out.
        blank: blank lines below the header.
        bad_cells: cells of matched columns that hold something but no number.
        same: whether each row equals the one before in every column.
        still: the same, the columns of time left aside.
        blank_at: lines of the first blank ones.
    """

    columns: tuple[Column, ...]
    missing: tuple[str, ...]
    numbers: dict[int, Floats]
    texts: dict[int, pl.Series]
    line: Ints
    broken: tuple[BrokenRow, ...]
    blank: int
    bad_cells: int
    same: NDArray[np.bool_]
    still: NDArray[np.bool_]
    blank_at: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class Header:
    """The line of names: where it is, what it says, and where the rows begin."""

    line: int
    separator: str
    names: list[str]
    matches: list[Match | None]
    body: int  # first byte below the header and its row of units
    first_line: int  # its line


def parse_table(data: bytes, file: str, naming: Naming) -> Table:
    """Split text into columns.

    Args:
        data: UTF-8 text as ``open_log`` gives it.
        file: its name, for messages.
        naming: how headers are understood.
    Returns: the table; nothing is dropped without a count.
    Raises: LogFileError if no header names the engine speed, if there are no rows, or if rows have no usual shape.
    """
    header = _find_header(data, file, naming)
    body = data[header.body :]
    quoted = b'"' in body
    if quoted:
        body, separator = unquote(body, header.separator), PRIVATE
    else:
        separator = header.separator
    start, stop, fields = shape_of(body, separator)
    blank = fields == 0
    if np.all(blank):
        raise LogFileError("has a header but no rows", file=file, line=header.line, way_out="Record again.")
    usual = Counter(fields[~blank].tolist()).most_common(1)[0][0]
    good = fields == usual
    lines = header.first_line + np.arange(len(fields))
    odd = np.flatnonzero(~good & ~blank)
    if len(odd) > 0.5 * np.count_nonzero(~blank):
        raise LogFileError(
            f"rows have no usual shape: {int(fields[odd[0]])} fields where {usual} are usual",
            file=file,
            line=int(lines[odd[0]]),
            way_out="Export the log again with one separator throughout.",
        )
    refuse_too_large(BROKEN * len(odd), file, available_memory(), f"{len(odd):,} broken rows")
    broken = [BrokenRow(line=int(lines[i]), what=f"{int(fields[i])} fields where {usual} are usual") for i in odd]
    if not np.all(good):
        body = only_lines(body, start, stop, good)
    columns, missing = _columns(header, usual, body, separator, file)
    frame = _frame(body, separator, usual, columns, file)
    bad = _bad_cells(frame, body, separator, columns, file)
    return _table(frame, columns, missing, lines[good], broken, lines[blank], bad)


def _find_header(data: bytes, file: str, naming: Naming) -> Header:
    """The line near the top that names most quantities, and the separator with which it does."""
    best: Header | None = None
    best_score = 0
    position = 0
    seen: list[str] = []
    for number in range(1, _HEADER_WITHIN + 1):
        if position >= len(data):
            break
        end = data.find(b"\n", position)
        end = len(data) if end < 0 else end
        raw = data[position : min(end, position + 20_000)].decode("utf-8", "replace")
        position = end + 1
        for separator in _SEPARATORS:
            names = [n.strip() for n in next(csv.reader([raw], delimiter=separator), [])]
            if len(names) < 2 and raw.strip() and separator != ",":
                continue
            matches = [naming.match(n) for n in names]
            score = sum(m is not None for m in matches)
            if score > best_score and not _mostly_numbers(names):
                best = Header(number, separator, names, matches, position, number + 1)
                best_score = score
                seen = names
    if best is None or not any(m is not None and m.name == "engine_speed" for m in best.matches):
        shown = ", ".join(f"“{n}”" for n in seen[:8] if n)
        raise LogFileError(
            "no column names the engine speed" + (f"; the names are {shown}" if shown else " in the first 60 lines"),
            file=file,
            line=best.line if best else None,
            way_out="Name one column “engine speed (r/min)”.",
        )
    return _with_units_row(best, data, naming)


def _mostly_numbers(cells: list[str]) -> bool:
    return sum(bool(re.fullmatch(r"[-+]?[\d.,]+(e[-+]?\d+)?", c)) for c in cells) > len(cells) / 2


def _with_units_row(header: Header, data: bytes, naming: Naming) -> Header:
    """Take a row of units right under the names into account, where there is one."""
    end = data.find(b"\n", header.body)
    end = len(data) if end < 0 else end
    raw = data[header.body : min(end, header.body + 20_000)].decode("utf-8", "replace")
    cells = [c.strip().strip("()[]") for c in next(csv.reader([raw], delimiter=header.separator), [])]
    filled = [c for c in cells if c]
    if not filled or _mostly_numbers(cells) or sum(unit_of(c) is not None for c in filled) < 0.5 * len(filled):
        return header
    cells += [""] * (len(header.names) - len(cells))
    matches = [naming.match(n, c) for n, c in zip(header.names, cells, strict=False)]
    return Header(header.line, header.separator, header.names, matches, end + 1, header.first_line + 1)


def unquote(body: bytes, separator: str) -> bytes:
    """Fields of a quoted file, joined by a separator that cannot occur inside them; one line stays one line."""
    raw = np.frombuffer(body, dtype=np.uint8)
    quote = raw == ord('"')
    inside = (np.cumsum(quote, dtype=np.uint8) & 1).astype(bool)  # the sum may wrap, its lowest bit stays right
    if PRIVATE.encode() not in body and not np.any(inside & (raw == 10)):
        fields = raw.copy()
        fields[(raw == ord(separator)) & ~inside] = ord(PRIVATE)
        return bytes(fields[~quote])
    out = []
    for line in body.decode("utf-8").split("\n"):
        try:
            cells = next(csv.reader([line], delimiter=separator), [])
        except csv.Error:
            cells = [line]
        out.append(PRIVATE.join(c.replace(PRIVATE, " ").replace("\n", " ") for c in cells))
    return "\n".join(out).encode()


def shape_of(body: bytes, separator: str) -> tuple[Ints, Ints, Ints]:
    """Start and stop of each line [bytes] and its number of fields; 0 fields for a blank line."""
    raw = np.frombuffer(body if body.endswith(b"\n") else body + b"\n", dtype=np.uint8)
    ends_in, order_in = [], []
    passed = 0  # separators and line ends seen so far
    for begin in range(0, len(raw), _CHUNK):  # a chunk that fits the cache is three times as fast as the whole
        chunk = raw[begin : begin + _CHUNK]
        mark = np.flatnonzero((chunk == 10) | (chunk == ord(separator)))
        line_end = np.flatnonzero(chunk[mark] == 10)
        ends_in.append(mark[line_end] + begin)
        order_in.append(line_end + passed)
        passed += len(mark)
    ends, order = np.concatenate(ends_in), np.concatenate(order_in)
    starts = np.concatenate([[0], ends[:-1] + 1])
    fields = np.diff(order, prepend=-1)
    fields[ends == starts] = 0
    for i in np.flatnonzero(((ends - starts < 8) | (fields == 1)) & (fields > 0)):
        if body[starts[i] : ends[i]].isspace():
            fields[i] = 0
    return starts.astype(np.int64), ends.astype(np.int64), fields.astype(np.int64)


def only_lines(body: bytes, start: Ints, stop: Ints, good: NDArray[np.bool_]) -> bytes:
    """The good lines alone; neighbouring ones are copied as one piece."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], good, [False]]).astype(np.int8)))
    return b"\n".join(body[start[a] : stop[b - 1]] for a, b in zip(edges[::2], edges[1::2], strict=True)) + b"\n"


def _columns(
    header: Header, usual: int, body: bytes, separator: str, file: str
) -> tuple[tuple[Column, ...], tuple[str, ...]]:
    """Which name stands over which field."""
    names, matches = list(header.names), list(header.matches)
    while names and not names[-1]:
        names.pop()
        matches.pop()
    if usual > len(names):
        sample = [line.split(separator) for line in body[:20_000].decode("utf-8", "replace").split("\n")[:20]]
        extra = [row[len(names) :] for row in sample if len(row) == usual]
        if sum(any(cell.strip() for cell in row) for row in extra) > len(extra) / 2:
            raise LogFileError(
                f"rows have {usual} fields, the header names {len(names)}, so names and values do not line up",
                file=file,
                line=header.line,
                way_out="Name the extra column in the header, or remove it.",
            )
    if usual <= 1 and len(names) > 1:
        raise LogFileError(
            "rows have a single field under a header of many", file=file, line=header.first_line,
            way_out="Export the log again with one separator throughout.",
        )  # fmt: skip
    columns = tuple(Column(n, m, i) for i, (n, m) in enumerate(zip(names[:usual], matches[:usual], strict=True)) if n)
    return columns, tuple(names[usual:])


def _frame(body: bytes, separator: str, width: int, columns: tuple[Column, ...], file: str) -> pl.DataFrame:
    """Every field as a number where it is one, else null; text as it stands for columns of time."""
    times = {c.at for c in columns if c.match is not None and c.match.name == TIME}
    schema = {f"{i}": pl.String if i in times else pl.Float64 for i in range(width)}
    return _parse(body, separator, schema, file, decimal_comma=_decimal_comma(body, separator))


def _parse(
    body: bytes,
    separator: str,
    schema: dict[str, type[pl.String | pl.Float64]],
    file: str,
    *,
    decimal_comma: bool = False,
) -> pl.DataFrame:
    try:
        return pl.read_csv(
            io.BytesIO(body),
            has_header=False,
            schema=schema,
            separator=separator,
            decimal_comma=decimal_comma,
            quote_char=None,
            ignore_errors=True,
            truncate_ragged_lines=True,
        )
    except pl.exceptions.PolarsError as why:
        first = str(why).split("\n")[0]
        raise LogFileError(f"cannot be parsed: {first}", file=file, way_out="Export the log again as CSV.") from None


def read_texts(body: bytes, separator: str, width: int, file: str) -> pl.DataFrame:
    """Every field as the text it is; null where a line is short."""
    full = b"x" + (separator.encode() + b"x") * (width - 1) + b"\n"  # a first line of full width makes room for all
    return _parse(full + body, separator, {f"{i}": pl.String for i in range(width)}, file)[1:]


def _bad_cells(frame: pl.DataFrame, body: bytes, separator: str, columns: tuple[Column, ...], file: str) -> int:
    """Cells of matched columns that are filled and yet no number; a file without gaps is not read a second time."""
    gaps = [f"{c.at}" for c in columns if c.match is not None and frame[f"{c.at}"].null_count()]
    if not gaps:
        return 0
    text = _parse(body, separator, dict.fromkeys(frame.columns, pl.String), file)
    filled = (text[i].str.strip_chars().str.len_chars().fill_null(0) > 0 for i in gaps)
    return sum(int((f & frame[i].is_null()).sum()) for f, i in zip(filled, gaps, strict=True))


def _decimal_comma(body: bytes, separator: str) -> bool:
    if separator == ",":
        return False
    head = body[:20_000].decode("utf-8", "replace")
    cells = [c.strip() for line in head.split("\n")[:50] for c in line.split(separator)]
    commas = sum(bool(re.fullmatch(r"-?\d+,\d+", c)) for c in cells)
    points = sum(bool(re.fullmatch(r"-?\d+\.\d+", c)) for c in cells)
    return commas > points


def _table(
    frame: pl.DataFrame,
    columns: tuple[Column, ...],
    missing: tuple[str, ...],
    lines: Ints,
    broken: list[BrokenRow],
    blank: Ints,
    bad_cells: int,
) -> Table:
    still = np.ones(frame.height, dtype=bool)
    still[:1] = False
    same = still.copy()
    numbers: dict[int, Floats] = {}
    texts: dict[int, pl.Series] = {}
    empty = np.ones(frame.height, dtype=bool)
    for column in columns:
        series = frame.to_series(column.at)
        if series.dtype == pl.String:
            values = series.str.strip_chars().str.replace(",", ".", literal=True).cast(pl.Float64, strict=False)
            if series.len() and values.null_count() > 0.5 * series.len():
                texts[column.at] = series
            else:
                series = values
        if series.dtype != pl.String:
            x = series.to_numpy().astype(np.float64)
            x[~(np.abs(x) < LARGEST)] = np.nan
            repeats = (x[1:] == x[:-1]) | (np.isnan(x[1:]) & np.isnan(x[:-1]))
            empty &= np.isnan(x)
            if column.match is not None:
                numbers[column.at] = x
        else:
            repeats = series.eq_missing(series.shift(1)).to_numpy()[1:]
            empty &= series.is_null().to_numpy()
        same[1:] &= repeats
        if column.match is None or column.match.name != TIME:
            still[1:] &= repeats
    for i in np.flatnonzero(empty):
        broken.append(BrokenRow(line=int(lines[i]), what="no number in it"))
    keep = ~empty
    return Table(
        columns=columns,
        missing=missing,
        numbers=numbers if np.all(keep) else {k: v[keep] for k, v in numbers.items()},
        texts={k: s.filter(pl.Series(keep)) for k, s in texts.items()},
        line=lines[keep],
        broken=tuple(sorted(broken, key=lambda b: b.line)),
        blank=len(blank),
        bad_cells=bad_cells,
        same=same[keep],
        still=still[keep],
        blank_at=tuple(blank[:SHOWN].tolist()),
    )
