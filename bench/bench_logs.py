"""A log of a million rows to an idle reading, against polars merely reading the same file."""

from __future__ import annotations

import subprocess
import sys
import tempfile
import time
from pathlib import Path
from statistics import median

import numpy as np
import polars as pl
from bench.common import Row

from tickover.idle import read_idle
from tickover.logs import read_log
from tickover.logs.memory import text_needs

ROWS = 1_000_000


def rows() -> list[Row]:
    """One row: seconds from file to reading, medians of three, both in this run."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "million.csv"
        _write(path)
        memory, memory_peer = _peak(_OURS, path), _peak(_POLARS, path)
        room = text_needs(path.read_bytes(), own=False) / 2**20
        peer = median(_seconds(lambda: pl.read_csv(path)) for _ in range(3))
        ours = median(_seconds(lambda: read_idle(read_log(path), np.random.default_rng(1))) for _ in range(3))
        reading = median(_seconds(lambda: read_log(path)) for _ in range(3))
    limit = 3 * peer + 2
    return [
        Row("1,000,000 rows to an idle reading", ours, peer, "polars reads it", limit, "s", ours <= limit),
        Row("1,000,000 rows to a recording", reading, peer, "polars reads it", limit, "s", reading <= limit),
        Row("peak memory of that, above the libraries", memory, memory_peer, "polars", room, "MiB", memory <= room),
    ]


_OURS = ("from tickover.logs import read_log", "read_log(path)")
_POLARS = ("import polars as pl", "pl.read_csv(path)")


def _peak(code: tuple[str, str], path: Path) -> float:
    """Peak memory of a piece of work in a process of its own, above what its imports take [MiB]."""
    load, work = code
    script = (
        f"{load}\nimport sys\npath = sys.argv[1]\n"
        # the high-water mark of this address space; getrusage would count the parent's from before exec
        "def peak(): return next(int(x.split()[1]) for x in open('/proc/self/status') if x.startswith('VmHWM'))\n"
        f"before = peak()\nkept = {work}\nprint(peak() - before)"
    )
    done = subprocess.run([sys.executable, "-c", script, str(path)], capture_output=True, text=True, check=True)
    return float(done.stdout) / 1024


def _seconds(work: object) -> float:
    begun = time.perf_counter()
    work()  # type: ignore[operator]  # a callable without arguments
    return time.perf_counter() - begun


def _write(path: Path) -> None:
    """A warm idle at 10 Hz, nearly 28 hours of it."""
    rng = np.random.default_rng(1)
    t = np.arange(ROWS) * 0.1
    pl.DataFrame(
        {
            "time [s]": t.round(1),
            "engine speed [rpm]": (700 + 6 * rng.standard_normal(ROWS)).round(2),
            "coolant [°C]": np.full(ROWS, 90.0),
            "vehicle speed [km/h]": np.zeros(ROWS),
            "throttle [%]": np.full(ROWS, 15.7),
            "stft bank 1 [%]": rng.normal(0, 1, ROWS).round(2),
        }
    ).write_csv(path)
