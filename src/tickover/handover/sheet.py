"""All that stands on the customer's sheet, as plain data. What is empty is not printed."""

from __future__ import annotations

from typing import Literal

from pydantic import model_validator

from tickover.attempts import Kind
from tickover.results import Measured, Result

Verdict = Literal["settled", "better", "no change", "worse", "cannot tell"]
Judged = Literal["hit", "missed", "undecided"]


class Trace(Result):
    """Engine speed over time.

    Attributes:
        t: instants, rising [s].
        speed: one each [r/min]; ``None`` where nothing was measured.
    """

    t: tuple[float, ...] = ()
    speed: tuple[float | None, ...] = ()

    @model_validator(mode="after")
    def _as_long(self) -> Trace:
        if len(self.t) != len(self.speed):
            raise ValueError(f"{len(self.t)} instants for {len(self.speed)} speeds")
        return self


class Row(Result):
    """One line of a list.

    Attributes:
        text: what it says.
        when: a short word at its right: a time of day, or how soon to call.
        weight: where lines are cut, the heavier ones stay longer.
    """

    text: str
    when: str = ""
    weight: int = 0


class ActDone(Result):
    """One act of an attempt, judged.

    Attributes:
        step: id of the step it belongs to.
        label: what a person calls it.
        kind: what was done, one of ``attempts.KINDS``.
        t_lo, t_hi: bracket of the instant, since the attempt began [s]; ``None`` where it never came.
        window: when it should have come [s]; ``None`` on an open side, or where nothing was asked.
        verdict: hit, missed or undecided.
    """

    step: str
    label: str = ""
    kind: Kind
    t_lo: float | None = None
    t_hi: float | None = None
    window: tuple[float | None, float | None] | None = None
    verdict: Judged

    @model_validator(mode="after")
    def _in_order(self) -> ActDone:
        lo, hi = self.window or (None, None)
        for name, a, b in (("its bracket", self.t_lo, self.t_hi), ("its window", lo, hi)):
            if a is not None and b is not None and a > b:
                raise ValueError(f"{name} is upside down: {a:g} to {b:g}")
        return self


class AnswerSeen(Result):
    """What the car was seen to do, and when [s since the attempt began]."""

    kind: Kind
    t: float


class Try(Result):
    """One attempt at a routine.

    Attributes:
        title: the routine's title.
        number: which try it was, from 1.
        verdict, sentence: the judgement.
        acts, answers: what was done and seen.
        duration: how long it lasted [s].
    """

    title: str
    number: int = 1
    verdict: Judged
    sentence: str = ""
    acts: tuple[ActDone, ...] = ()
    answers: tuple[AnswerSeen, ...] = ()
    duration: float = 0.0


class Sheet(Result):
    """The customer's page.

    Attributes:
        shop, job: the shop's name and the job's number.
        date: the day it was signed off, in words.
        at: the instant of the hand-over, ISO 8601; the date of the document.
        car: the car in one line: year, fuel, displacement, cylinders.
        vin: its number as it is shown, masked or whole; empty where none was told or it is left out.
        invented: true where car or figures are invented; printed plainly.
        headline, lead: the verdict in one line, and one or two sentences with the figures.
        verdict: of the comparison; ``None`` where before and after were not compared.
        normal: the normal idle [r/min].
        before, after: the readings; ``None`` where none was taken.
        before_trace, after_trace: the idle over time.
        wrong: what was wrong, in sentences.
        done: what was done.
        watch: what to watch, and how soon to call.
        lamp: what the engine lamp may do meanwhile.
        driving: what the confirmation drive showed, or how to drive it.
        drive_caution: bodily harm while driving that plan; stands there.
        inspection: whether it would be ready for inspection.
        come_back: when to come back, and for what.
        cannot_tell: what cannot be told yet.
        caution: bodily harm only; it stands under what to watch and the lamp.
        rests_on: what the figures rest on.
        basis: where the routine comes from.
        by: who signs for the shop.
        tries: the attempts, in order.
    """

    shop: str = ""
    job: str = ""
    date: str = ""
    at: str = ""
    car: str = ""
    vin: str = ""
    invented: bool = False
    headline: str
    lead: str = ""
    verdict: Verdict | None = None
    normal: tuple[float, float] | None = None
    before: Measured | None = None
    after: Measured | None = None
    before_trace: Trace | None = None
    after_trace: Trace | None = None
    wrong: tuple[str, ...] = ()
    done: tuple[Row, ...] = ()
    watch: tuple[Row, ...] = ()
    lamp: tuple[str, ...] = ()
    driving: tuple[str, ...] = ()
    drive_caution: str = ""
    inspection: tuple[str, ...] = ()
    come_back: str = ""
    cannot_tell: tuple[str, ...] = ()
    caution: str = ""
    rests_on: tuple[str, ...] = ()
    basis: str = ""
    by: str = ""
    tries: tuple[Try, ...] = ()

    @model_validator(mode="after")
    def _normal_in_order(self) -> Sheet:
        if self.normal is not None and not self.normal[0] < self.normal[1]:
            raise ValueError(f"normal is upside down: {self.normal[0]:g} to {self.normal[1]:g}")
        return self
