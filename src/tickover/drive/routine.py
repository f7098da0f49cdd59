"""A plan as a routine: the same file that key-and-pedal routines are written in, so one engine coaches and judges both.

Counted time pauses while the speed is outside its band. A stretch in one piece is more than that: where the band is
left, the minutes begin again, and the step says so.
"""

from __future__ import annotations

import json
import math
from collections.abc import Sequence

from tickover.drive import words
from tickover.drive.check import COAST
from tickover.drive.conditions import Condition, ConditionKind, Conditions, Limit
from tickover.drive.plan import DrivePlan, PlanLeg, Situation
from tickover.drive.roads import Roads
from tickover.drive.truth import RUNS_FROM
from tickover.errors import InputError
from tickover.routines import CompiledRoutine, CompiledStep, Routine, parse_routine

ID = "confirmation-drive"
ONE_PIECE = "In one piece"
"""How the reason of a step begins whose time must not be broken; the grammar itself knows time in all only."""
PEDAL_UP = 1.0
"""Pedal above its rest that still counts as up [%]; as for the stretches."""
ROLLS, STANDS = 30.0, 1.609344
"""A coast counts above the one, a car stands at or below the other [km/h]."""
RUNS = "the engine is taken to run from the first row to the last"
_AIM = 5.0
_HEAD_CAUTIONS = (
    "A passenger works the coach and the log. The driver only listens, never reads or types; legal limits and traffic "
    "come first, the schedule last. A stretch missed costs nothing.",
    "Lamp flashing, overheating, oil lamp or a smell of fuel: lift, stop, do not continue.",
)

Value = str | float | int | bool | dict[str, object] | list[float]


def plan_toml(plan: DrivePlan, conditions: Conditions, situation: Situation, roads: Roads, name: str = ID) -> str:
    """Write a plan as a routine file.

    Args:
        plan: with at least one leg.
        conditions, situation, roads: what it was made from.
        name: the routine's id.
    Returns: TOML that ``routines.parse_routine`` accepts.
    Raises: InputError if the plan is empty.
    """
    if not plan.legs:
        raise InputError("there is no drive in this plan", way_out="See what it refuses, and why.")
    steps = _Steps(roads)
    steps.write(plan.legs, plan.running)
    title = f"Confirmation drive: {', '.join(t[:1].lower() + t[1:] if t != 'EGR' else t for t in plan.titles)}"
    signs = ["Readiness read out after the drive shows these monitors complete; only the car knows."]
    head: dict[str, Value | Sequence[str]] = {
        "id": name,
        "title": title,
        "kind": "drive",
        "fits": f"This plan: limit {situation.limit:.0f} km/h, {situation.traffic} traffic. "
        + (f"Begin {plan.not_before}." if plan.not_before else "Begin when the needs are met."),
        "disturbs": 0,
        "may_erase": False,
        "basis": _basis(plan, conditions),
        "signs": signs,
        "after_miss": "Nothing is lost: drive the missed stretch again where it is safe, or on the next drive.",
        "cautions": list(_HEAD_CAUTIONS),
    }
    lines = ["# Written by `tickover drive plan`. About " + f"{plan.minutes:.0f} min. " + " ".join(plan.rests_on), ""]
    lines += [f"{key} = {_value(value)}" for key, value in head.items()]
    for need in _needs(plan, conditions):
        lines += ["", "[[needs]]", *(f"{key} = {_value(value)}" for key, value in need.items())]
    return "\n".join([*lines, *steps.lines]) + "\n"


def plan_routine(plan: DrivePlan, conditions: Conditions, situation: Situation, roads: Roads) -> Routine:
    """A plan as a routine, read and checked as any file is."""
    return parse_routine(plan_toml(plan, conditions, situation, roads), f"{ID}.toml")


