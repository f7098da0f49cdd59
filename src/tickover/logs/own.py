"""Our own CSV of a recording: reads back exactly the same, and opens in any spreadsheet.

The first line is a comment with what a table cannot hold. Each row has a time and, under a signal's name, a value only
where it was measured. How each sample's bracket follows from its row is stated per signal: ``exact`` (t_lo = t_hi),
``previous`` (since the sample before), or a column of its own with t_lo.
"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tickover.errors import LogFileError, TickoverError
from tickover.logs import quality
from tickover.logs.report import ColumnUsed, LogReport
from tickover.signals import Recording, Series, signal

Floats = NDArray[np.float64]

_MARK = "# tickover recording v1 "


def is_own(data: bytes) -> bool:
    """Whether the text was written by ``write_log``."""
    return data.startswith(_MARK.encode())


def write_log(recording: Recording, path: str | Path) -> None:
    """Write a recording so that ``read_log`` gives the same one back.

    Args:
        recording: any recording.
        path: where to; an existing file is replaced.
    Raises: LogFileError if the file cannot be written.
    """
    try:
        Path(path).write_text(format_log(recording), encoding="utf-8", newline="\n")
    except OSError as why:
        raise LogFileError(
            f"cannot be written: {why.strerror or why}", file=str(path), way_out="Name a folder you may write to."
        ) from None


def format_log(recording: Recording) -> str:
    """The text that ``write_log`` writes."""
    brackets = {name: _bracket(recording[name]) for name in recording}
    head = {
        "source": recording.source,
        "simulated": recording.simulated,
        "brackets": brackets,
        "notes": list(recording.notes),
    }
    names = ["time [s]"]
    rows: dict[tuple[float, int], dict[int, str]] = {}
    for name in recording:
        series = recording[name]
        at = len(names)
        names.append(f"{name} [{signal(name).unit}]")
        own_lo = brackets[name] == "column"
        if own_lo:
            names.append(f"{name} t_lo [s]")
        for i, (t, nth) in enumerate(zip(series.t_hi.tolist(), _nth(series.t_hi), strict=True)):
            cells = rows.setdefault((t, nth), {})
            cells[at] = repr(float(series.value[i]))
            if own_lo:
                cells[at + 1] = repr(float(series.t_lo[i]))
    out = io.StringIO()
    out.write(_MARK + json.dumps(head, ensure_ascii=False).replace("\r", "\\r") + "\n")
    table = csv.writer(out, lineterminator="\n")
    table.writerow(names)
    for (t, _), cells in sorted(rows.items(), key=lambda item: item[0]):
        table.writerow([repr(t), *(cells.get(i, "") for i in range(1, len(names)))])
    return out.getvalue()


def _nth(t: Floats) -> list[int]:
    """How many samples before this one bear the same time; they need rows of their own."""
    first = np.searchsorted(t, t, side="left")
    return [int(i) for i in np.arange(len(t)) - first]


def _bracket(series: Series) -> str:
    if np.array_equal(series.t_lo, series.t_hi):
        return "exact"
    return "previous" if len(series) > 1 and np.array_equal(series.t_lo[1:], series.t_hi[:-1]) and (
        series.t_lo[0] == _before_first(series.t_hi)
    ) else "column"  # fmt: skip


def _before_first(t_hi: Floats) -> float:
    """Where the first bracket begins if nothing else is said: one sample's spacing before it ends."""
    return float(t_hi[0] - (t_hi[1] - t_hi[0])) if len(t_hi) > 1 else float(t_hi[0])


