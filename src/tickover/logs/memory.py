"""What a log costs in memory, and what there is: a file that does not fit is refused before the system has to."""

from __future__ import annotations

import os
import resource
from pathlib import Path

from tickover.errors import LogFileError

READ = 5
"""Bytes for each byte of a text: the file, its text without quotes, what the parser copies. Measured, rounded up."""
LINE, CELL = 240, 32
"""Bytes for each line and for each field. Measured on tables of one digit a field, of clocks, long and with gaps."""
OWN_CELL = 90
GPX = 25
BROKEN = 800
"""Bytes for each row that is left out and named."""
_WORKERS = (384 * 2**20, 128 * 2**20)  # address space the parser's threads reserve, at all and for each core [bytes]
_PROC = Path("/proc")
_CGROUP = Path("/sys/fs/cgroup")
_WAY_OUT = "Cut the log up, or leave out columns that name no signal."


def available_memory() -> int | None:
    """Memory this process may still take [bytes]; None where the system does not say.

    The least of: what is free, what the control groups it runs in allow, what its own limits on address space allow.
    """
    found = [*_free(), *_control_groups(), *_own_limits()]
    return max(0, min(found)) if found else None


def _free() -> list[int]:
    for line in _lines(_PROC / "meminfo"):
        if line.startswith("MemAvailable:"):
            return [int(line.split()[1]) * 1024]
    return []


def _control_groups() -> list[int]:
    groups = [""]
    for line in _lines(_PROC / "self" / "cgroup"):
        if line.startswith("0::/"):
            parts = line[4:].strip("/").split("/")
            groups += ["/".join(parts[: i + 1]) for i in range(len(parts)) if parts[0]]
    out = []
    for group in dict.fromkeys(groups):
        for most, now in (("memory.max", "memory.current"),
                          ("memory/memory.limit_in_bytes", "memory/memory.usage_in_bytes")):  # fmt: skip
            limit, used = ("".join(_lines(_CGROUP / group / name)).strip() for name in (most, now))
            if limit.isdigit() and used.isdigit():
                out.append(int(limit) - int(used))
    return out


def _own_limits() -> list[int]:
    """What RLIMIT_AS and RLIMIT_DATA leave, less what the parser's threads will reserve without using it."""
    status = dict(line.partition(":")[::2] for line in _lines(_PROC / "self" / "status"))
    reserve = _WORKERS[0] + _WORKERS[1] * (os.cpu_count() or 1)
    out = []
    for kind, now in ((resource.RLIMIT_AS, "VmSize"), (resource.RLIMIT_DATA, "VmData")):
        soft = resource.getrlimit(kind)[0]
        words = status.get(now, "").split()
        if soft != resource.RLIM_INFINITY and words:
            out.append(soft - int(words[0]) * 1024 - reserve)
    return out


def _lines(path: Path) -> list[str]:
    """Lines of a small file of the system; none where there is no such file."""
    try:
        return path.read_text(encoding="utf-8", errors="replace").splitlines()
    except OSError:
        return []


def refuse_too_large(need: int, file: str, memory: int | None, holds: str) -> None:
    """Refuse what would not fit into memory.

    Args:
        need: what reading it takes [bytes].
        file: its name, for the message.
        memory: what is there [bytes], or None.
        holds: what is in it, ``"34 MB"`` or ``"34 MB in 1,000,000 lines"``.
    Raises: LogFileError with both figures.
    """
    if memory is not None and need > memory:
        raise LogFileError(
            f"has {holds} and would need about {_mb(need)} of memory, {_mb(memory)} are free",
            file=file, way_out=_WAY_OUT,
        )  # fmt: skip


def text_needs(data: bytes, *, own: bool) -> int:
    """Memory that reading a text takes at its peak [bytes], from its length, its lines and its fields."""
    lines = data.count(b"\n") + 1
    cells = lines + max(data.count(s) for s in (b",", b";", b"\t", b"|"))
    return READ * len(data) + LINE * lines + (OWN_CELL if own else CELL) * cells


def holds(data: bytes) -> str:
    """Size and lines of a text in words."""
    lines = data.count(b"\n") + 1
    return f"{_mb(len(data))} in {lines:,} lines"


def _mb(size: int) -> str:
    return f"{size / 1e6:,.0f} MB" if size >= 1e6 else f"{size / 1e6:.2g} MB"
