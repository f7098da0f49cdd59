"""The state of a plan that is being carried out, and what can be read off it."""

from __future__ import annotations

import json
import math
from dataclasses import dataclass
from typing import Literal, NamedTuple

from tickover.errors import TimingError
from tickover.timing.network import TOLERANCE
from tickover.timing.prepared import Prepared, Tables

RUN_VERSION = 1


class Miss(NamedTuple):
    """A bound that was not kept.

    Attributes:
        bound: its place among the plan's bounds (constraints, answers, counters).
        label, group: as in the bound.
        event: the event that came too early or too late, or did not come.
        early_by, late_by: by how much, in counted time for a counter; one of them is 0 [s].
        settled: false while its event is still to come. The windows have then given it up, because it cannot be kept
            together with all the others; it will be missed by at least so much, or another in its place.
    """

    bound: int
    label: str
    group: str
    event: str
    early_by: float
    late_by: float
    settled: bool


class Count(NamedTuple):
    """Counted time so far: ``total`` up to ``since``, running on from there; standing where ``since`` is None [s]."""

    total: float
    since: float | None

    def at(self, t: float) -> float:
        """Counted time at ``t`` [s]."""
        return self.total if self.since is None else self.total + max(0.0, t - self.since)


class News(NamedTuple):
    """One line of a run's log."""

    kind: Literal["happen", "condition"]
    name: str
    t: float
    holds: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class Run:
    """A plan while it is being carried out. Never changed; each piece of news gives a new one.

    Attributes:
        prepared: the plan.
        times: when each event happened, by place; None while it has not [s since the origin].
        lo, hi: earliest and latest time of each event as far as bounds on real time go [s].
        left: places of the events still to come.
        now: time of the last news [s].
        counts: state of each counter; None before its start.
        holding: conditions that hold.
        misses: bounds not kept, in the order in which they were broken, then those given up.
        log: all the news so far.
        tables: what windows are computed from; those of the plan, or new ones since a miss.
        began_with: conditions that held at the origin.
    """

    prepared: Prepared
    times: tuple[float | None, ...]
    lo: tuple[float, ...]
    hi: tuple[float, ...]
    left: tuple[int, ...]
    now: float
    counts: tuple[Count | None, ...]
    holding: frozenset[str]
    misses: tuple[Miss, ...]
    log: tuple[News, ...]
    tables: Tables
    began_with: frozenset[str]

    @property
    def happened(self) -> dict[str, float]:
        """What has happened, and when [s since the origin], in the plan's order."""
        return {e: t for e, t in zip(self.prepared.plan.events, self.times, strict=True) if t is not None}

    @property
    def done(self) -> bool:
        """Whether every event has happened."""
        return not self.left

    def to_json(self) -> str:
        """One line of JSON from which ``run_from_json`` makes this run again.

        It holds the log; the state in it (windows, counts, misses) is for other readers.
        """
        names = self.prepared.plan.events
        return json.dumps(
            {
                "v": RUN_VERSION,
                "plan": self.prepared.digest,
                "began_with": sorted(self.began_with),
                "log": [list(n) for n in self.log],
                "now": self.now,
                "holding": sorted(self.holding),
                "happened": self.happened,
                "windows": {e: [_open(lo), _open(hi)] for e, (lo, hi) in windows(self).items()},
                "counts": {
                    names[event]: c and c.at(self.now)
                    for (_, event, *_), c in zip(self.prepared.counters, self.counts, strict=True)
                },
                "misses": [m._asdict() for m in self.misses],
            },
            ensure_ascii=False,
        )


def _open(t: float) -> float | None:
    return t if math.isfinite(t) else None


def windows(run: Run) -> dict[str, tuple[float, float]]:
    """When each event still to come may happen [s since the origin].

    For an act this is when it may be done, waits included; it is offered only once it is in ``next_acts``. For an
    answer it is when it may come. ``inf`` where nothing bounds it, or where a count stands and the act must wait for
    it. Where the plan is not controllable a window may be empty (lo above hi): closed as things stand.
    """
    names = run.prepared.plan.events
    return {names[j]: window_of(run, j) for j in run.left}


def next_acts(run: Run) -> tuple[str, ...]:
    """Acts whose turn it is: everything that must come before them has happened."""
    names, given = run.prepared.plan.events, run.prepared.answers
    times, before = run.times, run.tables.before
    return tuple(names[j] for j in run.left if j not in given and all(times[p] is not None for p in before[j]))


def next_answers(run: Run) -> tuple[str, ...]:
    """Answers that may come now or soon: the event that they are counted from has happened."""
    names, given = run.prepared.plan.events, run.prepared.answers
    return tuple(names[j] for j in run.left if j in given and run.times[given[j][0]] is not None)


def counted(run: Run, event: str, t: float) -> float:
    """Counted time of the counter that ends in ``event``, at ``t`` [s]; 0 before its start.

    Raises: TimingError if no counter ends in that event.
    """
    for (_, end, *_), count in zip(run.prepared.counters, run.counts, strict=True):
        if run.prepared.plan.events[end] == event:
            return 0.0 if count is None else count.at(t)
    raise TimingError(f"no counter ends in “{event}”")


def window_of(run: Run, j: int) -> tuple[float, float]:
    """The window of one event still to come."""
    prepared = run.prepared
    answer = prepared.answers.get(j)
    if answer is not None:
        after, lo, hi = answer
        since = run.times[after]
        if since is not None:
            return since + lo, since + hi
        return max(run.now, run.lo[after]) + lo, run.hi[after] + hi
    first = max(run.lo[j], run.now)
    last = run.hi[j]
    for wait in run.tables.waits[j]:
        if wait.gate is not None:
            first = max(first, gate_opens(run, wait.gate))
        elif run.times[wait.answer] is None:
            since = run.times[wait.after]
            first = max(first, (run.lo[wait.after] if since is None else since) + wait.seconds)
    if run.counts:
        first, last = _under_counts(run, j, first, last)
    return first, last


def gate_opens(run: Run, k: int) -> float:
    """When the count reaches its lower end if it runs on; ``inf`` while it stands; never later once it is open."""
    start, _, _, lo, _ = run.prepared.counters[k]
    count = run.counts[k]
    if count is None:
        return run.lo[start] + lo
    if count.at(run.now) >= lo - TOLERANCE:
        return -math.inf
    return math.inf if count.since is None else count.since + lo - count.total


def _under_counts(run: Run, j: int, first: float, last: float) -> tuple[float, float]:
    """Narrow a window by the counts that are under way, as if they run on."""
    for k, (_, event, _, lo, _) in enumerate(run.prepared.counters):
        count = run.counts[k]
        if count is None or run.times[event] is not None:
            continue
        if count.since is not None:  # a pause moves this moment on by its own length
            last = min(last, count.since + lo - count.total + run.tables.gates[k][j])
        if run.tables.opens[k][j] < math.inf:
            first = max(first, gate_opens(run, k) - run.tables.opens[k][j])
    return first, last
