"""From open monitors and the car as it stands to the shortest confirmation drive, and what it cannot hold."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from tickover.drive import words
from tickover.drive.conditions import Condition, Conditions, Limit, Monitor
from tickover.drive.roads import Roads, Traffic
from tickover.drive.search import Aim, Leg, Task, shortest
from tickover.errors import InputError
from tickover.results import CannotTell, Result

GENERAL = "general"


@dataclass(frozen=True)
class Situation:
    """The car, the day and the roads.

    Attributes:
        open: monitors that are to be set, by id.
        coolant: now [°C]; fuel: level [%]; ambient: outside air [°C]; soaked: hours the engine has stood. None where
            not known.
        now: the time of day, for "at the earliest"; None where it does not matter.
        limit, traffic: for the words; the roads hold them already.
    """

    open: tuple[str, ...]
    coolant: float | None = None
    fuel: float | None = None
    ambient: float | None = None
    soaked: float | None = None
    now: datetime | None = None
    limit: float = 130.0
    traffic: Traffic = "light"


class PlanLeg(Result):
    """One step of the plan for people.

    Attributes:
        act: stand, hold, coast or go on.
        road: where; empty while the car stands.
        lo, hi: speeds to keep [km/h]; None while it stands.
        seconds: how long in one piece, or each coast, or in all above 25 mph [s].
        times: how often.
        approach: the way there [s].
        wait: driving before it until the engine is warm [s].
        takes: about how long all of it takes [s].
        serves: titles of what it is for.
        words: the step in a sentence.
        conditions: ids of the conditions it serves.
    """

    act: str
    road: str = ""
    lo: float | None = None
    hi: float | None = None
    seconds: float
    times: int = 1
    approach: float = 0.0
    wait: float = 0.0
    takes: float
    serves: tuple[str, ...]
    words: str
    conditions: tuple[str, ...] = ()


class Refused(Result):
    """A monitor the plan does not hold, and why."""

    monitor: str
    title: str
    why: CannotTell


class DrivePlan(Result):
    """A plan.

    Attributes:
        legs: in order; empty where nothing can be planned.
        minutes: about how long it takes.
        monitors: ids that it holds; titles beside them.
        refused: monitors that it does not hold, with the reason.
        wait_hours: how long the engine must stand before; 0 where it may begin now.
        not_before: when it may begin at the earliest, in words.
        needs: what must be so before, as sentences; of what is not known.
        cold: whether it begins with a cold start.
        running: seconds the engine must run in all; 0 where nothing asks for it.
        rests_on: what the plan rests on.
    """

    legs: tuple[PlanLeg, ...]
    minutes: float
    monitors: tuple[str, ...]
    titles: tuple[str, ...]
    refused: tuple[Refused, ...] = ()
    wait_hours: float = 0.0
    not_before: str = ""
    needs: tuple[str, ...] = ()
    cold: bool = False
    running: float = 0.0
    rests_on: tuple[str, ...] = ()


def plan_drive(conditions: Conditions, situation: Situation, roads: Roads) -> DrivePlan:
    """The shortest drive for the open monitors.

    Args:
        conditions: for this engine.
        situation: car and day.
        roads: at hand, under limit and traffic.
    Returns: the plan. What cannot be done is said, not planned.
    Raises: InputError for a monitor that is not known.
    """
    refused: list[Refused] = []
    wanted = _wanted(conditions, situation, refused)
    kept: list[Monitor] = []
    wait = 0.0
    for monitor in wanted:
        why, hours = _start_fault(monitor, conditions, situation, roads)
        why = why or _road_fault(monitor, conditions, roads)
        if why is not None:
            refused.append(Refused(monitor=monitor.id, title=monitor.title, why=why))
        else:
            kept.append(monitor)
            wait = max(wait, hours)
    mine = _conditions_of(kept, conditions)
    coolant = _coolant_at_start(situation, wait)
    hot = next((m for m in kept if _too_hot(m, conditions, coolant, roads)), None)
    if hot is not None:  # a warm-up wants a colder engine: stand until it is one
        wait = max(wait, roads.person.soak)
        coolant = _coolant_at_start(situation, wait)
    legs, stand = _legs(mine, coolant, roads)
    shown = _shown(legs, stand, mine, kept, roads)
    return DrivePlan(
        legs=shown,
        minutes=sum(leg.takes for leg in shown) / 60,
        monitors=tuple(m.id for m in kept),
        titles=tuple(m.title for m in kept),
        refused=tuple(refused),
        wait_hours=wait,
        not_before=_earliest(situation.now, wait),
        needs=_needs(mine, situation),
        cold=any(m.cold for m in kept),
        running=max((c.seconds for c in mine if _is_running(c)), default=0.0),
        rests_on=_rests_on(mine, situation),
    )


def plan_sentence(plan: DrivePlan) -> str:
    """A plan in one line: how long, for which monitors, when, and whether the engine must be cold.

    Example: ``"a drive of about 13 min in 3 stretches, for catalyst and evaporative system; start cold"``.
    """
    if not plan.legs:
        names = words.names([r.title for r in plan.refused])
        return "no drive to plan" + (f" for {names}" if names else "")
    count = len(plan.legs)
    begin = f", {plan.not_before}" if plan.not_before else ""
    cold = "; start cold" if plan.cold or plan.wait_hours > 0 else ""
    return (f"a drive of about {plan.minutes:.0f} min in {count} stretch{'es' if count != 1 else ''}, for "
            f"{words.names(plan.titles)}{begin}{cold}")  # fmt: skip


def _wanted(conditions: Conditions, situation: Situation, refused: list[Refused]) -> list[Monitor]:
    """The monitors by name, each once; known ones without a stretch are refused, unknown ones raise."""
    found: dict[str, Monitor] = {}
    for name in situation.open:
        try:
            monitor = conditions.monitor(name)
        except InputError as why:
            if why.what.startswith("no monitor is called"):
                raise
            refused.append(Refused(monitor=name, title=name, why=CannotTell(reason=why.what, way_out=why.way_out)))
            continue
        found[monitor.id] = monitor
    return list(found.values())


def _conditions_of(monitors: Sequence[Monitor], conditions: Conditions) -> list[Condition]:
    names = dict.fromkeys(name for m in monitors for name in m.conditions)
    return [conditions.conditions[name] for name in names]


def _value(of: str, situation: Situation) -> float | None:
    if of == "coolant_above_outside":
        if situation.coolant is None or situation.ambient is None:
            return None
        return situation.coolant - situation.ambient
    return {
        "coolant_temperature": situation.coolant,
        "fuel_level": situation.fuel,
        "outside": situation.ambient,
        "ambient_temperature": situation.ambient,
        "soaked": situation.soaked,
    }.get(of)


_STANDING_MENDS = {"soaked", "coolant_temperature", "coolant_above_outside"}


def _start_fault(
    monitor: Monitor, conditions: Conditions, situation: Situation, roads: Roads
) -> tuple[CannotTell | None, float]:
    """Why a monitor cannot be set whatever one drives, and hours of standing that are still missing."""
    hours = 0.0
    for condition in (conditions.conditions[name] for name in monitor.conditions):
        for one in condition.limits:
            always = one.of in ("fuel_level", "outside", "ambient_temperature")
            if condition.kind != "start" and not always:
                continue
            value = _value(one.of, situation)
            if value is None or one.least <= value <= one.most:
                continue
            if one.of == "soaked":
                hours = max(hours, one.lo - value)
            elif one.of in _STANDING_MENDS and value > one.most:
                hours = max(hours, roads.person.soak)
            else:
                return _refusal(one, value), 0.0
    return None, hours


def _refusal(one: Limit, value: float) -> CannotTell:
    ways = {
        "fuel_level": "Bring the fuel to between the two marks first; fill up and drive some off, or add some."
        if value > one.most
        else "Fill up into the window first.",
        "outside": "Wait for a day within these limits.",
        "ambient_temperature": "Wait for a milder day.",
        "coolant_temperature": "Wait for a day within these limits.",
    }
    return CannotTell(reason=words.outside(one, value), way_out=ways.get(one.of, ""))


def _road_fault(monitor: Monitor, conditions: Conditions, roads: Roads) -> CannotTell | None:
    """Whether each stretch of a monitor finds a road."""
    for condition in (conditions.conditions[name] for name in monitor.conditions):
        task = task_of(condition)
        if task is not None and shortest([task], Aim(), roads) is None:
            return CannotTell(
                reason=f"no road at hand lets one drive {words.asks(condition)} in this traffic and under this limit",
                way_out="Another road, another hour, or a higher legal limit.",
            )
        speed = condition.limit("vehicle_speed")
        if condition.kind == "total" and speed is not None and shortest([], Aim(moving=1.0), roads) is None:
            return CannotTell(reason=f"no road at hand lets one keep {words.range_words(speed)}",
                              way_out="Name a faster road.")  # fmt: skip
    return None


def task_of(condition: Condition) -> Task | None:
    """What has to be driven on the road for a condition; None where nothing has."""
    plan = condition.plan
    speed = condition.limit("vehicle_speed")
    if plan is None or speed is None or plan.act not in ("hold", "coast"):
        return None
    lo = plan.start_speed if plan.act == "coast" and plan.start_speed else speed.lo
    return Task(condition.id, plan.act, condition.seconds, max(lo, 0.0), min(speed.hi, 250.0), plan.warm,
                condition.times)  # fmt: skip


def _coolant_at_start(situation: Situation, wait: float) -> float:
    if wait > 0 or situation.coolant is None:
        return situation.ambient if situation.ambient is not None else 20.0
    return situation.coolant


def _is_running(condition: Condition) -> bool:
    """Whether a condition asks for running time in all."""
    return condition.kind == "total" and condition.limit("vehicle_speed") is None


def _warm_target(conditions: Sequence[Condition], coolant: float) -> float | None:
    """Coolant that a warm-up cycle asks for, from this start; None where none is asked."""
    target: float | None = None
    for condition in conditions:
        if condition.kind == "reach":
            rise, top = condition.limit("coolant_rise"), condition.limit("coolant_temperature")
            wanted = [coolant + rise.lo] if rise is not None else []
            wanted += [top.lo] if top is not None else []
            target = max([target or -math.inf, *wanted])
    return target


def _too_hot(monitor: Monitor, conditions: Conditions, coolant: float, roads: Roads) -> bool:
    target = _warm_target(_conditions_of([monitor], conditions), coolant)
    return target is not None and target > roads.person.hottest


def _legs(mine: Sequence[Condition], coolant: float, roads: Roads) -> tuple[tuple[Leg, ...], float]:
    person = roads.person
    stands = [c.seconds for c in mine if c.plan is not None and c.plan.act == "stand"]
    stand = max(stands) + person.spare if stands else 0.0
    at_off = min(coolant + person.warming_idle * stand, max(coolant, person.hottest))
    target = _warm_target(mine, coolant)
    totals = [c for c in mine if c.kind == "total"]
    moving = [c.seconds for c in totals if c.limit("vehicle_speed") is not None]
    aim = Aim(
        running=max((c.seconds + person.spare for c in totals if _is_running(c)), default=0.0),
        moving=max(moving, default=0.0) + (person.spare if moving else 0.0),
        stand=stand,
        warm_after=max(0.0, (person.warm - at_off) / person.warming),
        driven=max(0.0, (target - at_off) / person.warming) if target is not None else 0.0,
    )
    tasks = [task for c in mine if (task := task_of(c)) is not None]
    return shortest(tasks, aim, roads) or (), stand


def _shown(
    legs: Sequence[Leg], stand: float, mine: Sequence[Condition], kept: Sequence[Monitor], roads: Roads
) -> tuple[PlanLeg, ...]:
    found: list[PlanLeg] = []
    if stand > 0:
        ids = tuple(c.id for c in mine if c.plan is not None and c.plan.act == "stand")
        text = f"Start, then stand and idle {words.mmss(stand)}, pedal up."
        found.append(PlanLeg(act="stand", seconds=stand - roads.person.spare, takes=stand, serves=_serves(ids, kept),
                             words=text, conditions=ids))  # fmt: skip
    totals = tuple(c.id for c in mine if c.kind == "total")
    for leg in legs:
        served = totals if leg.act == "go on" else leg.tasks
        found.append(
            PlanLeg(
                act=leg.act, road=leg.road, lo=leg.lo, hi=leg.hi, seconds=leg.seconds, times=leg.times,
                approach=leg.approach, wait=leg.wait, takes=leg.takes, serves=_serves(served, kept),
                words=_leg_words(leg, roads), conditions=served,
            )
        )  # fmt: skip
    return tuple(found)


def _serves(ids: Sequence[str], kept: Sequence[Monitor]) -> tuple[str, ...]:
    return tuple(m.title for m in kept if any(name in ids for name in m.conditions))


def _leg_words(leg: Leg, roads: Roads) -> str:
    to = f"On {roads.roads[leg.road].title}"
    warm = (
        f", once the coolant reads {roads.person.warm:.0f} °C (about {words.mmss(leg.wait)} more)" if leg.wait else ""
    )
    keep = f"{leg.lo:.0f} to {leg.hi:.0f} km/h"
    if leg.act == "hold":
        return f"{to}{warm}: keep {keep} for {words.mmss(leg.seconds)} in one piece."
    if leg.act == "coast":
        return (f"{to}{warm}: {words.times(leg.times)} up to {leg.hi:.0f} km/h, then pedal fully up in gear for "
                f"{leg.seconds:.0f} s or longer.")  # fmt: skip
    if leg.seconds > 0:
        return f"{to}: drive on until {words.mmss(leg.seconds)} more have been above 40 km/h."
    return f"{to}: drive on for about {words.mmss(leg.takes)}."


def _earliest(now: datetime | None, wait: float) -> str:
    """When the drive may begin, in words: to the next half hour."""
    if wait <= 0:
        return ""
    if now is None:
        return f"after standing {wait:.1f} h more".replace(".0 h", " h")
    at = now + timedelta(hours=wait)
    late = (at.minute * 60 + at.second) % 1800
    at += timedelta(seconds=(1800 - late) % 1800)
    days = (at.date() - now.date()).days
    day = {0: "today", 1: "tomorrow"}.get(days, f"in {days} days")
    return f"{day} {at:%H:%M} at the earliest"


def _needs(mine: Sequence[Condition], situation: Situation) -> tuple[str, ...]:
    """What must be so before the start and nobody has told."""
    found = []
    for condition in mine:
        if condition.kind == "start":
            found += [f"{o.label[:1].upper()}{o.label[1:]}: {words.range_words(o)}" for o in condition.limits
                      if _value(o.of, situation) is None]  # fmt: skip
    return tuple(dict.fromkeys(found))


def _rests_on(mine: Sequence[Condition], situation: Situation) -> tuple[str, ...]:
    told = []
    if any(c.basis == "trade practice" for c in mine):
        told.append("Stretches for single monitors are trade practice, no published source; the car's own service "
                    "information wins.")  # fmt: skip
    if any(c.basis == "from memory" for c in mine):
        told.append("The general denominator, warm-up and cold start follow 13 CCR 1968.2, from memory.")
    told.append(f"Roads, ways and {situation.traffic} traffic are own choice: times are a plan, not a promise.")
    if situation.coolant is None:
        told.append("No coolant was given: the engine is taken to be as cold as the air.")
    return tuple(told)
