"""Read an exported job that may come from anybody: everything is checked before anything of it is stored."""

from __future__ import annotations

import json
import stat
import zipfile
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tickover.errors import ArchiveError, InputError
from tickover.jobs import archive
from tickover.jobs.chain import Line, Secret, check_chain, check_secrets, digest_of
from tickover.jobs.entries import Attached, Entry
from tickover.jobs.keeping import LARGEST
from tickover.jobs.sound import check_entry, check_secret

MOST_MEMBERS = 10_000
_BROKEN = (
    zipfile.BadZipFile, zipfile.LargeZipFile, zlib.error, EOFError, OSError, RuntimeError, ValueError, OverflowError,
    KeyError, IndexError,
)  # fmt: skip
"""What the zip library raises on files made to break it."""


@dataclass(frozen=True)
class Unpacked:
    """A job whose every part was checked; attachments are read again when they are stored."""

    uid: str
    lines: tuple[str, ...]
    entries: tuple[Entry, ...]
    secrets: tuple[Secret, ...]
    attached: dict[str, Attached]
    _packed: _Packed

    def attachment(self, digest: str) -> bytes:
        """The bytes under a digest, checked once more."""
        data = self._packed.read(f"attachments/{digest}", LARGEST)
        if digest_of(data) != digest:
            raise self._packed.refuse("it changed while it was read")
        return data


@contextmanager
def unpacked(path: Path) -> Iterator[Unpacked]:
    """A checked job from a zip file.

    Raises: InputError for a file that is not there; ArchiveError naming the first thing that does not hold.
    """
    if not path.is_file():
        raise InputError("there is no such file", file=str(path))
    try:
        file = zipfile.ZipFile(path)
    except PermissionError:
        raise InputError("may not be read", file=str(path)) from None
    except _BROKEN as why:
        raise ArchiveError(f"is no zip file that can be read: {why}", file=str(path)) from None
    with file:
        packed = _Packed(file, path)
        packed.check_members()
        sums = packed.check_sums()
        yield _job_in(packed, sums)


class _Packed:
    """The zip itself: names and sizes are believed only after they were checked."""

    def __init__(self, file: zipfile.ZipFile, path: Path) -> None:
        self._file = file
        self._path = path

    def refuse(self, what: str) -> ArchiveError:
        return ArchiveError(what, file=self._path.name, way_out="Nothing was stored. Ask for the file again.")

    def check_members(self) -> None:
        members = self._file.infolist()
        if len(members) > MOST_MEMBERS:
            raise self.refuse(f"holds {len(members)} files, more than {MOST_MEMBERS}")
        seen: set[str] = set()
        for member in members:
            name = member.orig_filename
            if not archive.MEMBER.fullmatch(name) or name != member.filename:
                raise self.refuse(f"holds a file that does not belong into a job: {name[:80]!r}")
            if name in seen:
                raise self.refuse(f"holds {name} twice")
            seen.add(name)
            self._check_member(member)
        missing = archive.REQUIRED - seen
        if missing:
            raise self.refuse(f"is not an exported job: {', '.join(sorted(missing))} missing")
        if sum(m.file_size for m in members) > archive.LARGEST_TOTAL:
            raise self.refuse("unpacks to more than 4 GiB")

    def _check_member(self, member: zipfile.ZipInfo) -> None:
        name = member.filename
        if member.flag_bits & 0x1:
            raise self.refuse(f"{name} is encrypted")
        if member.compress_type not in {zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED}:
            raise self.refuse(f"{name} is packed in a way that is not used here")
        if stat.S_IFMT(member.external_attr >> 16) not in {0, stat.S_IFREG}:
            raise self.refuse(f"{name} is not a plain file")
        if member.file_size > LARGEST:
            raise self.refuse(f"{name} unpacks to more than {LARGEST // 2**20} MiB")
        if member.file_size >= archive.SMALL and member.file_size > archive.RATIO * max(member.compress_size, 1):
            raise self.refuse(f"{name} unpacks to more than {archive.RATIO} times its size")

    def check_sums(self) -> dict[str, str]:
        """Hold every member against the list of checksums, which must name each once."""
        sums: dict[str, str] = {}
        for line in self.text(archive.CHECKSUMS).splitlines():
            digest, _, name = line.partition("  ")
            if name in sums:
                raise self.refuse(f"lists {name} twice in its checksums")
            sums[name] = digest
        names = {m.filename for m in self._file.infolist()} - {archive.CHECKSUMS}
        if set(sums) != names:
            raise self.refuse("its checksums do not list exactly the files inside")
        for name, digest in sums.items():
            if digest_of(self.read(name, LARGEST)) != digest:
                raise self.refuse(f"{name} does not fit its checksum")
        return sums

    def read(self, name: str, most: int) -> bytes:
        """The bytes of a member, never more than it says it has."""
        try:
            info = self._file.getinfo(name)
            with self._file.open(info) as member:
                data = member.read(most + 1)
        except _BROKEN as why:
            raise self.refuse(f"{name} cannot be unpacked: {why}") from None
        if len(data) != info.file_size or len(data) > most:
            raise self.refuse(f"{name} has another size than it says")
        return data

    def text(self, name: str) -> str:
        try:
            return self.read(name, LARGEST).decode("utf-8")
        except UnicodeDecodeError:
            raise self.refuse(f"{name} is not text") from None

    def json(self, name: str) -> Any:  # noqa: ANN401 — judged by the caller
        try:
            return json.loads(self.text(name))
        except (ValueError, RecursionError):
            raise self.refuse(f"{name} is not JSON") from None


