"""The doors: start-up against importing click alone, the demonstration's time, the size of the base install."""

from __future__ import annotations

import importlib.metadata
import re
import subprocess
import sys
import tempfile
import time
from statistics import median

from bench.common import Row

RUNS = 7


def rows() -> list[Row]:
    """Time of ``--help`` and of the demo, size of the base install; each in this run."""
    return [_help(), _demo(), _size()]


def _seconds(*command: str) -> float:
    begun = time.perf_counter()
    subprocess.run([sys.executable, *command], check=True, capture_output=True)
    return time.perf_counter() - begun


def _help() -> Row:
    pairs = [(_seconds("-m", "tickover", "--help"), _seconds("-c", "import click")) for _ in range(RUNS)]
    ours, peer = median(p[0] for p in pairs) * 1e3, median(p[1] for p in pairs) * 1e3
    return Row("tickover --help", ours, peer, "import click", 2.5 * peer, "ms", ours <= 2.5 * peer)


def _demo() -> Row:
    with tempfile.TemporaryDirectory() as folder:
        ours = median(_seconds("-m", "tickover", "demo", "--out", folder) for _ in range(3))
    return Row("tickover demo", ours, None, "", 30.0, "s", ours <= 30.0)


def _size() -> Row:
    """Bytes of every file of the base requirements and what they need, as installed."""
    names, waiting = set(), ["tickover"]
    while waiting:
        name = waiting.pop()
        if name in names:
            continue
        names.add(name)
        for line in importlib.metadata.requires(name) or []:
            if "extra ==" not in line and _wanted(line):
                waiting.append(_name(line))
    size = sum(
        f.locate().stat().st_size  # type: ignore[attr-defined]  # a PackagePath locates a Path when installed
        for name in names
        for f in importlib.metadata.files(name) or []
        if f.locate().exists()  # type: ignore[attr-defined]  # as above
    )
    ours = size / 1e6
    return Row("base install", ours, None, "", 620.0, "MB", ours <= 620.0)


def _name(line: str) -> str:
    found = re.match(r"[A-Za-z0-9._-]+", line)
    assert found is not None
    return found.group()


def _wanted(line: str) -> bool:
    try:
        importlib.metadata.version(_name(line))
    except importlib.metadata.PackageNotFoundError:
        return False  # for another system or Python
    return True
