"""One job as one zip file: the layout, and writing it. The same job always gives the same bytes."""

from __future__ import annotations

import io
import json
import os
import re
import zipfile
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import polars as pl

from tickover import __version__
from tickover.errors import ArchiveError, InputError
from tickover.jobs.chain import Secret, canonical, digest_of
from tickover.jobs.entries import Attached, Entry
from tickover.signals import Recording, signal

FORMAT, VERSION = "tickover job", 1
MANIFEST, ENTRIES, PERSONAL, CHECKSUMS = "manifest.json", "entries.jsonl", "personal.json", "checksums.sha256"
README, SHEET = "README.txt", "sheet.pdf"
REQUIRED = frozenset({MANIFEST, ENTRIES, PERSONAL, CHECKSUMS})
MEMBER = re.compile(
    r"manifest\.json|entries\.jsonl|personal\.json|checksums\.sha256|README\.txt|sheet\.pdf"
    r"|series/[a-z0-9_-]{1,120}\.parquet|attachments/[0-9a-f]{64}"
)
"""Every name that may be inside; nothing else is written or read, so no name can point outside."""
RATIO = 100
"""Nothing is packed tighter than this; what comes tighter is refused. Own choice: real logs pack about 10 to 1."""
SMALL = 2**20
"""Below this size packing is not looked at [bytes]."""
LARGEST_TOTAL = 4 * 2**30
"""All members together, unpacked [bytes]; own choice."""

_EXPLAINED = """\
One job of a workshop, as tickover wrote it.

manifest.json      format and version, the job's mark, how many entries, the digest of the last, the attachments
entries.jsonl      one line an entry, oldest first, as canonical JSON (sorted keys, no blanks, ASCII).
                   The SHA-256 of a line, without its line break, is the entry's digest. Each line names the digest
                   of the line before as "previous"; the first one names the SHA-256 of "tickover job " and the mark.
                   An entry is never changed: a correction is a new entry that names the old one as "corrects".
personal.json      values of personal fields with their salts: HMAC-SHA-256 of the value, with the salt as key, is the
                   digest in the entry. null where a value was left out; erased ones are not listed.
attachments/       recordings, sounds and pictures, each under the SHA-256 of its bytes; the names are in the manifest
series/            time series as Apache Parquet. "entry-N-..." are the columns of a reading of entry N; the others,
                   named by an attachment, are its signals: signal, unit, t_lo, t_hi, value. The instant of each
                   measurement lies between t_lo and t_hi, in seconds. All can be made anew from the rest.
sheet.pdf          the customer's sheet, where there is one
checksums.sha256   SHA-256 of every other file here; `sha256sum -c checksums.sha256` checks them
"""


@dataclass(frozen=True)
class Contents:
    """A job on its way out.

    Attributes:
        uid: the job's mark.
        lines: the stored lines.
        entries: the same, as entries.
        secrets: personal values; both parts None where withheld.
        attachment: gives the bytes under a digest.
        sheet: the customer's sheet as PDF.
        recordings: attachments that could be read as a log, by digest.
    """

    uid: str
    lines: Sequence[str]
    entries: Sequence[Entry]
    secrets: Sequence[Secret]
    attachment: Callable[[Attached], bytes]
    sheet: bytes | None = None
    recordings: Mapping[str, Recording] | None = None


def attached_in(entries: Sequence[Entry]) -> dict[str, Attached]:
    """Every attachment of the entries once, by digest."""
    return {a.digest: a for e in entries for a in e.attachments}


def write_archive(contents: Contents, path: Path) -> tuple[tuple[str, ...], str]:
    """Write the zip beside its place, then move it there: a file under this name is always whole.

    Returns: the names inside, and the file's SHA-256.
    Raises: InputError where it cannot be written, or a file that is no zip is in the way; ArchiveError for too much.
    """
    if path.exists() and not zipfile.is_zipfile(path):
        raise InputError("is there, and is no exported job", file=str(path), way_out="Name another file.")
    partial = path.with_name(path.name + ".partial")
    sums: dict[str, str] = {}
    total = 0
    try:
        with partial.open("wb") as out:
            with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as packed:
                for name, data in _members(contents):
                    total += len(data)
                    if total > LARGEST_TOTAL:
                        raise ArchiveError(
                            "this job is larger than 4 GiB", file=str(path), way_out="`tickover job backup` takes it."
                        )
                    sums[name] = digest_of(data)
                    _put(packed, name, data)
                _put(packed, CHECKSUMS, "".join(f"{sums[n]}  {n}\n" for n in sums).encode())
            out.flush()
            os.fsync(out.fileno())
        whole = digest_of(partial.read_bytes())
        partial.replace(path)
    except OSError as why:
        raise InputError(f"cannot be written: {why.strerror or why}", file=str(path)) from None
    finally:
        partial.unlink(missing_ok=True)
    return (*sums, CHECKSUMS), whole