def _job_in(packed: _Packed, sums: dict[str, str]) -> Unpacked:
    uid, count, head = _manifest(packed)
    lines = tuple(packed.text(archive.ENTRIES).split("\n"))
    if lines[-1] or len(lines) < 2:
        raise packed.refuse("its entries end in the middle of a line, or there are none")
    lines = lines[:-1]
    stored = [Line(n, line, digest_of(line), {}) for n, line in enumerate(lines, start=1)]
    entries, findings = check_chain(uid, stored, count, head)
    if findings:
        raise packed.refuse(findings[0].what)
    secrets = _secrets(packed)
    wrong = check_secrets(entries, secrets).findings
    if wrong:
        raise packed.refuse(wrong[0].what)
    try:
        for entry in entries:
            check_entry(entry)
    except InputError as why:
        raise packed.refuse(f"an entry could not be kept here: {why.what}") from None
    attached = archive.attached_in(entries)
    there = {name.removeprefix("attachments/") for name in sums if name.startswith("attachments/")}
    if there != set(attached):
        raise packed.refuse("its attachments are not those that the entries name")
    for digest in attached:
        if sums[f"attachments/{digest}"] != digest:
            raise packed.refuse(f"attachment {digest[:12]} is damaged: its bytes do not fit its digest")
    return Unpacked(uid, lines, entries, secrets, attached, packed)


def _manifest(packed: _Packed) -> tuple[str, int, str]:
    manifest = packed.json(archive.MANIFEST)
    if not isinstance(manifest, dict) or manifest.get("format") != archive.FORMAT:
        raise packed.refuse("is not an exported job")
    version = manifest.get("v")
    if version != archive.VERSION:
        raise packed.refuse(f"is of version {version}; this program knows version {archive.VERSION}: update tickover")
    job = manifest.get("job")
    if not isinstance(job, dict):
        raise packed.refuse("its manifest names no job")
    uid, count, head = job.get("uid"), job.get("entries"), job.get("head")
    known = isinstance(uid, str) and len(uid) == 32 and not set(uid) - set("0123456789abcdef")
    if not known or not isinstance(count, int) or not isinstance(head, str):
        raise packed.refuse("its manifest names no job")
    return str(uid), count, head


def _secrets(packed: _Packed) -> tuple[Secret, ...]:
    rows = packed.json(archive.PERSONAL)
    secrets: list[Secret] = []
    try:
        for row in rows:
            secret = Secret(row["entry"], row["field"], row["salt"], row["value"])
            check_secret(secret)
            secrets.append(secret)
    except (TypeError, KeyError, InputError):
        raise packed.refuse("its personal values cannot be read") from None
    if len({(s.seq, s.field) for s in secrets}) != len(secrets):
        raise packed.refuse("a personal value is there twice")
    return tuple(secrets)
