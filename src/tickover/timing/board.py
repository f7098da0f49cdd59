"""Where the events to come would stand: each inside what the earlier ones leave it, whatever the answers do."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

from tickover.timing.network import TOLERANCE, ends_of
from tickover.timing.plan import Constraint, Counter, Plan
from tickover.timing.run import Run, gate_opens

MARGIN_SHARE = 0.1
MARGIN_LEAST = 0.3
"""An “at least” is aimed this share of it later, and never less than so many seconds. Own choice: one standard
deviation of a person who times by feel, and about a reaction time."""


@dataclass(slots=True)
class Board:
    """Where events stand: each at an offset from an *anchor*, the origin or an answer that has not come.

    Attributes:
        run: the run aimed in.
        place: anchor and offset of each event, by place [s].
        above: for each anchor but the origin, the anchor it hangs on, and the range of its distance from it [s].
        parent: the event that each act is timed from.
    """

    run: Run
    place: dict[int, tuple[int, float]] = field(default_factory=dict)
    above: dict[int, tuple[int, float, float]] = field(default_factory=dict)
    parent: dict[int, int] = field(default_factory=dict)

    def apart(self, x: int, f: int) -> tuple[float, float]:
        """Range of t(anchor x) − t(anchor f) [s]."""
        lo = hi = 0.0
        lower, upper = self.chain(x), self.chain(f)
        common = next(a for a in lower if a in upper)
        for a in lower[: lower.index(common)]:
            lo, hi = lo + self.above[a][1], hi + self.above[a][2]
        for a in upper[: upper.index(common)]:
            lo, hi = lo - self.above[a][2], hi - self.above[a][1]
        return lo, hi

    def chain(self, anchor: int) -> list[int]:
        """The anchor and all that it hangs on, up to the origin."""
        chain = [anchor]
        while chain[-1] in self.above:
            chain.append(self.above[chain[-1]][0])
        return chain


def lay_out(
    run: Run, margins: Mapping[str, float], targets: Mapping[int, float], parents: Mapping[int, int] | None = None
) -> Board:
    """Place every event to come, each inside what the earlier ones leave it.

    Args:
        run: what has happened.
        margins: as for ``aims``.
        targets: delays wished for, by place of the act [s]; clipped into the window that remains.
        parents: the event each act is timed from, where that is settled.
    """
    prepared = run.prepared
    board = Board(run)
    done = sorted((t, i) for i, t in enumerate(run.times) if t is not None)
    for t, i in done:
        board.place[i] = (0, t)
    paused = _standing(run)
    for j in _order(run):
        if j in prepared.answers or j in paused:
            after, lo, hi = prepared.answers[j] if j in prepared.answers else paused[j]
            anchor, offset = board.place[after]
            board.above[j] = (anchor, offset + lo, offset + hi)
            board.place[j] = (j, 0.0)
            continue
        choices = [parents[j]] if parents else _parents(board, j)
        windows = [_window_from(board, j, board.place[p][0]) for p in choices]
        best = next((k for k, (lo, hi) in enumerate(windows) if lo <= hi + TOLERANCE), 0)
        parent, (lo, hi) = choices[best], windows[best]
        anchor, base = board.place[parent]
        if j in targets:
            wished = base + targets[j]
        elif own_upper(prepared.plan, parent, j) < math.inf:
            wished = (lo + hi) / 2
        else:
            wished = lo + margin_of(prepared.plan, parent, j, lo - base, margins)
            wished = min(wished, (lo + hi) / 2)
        board.parent[j] = parent
        board.place[j] = (anchor, min(max(wished, lo), hi) if lo <= hi else (lo + hi) / 2)
    return board


def _order(run: Run) -> list[int]:
    """Events to come, each after all that must come before it; by the plan's order where that is free."""
    before = run.tables.before
    answers = run.prepared.answers
    placed = {i for i, t in enumerate(run.times) if t is not None}
    waiting = list(run.left)
    order: list[int] = []
    while waiting:
        ready = (
            j for j in waiting
            if (answers[j][0] in placed if j in answers else all(p in placed for p in before[j]))
        )  # fmt: skip
        j = next(ready, waiting[0])  # after a miss the plan's order stands in
        order.append(j)
        placed.add(j)
        waiting.remove(j)
    return order


def _standing(run: Run) -> dict[int, tuple[int, float, float]]:
    """Events of counts that stand: when they come is as open as an answer. Start, and real time from it [s]."""
    found = {}
    for k, (start, event, _, lo, _) in enumerate(run.prepared.counters):
        count, began = run.counts[k], run.times[start]
        if count is not None and began is not None and run.times[event] is None and count.since is None:
            found[event] = (start, run.now - began + max(0.0, lo - count.total), math.inf)
    return found