def parse_own(data: bytes, file: str) -> tuple[Recording, LogReport]:
    """Read back what ``write_log`` wrote.

    Args:
        data: the text, line feeds only.
        file: its name, for messages.
    Returns: the same recording, and the report.
    Raises: LogFileError naming the line that was damaged.
    """
    lines = data.decode("utf-8").split("\n")
    head = _head(lines[0], file)
    try:
        rows = list(csv.reader(lines[1:]))
    except csv.Error as why:
        raise LogFileError(f"is damaged: {why}", file=file, way_out="Export it again.") from None
    if not rows or not rows[0] or rows[0][0] != "time [s]":
        raise LogFileError("the line of names is missing or damaged", file=file, line=2, way_out="Export it again.")
    names = rows[0]
    cells: dict[str, tuple[list[float], list[float]]] = {n: ([], []) for n in names[1:]}
    used = 0
    for number, row in enumerate(rows[1:], start=3):
        if not row:
            continue
        if len(row) != len(names):
            raise LogFileError(f"{len(row)} fields where {len(names)} are named", file=file, line=number,
                               way_out="The file was damaged or cut off; export it again.")  # fmt: skip
        used += 1
        try:
            t = float(row[0])
            for name, cell in zip(names[1:], row[1:], strict=True):
                if cell:
                    cells[name][0].append(t)
                    cells[name][1].append(float(cell))
        except ValueError:
            raise LogFileError("a cell is no number", file=file, line=number, way_out="Export it again.") from None
    series = _assemble(names[1:], cells, head, file)
    recording = Recording(series, str(head["source"]), bool(head["simulated"]), tuple(str(n) for n in head["notes"]))
    return recording, _report(recording, file, used)


def _head(line: str, file: str) -> dict[str, Any]:
    try:
        head = json.loads(line.removeprefix(_MARK))
        if not isinstance(head, dict) or not isinstance(head["brackets"], dict) or not isinstance(head["notes"], list):
            raise ValueError
        head["source"], head["simulated"]
    except (ValueError, KeyError, RecursionError):
        raise LogFileError("the first line is damaged", file=file, line=1, way_out="Export it again.") from None
    return head


def _assemble(
    names: Sequence[str], cells: dict[str, tuple[list[float], list[float]]], head: dict[str, Any], file: str
) -> dict[str, Series]:
    out: dict[str, Series] = {}
    for column in names:
        name, _, rest = column.partition(" ")
        if rest.startswith("t_lo"):
            continue
        kind = head["brackets"].get(name)
        try:
            unit = signal(name).unit
            if rest != f"[{unit}]":
                raise LogFileError(f"“{column}” is not in {unit}", file=file, line=2, way_out="Export it again.")
            times, values = cells[column]
            t_hi = np.asarray(times)
            if kind == "exact":
                t_lo: Any = t_hi
            elif kind == "previous" and len(t_hi):
                t_lo = np.concatenate([[_before_first(t_hi)], t_hi[:-1]])
            elif kind == "column" and f"{name} t_lo [s]" in cells:
                t_lo = cells[f"{name} t_lo [s]"][1]
            else:
                raise LogFileError(f"nothing says when “{name}” was measured", file=file, line=1,
                                   way_out="Export it again.")  # fmt: skip
            out[name] = Series.of(t_lo, t_hi, values)
        except LogFileError:
            raise
        except TickoverError as why:
            raise LogFileError(f"“{column}”: {why.what}", file=file, line=2, way_out="Export it again.") from None
    return out


def _report(recording: Recording, file: str, rows: int) -> LogReport:
    filled = {n: recording[n] for n in recording if len(recording[n])}
    periods = {n: float((s.t_hi[-1] - s.t_hi[0]) / max(1, len(s) - 1)) for n, s in filled.items()}
    lo, hi = recording.span
    speed = recording.get("engine_speed")
    key_on = quality.key_on_rows(speed.value) if speed is not None else 0
    return LogReport(
        file=file,
        rows_in=rows,
        rows_out=rows,
        blank_lines=0,
        broken=(),
        backward=0,
        frozen_tail=0,
        duplicates=0,
        bad_cells=0,
        used=tuple(ColumnUsed(name=n, header=n, unit=signal(n).unit, unit_given=True, guessed=False)
                   for n in recording),
        left=(),
        time_base="its own time column",
        time_why="written by tickover",
        seconds=hi - lo,
        row_period=(hi - lo) / max(1, rows - 1),
        refresh_period=periods,
        refreshes={n: len(s) for n, s in filled.items()},
        key_on_rows=key_on,
        leaps=quality.leaps(recording),
    )  # fmt: skip
