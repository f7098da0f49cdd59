"""What this room reads out of a job's entries. Fields that it does not know are left alone; broken ones are named."""

from __future__ import annotations

from typing import Any, TypeVar

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from tickover.errors import InputError
from tickover.handover.sheet import ActDone, AnswerSeen, Judged, Trace, Verdict
from tickover.jobs.entries import Entry
from tickover.results import Measured


class _Given(BaseModel):
    model_config = ConfigDict(frozen=True, extra="ignore", allow_inf_nan=False)


class CarGiven(_Given):
    """``arrive``/``car``: the shop, the car, and what the customer said."""

    shop: str = ""
    job: str | int = ""
    year: int | None = None
    fuel: str = ""
    displacement_l: float | None = None
    cylinders: int | None = None
    complaint: str | tuple[str, ...] = ""


class StoryGiven(_Given):
    """``arrive``/``story``: what happened before, in one sentence."""

    sentence: str = ""


class StateGiven(_Given):
    """One load state of an idle reading."""

    name: str = ""
    seconds: float = 0.0
    speed: Measured


class RefusalGiven(_Given):
    """What a reading cannot tell."""

    reason: str
    way_out: str = ""


class _Trace(Trace):
    model_config = ConfigDict(frozen=True, extra="ignore", allow_inf_nan=False)


class ReadingGiven(_Given):
    """``before`` or ``after``/``reading``: an idle, or the reason why there is none.

    Attributes:
        states: load states; none where the idle cannot be told.
        swing: how far the speed swings about its mean in the first state.
        trace: the speed over time.
        refusals: what cannot be told.
        rests_on: what the reading rests on.
        reason, way_out: of a reading that is itself "cannot tell".
    """

    states: tuple[StateGiven, ...] = ()
    swing: Measured | None = None
    trace: _Trace | None = None
    refusals: tuple[RefusalGiven, ...] = ()
    rests_on: tuple[str, ...] = ()
    reason: str = ""
    way_out: str = ""

    @property
    def all_refusals(self) -> tuple[RefusalGiven, ...]:
        """Why there is no idle, where there is none, and what else cannot be told."""
        whole = (RefusalGiven(reason=self.reason, way_out=self.way_out),) if self.reason else ()
        return (*whole, *self.refusals)


class NeedGiven(_Given):
    """One need of the set-up, and whether it is met."""

    need: str
    met: bool | str | None = None


class NeedsGiven(_Given):
    """``set up``/``needs``."""

    needs: tuple[NeedGiven, ...] = ()


class _Act(ActDone):
    model_config = ConfigDict(frozen=True, extra="ignore", allow_inf_nan=False)


class _Answer(AnswerSeen):
    model_config = ConfigDict(frozen=True, extra="ignore", allow_inf_nan=False)


class AttemptGiven(_Given):
    """``relearn``/``attempt``. Where a routine does not say whether it may erase, it is taken to."""

    title: str = ""
    routine: str = ""
    may_erase: bool = True
    basis: str = ""
    number: int = Field(default=1, alias="try")
    verdict: Judged
    sentence: str = ""
    acts: tuple[_Act, ...] = ()
    answers: tuple[_Answer, ...] = ()
    duration: float = 0.0


class ComparisonGiven(_Given):
    """``after``/``comparison``: the verdict, and the two speeds and the load state that it compared."""

    verdict: Verdict
    sentence: str = ""
    normal: tuple[float, float] | None = None
    state: str = ""
    difference: Measured | None = None
    before: Measured | None = None
    after: Measured | None = None
    rests_on: tuple[str, ...] = ()


class ReadinessGiven(_Given):
    """``ready``/``readiness``: what was read before and after; missing where it was not read."""

    before: Any = None
    after: Any = None


_G = TypeVar("_G", bound=_Given)


def read(entry: Entry, shape: type[_G]) -> _G:
    """The entry's data in the shape this room needs.

    Raises: InputError naming the entry and the field that is broken.
    """
    try:
        return shape.model_validate(entry.data)
    except ValidationError as why:
        first = why.errors()[0]
        field = ".".join(str(part) for part in first["loc"]) or "its data"
        raise InputError(
            f"entry {entry.seq} of the job ({entry.stage}, {entry.kind}) has a broken {field}: {first['msg']}",
            way_out="Correct the entry; the sheet is composed from what it says.",
        ) from None
