"""The chain of a job: canonical text, digests, and what does not hold. No store, no clock, no chance.

Every entry is stored as one line of canonical JSON, and its digest is the SHA-256 of that line, so that anybody can
check it with ``sha256sum``. The line names the digest of the line before; the first one names the job's own mark.
"""

from __future__ import annotations

import hashlib
import hmac
import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from pydantic import ValidationError

from tickover.errors import InputError
from tickover.jobs.entries import PURGED, Entry
from tickover.jobs.reports import Finding


def canonical(value: object) -> str:
    """The one way to write a JSON value: sorted keys, no blanks, ASCII only, so that no store can change a letter.

    Raises: InputError for what JSON cannot carry: NaN, infinity, odd types, nesting without end.
    """
    try:
        text = json.dumps(value, ensure_ascii=False, allow_nan=False)
        text.encode()  # half a letter outside the basic plane is no text
        return json.dumps(json.loads(text), sort_keys=True, separators=(",", ":"), ensure_ascii=True)
    except (TypeError, ValueError, RecursionError) as why:
        raise InputError(f"these data cannot be kept: {why}", way_out="Keep plain JSON values.") from None


def plain(value: Mapping[str, Any]) -> dict[str, Any]:
    """The value as it will be read back: tuples are lists, keys are text."""
    back: dict[str, Any] = json.loads(canonical(value))
    return back


def digest_of(text: str | bytes) -> str:
    """SHA-256 in hexadecimal."""
    data = text.encode("utf-8", "surrogateescape") if isinstance(text, str) else text
    return hashlib.sha256(data).hexdigest()


def shown(value: object) -> str:
    """A stored cell as text that can be printed, whatever was done to it."""
    return str(value).encode("utf-8", "backslashreplace").decode()


def mark(uid: str) -> str:
    """What the first entry of a job names as the entry before it."""
    return digest_of(f"tickover job {uid}")


def salted(salt: str, value: str) -> str:
    """Digest of a personal value. Without the salt the value cannot be found by trying.

    Source: HMAC-SHA-256, RFC 2104.
    """
    key, text = salt.encode("utf-8", "surrogateescape"), value.encode("utf-8", "surrogateescape")
    return hmac.new(key, text, hashlib.sha256).hexdigest()


def sealed(entry: Entry) -> tuple[Entry, str]:
    """The entry with its digest, and the line that is stored."""
    body = canonical(entry.model_dump(mode="json", exclude={"digest"}))
    return entry.model_copy(update={"digest": digest_of(body)}), body


def opened(body: str, digest: str) -> Entry:
    """The entry that a stored line holds.

    Raises: ValueError where the line is no entry.
    """
    try:
        fields = json.loads(body)
    except RecursionError:
        raise ValueError("nested without end") from None
    if not isinstance(fields, dict) or "digest" in fields:
        raise ValueError("not an entry")
    return Entry.model_validate({**fields, "digest": digest})


@dataclass(frozen=True, slots=True)
class Line:
    """One entry as a store holds it; ``columns`` are the fields that stand beside it for searching."""

    seq: object
    body: object
    digest: object
    columns: Mapping[str, object]


@dataclass(frozen=True, slots=True)
class Secret:
    """A personal value as a store holds it; both None where it was withheld."""

    seq: object
    field: object
    salt: object
    value: object


def check_chain(
    uid: str, lines: Iterable[Line], entries: int, head: str
) -> tuple[tuple[Entry, ...], tuple[Finding, ...]]:
    """Follow the chain from the job's mark to its head.

    Args:
        uid: the job's mark.
        lines: what is stored, in the order of its numbers.
        entries, head: how many entries the job says it has, and the digest of the last.
    Returns: the entries that could be read, and what does not hold.
    """
    kept: list[Entry] = []
    findings: list[Finding] = []
    before = mark(uid)
    count = 0
    for count, line in enumerate(lines, start=1):
        entry, faults = _judged(line, count, before)
        findings += (Finding(what=what, entry=count) for what in faults)
        kept += [entry] if entry is not None else []
        before = str(line.digest)
    if count != entries:
        findings.append(Finding(what=f"the job says it has {entries} entries, and {count} are there"))
    elif before != head:
        findings.append(Finding(what="the last entry is not the one that the job names as its last"))
    return tuple(kept), tuple(findings)


def _judged(line: Line, place: int, before: str) -> tuple[Entry | None, list[str]]:
    """The entry on a line, where it can be read, and what is wrong with it."""
    try:
        entry = opened(str(line.body), str(line.digest))
    except (ValueError, ValidationError):
        entry = None
    if line.seq != place:
        return entry, [f"entry {place} is missing or out of its place"]
    if not isinstance(line.body, str) or digest_of(line.body) != line.digest:
        return entry, [f"entry {place} is not what was written: its digest does not fit"]
    if entry is None or entry.seq != place:
        return entry, [f"entry {place} cannot be read as an entry"]
    faults = []
    if entry.previous != before:
        faults.append(f"entry {place} does not follow the entry before it")
    if any(getattr(entry, name) != value for name, value in line.columns.items()):
        faults.append(f"entry {place} is filed under another stage, kind or time than it says")
    if entry.corrects is not None and entry.corrects >= place:
        faults.append(f"entry {place} corrects an entry that was not there yet")
    return entry, faults


@dataclass(frozen=True, slots=True)
class SecretsCheck:
    """Personal values held against their digests."""

    findings: tuple[Finding, ...]
    purged: tuple[str, ...]
    withheld: tuple[str, ...]


def purged_fields(entries: Iterable[Entry]) -> frozenset[tuple[int, str]]:
    """The personal fields that a notice in the record says were erased."""
    notices = (item for e in entries if e.kind == PURGED for item in e.data.get("fields", []))
    return frozenset((item["entry"], item["field"]) for item in notices)


def check_secrets(entries: Iterable[Entry], secrets: Iterable[Secret]) -> SecretsCheck:
    """Hold the personal values against the digests in the chain.

    A value may be missing only where a notice in the record says that it was erased.
    """
    entries = tuple(entries)
    held = {(s.seq, s.field): s for s in secrets}
    gone = purged_fields(entries)
    findings: list[Finding] = []
    purged: list[str] = []
    withheld: list[str] = []
    for entry in entries:
        for name, digest in sorted(entry.personal.items()):
            label = f"{entry.seq}.{name}"
            secret = held.pop((entry.seq, name), None)
            if (entry.seq, name) in gone:
                purged.append(label)
                if secret is not None:
                    findings.append(Finding(what=f"“{name}” was erased and is there again", entry=entry.seq))
            elif secret is None:
                findings.append(Finding(what=f"“{name}” is gone, and no entry says it was erased", entry=entry.seq))
            elif secret.salt is None and secret.value is None:
                withheld.append(label)
            elif not _fits(secret, digest):
                findings.append(Finding(what=f"“{name}” is not what was written", entry=entry.seq))
    findings += (
        Finding(
            what=f"a personal value “{shown(s.field)}” belongs to no entry",
            entry=s.seq if isinstance(s.seq, int) else None,
        )
        for s in held.values()
    )
    return SecretsCheck(tuple(findings), tuple(purged), tuple(withheld))


def _fits(secret: Secret, digest: str) -> bool:
    whole = isinstance(secret.salt, str) and isinstance(secret.value, str)
    return whole and salted(str(secret.salt), str(secret.value)) == digest
