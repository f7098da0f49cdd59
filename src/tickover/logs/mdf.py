"""MDF 4, the measurement format of the car industry (ASAM), through the extra ``mdf``."""

from __future__ import annotations

import importlib
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tickover.errors import LogFileError, MissingExtraError
from tickover.logs.direct import direct_report
from tickover.logs.memory import available_memory
from tickover.logs.naming import Naming
from tickover.logs.report import ColumnLeft, ColumnUsed, LogReport
from tickover.logs.sense import suspicions
from tickover.logs.words import TIME
from tickover.signals import Recording, Series, convert, signal

Floats = NDArray[np.float64]
Foreign = Any  # the library names no types


def read_mdf(path: Path, naming: Naming, displacement: float | None) -> tuple[Recording, LogReport]:
    """Channels of an MDF 4 file that the vocabulary knows.

    Args:
        path: the file.
        naming: how channel names are understood.
        displacement: of the engine [l], for the check of units.
    Returns: the recording, each sample bracketed by the one before in its own channel, and the report.
    Raises: LogFileError if it is damaged, too large unpacked, or names no engine speed; MissingExtraError.
    """
    try:
        library = importlib.import_module("asammdf")
    except ImportError:
        raise MissingExtraError("asammdf", "mdf", "reading MDF") from None
    try:
        # as a stream: given a path, the library's own clean-up fails aloud after damage
        with path.open("rb") as stream, library.MDF(stream) as mdf:
            return _read(mdf, path, naming, displacement)
    except LogFileError:
        raise
    except Exception as why:  # a damaged file fails in whatever part of the library meets the damage first
        _hush(why)
        words = str(why).split("\n")[0][:200] or type(why).__name__
        raise LogFileError(f"is no sound MDF: {words}", file=str(path), way_out="Export the log again.") from None


def _hush(why: Exception) -> None:
    """Mark half-built files as closed: their own clean-up would fail aloud on standard error."""
    frame = why.__traceback__
    while frame is not None:
        half_built: Foreign = frame.tb_frame.f_locals.get("self")
        if hasattr(type(half_built), "close") and type(half_built).__module__.startswith("asammdf"):
            half_built._closed = True
            spare = getattr(half_built, "_tempfile", None)
            if spare is not None:
                spare.close()
        frame = frame.tb_next


def _read(mdf: Foreign, path: Path, naming: Naming, displacement: float | None) -> tuple[Recording, LogReport]:
    used: list[ColumnUsed] = []
    left: list[ColumnLeft] = []
    chosen: dict[str, Series] = {}
    headers: dict[str, tuple[str, str]] = {}
    seen: list[str] = []
    rows = backward = 0
    _refuse_unpacked(mdf, path)
    for number, group in enumerate(mdf.groups):
        rows += int(group.channel_group.cycles_nr)
        for index, channel in enumerate(group.channels):
            if channel.channel_type in (2, 3):  # the group's own clock
                continue
            seen.append(channel.name)
            found = naming.match(channel.name, str(getattr(channel, "unit", "") or ""))
            reason = ""
            if found is None or found.name == TIME:
                reason = "not in the vocabulary"
            elif found.name in chosen:
                reason = f"“{headers[found.name][0]}” is {found.name} already"
            else:
                series, lost = _samples(mdf, number, index, found.unit, signal(found.name).unit)
                backward += lost
                reason = "no numbers in it" if series is None else ""
                if series is not None:
                    chosen[found.name] = series
                    headers[found.name] = (channel.name, found.unit)
                    used.append(ColumnUsed(name=found.name, header=channel.name, unit=found.unit,
                                           unit_given=found.unit_given, guessed=found.guessed))  # fmt: skip
            if reason:
                left.append(ColumnLeft(header=channel.name, reason=reason))
    naming.check_used(seen, chosen, str(path))
    if "engine_speed" not in chosen:
        shown = ", ".join(f"“{n}”" for n in seen[:8])
        raise LogFileError(f"no channel names the engine speed; the names are {shown}", file=str(path),
                           way_out="Say which it is in a map file.")  # fmt: skip
    at = chosen["engine_speed"].t_hi
    doubtful = suspicions({n: s.hold(at) for n, s in chosen.items()}, headers, at, displacement)
    remarks = [f"{backward} samples run backwards in time or hold no number and are left out."] * bool(backward)
    report = direct_report(
        Recording(chosen), str(path), rows_in=rows, backward=0, used=used, left=left, base="the clock of each group",
        why="every sample carries its own time", suspicions=doubtful, remarks=remarks,
    )  # fmt: skip
    return Recording(chosen, source=path.name, notes=report.sentences()), report


def _samples(mdf: Foreign, group: int, index: int, unit: str, own: str) -> tuple[Series | None, int]:
    """One channel in the vocabulary's unit, and how many samples were left out."""
    got = mdf.get(group=group, index=index)
    if got.samples.ndim != 1 or got.samples.dtype.kind not in "iufb":
        return None, 0
    value = convert(np.asarray(got.samples, dtype=np.float64), unit, own)
    t = np.asarray(got.timestamps, dtype=np.float64)
    keep = np.isfinite(value) & np.isfinite(t)
    if np.any(keep):
        keep &= t >= np.maximum.accumulate(np.where(np.isfinite(t), t, -np.inf))
    t, value = t[keep], value[keep]
    if not len(t):
        return None, int(np.count_nonzero(~keep))
    before = np.concatenate([[t[0] - (t[1] - t[0] if len(t) > 1 else 0.0)], t[:-1]])
    return Series(before, t, value), int(np.count_nonzero(~keep))


def _refuse_unpacked(mdf: Foreign, path: Path) -> None:
    """Refuse a file whose groups, unpacked, would not fit: blocks may be compressed."""
    memory = available_memory()
    need = sum(int(g.channel_group.cycles_nr) * (int(g.channel_group.samples_byte_nr) + 8) for g in mdf.groups)
    if memory is not None and 4 * need > memory:
        raise LogFileError(
            f"unpacks to {need / 1e6:,.0f} MB, and {memory / 1e6:,.0f} MB of memory are free", file=str(path),
            way_out="Cut the log up.",
        )  # fmt: skip
