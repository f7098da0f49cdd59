"""A job is a list of entries that only grows; what is due, done or not needed is worked out from them."""

from __future__ import annotations

from typing import Any, Literal, get_args

from pydantic import BaseModel, ConfigDict, Field

Stage = Literal["arrive", "before", "set up", "relearn", "after", "cause", "drive", "ready", "hand over"]

STAGES: tuple[Stage, ...] = get_args(Stage)
"""The nine stages, in their order."""


class Entry(BaseModel):
    """One thing that was said, measured or done.

    Attributes:
        seq: its number in the job, from 1, rising.
        stage: the stage it belongs to.
        kind: what it is: ``answers``, ``reading``, ``needs``, ``attempt``, ``comparison``, ``note`` …
        at: when, ISO 8601 with offset.
        by: who, free text.
        data: the result itself, plain JSON values.
        simulated: true where the car was invented.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    seq: int = Field(ge=1)
    stage: Stage
    kind: str
    at: str
    by: str = ""
    data: dict[str, Any] = Field(default_factory=dict)
    simulated: bool = False