def _put(packed: zipfile.ZipFile, name: str, data: bytes) -> None:
    info = zipfile.ZipInfo(name, (1980, 1, 1, 0, 0, 0))  # the zip format's first day: the same job, the same bytes
    info.compress_type = zipfile.ZIP_DEFLATED
    info.external_attr = 0o644 << 16
    if len(data) >= SMALL and _packs_tighter(data):
        info.compress_type = zipfile.ZIP_STORED
    packed.writestr(info, data)


def _packs_tighter(data: bytes) -> bool:
    trial = io.BytesIO()
    with zipfile.ZipFile(trial, "w", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr("trial", data)
    return len(data) > RATIO * len(trial.getvalue()) / 2


def _members(contents: Contents) -> Iterator[tuple[str, bytes]]:
    """Every member but the checksums, in a fixed order."""
    attached = attached_in(contents.entries)
    head = contents.entries[-1].digest if contents.entries else ""
    manifest = {
        "format": FORMAT,
        "v": VERSION,
        "made_by": f"tickover {__version__}",
        "job": {"uid": contents.uid, "entries": len(contents.lines), "head": head},
        "simulated": any(e.simulated for e in contents.entries),
        "attachments": [a.model_dump(mode="json") for a in attached.values()],
    }
    yield MANIFEST, (json.dumps(manifest, ensure_ascii=False, indent=2, sort_keys=True) + "\n").encode()
    yield README, _EXPLAINED.encode()
    yield ENTRIES, "".join(line + "\n" for line in contents.lines).encode("ascii")
    rows = [{"entry": s.seq, "field": s.field, "salt": s.salt, "value": s.value} for s in contents.secrets]
    yield PERSONAL, (canonical(rows) + "\n").encode()
    if contents.sheet is not None:
        yield SHEET, contents.sheet
    used: set[str] = set()
    for entry in contents.entries:
        for label, columns in _columns_in(entry.data):
            yield _series_name(f"entry-{entry.seq}-{label}", used), _parquet(pl.DataFrame(columns))
    for digest, recording in sorted((contents.recordings or {}).items()):
        yield f"series/{digest[:16]}.parquet", _parquet(_long(recording))
    for digest, item in sorted(attached.items()):
        yield f"attachments/{digest}", contents.attachment(item)


def _series_name(label: str, used: set[str]) -> str:
    plain = re.sub(r"[^a-z0-9_]+", "-", label.lower()).strip("-")[:100]
    name, n = plain, 1
    while name in used:
        n += 1
        name = f"{plain}-{n}"
    used.add(name)
    return f"series/{name}.parquet"


def _columns_in(data: Mapping[str, Any], label: str = "") -> Iterator[tuple[str, dict[str, list[float]]]]:
    """Parts of a result that are columns of numbers over time, with the way to them."""
    for key, value in data.items():
        here = f"{label}-{key}" if label else key
        if not isinstance(value, dict):
            continue
        if "t" in value and len(value) > 1 and all(_numbers(v) and len(v) == len(value["t"]) for v in value.values()):
            yield here, {name: [float(x) for x in column] for name, column in value.items()}
        else:
            yield from _columns_in(value, here)


def _numbers(value: object) -> bool:
    return (
        isinstance(value, list)
        and len(value) > 1
        and all(isinstance(x, int | float) and not isinstance(x, bool) for x in value)
    )


def _long(recording: Recording) -> pl.DataFrame:
    """A recording as rows, one a sample."""
    parts = []
    for name in recording:
        series = recording[name]
        parts.append(
            pl.DataFrame({"t_lo": series.t_lo, "t_hi": series.t_hi, "value": series.value}).select(
                pl.lit(name).alias("signal"), pl.lit(signal(name).unit).alias("unit"), pl.all()
            )
        )
    return pl.concat(parts) if parts else pl.DataFrame({"signal": [], "unit": [], "t_lo": [], "t_hi": [], "value": []})


def _parquet(frame: pl.DataFrame) -> bytes:
    out = io.BytesIO()
    frame.write_parquet(out)
    return out.getvalue()