def counted_steps(routine: CompiledRoutine) -> tuple[Condition, ...]:
    """What a plan asks of a drive step by step, as conditions on a log, to be judged one after the other.

    Args:
        routine: compiled.
    Returns: one condition for each step that ends a counted time shown by a signal (time in all, as the routine counts
        it; in one piece where the step's reason says so), a coast (pedal up), or the idle between start and moving off.
    """
    shown = {c.name: c for c in routine.conditions if c.signal is not None}
    counters = {k.group: k for k in routine.counters if k.condition in shown and (k.lo or 0.0) > 0}
    bounds = {c.group: c for c in routine.constraints if c.rule == "bound" and (c.lo or 0.0) > 0}
    steps = {s.id: s for s in routine.steps}
    found: list[Condition] = []
    for step in routine.steps:
        counter, bound = counters.get(step.id), bounds.get(step.id)
        if counter is not None:
            c = shown[counter.condition]
            limit = Limit(str(c.signal), -math.inf if c.lo is None else c.lo, math.inf if c.hi is None else c.hi)
            kind: ConditionKind = "stretch" if step.why.startswith(ONE_PIECE) else "total"
            found.append(_asked(routine, step, steps[counter.start], counter.event, kind, (limit,), counter.lo))
        elif bound is not None and bound.a in steps:
            before = steps[bound.a]
            if before.kind == "coast":
                limits = (Limit("pedal_travel", hi=PEDAL_UP), Limit("vehicle_speed", lo=ROLLS))
                found.append(_asked(routine, step, before, COAST + bound.b, "stretch", limits, bound.lo))
            elif before.kind == "crank" and step.kind == "drive":
                still = (Limit("vehicle_speed", hi=STANDS), Limit("engine_speed", lo=RUNS_FROM, assume=RUNS))
                found.append(_asked(routine, step, before, bound.b, "stretch", still, bound.lo))
    return tuple(found)


def _asked(
    routine: CompiledRoutine,
    step: CompiledStep,
    before: CompiledStep,
    event: str,
    kind: ConditionKind,
    limits: tuple[Limit, ...],
    lo: float | None,
) -> Condition:
    """One step as a condition: named after the act whose time it counts, that is the one before."""
    title = "Idle before moving off" if before.kind == "crank" else before.title
    if limits[0].of == "coolant_temperature":
        title = "Until the engine is warm"
    if step.rounds > 1:
        title += f" ({step.round} of {step.rounds})"
    return Condition(event, title, kind, limits, seconds=float(lo or 0.0), basis="plan", source=routine.id)


class _Steps:
    """Writes the steps; the time of a stretch is the bound of the step that ends it."""

    def __init__(self, roads: Roads) -> None:
        self.roads = roads
        self.lines: list[str] = []
        self.bound: dict[str, Value] = {"at_least": 0, "aim_by": _AIM}
        self.why = ""
        self.road = ""
        self.number = 0

    def write(self, legs: Sequence[PlanLeg], running: float) -> None:
        """All steps, from the crank to the ignition off."""
        self._step(id="start", do="crank")
        if legs[0].act == "stand":
            stand = legs[0]
            self.bound = {"at_least": stand.seconds, "aim_by": max(_AIM, stand.takes - stand.seconds)}
            self.why = f"Idle until then, pedal up. For: {', '.join(stand.serves)}."
        legs = [leg for leg in legs if leg.act != "stand"]
        if legs:
            self._event("go", "drive", say="Drive off.", title="Drive off")
        for leg in legs:
            self.number += 1
            self._leg(leg)
        if legs:
            self._event("stop", "stand", say="The drive is done. Stop where it is safe.")
            self.bound = {"at_least": 5, "aim_by": _AIM}
        if running > 0:
            self.bound = {"after": "start", "at_least": running, "aim_by": self.roads.person.spare}
            self.why = "The engine must have run this long in all: idle until then, pedal up."
        self._event("end", "ignition off")

    def _leg(self, leg: PlanLeg) -> None:
        if leg.approach > 0 and self.bound.get("count_only_while") is not None:
            self._event(f"on-{self.number}", "drive", say=f"Done. Go on to {self.roads.roads[leg.road].title}.",
                        title=f"Go on to {self.roads.roads[leg.road].title}")  # fmt: skip
        if leg.wait > 0 or leg.approach > 0:
            self.bound = {"at_least": 0, "aim_by": max(1.0, round(leg.approach + leg.wait))}
            self.why = leg.words
        if leg.wait > 0:
            warm = {"signal": "coolant_temperature", "at_least": self.roads.person.warm}
            self.bound = {"at_least": 1, "aim_by": _AIM, "count_only_while": warm}
            self.why = f"First until the engine is warm, about {words.mmss(leg.wait)} beyond the way there. {leg.words}"
        band = [leg.lo or 0.0, leg.hi or 0.0]
        if leg.act == "coast":
            self._coasts(leg, band)
            return
        keep = f"Keep {leg.lo:.0f} to {leg.hi:.0f}"
        title = f"{keep} km/h, {words.mmss(leg.seconds)} in one piece" if leg.act == "hold" else f"{keep} km/h"
        self._event(f"keep-{self.number}", "drive", say=f"{keep}, from now.", title=title, road_speed=band)
        served = f" For: {', '.join(leg.serves)}." if leg.serves else ""
        if leg.act == "hold":
            within: dict[str, object] = {"signal": "vehicle_speed", "between": band}
            self.bound = {"at_least": leg.seconds, "aim_by": self.roads.person.spare, "count_only_while": within}
            self.why = f"{ONE_PIECE}: where the speed leaves the band, these minutes begin again.{served}"
        elif leg.seconds > 0:
            fast = {"signal": "vehicle_speed", "at_least": 40.3}
            self.bound = {"at_least": leg.seconds, "aim_by": self.roads.person.spare, "count_only_while": fast}
            self.why = "Time above 25 mph in all, in as many pieces as the road asks."
        else:
            self.bound = {"at_least": round(leg.takes), "aim_by": self.roads.person.spare}
            self.why = "The drive must last long enough in all."

    def _coasts(self, leg: PlanLeg, band: list[float]) -> None:
        """Up to speed, then several times pedal up and back to speed."""
        ready, n = self.roads.person.pull, self.number
        self._event(f"ready-{n}", "drive", say=f"Up to {leg.hi:.0f}.", title=f"Up to {leg.hi:.0f} km/h",
                    road_speed=band)  # fmt: skip
        cycle: dict[str, Value] = {"id": f"coasts-{n}", "times": leg.times, "at_least": 5, "aim_by": ready - 5}
        self._block("[[steps]]", cycle if leg.times > 1 else {})
        rounds = "[[steps.cycle]]" if leg.times > 1 else "[[steps]]"
        pull: dict[str, Value] = {"at_least": 5, "aim_by": ready - 5}
        why = f"Closed throttle in gear. For: {', '.join(leg.serves)}."
        self._block(rounds, {"id": f"coast-{n}", "do": "coast", **pull, "why": why})
        self._block(
            rounds,
            {
                "id": f"pull-{n}", "do": "drive", "at_least": leg.seconds,
                "aim_by": self.roads.person.spare_coast, "road_speed": band,
                "title": f"Back up to {leg.hi:.0f} km/h",
            },
        )  # fmt: skip
        self.bound, self.why = {"at_least": 0, "aim_by": _AIM}, ""

    def _event(self, name: str, do: str, **more: Value) -> None:
        """One step that ends what came before."""
        why = {"why": self.why} if self.why else {}
        self._step(id=name, do=do, **self.bound, **why, **more)
        self.bound, self.why = {"at_least": 0, "aim_by": _AIM}, ""

    def _step(self, **keys: Value) -> None:
        self._block("[[steps]]", keys)

    def _block(self, opening: str, keys: dict[str, Value]) -> None:
        if keys:
            self.lines += ["", opening, *(f"{key} = {_value(value)}" for key, value in keys.items())]


