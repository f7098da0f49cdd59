"""What every refusal looks like under /api, for the documented schema."""

from __future__ import annotations

from typing import Any

from pydantic import BaseModel


class Fault(BaseModel):
    """A refusal: its name, what is wrong, the way out, and figures that belong to it."""

    error: str
    what: str
    way_out: str = ""
    values: dict[str, Any] = {}


FAULTS: dict[int | str, dict[str, Any]] = {
    400: {"model": Fault, "description": "It cannot be done as asked; the way out says how."},
    404: {"model": Fault, "description": "There is no such job, entry or attempt."},
    422: {"model": Fault, "description": "A field is missing or does not fit."},
}