def _parents(board: Board, j: int) -> list[int]:
    """Events that act j may be timed from, the likeliest first: the latest that bounds it, then what must come before.

    An answer that it merely follows gives way to an event that gives it a window of its own: "20 ± 1 s after the foot
    went down, and not before the lamp" is timed from the foot.
    """
    run = board.run
    rank = {i: n for n, i in enumerate(board.place)}
    before = [p for p in run.tables.before[j] if p in board.place]
    closed: dict[int, bool] = {}
    for bound in _all_bounds(run.prepared.plan):
        a, b = (run.prepared.index[e] for e in ends_of(bound))
        lo, hi = bound.lo, bound.hi
        if b != j:
            a, b, lo, hi = b, a, -hi, -lo
        if b == j and a in board.place and (a in before or lo > 0):
            closed[a] = closed.get(a, False) or hi < math.inf
    anchors = {board.place[p][0] for p in closed if closed[p]}

    def gives_way(p: int) -> bool:
        return not closed[p] and bool(anchors - {board.place[p][0]})

    found = sorted(closed, key=lambda p: (gives_way(p), -rank[p]))
    found += sorted((p for p in before if p not in closed), key=lambda p: -rank[p])
    return found or [max(rank, key=lambda p: rank[p])]


def _all_bounds(plan: Plan) -> tuple[Constraint | Counter, ...]:
    return (*plan.constraints, *plan.counters)


def own_upper(plan: Plan, parent: int, j: int) -> float:
    """Upper end that a single bound sets on act j from its parent [s]; ``inf`` if none does."""
    hi = math.inf
    names = (plan.events[parent], plan.events[j])
    for bound in _all_bounds(plan):
        if ends_of(bound) == names:
            hi = min(hi, bound.hi)
        elif ends_of(bound) == names[::-1] and isinstance(bound, Constraint):
            hi = min(hi, -bound.lo)
    return hi


def margin_of(plan: Plan, parent: int, j: int, least: float, margins: Mapping[str, float]) -> float:
    """Margin after the lower end ``least`` of an “at least” [s]."""
    names = (plan.events[parent], plan.events[j])
    for bound in _all_bounds(plan):
        if ends_of(bound) == names and bound.group in margins:
            return margins[bound.group]
    return max(MARGIN_LEAST, MARGIN_SHARE * least)


def _window_from(board: Board, j: int, anchor: int) -> tuple[float, float]:
    """Offsets from ``anchor`` at which act j keeps every bound to what is placed, wherever the answers fall.

    Where there are none: those that keep clear of what is known when the anchor comes. Other answers may then still
    call for another moment, once they come. Where there are none of these either, those that suit each answer in the
    middle of its window.
    """
    for middle, others in ((False, True), (False, False)):
        first, last = _limits(board, j, anchor, middle=middle, others=others)
        if first <= last + TOLERANCE:
            return first, last
    return _limits(board, j, anchor, middle=True, others=False)


class _Room:
    """What is left for an act, as offsets from an anchor [s].

    Args:
        board: where the earlier events stand.
        anchor: what the act's offset is counted from.
        middle: take every answer in the middle of its window, instead of keeping clear of all of it.
        others: look at answers too that need not have come by then.
    """

    def __init__(self, board: Board, anchor: int, *, middle: bool, others: bool) -> None:
        self.board, self.anchor, self.middle = board, anchor, middle
        self.known = None if others else frozenset(board.chain(anchor))
        self.first, self.last = -math.inf, math.inf

    def narrow(self, f: int, offset: float, least: float, most: float) -> None:
        """Keep ``least ≤ t(act) − (t(anchor f) + offset) ≤ most``."""
        if self.known is not None and f not in self.known:
            return
        nearest, furthest = self.board.apart(self.anchor, f)
        if self.middle and furthest < math.inf:
            nearest = furthest = (nearest + furthest) / 2
        if least > -math.inf:
            self.first = max(self.first, offset + least - nearest)
        if most < math.inf:
            self.last = min(self.last, offset + most - furthest)


def _limits(board: Board, j: int, anchor: int, *, middle: bool, others: bool) -> tuple[float, float]:
    run, tables = board.run, board.run.tables
    room = _Room(board, anchor, middle=middle, others=others)
    for i, (f, offset) in board.place.items():
        room.narrow(f, offset, -tables.behind[i][j], tables.ahead[i][j])
    if anchor == 0:
        room.narrow(0, run.now, 0.0, math.inf)
    for wait in tables.waits[j]:
        pending = wait.gate is None and wait.after in board.place and run.times[wait.answer] is None
        if pending and wait.seconds < math.inf and wait.answer not in board.chain(anchor):
            room.narrow(*board.place[wait.after], wait.seconds, math.inf)
    _under_counts(board, j, room)
    return room.first, room.last


def _under_counts(board: Board, j: int, room: _Room) -> None:
    """Narrow by counters, their conditions taken to hold all the while."""
    run, tables = board.run, board.run.tables
    for k, (start, event, _, lo, _) in enumerate(run.prepared.counters):
        count = run.counts[k]
        if run.times[event] is not None or start not in board.place or (count is not None and count.since is None):
            continue
        if count is None or count.since is None:
            anchor, opens = board.place[start][0], board.place[start][1] + lo
        else:
            anchor, opens = 0, count.since + lo - count.total
        least = -tables.opens[k][j]
        if any(w.gate == k for w in tables.waits[j]):
            least = max(0.0, least)
        if gate_opens(run, k) == -math.inf:
            least = -math.inf
        room.narrow(anchor, opens, least, tables.gates[k][j])
