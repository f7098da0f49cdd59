"""When a car will be ready: from its counters, its driving and a rule, with what is not known of them."""

from __future__ import annotations

import datetime
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from tickover.readiness.law import Law
from tickover.readiness.names import is_continuous
from tickover.readiness.pace import Pace, monitors_counted, paces
from tickover.readiness.results import CarState, Curve, Forecast, Fuel, Help, Rate
from tickover.readiness.rulebook import Limit, Rule
from tickover.readiness.state import fuel_of
from tickover.readiness.verdict import counted, limits_for
from tickover.results import CannotTell, Measured, Quantity

Floats = NDArray[np.float64]

LEVEL = 0.9
HORIZON = 365
"""Days looked ahead."""

STRANGE, ODD = 0.001, 0.05
"""Below these a monitor that stayed open contradicts its own counters, or is worth a remark. Source: own choice."""

MOST_PER_DAY = 50.0


def forecast(
    state: CarState,
    *,
    rule: Rule | None = None,
    year: int | None = None,
    fuel: Fuel | None = None,
    per_day: float,
    today: datetime.date,
    by: datetime.date,
    rng: np.random.Generator,
) -> Forecast | CannotTell:
    """Say when a car will be ready.

    Args:
        state: its open monitors and, better, its in-use counters; with counters alone, all they know count as open.
        rule: of the programme; None: every monitor complete.
        year, fuel: of the car, where the rule asks.
        per_day: ignition cycles a day, above 0 to 50.
        today, by: from when, and the day of inspection, not before.
        rng: for the band.
    Returns: the chance on that day, the days for 80 and 95 %, what helps most; or why it cannot be told.
    Raises: ValueError if ``per_day`` or the days are out of range.
    Valid for: cars whose monitors can complete; a fault, a tank too full or weather is seen only through the counters.
    Source: own model, see ``docs/why/forecast.md``; held by a panel of simulated owners.
    """
    days = (by - today).days
    if not 0 < per_day <= MOST_PER_DAY:
        raise ValueError(f"{per_day:g} ignition cycles a day is not above 0 to {MOST_PER_DAY:g}")
    if days < 0:
        raise ValueError("the day of inspection is past")
    asked = _limit(rule, year, fuel or fuel_of(state))
    if isinstance(asked, CannotTell):
        return asked
    limit, count_continuous = asked
    opened = _open(state)
    if isinstance(opened, CannotTell):
        return opened
    kept = [name for name in opened if count_continuous or not is_continuous(name)]
    if rule is not None:
        kept = list(counted(rule, kept))
    law = _law(kept, state, limit)
    surprise = law.surprise()
    if surprise < STRANGE:
        return CannotTell(
            reason=f"{_listed(kept)} stayed open for {state.warm_ups} warm-ups since the last clear, where such a car "
            "would have completed them long before: something keeps them from running",
            way_out="Look for what keeps them: a code, fuel level, outside temperature, too short a rest.",
        )
    return _Answer(law, limit, kept, rule, per_day, today, by, rng, state, surprise).build()


def _limit(rule: Rule | None, year: int | None, fuel: Fuel | None) -> tuple[Limit, bool] | CannotTell:
    if rule is None:
        return Limit(model_years=(1980,), open_at_most=0, source="every monitor complete"), True
    if rule.kind not in ("count", "all complete"):
        return CannotTell(reason=f"the rule “{rule.title}” asks for no monitors", way_out="Choose another rule.")
    limits = limits_for(rule, year, fuel)
    if not limits:
        return CannotTell(
            reason=f"the rule has no count for model year {year}{f', {fuel}' if fuel else ''}",
            way_out="Choose another rule.",
        )
    if len({(one.open_at_most, one.only) for one in limits}) > 1:
        missing = "model year" if year is None else "fuel"
        return CannotTell(
            reason=f"the count depends on the {missing}, which is not told", way_out=f"Say the {missing}."
        )
    return limits[0], rule.counts_continuous


