"""A plan while it is being carried out: what has happened, and when each thing still to come may happen.

One function per kind of news (`happen`, `condition`), each from a state to a new state. Nothing here reads a clock:
times are handed in, in seconds since the origin. Windows hold until the next news.

Following the windows is safe: if a plan is controllable and each act in ``next_acts`` is done inside its window, no
bound is ever broken, whatever the answers do. (An act may be done at the very instant of an answer, after it.)

News is never refused for being early or late. A bound that was broken, or can no longer be kept with the others, is
written down as a `Miss`, and the windows of the rest are worked out again without it.
"""

from __future__ import annotations

import json
import math
from collections.abc import Collection, Iterable
from dataclasses import replace
from typing import Any

from tickover.errors import OutOfOrderError, TimingError
from tickover.timing.network import TOLERANCE, bounds_of, label_of
from tickover.timing.plan import Plan
from tickover.timing.prepared import Prepared, prepare
from tickover.timing.recover import Doomed, Facts, recover
from tickover.timing.run import RUN_VERSION, Count, Miss, News, Run, window_of


def begin(plan: Plan | Prepared, *, holding: Iterable[str] = ()) -> Run:
    """Begin a run: the origin happens at 0 s.

    Args:
        plan: the plan, or better the plan made ready by ``prepare``.
        holding: conditions that hold at the start; any other is taken not to hold until ``condition`` says so.
    Raises: as ``prepare``; TimingError for a condition that no counter of the plan has.
    """
    prepared = plan if isinstance(plan, Prepared) else prepare(plan)
    tables = prepared.tables
    n = len(prepared.plan.events)
    began_with = frozenset(holding)
    for name in began_with:
        _known_condition(prepared, name)
    counts = tuple(
        Count(0.0, 0.0 if name in began_with else None) if start == 0 else None
        for start, _, name, *_ in prepared.counters
    )
    return Run(
        prepared=prepared,
        times=(0.0, *[None] * (n - 1)),
        lo=tuple(lo for lo, _ in tables.first),
        hi=tuple(hi for _, hi in tables.first),
        left=tuple(range(1, n)),
        now=0.0,
        counts=counts,
        holding=began_with,
        misses=(),
        log=(),
        tables=tables,
        began_with=began_with,
    )


def happen(run: Run, event: str, t: float) -> Run:
    """An event has happened.

    Args:
        run: the run so far.
        event: its name; an act or an answer.
        t: when [s since the origin].
    Returns: the run with it. If a bound was broken, or can no longer be kept, that is in ``misses``.
    Raises: OutOfOrderError for an unknown event, one that has happened already, or a time before the origin;
        TimingError if ``t`` is not a time.
    """
    prepared = run.prepared
    i = prepared.index.get(event, -1)
    if i < 0:
        raise OutOfOrderError(event, "the plan has no such event")
    if run.times[i] is not None:
        raise OutOfOrderError(event, f"it has happened already, at {run.times[i]:g} s")
    if not math.isfinite(t):
        raise TimingError(f"“{event}” cannot happen at {t:g} s")
    if t < 0:
        raise OutOfOrderError(event, f"{t:g} s is before the start of the run")
    now = t if t > run.now else run.now
    times = (*run.times[:i], t, *run.times[i + 1 :])
    left = tuple([j for j in run.left if j != i])
    log = (*run.log, News("happen", event, t))
    misses = _broken_by(run, times, i)
    outside = False
    if i not in prepared.answers:
        first, last = window_of(run, i)
        outside = t < first - TOLERANCE or t > last + TOLERANCE
    lo, hi, empty = _spread(run, i, t, left, now)
    counts = _counts_after(run, i, t) if prepared.counting[i] else run.counts
    after = Run(
        prepared,
        times,
        lo,
        hi,
        left,
        now,
        counts,
        run.holding,
        (*run.misses, *misses) if misses else run.misses,
        log,
        run.tables,
        run.began_with,
    )
    return _recovered(after) if misses or outside or empty else after


def condition(run: Run, name: str, holds: bool, t: float) -> Run:
    """The condition of a counter has begun to hold, or ceased to.

    Args:
        run: the run so far.
        name: as in the plan's counters.
        holds: whether it holds from ``t`` on.
        t: when [s since the origin].
    Returns: the run with it; the same run if nothing changed.
    Raises: TimingError for a condition that no counter of the plan has, or if ``t`` is not a time.
    """
    _known_condition(run.prepared, name)
    if not math.isfinite(t):
        raise TimingError(f"“{name}” cannot change at {t:g} s")
    if (name in run.holding) == holds:
        return run
    counts = tuple(
        count
        if count is None or k[2] != name or run.times[k[1]] is not None
        else Count(count.at(t), t if holds else None)
        for k, count in zip(run.prepared.counters, run.counts, strict=True)
    )
    after = replace(
        run,
        now=max(run.now, t),
        counts=counts,
        holding=run.holding | {name} if holds else run.holding - {name},
        log=(*run.log, News("condition", name, t, holds)),
    )
    # Tables made after a miss have the counts of that moment in them.
    return after if run.tables is run.prepared.tables else _recovered(after)