def _basis(plan: DrivePlan, conditions: Conditions) -> Value:
    ids = {name for m in plan.monitors for name in conditions.monitors[m].conditions}
    own = [c for i in ids if (c := conditions.conditions[i]).basis == "service information"]
    if own:
        return {"kind": "service information", "source": "the conditions file given"}
    return {"kind": "common practice"}


def _needs(plan: DrivePlan, conditions: Conditions) -> list[dict[str, Value]]:
    """What must be so before the start: the conditions at the start, with their signals where they have one."""
    found: dict[str, dict[str, Value]] = {}
    for monitor in plan.monitors:
        title = conditions.monitors[monitor].title
        for name in conditions.monitors[monitor].conditions:
            condition = conditions.conditions[name]
            for one in condition.limits if condition.kind == "start" else ():
                need: dict[str, Value] = {
                    "need": f"{one.label[:1].upper()}{one.label[1:]}: {words.range_words(one)}",
                    "why": f"{title} waits for it. {condition.basis_words}",
                }
                if one.of in ("coolant_temperature", "fuel_level", "ambient_temperature"):
                    need |= _bound(one)
                found.setdefault(str(need["need"]), need)
    found["driver"] = {
        "need": "A passenger, or tones alone",
        "why": "The driver only listens; nobody at the wheel reads or types.",
    }
    found["loads"] = {"need": "Stop-start switched off", "why": "It would end the idle at every stop."}
    return list(found.values())


def _bound(one: Limit) -> dict[str, Value]:
    low, high = one.lo > -float("inf"), one.hi < float("inf")
    if low and high:
        return {"signal": one.of, "between": [one.lo, one.hi]}
    return {"signal": one.of, "at_least": one.lo} if low else {"signal": one.of, "at_most": one.hi}


def _value(value: object) -> str:
    """A TOML value."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False)
    if isinstance(value, int | float):
        return f"{value:.6g}"
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{k} = {_value(v)}" for k, v in value.items()) + " }"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(_value(v) for v in value) + "]"
    raise TypeError(f"no TOML for {type(value).__name__}")
