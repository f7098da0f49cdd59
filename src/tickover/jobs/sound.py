"""What an entry must be like to be kept, whether it is written here or comes from elsewhere."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from tickover.errors import InputError
from tickover.jobs.chain import Secret
from tickover.jobs.entries import Attached, Entry, Stage


def check_entry(entry: Entry) -> None:
    """Raises: InputError for a time without offset, or a kind or personal field without a printable name."""
    check_time(entry.at)
    check_text("kind", entry.kind, longest=64)
    for name in entry.personal:
        check_text("the name of a personal field", name, longest=64)


def check_secret(secret: Secret) -> None:
    """Raises: InputError for a personal value that is none."""
    if not isinstance(secret.seq, int) or isinstance(secret.seq, bool):
        raise InputError("a personal value names no entry")
    check_text("the name of a personal field", secret.field, longest=64)
    if secret.salt is None and secret.value is None:
        return
    check_text("a salt", secret.salt, longest=64)
    check_text(f"“{secret.field}”", secret.value, longest=10_000)


def check_time(at: object) -> None:
    """Raises: InputError for anything but an ISO 8601 time with its offset."""
    try:
        offset = datetime.fromisoformat(str(at)).utcoffset()
    except ValueError:
        offset = None
    if offset is None:
        raise InputError(f"“{at}” is not a time with an offset", way_out="Write it like 2026-11-25T10:00:00+00:00.")


def check_text(what: str, value: object, *, longest: int) -> None:
    """Raises: InputError for anything but 1 to ``longest`` printable letters; line breaks may be among them."""
    if not isinstance(value, str) or not 0 < len(value) <= longest or not value.replace("\n", " ").isprintable():
        raise InputError(f"{what} must be 1 to {longest} printable letters", way_out="Leave it out, or write it anew.")


class Draft:
    """An entry before it has its number; what can be judged without the store is judged here."""

    def __init__(
        self,
        stage: Stage,
        kind: str,
        at: str,
        by: str,
        data: dict[str, Any],
        personal: dict[str, str],
        *,
        simulated: bool | None = None,
        attachments: tuple[Attached | str, ...] = (),
        corrects: int | None = None,
        inputs: dict[str, Any] | None = None,
    ) -> None:
        check_time(at)
        check_text("kind", kind, longest=64)
        for name, value in personal.items():
            check_text("the name of a personal field", name, longest=64)
            check_text(f"“{name}”", value, longest=10_000)
        self.stage, self.kind, self.at, self.by = stage, kind, at, by
        self.data, self.personal, self.inputs = data, personal, inputs or {}
        self.simulated, self.attachments, self.corrects = simulated, attachments, corrects
