"""The whole game between performer and world, searched in steps of one second. Shares no code with the tool."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from functools import cache

from tickover.timing import Plan

Times = tuple[int | None, ...]


def performer_wins(plan: Plan, horizon: int) -> bool:
    """Whether some way of acting keeps every bound whatever the answers, all times whole seconds.

    At each second the world moves first (it must give what is due, and may give what can come); then the performer
    acts or passes; after an act the world may answer again in the same second, and so on. The second ends when the
    performer passes. Events not done by ``horizon`` lose.
    """
    table = Table(plan)

    @cache
    def world(times: Times, now: int) -> bool:
        """Whether the performer wins when the world is to move; it may hand over only when nothing is due."""
        if table.broken(times, now):
            return False
        can, due = table.may_come(times, now)
        if not due and not performer(times, now):
            return False
        return all(world(after, now) for after in moves(times, can, now))

    @cache
    def performer(times: Times, now: int) -> bool:
        """Whether the performer wins when it is his move."""
        if None not in times:
            return not table.broken(times, now)
        acts = [i for i in table.acts if times[i] is None]
        if any(world(after, now) for after in moves(times, acts, now)):
            return True
        return now < horizon and world(times, now + 1)

    return world((0, *[None] * (len(plan.events) - 1)), 0)


def moves(times: Times, open_: list[int], now: int) -> Iterator[Times]:
    """Every way of letting one or more of these events happen now."""
    for size in range(1, len(open_) + 1):
        for chosen in itertools.combinations(open_, size):
            yield tuple(now if i in chosen else t for i, t in enumerate(times))


class Table:
    """The plan with numbers for names."""

    def __init__(self, plan: Plan) -> None:
        index = {e: i for i, e in enumerate(plan.events)}
        self.given = {index[w.event]: (index[w.after], w.lo, w.hi) for w in plan.answers}
        self.acts = [i for i in range(1, len(index)) if i not in self.given]
        self.bounds = [(index[c.a], index[c.b], c.lo, c.hi) for c in plan.constraints]

    def broken(self, times: Times, now: int) -> bool:
        """Whether a bound is broken, or must be because an event is still to come."""
        for a, b, lo, hi in self.bounds:
            ta, tb = times[a], times[b]
            if ta is not None and (now if tb is None else tb) - ta > hi:
                return True
            if tb is not None and tb - (now if ta is None else ta) < lo:
                return True
        return False

    def may_come(self, times: Times, now: int) -> tuple[list[int], list[int]]:
        """Answers that may come now, and those that must."""
        can, due = [], []
        for event, (after, lo, hi) in self.given.items():
            since = times[after]
            if times[event] is None and since is not None and lo <= now - since <= hi:
                can.append(event)
                due += [event] if now - since == hi else []
        return can, due
