"""What this room reads out of a job's entries. Fields that it does not know are left alone; broken ones are named."""

from __future__ import annotations

from collections.abc import Mapping
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
    vin: str = ""
    year: int | None = None
    fuel: str = ""
    displacement_l: float | None = None
    cylinders: int | None = None
    complaint: str | tuple[str, ...] = ""


class StoryGiven(_Given):
    """``arrive``/``story``: what happened before, in one sentence."""

    sentence: str = ""


class AnswersGiven(_Given):
    """``arrive``/``answers``: what was told; the lamp, and the codes where they were read."""

    lamp: str = "not known"
    codes: tuple[str, ...] | None = None


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
    """``set up``/``needs``: of which routine, and how its needs stood."""

    routine: str = ""
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


class Loose(BaseModel):
    """An entry of a stage that other rooms fill: only what is text where text is expected is taken, and nothing fails.

    Attributes:
        sentence: what was found, in a sentence.
        lines: what else it says, in sentences.
        cautions: bodily harm, where the entry says so.
    """

    model_config = ConfigDict(frozen=True)

    sentence: str = ""
    lines: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()


_SENTENCES = ("sentence", "text", "what", "words", "says", "title")


def text_of(value: object) -> str:
    """What a value says: itself where it is text, else the first of its fields that is a sentence; or nothing."""
    if isinstance(value, str):
        return value.strip()
    if isinstance(value, Mapping):
        title, why = value.get("title"), value.get("why")
        if isinstance(title, str) and isinstance(why, str) and title.strip() and why.strip():
            return f"{title.strip()}: {why.strip()}"
        return next((t.strip() for name in _SENTENCES if isinstance(t := value.get(name), str) and t.strip()), "")
    return ""


def texts_of(value: object) -> tuple[str, ...]:
    """What the items of a list say; a single text is a list of one."""
    items = value if isinstance(value, list | tuple) else [value]
    return tuple(t for t in map(text_of, items) if t)


def loose(entry: Entry, *fields: str) -> Loose:
    """What an entry says, with the named fields as further lines."""
    told = text_of(entry.data)
    lines = tuple(t for name in fields for t in texts_of(entry.data.get(name)) if t != told)
    return Loose(sentence=told, lines=lines, cautions=texts_of(entry.data.get("cautions")))


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