def run_from_json(text: str, plan: Plan | Prepared) -> Run:
    """Make a stored run again by going through its log.

    Args:
        text: from ``to_json``.
        plan: the plan it is a run of.
    Raises: TimingError if it is not a stored run, of another version, or of another plan.
    """
    prepared = plan if isinstance(plan, Prepared) else prepare(plan)
    try:
        data: dict[str, Any] = json.loads(text)
        version, digest = data["v"], data["plan"]
        began_with, log = data["began_with"], [News(*entry) for entry in data["log"]]
    except (ValueError, KeyError, TypeError) as why:
        raise TimingError(f"this is not a stored run: {why}") from None
    if version != RUN_VERSION:
        raise TimingError(f"this run was stored in version {version}, and version {RUN_VERSION} is read here")
    if digest != prepared.digest:
        raise TimingError("this run belongs to another plan", way_out="Load it with the plan it was begun with.")
    run = begin(prepared, holding=began_with)
    for news in log:
        held = news.kind == "condition"
        run = condition(run, news.name, news.holds, news.t) if held else happen(run, news.name, news.t)
    return run


def _known_condition(prepared: Prepared, name: str) -> None:
    if all(k[2] != name for k in prepared.counters):
        known = ", ".join(sorted({k[2] for k in prepared.counters})) or "none"
        raise TimingError(f"no counter of the plan has the condition “{name}”", way_out=f"It has: {known}.")


def _spread(
    run: Run, i: int, t: float, left: Collection[int], now: float
) -> tuple[tuple[float, ...], tuple[float, ...], bool]:
    """Narrow every window by what follows from event i at t; and whether one of them is now empty."""
    lo, hi = list(run.lo), list(run.hi)
    ahead, behind = run.tables.ahead[i], run.tables.behind[i]
    empty = False
    for j in left:
        x = t - behind[j]
        if x > lo[j]:
            lo[j] = x
        x = t + ahead[j]
        if x < hi[j]:
            hi[j] = x
        else:
            x = hi[j]
        x += TOLERANCE
        if x < lo[j] or x < now:
            empty = True
    lo[i] = hi[i] = t
    return tuple(lo), tuple(hi), empty


def _broken_by(run: Run, times: tuple[float | None, ...], i: int) -> list[Miss]:
    """Bounds that event i has broken: both of their ends have happened now."""
    found: list[Miss] = []
    for place, a, b, lo, hi in run.prepared.touching[i]:
        ta, tb = times[a], times[b]
        if ta is None or tb is None:
            continue
        d = tb - ta
        if d < lo - TOLERANCE:
            found.append(_miss(run.prepared, place, i, early=lo - d if i == b else 0.0, late=0.0 if i == b else lo - d))
        elif d > hi + TOLERANCE:
            found.append(_miss(run.prepared, place, i, early=0.0 if i == b else d - hi, late=d - hi if i == b else 0.0))
    if run.prepared.counting[i]:
        found += _broken_counts(run, i, times[i] or 0.0)
    return found


def _broken_counts(run: Run, i: int, t: float) -> list[Miss]:
    found = []
    offset = len(run.prepared.plan.constraints) + len(run.prepared.plan.answers)
    for k, (start, event, _, lo, hi) in enumerate(run.prepared.counters):
        early = late = 0.0
        count, ended = run.counts[k], run.times[event]
        if event == i:
            d = 0.0 if count is None else count.at(t)
            early, late = lo - d, d - hi
        elif start == i and ended is not None and not any(m.bound == offset + k and m.settled for m in run.misses):
            early = t - ended  # the event came before the count had begun
        if early > TOLERANCE or late > TOLERANCE:
            found.append(_miss(run.prepared, offset + k, event, early=max(0.0, early), late=max(0.0, late)))
    return found


def _miss(prepared: Prepared, place: int, i: int, *, early: float, late: float, settled: bool = True) -> Miss:
    bound = bounds_of(prepared.plan)[place]
    return Miss(place, label_of(bound), bound.group, prepared.plan.events[i], early, late, settled)


def _counts_after(run: Run, i: int, t: float) -> tuple[Count | None, ...]:
    """Counts begin with their start and end with their event."""
    counts = list(run.counts)
    for k, (start, event, name, _, _) in enumerate(run.prepared.counters):
        count = counts[k]
        if start == i:
            counts[k] = Count(0.0, t if name in run.holding else None)
        elif event == i and count is not None:
            counts[k] = Count(count.at(t), None)
    return tuple(counts)


def _recovered(run: Run) -> Run:
    """Work the windows out again from what has happened, without the bounds that can no longer be kept."""
    facts = Facts(
        times=run.times,
        now=run.now,
        counts=tuple(None if c is None else (c.at(run.now), c.since is not None) for c in run.counts),
        missed=frozenset(m.bound for m in run.misses if m.settled),
    )
    tables, doomed = recover(run.prepared.plan, facts)
    return replace(
        run,
        tables=tables,
        lo=tuple(lo for lo, _ in tables.first),
        hi=tuple(hi for _, hi in tables.first),
        misses=(*(m for m in run.misses if m.settled), *(_of_doomed(run.prepared, d) for d in doomed)),
    )


def _of_doomed(prepared: Prepared, doomed: Doomed) -> Miss:
    return _miss(
        prepared,
        doomed.bound,
        prepared.index[doomed.event],
        early=0.0 if doomed.late else doomed.at_least,
        late=doomed.at_least if doomed.late else 0.0,
        settled=False,
    )
