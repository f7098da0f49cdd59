"""A log file -> a recording, with a report of everything that was chosen, guessed or left out."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import polars as pl
from numpy.typing import NDArray

from tickover.errors import LogFileError
from tickover.logs import quality
from tickover.logs.clock import Clock, from_run_time, from_time_column
from tickover.logs.gpx import read_gpx
from tickover.logs.longform import parse_long
from tickover.logs.mdf import read_mdf
from tickover.logs.naming import Naming, read_map
from tickover.logs.opening import open_log
from tickover.logs.own import is_own, parse_own
from tickover.logs.refreshes import poll_periods, refresh_rows
from tickover.logs.report import ColumnLeft, ColumnUsed, LogReport, Suspicion
from tickover.logs.sense import suspicions
from tickover.logs.stamps import is_dates, seconds_of, with_dates
from tickover.logs.table import Column, Table, parse_table
from tickover.logs.words import TIME
from tickover.signals import Recording, Series, convert, signal

Floats = NDArray[np.float64]

_FOR_DISTANCE = ("vehicle_speed", "distance_since_clear")
_SPARSE = 0.2  # with this share of empty cells a column is filled only where it was measured


@dataclass(frozen=True)
class _Picked:
    """Columns that were understood, in the vocabulary's units."""

    series: dict[str, Floats]
    time: Floats | None
    time_unit_given: bool
    used: tuple[ColumnUsed, ...]
    left: tuple[ColumnLeft, ...]
    headers: dict[str, tuple[str, str]] = field(default_factory=dict)


def read_log(path: str | Path) -> Recording:
    """Read a log of any ordinary shape: CSV wide or long, our own, MDF 4 (extra ``mdf``), GPX (extra ``gpx``).

    Separators ``,`` ``;`` tab ``|``, decimal comma, byte-order mark, any line ending, trailing separator, names in many
    spellings with or without units. What was done with it stands in ``Recording.notes``; the whole report comes from
    ``read_log_report``.

    Args:
        path: the file.
    Returns: the recording; per signal one sample for each measurement, not for each row.
    Raises: LogFileError with file, line and way out: no such file, empty, not text, no column for the engine speed, no
        rows, no usual shape, no time.
    """
    return read_log_report(path)[0]


def read_log_report(
    path: str | Path,
    *,
    map_file: str | Path | None = None,
    units: Mapping[str, str] | None = None,
    displacement: float | None = None,
) -> tuple[Recording, LogReport]:
    """As ``read_log``, with the report.

    Args:
        path: the file.
        map_file: TOML from column header to quantity and unit; it overrides what the headers suggest.
        units: column (header or standard name) to unit, on the user's word, as ``naming.set_units`` gives it.
        displacement: of the engine [l]; with it the unit of the air flow is checked more closely.
    Raises: LogFileError as ``read_log``, or for a map that does not fit; MissingExtraError for MDF and GPX.
    """
    path = Path(path)
    try:
        return _read(path, Naming(read_map(map_file) if map_file is not None else {}, dict(units or {})), displacement)
    except MemoryError:
        raise LogFileError(
            "does not fit into the memory that is free", file=str(path), way_out="Cut the log up."
        ) from None


def _read(path: Path, naming: Naming, displacement: float | None) -> tuple[Recording, LogReport]:
    file = str(path)
    opened = open_log(path)
    if opened.kind == "gpx":
        naming.check_used([], [], file)
        return read_gpx(opened.data, file, path.name)
    if opened.kind == "mdf":
        return read_mdf(path, naming, displacement)
    if is_own(opened.data):
        naming.check_used([], [], file)
        return parse_own(opened.data, file)
    found = parse_long(opened.data, file, naming)
    table, remarks = found if found is not None else (parse_table(opened.data, file, naming), ())
    names = [c.header for c in table.columns] + list(table.missing)
    naming.check_used(names, [c.match.name for c in table.columns if c.match is not None], file)
    return _recording(table, path, displacement, (*opened.remarks, *remarks))


