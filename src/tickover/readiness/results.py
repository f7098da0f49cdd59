"""Shapes of what readiness answers."""

from __future__ import annotations

import datetime
from typing import Annotated, Literal

from pydantic import Field

from tickover.obd.results import Ignition
from tickover.results import CannotTell, Measured, Quantity, Result

Word = Literal["would be ready", "would be turned away", "cannot tell"]
Fuel = Literal["petrol", "hybrid", "diesel"]
LampSeen = Literal["lights with the ignition", "stays dark", "on while running", "not looked at"]


class Clearing(Result):
    """Whether the memory was cleared not long ago, with what speaks for it.

    Attributes:
        word: the answer.
        reasons: what each counter says; thresholds are ours.
        sentence: the answer in a sentence.
    """

    word: Literal["recently cleared", "not recently cleared", "cannot tell"]
    reasons: tuple[str, ...] = ()
    sentence: str


class CarState(Result):
    """What is known of a car, from its bytes, by hand, or both.

    Attributes:
        open: monitors that are supported and not complete; None where only a count is known.
        complete: monitors that are complete, as far as named.
        open_count: how many are open, where only that is known.
        lamp: whether a controller asks for the lamp; None where not known.
        lamp_seen: what the eye saw.
        stored, pending, permanent: trouble codes; None where not asked.
        stored_count: how many stored codes the status counts.
        warm_ups, km, minutes: since the last clear; None where not known.
        counters: in-use counters, by the standard's short names.
        ignition: of the layout; None where by hand.
        co_natural, co_fast: CO at the tailpipe [% by volume]; None where not measured.
        lambda_fast: λ at fast idle.
        says: what it rests on, in sentences.
    """

    open: tuple[str, ...] | None = None
    complete: tuple[str, ...] = ()
    open_count: int | None = None
    lamp: bool | None = None
    lamp_seen: LampSeen = "not looked at"
    stored: tuple[str, ...] | None = None
    pending: tuple[str, ...] | None = None
    permanent: tuple[str, ...] | None = None
    stored_count: int | None = None
    warm_ups: int | None = None
    km: float | None = None
    minutes: float | None = None
    counters: dict[str, int] = Field(default_factory=dict)
    ignition: Ignition | None = None
    co_natural: float | None = None
    co_fast: float | None = None
    lambda_fast: float | None = None
    says: tuple[str, ...] = ()


class Obstacle(Result):
    """One thing between the car and the inspection, or one that has to be looked at first.

    Attributes:
        what: in a sentence.
        certain: False where it is not known and has to be found out.
    """

    what: str
    certain: bool = True


class Verdict(Result):
    """What an inspection would say.

    Attributes:
        rule: id of the rule.
        title: of the rule.
        word: the answer.
        sentence: the answer in one sentence.
        between: what stands between the car and the inspection, in the order to deal with it.
        open: monitors that are open, as far as named.
        allowed: what the rule lets be open, in words.
        clearing: whether the memory was cleared not long ago.
        check: to check with the programme, always.
        rests_on: what it rests on.
        notes: what else the rule says.
    """

    kind: Literal["readiness"] = "readiness"
    rule: str
    title: str
    word: Word
    sentence: str
    between: tuple[Obstacle, ...] = ()
    open: tuple[str, ...] | None = None
    allowed: str = ""
    clearing: Clearing
    check: str
    rests_on: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()


class Rate(Result):
    """How often a monitor completes.

    Attributes:
        monitor: its name.
        a_cycle: completions per ignition cycle, 90 %.
        counted: True from this car's counters, False from a wide guess.
        basis: in words.
    """

    monitor: str
    a_cycle: Quantity
    counted: bool
    basis: str


class Help(Result):
    """What it would do for the day of inspection if one monitor were complete now.

    Attributes:
        monitor: its name.
        chance: the chance then, 0 to 1.
        gain: against the chance as things stand.
    """

    monitor: str
    chance: float
    gain: float


class Curve(Result):
    """The chance of being ready over days: expected, and a 90 % band from rates and driving that are not known.

    Attributes:
        days: from 0.
        chance, lo, hi: one each, 0 to 1.
    """

    days: tuple[float, ...]
    chance: tuple[float, ...]
    lo: tuple[float, ...]
    hi: tuple[float, ...]


class Forecast(Result):
    """When a car will be ready.

    Attributes:
        chance: of being ready on the day of inspection, 90 % band; or why not.
        by: the day of inspection.
        today: the day the forecast starts from.
        days: between the two.
        per_day: ignition cycles a day.
        rule: id of the rule; empty for all complete.
        allowed: what may be open, in words.
        day_80, day_95: days until the chance is 80 and 95 %, 90 % band.
        rates: how often each open monitor completes.
        helps: what helps most, the most first.
        curve: for the picture.
        sentence: the answer.
        rests_on, cannot: what it rests on, and what it cannot tell.
    """

    kind: Literal["forecast"] = "forecast"
    chance: Measured
    by: datetime.date
    today: datetime.date
    days: int
    per_day: float
    rule: str = ""
    allowed: str = ""
    day_80: Measured
    day_95: Measured
    rates: tuple[Rate, ...]
    helps: tuple[Help, ...]
    curve: Curve
    sentence: str
    rests_on: tuple[str, ...] = ()
    cannot: tuple[str, ...] = ()


ForecastAnswer = Annotated[Forecast | CannotTell, Field(discriminator="kind")]
