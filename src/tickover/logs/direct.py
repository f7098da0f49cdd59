"""A report for files whose samples carry their own times: nothing has to be spread, only counted."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from tickover.logs import quality
from tickover.logs.report import ColumnLeft, ColumnUsed, LogReport, Suspicion
from tickover.signals import Recording


def direct_report(
    recording: Recording,
    file: str,
    *,
    rows_in: int,
    backward: int,
    used: Sequence[ColumnUsed],
    left: Sequence[ColumnLeft],
    base: str,
    why: str,
    suspicions: Sequence[Suspicion] = (),
    remarks: Sequence[str] = (),
) -> LogReport:
    """The report of a recording whose times were written with it.

    Args:
        recording: as read.
        file: its name.
        rows_in: samples or points in the file; backward: of them, left out.
        used, left: columns or channels.
        base, why: where the times come from.
        suspicions, remarks: what the reader found.
    """
    filled = {n: recording[n] for n in recording if len(recording[n])}
    every = np.unique(np.concatenate([s.t_hi for s in filled.values()])) if filled else np.empty(0)
    steps = np.diff(every)
    row_period = float(np.median(steps)) if len(steps) else 0.0
    speed = filled.get("engine_speed")
    key_on = quality.key_on_rows(speed.value) if speed is not None else 0
    start = float(speed.t_hi[key_on]) if speed is not None else 0.0
    return LogReport(
        file=file,
        rows_in=rows_in,
        rows_out=rows_in - backward,
        blank_lines=0,
        broken=(),
        backward=backward,
        frozen_tail=0,
        duplicates=0,
        bad_cells=0,
        used=tuple(used),
        left=tuple(left),
        time_base=base,
        time_why=why,
        seconds=float(every[-1] - every[0]) if len(every) else 0.0,
        row_period=row_period,
        refresh_period={n: float((s.t_hi[-1] - s.t_hi[0]) / max(1, len(s) - 1)) for n, s in filled.items()},
        refreshes={n: len(s) for n, s in filled.items()},
        key_on_rows=key_on,
        stale=quality.stale_at_key_on(recording, start),
        leaps=quality.leaps(recording),
        suspicions=tuple(suspicions),
        impossible=quality.impossible({n: s.value for n, s in filled.items()}),
        saturated=quality.saturated(recording),
        gaps=quality.gaps(every, row_period),
        remarks=tuple(remarks),
    )
