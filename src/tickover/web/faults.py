"""What every refusal looks like: a page for people, one shape for programs."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from pydantic import BaseModel

from tickover.errors import (
    LockedStoreError,
    StoreError,
    TickoverError,
    UnknownAttemptError,
    UnknownEntryError,
    UnknownJobError,
)


class Fault(BaseModel):
    """A refusal: its name, what is wrong, the way out, and figures that belong to it."""

    error: str
    what: str
    way_out: str = ""
    values: dict[str, Any] = {}


FAULTS: dict[int | str, dict[str, Any]] = {
    400: {"model": Fault, "description": "It cannot be done as asked; the way out says how."},
    404: {"model": Fault, "description": "There is no such job, entry or attempt."},
    413: {"model": Fault, "description": "The request is too large."},
    422: {"model": Fault, "description": "A field is missing or does not fit."},
    503: {"model": Fault, "description": "The record cannot be used now; Retry-After says when to ask again."},
}
SOON, LATER = 5, 60
"""When to ask again where somebody else is writing, and where somebody must see to the record first [s]. Own choice."""


def status_of(why: TickoverError) -> tuple[int, dict[str, str]]:
    """The number of an answer that refuses, and the headers that belong to it."""
    if isinstance(why, UnknownJobError | UnknownAttemptError | UnknownEntryError):
        return 404, {}
    if isinstance(why, StoreError):
        return 503, {"retry-after": str(SOON if isinstance(why, LockedStoreError) else LATER)}
    return 400, {}


def as_data(path: str, accept: str) -> bool:
    """Whether a refusal is told as JSON: under ``/api``, and to whoever asks for JSON and for no page.

    Args:
        path: that was asked.
        accept: value of the Accept header.
    """
    kinds = {one.split(";")[0].strip().lower() for one in accept.split(",")}
    wants = {"application/json", "application/problem+json"}
    return path.startswith("/api") or ("text/html" not in kinds and bool(kinds & wants))


def is_browser(headers: Mapping[str, str]) -> bool:
    """Whether somebody looks at the answer: browsers say so, by what they accept or by how they fetch."""
    return "text/html" in headers.get("accept", "") or "sec-fetch-mode" in headers


def on_page(path: str, told: Mapping[str, Any]) -> tuple[str, str, str]:
    """A refusal as a page tells it: no path of the record, no command to type.

    Args:
        path: that was asked.
        told: the refusal as programs get it.
    Returns: what is wrong, the way out, and where the page leads back to.
    """
    if told["error"] == UnknownJobError.__name__:
        return (
            f"There is no job {told['values'].get('job', 'of that number')}",
            "The list has those that there are.",
            "/",
        )
    file = told["values"].get("file")
    what = f"{file}: {told['what']}" if file else told["what"]
    return what, told["way_out"], way_back(path)


def way_back(path: str) -> str:
    """The job's sheet where the address is one of a job, else the list."""
    part = path.split("/")
    known = len(part) > 2 and part[1] == "jobs" and part[2].isascii() and part[2].isdigit()
    return f"/jobs/{part[2]}" if known else "/"
