"""Which rows hold a new measurement and which only repeat the last one. See ``docs/why/refreshes.md``."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_LEAST_CHANGES = 20
_COMMON = 0.05  # a gap seen in this share of cases is a habit of the logger, not an accident
_SLOWER = 3.0  # minutes that count up look like a very slow poll, so a period of its own ends here
_SOLID = 0.6  # a signal that changes in this share of its polls knows its own period


def changes(values: Floats) -> Ints:
    """Rows whose value differs from the row before; the first row counts as one. No NaN inside."""
    if not len(values):
        return np.empty(0, dtype=np.int64)
    return np.concatenate([[0], np.flatnonzero(values[1:] != values[:-1]) + 1]).astype(np.int64)


def own_period(at: Ints) -> float | None:
    """Rows from one poll to the next, judged by one signal's changes.

    Args:
        at: rows at which it changes, rising.
    Returns: the period [rows]; None where it changes too seldom to tell. Polls that found the same value again show
        as gaps of two or more periods, so the period is the one of which all gaps are nearest to whole multiples.
    """
    gaps = np.diff(at)
    if len(gaps) < _LEAST_CHANGES:
        return None
    sizes, counts = np.unique(gaps, return_counts=True)
    common = sizes[counts >= max(3.0, _COMMON * len(gaps))]
    if not len(common):
        return None
    period = float(gaps[gaps <= common[0] + 1].mean())
    for _ in range(5):
        polls = np.maximum(1, np.round(gaps / period))
        period = max(1.0, float(gaps.sum() / polls.sum()))
    return period


def poll_periods(columns: Mapping[str, Floats]) -> dict[str, float]:
    """Rows from poll to poll, for each signal.

    Args:
        columns: values by row, shape (rows,) each, NaN where a cell is empty.
    Returns: the period [rows], 1 or more. The busiest signal shows the logger's round; a signal that changes at nearly
        every poll of its own keeps its own period, the others are taken to be asked once a round.
    """
    own: dict[str, float] = {}
    solid: dict[str, bool] = {}
    for name, column in columns.items():
        values = column[np.isfinite(column)]
        at = changes(values)
        period = own_period(at)
        if period is not None:
            own[name] = period
            solid[name] = len(at) * period > _SOLID * (at[-1] - at[0])
    round_ = min((p for n, p in own.items() if solid[n]), default=min(own.values(), default=1.0))
    return {
        name: own[name] if name in own and own[name] < (_SLOWER if solid[name] else 1.5) * round_ else round_
        for name in columns
    }


def refresh_rows(values: Floats, period: float) -> Ints:
    """Rows that hold a new measurement.

    Args:
        values: by row, shape (rows,), no NaN.
        period: rows from poll to poll.
    Returns: rows, rising. Every change is one; where a value stands for k periods, the polls that found it again are
        set evenly between.
    """
    at = changes(values)
    if period <= 1.0 or not len(at):
        return np.arange(len(values), dtype=np.int64) if period <= 1.0 else at
    ends = np.append(at[1:], len(values))
    length = ends - at
    polls = np.maximum(1, np.round(length / period)).astype(np.int64)
    first = np.repeat(np.cumsum(polls) - polls, polls)
    order = np.arange(polls.sum()) - first
    return np.asarray(np.repeat(at, polls) + np.round(order * np.repeat(length / polls, polls)).astype(np.int64))
