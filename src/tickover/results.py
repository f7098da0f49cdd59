"""What every computing command answers: a number with its uncertainty, or "cannot tell" with its reason.

One versioned envelope is shared by ``--json``, the records and (later) the pages.
"""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, model_validator

from tickover import __version__

RESULT_VERSION = 1


class Result(BaseModel):
    """Base of every result: frozen, closed, and never silently carrying NaN."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


class Quantity(Result):
    """A measured or computed number with its interval.

    Attributes:
        value: best estimate, in ``unit``.
        lo, hi: interval at ``level``, same unit; ``None`` on a side that nothing bounds ("at least").
        level: coverage the interval claims, between 0 and 1.
        unit: the unit as the vocabulary writes it, e.g. ``r/min``.
        n_eff: effective number of independent samples behind it, where that has a meaning.
    """

    kind: Literal["quantity"] = "quantity"
    value: float
    lo: float | None
    hi: float | None
    level: float = Field(default=0.95, gt=0, lt=1)
    unit: str
    n_eff: float | None = None

    @model_validator(mode="after")
    def _ordered(self) -> Quantity:
        if self.lo is not None and self.hi is not None and self.lo > self.hi:
            raise ValueError(f"interval is upside down: {self.lo} > {self.hi}")
        return self

    @property
    def half_width(self) -> float | None:
        """Half the interval, in ``unit``; ``None`` where a side is open."""
        return None if self.lo is None or self.hi is None else (self.hi - self.lo) / 2

    @property
    def reach(self) -> float | None:
        """The larger side of the interval, in ``unit``: what ``±`` may honestly say; ``None`` where a side is open."""
        return None if self.lo is None or self.hi is None else max(self.hi - self.value, self.value - self.lo)


class CannotTell(Result):
    """A first-class answer: what keeps us from telling, and what would let us."""

    kind: Literal["cannot tell"] = "cannot tell"
    reason: str = Field(min_length=1)
    way_out: str = ""


Measured = Annotated[Quantity | CannotTell, Field(discriminator="kind")]


class Envelope(Result):
    """The versioned wrapper of every ``--json`` answer.

    Attributes:
        v: version of this shape.
        what: which computation, e.g. ``idle``.
        made_by: program and version.
        simulated: true where the car or the data were invented.
        inputs: names and settings the result was computed from.
        result: the result model, dumped to plain JSON values.
        rests_on: sentences naming what the result rests on.
    """

    v: int = RESULT_VERSION
    what: str
    made_by: str = f"tickover {__version__}"
    simulated: bool = False
    inputs: dict[str, Any] = Field(default_factory=dict)
    result: Any
    rests_on: tuple[str, ...] = ()


def envelope(
    what: str,
    result: BaseModel,
    *,
    inputs: dict[str, Any] | None = None,
    simulated: bool = False,
    rests_on: tuple[str, ...] = (),
) -> Envelope:
    """Wrap a result model.

    Args:
        what: which computation.
        result: any pydantic model of finite numbers.
        inputs: what it was computed from, JSON values only.
        simulated: whether car or data were invented.
        rests_on: what it rests on, in sentences.
    Returns: the envelope; ``.model_dump_json(indent=2)`` prints it.
    """
    return Envelope(
        what=what,
        result=result.model_dump(mode="json"),
        inputs=inputs or {},
        simulated=simulated,
        rests_on=rests_on,
    )