def _open(state: CarState) -> tuple[str, ...] | CannotTell:
    if state.open is not None:
        return state.open
    known = monitors_counted(state.counters)
    if not known:
        return CannotTell(
            reason="neither which monitors are open nor the car's counters are known",
            way_out="Type the answers to 01 01 and 09 08 (diesel: 09 0B), or name the open monitors.",
        )
    return known


def _law(kept: Sequence[str], state: CarState, limit: Limit) -> Law:
    driven = float(state.warm_ups or 0) if state.open is not None else 0.0
    finished = [name for name in state.complete if not is_continuous(name)] if driven else []
    return Law(
        paces(kept, state.counters),
        limit.open_at_most,
        frozenset(limit.only),
        driven,
        paces(finished, state.counters),
    )


class _Answer:
    """Puts a forecast together."""

    def __init__(
        self,
        law: Law,
        limit: Limit,
        kept: Sequence[str],
        rule: Rule | None,
        per_day: float,
        today: datetime.date,
        by: datetime.date,
        rng: np.random.Generator,
        state: CarState,
        surprise: float,
    ) -> None:
        self.law, self.limit, self.kept, self.rule = law, limit, kept, rule
        self.per_day, self.today, self.by, self.state, self.surprise = per_day, today, by, state, surprise
        self.days = (by - today).days
        grid = np.arange(max(HORIZON, self.days) + 1, dtype=np.float64)
        self.grid = grid
        self.chance = law.chance(grid * per_day)
        self.lo, self.hi = law.band(grid * per_day, rng, level=LEVEL)

    def build(self) -> Forecast:
        at = self.days
        chance = self._quantity(float(self.chance[at]), float(self.lo[at]), float(self.hi[at]), "")
        helps = self._helps()
        day_80, day_95 = self._day(0.80), self._day(0.95)
        return Forecast(
            chance=chance,
            by=self.by,
            today=self.today,
            days=self.days,
            per_day=self.per_day,
            rule=self.rule.id if self.rule else "",
            allowed=self.limit.words,
            day_80=day_80,
            day_95=day_95,
            rates=tuple(_rate(p) for p in self.law.paces),
            helps=helps,
            curve=self._curve(day_95),
            sentence=self._sentence(chance, day_80, day_95),
            rests_on=tuple(self._rests_on()),
            cannot=tuple(self._cannot()),
        )

    def _quantity(self, value: float, lo: float, hi: float, unit: str) -> Quantity:
        # The band is drawn, the chance is not: neither end may pass it.
        return Quantity(value=value, lo=min(lo, value), hi=max(hi, value), level=LEVEL, unit=unit)

    def _day(self, level: float) -> Measured:
        day = _first(self.chance, level)
        if day is None:
            return CannotTell(
                reason=f"{level:.0%} are not reached within {len(self.grid) - 1} days",
                way_out="More ignition cycles a day, or a drive made for the slowest monitor.",
            )
        early, late = _first(self.hi, level), _first(self.lo, level)
        return Quantity(
            value=float(day),
            lo=float(min(day, early if early is not None else day)),
            hi=None if late is None else float(max(day, late)),
            level=LEVEL,
            unit="d",
        )

    def _helps(self) -> tuple[Help, ...]:
        now = float(self.chance[self.days])
        cycles = np.array([self.days * self.per_day])
        found = []
        for index, pace in enumerate(self.law.paces):
            rest = self.law.paces[:index] + self.law.paces[index + 1 :]
            law = Law(rest, self.law.at_most, self.law.may_stay, self.law.driven, self.law.finished, self.law.shared)
            chance = max(now, float(law.chance(cycles)[0]))
            found.append(Help(monitor=pace.monitor, chance=chance, gain=chance - now))
        return tuple(sorted(found, key=lambda h: -h.gain))

    def _curve(self, day_95: Measured) -> Curve:
        """As many days as the picture needs, at most about sixty points."""
        last = day_95.value if isinstance(day_95, Quantity) else float(len(self.grid) - 1)
        until = int(min(len(self.grid) - 1, max(7, 1.15 * self.days, 1.3 * last)))
        step = max(1, until // 60)
        picked = sorted({*range(0, until + 1, step), min(self.days, until), until})
        return Curve(
            days=tuple(float(d) for d in picked),
            chance=tuple(float(self.chance[d]) for d in picked),
            lo=tuple(min(float(self.lo[d]), float(self.chance[d])) for d in picked),
            hi=tuple(max(float(self.hi[d]), float(self.chance[d])) for d in picked),
        )

    def _sentence(self, chance: Quantity, day_80: Measured, day_95: Measured) -> str:
        if not self.kept:
            return "No open monitor stands between this car and the inspection."
        lo, hi = percent(chance.lo or 0.0), percent(1.0 if chance.hi is None else chance.hi)
        return (
            f"On {self.by.day} {self.by:%B %Y} its monitors would be ready with a chance of {percent(chance.value)} % "
            f"({lo} to {hi} %): {day_words(day_80, 80)}; {day_words(day_95, 95)}."
        )

    def _rests_on(self) -> list[str]:
        found = [f"{self.per_day:g} ignition cycles a day, as on ordinary days", f"the rule: {self.limit.words}"]
        found += [f"{p.monitor}: {p.basis}" for p in self.law.paces]
        if self.state.open is None:
            found.append("all monitors that the counters know taken as open, as after a clear")
        if self.law.driven:
            found.append(f"{self.law.driven:g} warm-ups since the last clear, in which these stayed open")
        found.append("the band: 90 % of what rates and driving, which are not known exactly, may make of it")
        return found

    def _cannot(self) -> list[str]:
        found = []
        if self.state.lamp:
            found.append("when the lamp will be dark: it is asked for, and that comes first")
        if self.surprise < ODD:
            found.append(
                f"why these stayed open so long ({100 * self.surprise:.1g} % of such cars): something may keep them "
                "from running"
            )
        if not all(p.counted for p in self.law.paces):
            names = _listed([p.monitor for p in self.law.paces if not p.counted])
            found.append(f"how often {names} complete on this car: a wide guess stands in")
        for change in self.rule.changes if self.rule else ():
            if self.by >= change.from_ and change.open_at_most < self.limit.open_at_most:
                law = Law(self.law.paces, change.open_at_most, frozenset(), self.law.driven, self.law.finished)
                then = float(law.chance([self.days * self.per_day])[0])
                found.append(f"whether this applies: {change.says} Basis: {change.basis}. If so: {percent(then)} %")
        if self.rule and (part := self.rule.permanent_codes) is not None:
            found.append(
                f"whether a permanent code still counts then: {part.unless_warm_ups} warm-ups and "
                f"{part.unless_miles:g} miles are not reckoned here"
            )
        found.append("a fault that keeps a monitor from running, or the lamp and codes on the day")
        return found


def _rate(pace: Pace) -> Rate:
    lo, hi = pace.interval(LEVEL)
    mean = pace.mean
    quantity = Quantity(value=mean, lo=min(lo, mean), hi=max(hi, mean), level=LEVEL, unit="")
    return Rate(monitor=pace.monitor, a_cycle=quantity, counted=pace.counted, basis=pace.basis)


def _first(chance: Floats, level: float) -> int | None:
    reached = np.flatnonzero(chance >= level)
    return int(reached[0]) if reached.size else None


def percent(chance: float) -> str:
    """A chance in whole per cent that never claims certainty it has not.

    Example: ``percent(0.9991)`` is ``"over 99"``.
    """
    if 0 < chance < 0.01:
        return "under 1"
    if 0.99 < chance < 1:
        return "over 99"
    return f"{100 * chance:.0f}"


def day_words(day: Measured, level: int) -> str:
    """When a level is reached, with its range, in words."""
    if isinstance(day, CannotTell):
        return f"{level} % are not reached within a year"
    hi = "over a year" if day.hi is None else f"{day.hi:.0f}"
    unit = "day" if day.value == 1 else "days"
    return f"{level} % after {day.value:.0f} {unit} ({day.lo:.0f} to {hi})"


def _listed(names: Sequence[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
