"""The shortest order of stretches: which are driven as one, on which road, in which order.

A stretch that keeps a band of speeds can serve several conditions at once where their bands share enough. Labels over
(what is done, where the car is) hold the time driven and the seconds moved; a label that is slower and has moved less
than another is dropped. Nothing that could still win is dropped, so the best plan is found.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

from tickover.drive.roads import START, Road, Roads

MOVING = 40.2336
"""25 mph [km/h]."""


@dataclass(frozen=True, slots=True)
class Task:
    """One thing to drive.

    Attributes:
        id: of the condition.
        act: ``hold`` a band of speeds in one piece, or ``coast`` several times from a speed.
        seconds: how long, each time [s].
        lo, hi: band of speeds; for a coast the speed to come down from, and the highest [km/h].
        warm: whether it needs a warm engine.
        times: how often.
    """

    id: str
    act: str
    seconds: float
    lo: float
    hi: float
    warm: bool = False
    times: int = 1


@dataclass(frozen=True, slots=True)
class Leg:
    """One stretch of a plan.

    Attributes:
        tasks: ids of what it serves.
        road: where.
        act: hold, coast, or ``go on`` for time that is still missing.
        lo, hi: speeds to keep [km/h].
        seconds: how long to keep them in one piece, or each coast [s].
        times: how often.
        approach: the way to its road [s].
        wait: driving before it until the engine is warm [s].
        takes: all of it with approach, wait and traffic [s].
    """

    tasks: tuple[str, ...]
    road: str
    act: str
    lo: float
    hi: float
    seconds: float
    times: int
    approach: float
    wait: float
    takes: float


@dataclass(frozen=True, slots=True)
class Aim:
    """What the whole drive must come to.

    Attributes:
        running: seconds from the start on, in all.
        moving: seconds above 25 mph.
        stand: seconds the engine idles before the car moves off.
        warm_after: driving after which the engine is warm [s].
        driven: least driving, for a warm-up [s].
    """

    running: float = 0.0
    moving: float = 0.0
    stand: float = 0.0
    warm_after: float = 0.0
    driven: float = 0.0


@dataclass(frozen=True, slots=True)
class Label:
    """A beginning of a plan: time driven, seconds moved above 25 mph, legs."""

    driven: float
    moved: float
    legs: tuple[Leg, ...] = ()


def group_leg(group: Sequence[Task], road: Road, roads: Roads) -> Leg | None:
    """The stretch that serves a group of tasks on a road, without its approach; None where it cannot.

    Args:
        group: tasks; coasts stand alone.
        road: where.
        roads: for the driver.
    """
    person = roads.person
    seconds = max(t.seconds for t in group)
    if group[0].act == "coast":
        one = group[0]
        low = max(one.lo, road.lo)
        high = min(road.hi, one.hi, low + 2 * person.narrowest)
        if len(group) > 1 or high - low < person.narrowest / 2:
            return None
        takes = one.times * (one.seconds + person.spare_coast + person.pull) * road.factor
        return Leg((one.id,), road.id, "coast", low, high, seconds, one.times, 0.0, 0.0, takes)
    if any(t.act == "coast" for t in group):
        return None
    lo, hi = max([road.lo, *(t.lo for t in group)]), min([road.hi, *(t.hi for t in group)])
    if hi - lo < person.narrowest or seconds > road.longest:
        return None
    takes = (seconds + person.spare) * road.factor
    return Leg(tuple(t.id for t in group), road.id, "hold", lo, hi, seconds, 1, 0.0, 0.0, takes)


def shortest(tasks: Sequence[Task], aim: Aim, roads: Roads) -> tuple[Leg, ...] | None:
    """The shortest drive that serves every task and comes to its aim.

    Args:
        tasks: at most a dozen.
        aim: of the whole drive.
        roads: at hand.
    Returns: its legs in order; None where some task fits no road, or no road lets one move fast enough.
    Source: own choice: label setting with dominance; held against exhaustive search by a test.
    """
    count = len(tasks)
    legs = _legs(tasks, roads)
    labels: dict[tuple[int, str], list[Label]] = {(0, START): [Label(0.0, 0.0)]}
    for mask in range(1 << count):
        for place in (START, *roads.roads):
            for label in labels.get((mask, place), ()):
                for served, leg, warm in legs:
                    if not served & mask:
                        _keep(labels, (mask | served, leg.road), _onto(label, leg, warm, place, aim, roads))
    done = (1 << count) - 1
    ends = [
        end
        for place in (START, *roads.roads)
        for label in labels.get((done, place), ())
        if (end := top_up(label, place, aim, roads)) is not None
    ]
    best = min(ends, key=lambda e: e.driven, default=None)
    return best.legs if best is not None else None


def _legs(tasks: Sequence[Task], roads: Roads) -> list[tuple[int, Leg, bool]]:
    found = []
    for size in range(1, len(tasks) + 1):
        for picked in itertools.combinations(range(len(tasks)), size):
            group = [tasks[k] for k in picked]
            for road in roads.roads.values():
                leg = group_leg(group, road, roads)
                if leg is not None:
                    found.append((sum(1 << k for k in picked), leg, any(t.warm for t in group)))
    return found


def _onto(label: Label, leg: Leg, warm: bool, place: str, aim: Aim, roads: Roads) -> Label:
    approach = roads.way(place, leg.road)
    at = label.driven + approach
    wait = max(0.0, aim.warm_after - at) if warm else 0.0
    moved = label.moved
    if roads.roads[leg.road].hi >= roads.person.moves:
        moved += wait
    if leg.act == "hold" and leg.lo >= MOVING:
        moved += leg.seconds + roads.person.spare
    full = Leg(leg.tasks, leg.road, leg.act, leg.lo, leg.hi, leg.seconds, leg.times, approach, wait,
               approach + wait + leg.takes)  # fmt: skip
    return Label(label.driven + full.takes, moved, (*label.legs, full))


def _keep(labels: dict[tuple[int, str], list[Label]], key: tuple[int, str], new: Label) -> None:
    held = labels.setdefault(key, [])
    if any(one.driven <= new.driven and one.moved >= new.moved for one in held):
        return
    held[:] = [one for one in held if not (new.driven <= one.driven and new.moved >= one.moved)]
    held.append(new)


def top_up(label: Label, place: str, aim: Aim, roads: Roads) -> Label | None:
    """Drive on until the whole comes to its aim, on the road where that takes least; None where no road will do."""
    short = max(0.0, aim.moving - label.moved)
    rest = max(0.0, aim.running - aim.stand - label.driven, aim.driven - label.driven)
    if short <= 0 and rest <= 0:
        return label
    best: Label | None = None
    for road in roads.roads.values():
        quick = road.hi >= roads.person.moves
        if short > 0 and not quick:
            continue
        approach = roads.way(place, road.id)
        takes = max(approach + short * road.factor, rest)
        if best is None or label.driven + takes < best.driven:
            lo = max(road.lo, 41.0) if short > 0 else road.lo
            leg = Leg((), road.id, "go on", lo, road.hi, short, 1, approach, 0.0, takes)
            best = Label(label.driven + takes, label.moved + short, (*label.legs, leg))
    return best


def length(legs: Sequence[Leg]) -> float:
    """Driving in all [s]."""
    return sum(leg.takes for leg in legs)
