"""Texts of clocks and dates as seconds: 24 or 12 hours, date and time in one column or in two."""

from __future__ import annotations

import numpy as np
import polars as pl
from numpy.typing import NDArray

Floats = NDArray[np.float64]

DAY = 86_400.0
_DATES = ("%Y-%m-%d", "%d.%m.%Y", "%d/%m/%Y", "%m/%d/%Y", "%Y/%m/%d", "%d-%m-%Y", "%m-%d-%Y", "%Y%m%d", "%d.%m.%y",
          "%d/%m/%y", "%m/%d/%y")  # fmt: skip
_CLOCK = r"^(?:(\d+):)?(\d+):(\d+(?:[.,:]\d+)?)\s*([AaPp]\.?\s?[Mm]\.?)?$"  # some write milliseconds after a colon
_ZONE = r"\s*(?:Z|UTC|GMT|[+-]\d\d:?\d\d)$"
_DATE_BEFORE = r"^(\d[\d./-]*\d)[T ,]\s*(\d.*)$"


def seconds_of(texts: pl.Series) -> Floats:
    """Texts of a clock, or of a date with a clock, as seconds.

    Args:
        texts: ``12:03:04.5``, ``03:04.5``, ``3:04:05 PM``, or any of them after a date.
    Returns: seconds, NaN where a text is no time; a clock that passes midnight (or noon, where it shows twelve hours
        without saying which) goes on counting.
    """
    stripped = texts.str.strip_chars().str.replace(_ZONE, "")
    parts = stripped.str.extract_groups(_DATE_BEFORE)
    days, clock = parts.struct[0], parts.struct[1]
    if days.null_count() > 0.5 * max(1, len(texts)):
        return _going_on(_clock(stripped, dated=False))
    return days_of(days) * DAY + _clock(clock, dated=True)


def days_of(texts: pl.Series) -> Floats:
    """Dates as days since 1970, NaN where a text is no date.

    Where day and month could stand either way round, the one that makes the log shorter is taken.
    """
    stripped = texts.str.strip_chars()
    best, best_bad, best_span = np.full(len(texts), np.nan), len(texts) + 1, np.inf
    for form in _DATES:
        stamped = stripped.str.to_date(form, strict=False)
        got = stamped.cast(pl.Int32).cast(pl.Float64).to_numpy().astype(np.float64)
        bad = int(np.count_nonzero(np.isnan(got)))
        if bad == len(got):
            continue
        span = float(np.nanmax(got) - np.nanmin(got))
        if (bad, span) < (best_bad, best_span):
            best, best_bad, best_span = got, bad, span
    return best


def with_dates(days: pl.Series, clock: pl.Series) -> Floats:
    """Seconds of a log that has its date in one column and its clock in another."""
    return days_of(days) * DAY + _clock(clock.str.strip_chars().str.replace(_ZONE, ""), dated=True)


def is_dates(texts: pl.Series) -> bool:
    """Whether most texts are dates without a clock."""
    some = texts.drop_nulls()
    some = some.filter(some.str.strip_chars().str.len_chars() > 0).head(200)
    return bool(len(some)) and float(np.isnan(days_of(some)).mean()) < 0.5


def _clock(texts: pl.Series, *, dated: bool) -> Floats:
    """Seconds since midnight, or of a stopwatch; ``dated``: two figures are hours and minutes."""
    parts = texts.str.extract_groups(_CLOCK)
    hours, minutes, seconds = (
        parts.struct[i].str.replace_all("[,:]", ".").cast(pl.Float64, strict=False).to_numpy().astype(np.float64)
        for i in range(3)
    )
    half = parts.struct[3].str.slice(0, 1).str.to_lowercase()
    twelve = half.is_not_null().to_numpy()
    short = np.isnan(hours) & np.isfinite(minutes) & (dated | twelve)
    hours, minutes, seconds = (
        np.where(short, minutes, np.nan_to_num(hours)),
        np.where(short, seconds, minutes),
        np.where(short, 0.0, seconds),
    )
    afternoon = 12.0 * (half == "p").fill_null(False).to_numpy()
    hours = np.where(twelve, hours % 12 + afternoon, hours)
    return np.asarray(hours * 3600 + minutes * 60 + seconds)


def _going_on(clock: Floats) -> Floats:
    """A clock without a date, counted on past midnight; or past one o'clock, where it never shows the half of day."""
    filled = np.isfinite(clock)
    if np.count_nonzero(filled) < 2:
        return clock
    known = clock[filled]
    falls = np.diff(known)
    noon = 12 * 3600 <= known.max() < 13 * 3600 and known.min() < 2 * 3600 and float(falls.min()) < -39_600
    twelve = noon and not np.any((known > 2 * 3600) & (known < 12 * 3600))
    turn = 12 * 3600.0 if twelve else DAY
    out = clock.copy()
    out[filled] = known + turn * np.concatenate([[0.0], np.cumsum(falls < -0.5 * turn)])
    return out
