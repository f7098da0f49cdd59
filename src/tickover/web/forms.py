"""What comes in by a form, made into a model: one clear message for what does not fit, never a fault of the server."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Annotated, TypeVar

from pydantic import BaseModel, Field, ValidationError
from starlette.datastructures import FormData

from tickover.errors import InputError
from tickover.jobs import Entry

M = TypeVar("M", bound=BaseModel)

MOST_TEXT = 2000
"""Longest text of a field [characters]; own choice."""


def told(model: type[M], **values: object) -> M:
    """A model from what was typed.

    Raises: InputError naming the field that does not fit.
    """
    try:
        return model.model_validate(values)
    except ValidationError as why:
        fault = why.errors()[0]
        field = ".".join(str(part) for part in fault["loc"])
        raise InputError(f"{field or 'the form'}: {fault['msg']}", way_out="Change it and send it again.") from None


Upto = Annotated[int | None, Field(ge=0, le=2**31 - 1)]
"""Number of the newest entry that a page showed when its form was filled in."""


def still_newest(entries: Sequence[Entry], upto: int | None, stage: str, *kinds: str) -> None:
    """Refuse an answer to a page that has grown old: somebody else has told the same meanwhile.

    Args:
        entries: of the job, as they stand.
        upto: the newest entry that the page showed; None where nobody said, then nothing is refused.
        stage, kinds: what the answer would take the place of.
    Raises: InputError naming the entry that came meanwhile.
    """
    newer = [e for e in entries if upto is not None and e.seq > upto and e.stage == stage and e.kind in kinds]
    if newer:
        last = newer[-1]
        who = f", by {last.by}" if last.by else ""
        raise InputError(
            f"entry {last.seq} came meanwhile at {stage.capitalize()}{who}, so this was not kept",
            way_out="Load the job's page anew and look, then send again. What you typed is still there.",
        )


def text_of(form: FormData, name: str) -> str:
    """The text of a field, trimmed; empty where it is not there or is a file."""
    value = form.get(name)
    return value.strip() if isinstance(value, str) else ""


def texts_of(form: FormData, name: str) -> list[str]:
    """All texts of a field that may come several times, trimmed, empty ones left out."""
    return [v.strip() for v in form.getlist(name) if isinstance(v, str) and v.strip()]


def figure_of(form: FormData, name: str, words: str) -> float | None:
    """The number in a field, with a point or a comma; None where it was left empty.

    Raises: InputError for anything else.
    """
    text = text_of(form, name)
    return None if not text else number(text, words)


def number(text: str, words: str) -> float:
    """A number as people type it.

    Raises: InputError.
    """
    try:
        value = float(text.replace(",", ".").replace("−", "-"))
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise InputError(f"{words}: “{text[:40]}” is not a number", way_out="Type figures only, like 12.4.")
    return value


def normal_of(lo: float | None, hi: float | None) -> tuple[float, float] | None:
    """A normal range from its two figures [r/min]; None where neither was told.

    Raises: InputError for one without the other, or for a range that cannot be.
    """
    if lo is None and hi is None:
        return None
    if lo is None or hi is None or not 100 <= lo < hi <= 3000:
        raise InputError(
            "the normal range is two figures between 100 and 3000 r/min, the lower one first",
            way_out="Type both, like 650 and 750, or neither.",
        )
    return lo, hi