def _recording(
    table: Table, path: Path, displacement: float | None, remarks: tuple[str, ...]
) -> tuple[Recording, LogReport]:
    picked, doubtful = _pick(table, str(path), displacement)
    clock = _clock(table, picked, str(path))
    columns = dict(picked.series)
    if not np.all(clock.keep):
        columns = {name: values[clock.keep] for name, values in columns.items()}
    dense = {n: v for n, v in columns.items() if np.isnan(v).mean() <= _SPARSE}
    periods = poll_periods(dense)
    frozen = quality.frozen_tail(
        table.same[clock.keep], table.still[clock.keep], columns["engine_speed"], max(periods.values(), default=1.0)
    )
    rows = len(clock.t) - frozen
    series = {
        name: _series(values[:rows], clock.t[:rows], periods.get(name), clock.row_period)
        for name, values in columns.items()
    }
    speed = columns["engine_speed"][:rows]
    if not np.any(np.isfinite(speed)):
        raise LogFileError("the column of engine speed holds no number", file=str(path), way_out="Record again.")
    key_on = quality.key_on_rows(np.nan_to_num(speed, nan=0.0))
    bare = Recording(series, source=path.name)
    if set(_FOR_DISTANCE) <= set(series) and not any(s.name == "vehicle_speed" for s in doubtful):
        held = {n: s.hold(clock.t[:rows]) for n, s in series.items() if n in _FOR_DISTANCE}
        doubtful += suspicions(held, {n: picked.headers[n] for n in held}, clock.t[:rows])
    report = LogReport(
        file=str(path),
        rows_in=len(table.line) + len(table.broken),
        rows_out=rows,
        blank_lines=table.blank,
        blank_at=table.blank_at,
        broken=table.broken,
        backward=int(np.count_nonzero(~clock.keep)),
        frozen_tail=frozen,
        duplicates=int(np.count_nonzero(table.same[clock.keep][:rows])),
        bad_cells=table.bad_cells,
        used=picked.used,
        left=(*picked.left, *(ColumnLeft(header=h, reason="no row has a field for it") for h in table.missing)),
        time_base=clock.base,
        time_why=clock.why,
        seconds=float(clock.t[rows - 1] - clock.t[0]),
        row_period=clock.row_period,
        refresh_period={n: periods.get(n, _mean_gap(s, clock.row_period)) * clock.row_period
                        for n, s in series.items()},
        refreshes={n: len(s) for n, s in series.items()},
        key_on_rows=key_on,
        stale=quality.stale_at_key_on(bare, float(clock.t[key_on])),
        leaps=quality.leaps(bare),
        suspicions=doubtful,
        impossible=quality.impossible({n: v[:rows] for n, v in columns.items()}),
        saturated=quality.saturated(bare),
        gaps=quality.gaps(clock.t[:rows], clock.row_period),
        remarks=(*remarks, *clock.remarks),
    )  # fmt: skip
    return Recording(series, source=path.name, notes=report.sentences()), report


def _mean_gap(series: Series, row_period: float) -> float:
    if len(series) < 2:
        return 1.0
    return float((series.t_hi[-1] - series.t_hi[0]) / (len(series) - 1) / row_period)


def _series(values: Floats, t: Floats, period: float | None, row_period: float) -> Series:
    """Samples of one column: t_hi is the row that first shows the value, t_lo the refresh before."""
    filled = np.flatnonzero(np.isfinite(values))
    if period is None or not len(filled):
        at = filled
        reach = row_period
    else:
        at = filled[refresh_rows(values[filled], period)]
        reach = period * row_period
    t_hi = t[at]
    t_lo = np.concatenate([t_hi[:1] - reach, t_hi[:-1]])
    return Series.of(t_lo, t_hi, values[at])


def _usable(table: Table, column: Column) -> bool:
    """Whether a column has a number in it, or the text of a clock where time is wanted."""
    if column.at in table.texts:
        return column.match is not None and column.match.name == TIME
    return not bool(np.isnan(table.numbers[column.at]).all())


def _pick(table: Table, file: str, displacement: float | None) -> tuple[_Picked, tuple[Suspicion, ...]]:
    chosen: dict[str, Column] = {}
    left: list[ColumnLeft] = []
    times: list[Column] = []
    # exact names first, so that a guess never takes the place of a name that was understood
    for column in sorted(table.columns, key=lambda c: (c.match is None or c.match.guessed, c.at)):
        if column.match is None:
            left.append(ColumnLeft(header=column.header, reason="not in the vocabulary"))
        elif not _usable(table, column):
            left.append(ColumnLeft(header=column.header, reason="no numbers in it"))
        elif column.match.name == TIME:
            times.append(column)
        elif column.match.name in chosen:
            first = chosen[column.match.name].header
            left.append(ColumnLeft(header=column.header, reason=f"“{first}” is {column.match.name} already"))
        else:
            chosen[column.match.name] = column
    moment = _moment(table, times)
    series: dict[str, Floats] = {}
    for name, column in chosen.items():
        assert column.match is not None
        series[name] = table.numbers[column.at]
        if column.match.unit != signal(name).unit:
            series[name] = convert(series[name], column.match.unit, signal(name).unit)
    headers = {n: (c.header, c.match.unit) for n, c in chosen.items() if c.match is not None}
    doubtful = suspicions(series, headers, displacement=displacement)
    left += _drop_implausible(series, chosen, {d.name: d for d in doubtful}, file)
    if "engine_speed" not in series:
        raise LogFileError("the column of engine speed holds no number", file=file, way_out="Record again.")
    used = tuple(
        ColumnUsed(name=n, header=c.header, unit=c.match.unit, unit_given=c.match.unit_given, guessed=c.match.guessed)
        for n, c in sorted(chosen.items(), key=lambda item: item[1].at)
        if c.match is not None
    )
    return (
        _Picked(series, moment.t, moment.unit_given, (*moment.used, *used), (*left, *moment.left), headers),
        doubtful,
    )


