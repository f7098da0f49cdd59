"""Conditions of a drive on a million rows, against rtamt on the same rows in the same run."""

from __future__ import annotations

import contextlib
import importlib
import io
import time
import warnings

import numpy as np
from bench.common import Row, median_time

from tickover.drive import check_drive, load_conditions
from tickover.drive.margins import sliding_min, within
from tickover.signals import Recording, Series

ROWS = 1_000_000
WIDTH = 180
FORMULA = f"always[0:{WIDTH}](v >= 80 and v <= 100)"
LIMIT = 100.0
PATIENCE = 20.0
"""Longest that the peer may be waited for [s]; beyond it a smaller size is scaled up, and the row says so."""


def rows() -> list[Row]:
    """Robustness of one stretch as a ratio of times, and the whole check of a drive of a million rows."""
    rng = np.random.default_rng(1)
    speed = 90 + 10 * np.sin(np.arange(ROWS) / 70) + rng.normal(0, 1, ROWS)
    t = np.arange(ROWS, dtype=np.float64)
    ours = median_time(lambda: sliding_min(t, within(speed, 80, 100), WIDTH))
    return [*_against(speed, t, ours), _whole(speed, t)]


def _against(speed: np.ndarray, t: np.ndarray, ours: float) -> list[Row]:
    try:
        with warnings.catch_warnings(), contextlib.redirect_stdout(io.StringIO()):
            warnings.simplefilter("ignore")
            rtamt = importlib.import_module("rtamt")
    except ImportError:
        return [Row("a drive's stretch, 1,000,000 rows (rtamt is not here)", 0.0, None, "", LIMIT, "× rtamt", True)]
    size, took = 50_000, 0.0
    while True:
        took, theirs = _peer(rtamt, speed[:size])
        if size == ROWS or took * ROWS / size > PATIENCE:
            break
        size = ROWS
    mine = sliding_min(t[:size], within(speed[:size], 80, 100), WIDTH)
    full = ~np.isnan(mine)
    same = bool(np.allclose(mine[full], theirs[full], rtol=0, atol=1e-9))
    peer = took * ROWS / size
    how = "" if size == ROWS else f", rtamt on {size:,} rows scaled up"
    ratio = peer / ours
    what = f"a drive's stretch, 1,000,000 rows: same margins{how}" if same else "a drive's stretch: margins DIFFER"
    return [Row(what, ratio, 1.0, f"rtamt {peer:.3g} s, ours {ours * 1e3:.3g} ms", LIMIT, "× faster",
                same and ratio >= LIMIT)]  # fmt: skip


def _peer(rtamt: object, speed: np.ndarray) -> tuple[float, np.ndarray]:
    with warnings.catch_warnings(), contextlib.redirect_stdout(io.StringIO()):
        warnings.simplefilter("ignore")
        spec = rtamt.STLDiscreteTimeSpecification()  # type: ignore[attr-defined]  # a library without types
        spec.declare_var("v", "float")
        spec.spec = FORMULA
        spec.parse()
        data = {"time": list(range(len(speed))), "v": speed.tolist()}
        begun = time.perf_counter()
        found = spec.evaluate(data)
        took = time.perf_counter() - begun
    return took, np.array([value for _, value in found])


def _whole(speed: np.ndarray, t: np.ndarray) -> Row:
    """Every condition of a spark engine on a million rows of three signals."""
    log = Recording({
        "vehicle_speed": Series.at(t, np.round(speed)),
        "engine_speed": Series.at(t, np.full(ROWS, 1500.0)),
        "coolant_temperature": Series.at(t, np.minimum(90, 20 + t / 10)),
    })  # fmt: skip
    conditions = load_conditions().for_engine(diesel=False)
    seconds = median_time(lambda: check_drive(log, conditions), repeats=3)
    return Row("a drive of 1,000,000 rows against every condition", seconds, None, "", 20.0, "s", seconds <= 20.0)


if __name__ == "__main__":
    for row in rows():
        print(f"{row.what}: {row.ours:,.1f} {row.unit} ({row.peer_name}), limit {row.limit:g}, "
              f"{'kept' if row.ok else 'MISSED'}")  # fmt: skip