@dataclass(frozen=True)
class _Moment:
    """What the columns of time say [s], and which they were."""

    t: Floats | None = None
    unit_given: bool = False
    used: tuple[ColumnUsed, ...] = ()
    left: tuple[ColumnLeft, ...] = ()


def _moment(table: Table, times: list[Column]) -> _Moment:
    """Times from the first column that has a clock or counts; a date in a column of its own is joined to the clock."""
    dates = [c for c in times if _holds_dates(table, c)]
    clocks = [c for c in times if c not in dates]
    if not clocks:
        return _Moment(left=tuple(ColumnLeft(header=c.header, reason="a date without a clock") for c in dates))
    clock, *spare = clocks
    assert clock.match is not None
    left = [ColumnLeft(header=c.header, reason=f"“{clock.header}” is time already") for c in spare]
    used = [clock]
    if clock.at not in table.texts:
        t = convert(table.numbers[clock.at], clock.match.unit, "s")
        left += [ColumnLeft(header=c.header, reason=f"“{clock.header}” counts on without a date") for c in dates]
    elif dates:
        t = with_dates(_dates(table, dates[0]), table.texts[clock.at])
        used.insert(0, dates[0])
        left += [ColumnLeft(header=c.header, reason=f"“{dates[0].header}” is the date already") for c in dates[1:]]
    else:
        t = seconds_of(table.texts[clock.at])
    given = clock.match.unit_given or clock.at in table.texts
    names = tuple(
        ColumnUsed(name=TIME, header=c.header, unit="date" if c in dates else c.match.unit,
                   unit_given=c.match.unit_given or c.at in table.texts, guessed=c.match.guessed)
        for c in used if c.match is not None
    )  # fmt: skip
    return _Moment(np.asarray(t), given, names, tuple(left))


def _dates(table: Table, column: Column) -> pl.Series:
    """A column as the text of dates; 20260517 was read as a number."""
    if column.at in table.texts:
        return table.texts[column.at]
    numbers = pl.Series(table.numbers[column.at]).fill_nan(None)
    return numbers.cast(pl.Int64, strict=False).cast(pl.String)


def _holds_dates(table: Table, column: Column) -> bool:
    named = "date" in column.header.lower() or "datum" in column.header.lower()
    return (column.at in table.texts or named) and is_dates(_dates(table, column))


def _drop_implausible(
    series: dict[str, Floats], chosen: dict[str, Column], doubtful: Mapping[str, Suspicion], file: str
) -> list[ColumnLeft]:
    """Take out of both what cannot be in its unit, and say why."""
    left = []
    for name, why in quality.implausible({n: v for n, v in series.items() if n != "run_time"}).items():
        if name == "engine_speed":
            raise LogFileError(
                f"“{chosen[name].header}” cannot be engine speed: {why}",
                file=file,
                way_out="Name its unit in brackets, or say what it is in a map file.",
            )
        likely = doubtful[name].likely if name in doubtful else ()
        more = f"; likely {' or '.join(likely)}" if likely else ""
        left.append(ColumnLeft(header=chosen.pop(name).header, reason=why + more))
        del series[name]
    return left


def _clock(table: Table, picked: _Picked, file: str) -> Clock:
    run_time = picked.series.get("run_time")
    if picked.time is not None:
        try:
            clock = from_time_column(picked.time, picked.time_unit_given, run_time)
        except LogFileError as why:
            line = int(table.line[why.line]) if why.line is not None else None
            raise LogFileError(why.what, file=file, line=line, way_out=why.way_out) from None
        if clock is not None:
            return clock
    clock = from_run_time(run_time) if run_time is not None else None
    if clock is None:
        raise LogFileError(
            "no column tells the time, so nothing in it can be timed",
            file=file,
            way_out="Log a time column or the engine's run time, for four seconds at least.",
        )
    return clock
