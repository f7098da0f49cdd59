"""Load states: the idle with the compressor on is another idle. See ``docs/why/load-states.md``.

Split on throttle, else manifold pressure, else air flow, never on the engine speed that is to be measured. A state
needs a dwell; what only passes through is a transition and belongs to neither.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from tickover.idle.levels import threshold
from tickover.idle.results import StateName
from tickover.idle.stretches import IDLE, Timeline
from tickover.results import CannotTell
from tickover.signals import signal

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Ints = NDArray[np.int64]

# least distance between two load states, in each signal's unit; own choice
_APART: dict[str, float] = {"throttle_position": 1.0, "manifold_pressure": 4.0, "air_flow": 0.4}
_WANDERS: dict[str, float] = {"throttle_position": 0.7, "manifold_pressure": 3.0, "air_flow": 0.3}
_RARE = 0.02  # a second level in less of the time than this, and only in passing, is an odd value
PASSING = 5.0  # a state held for less is a transition [s]
SETTLES = 10.0  # a change of load overshoots for about this long [s]
DWELL = 10.0  # a state is read only if it was once held this long [s]


@dataclass(frozen=True)
class Split:
    """Load states of a timeline.

    Attributes:
        rows: name of each state to the rows that count for it, shape (n,) each.
        settled: the same without the first 10 s after each change of load: a spread is not read from an overshoot.
        refusals: states that cannot be read.
        by: the signal that tells them apart, None where there is one state.
    """

    rows: dict[StateName, Bools]
    settled: dict[StateName, Bools]
    refusals: tuple[CannotTell, ...]
    by: str | None


def split(line: Timeline, poll: float) -> Split:
    """Tell the load states apart.

    Args:
        line: the timeline.
        poll: time from one measurement of engine speed to the next [s].
    Returns: the states that were held long enough, loads off first; the rest as refusals.
    """
    idle = line.code == IDLE
    for name, apart in _APART.items():
        if name not in line.held:
            continue
        cut = threshold(line.held[name][idle], line.seconds[idle], apart)
        if cut is None:
            continue
        level = np.where(idle, (line.held[name] > cut).astype(np.int64), -1)
        found = _dwelling(line, level, poll, name)
        if found is not None:
            return found
    return Split({"one load state": idle}, {"one load state": idle}, _wandering(line, idle), None)


def _wandering(line: Timeline, idle: Bools) -> tuple[CannotTell, ...]:
    """A load signal that moves about without clear levels: loads may have come and gone unseen."""
    for name, most in _WANDERS.items():
        if name in line.held and float(np.nanstd(line.held[name][idle])) > most:
            return (
                CannotTell(
                    reason=f"whether loads came and went: {signal(name).label} moves about without clear levels",
                    way_out="Record a minute with all loads off.",
                ),
            )
    return ()


def _dwelling(line: Timeline, level: Ints, poll: float, by: str) -> Split | None:
    """Keep what dwells.

    Returns: the split; None where neither level ever dwells, which is an engine that swings under one load, or where
        one of them is but an odd value.
    """
    keep = {side: np.zeros(len(level), dtype=bool) for side in (0, 1)}
    settled = {side: np.zeros(len(level), dtype=bool) for side in (0, 1)}
    longest = {0: 0.0, 1: 0.0}
    bounds = np.concatenate([[0], np.flatnonzero(np.diff(level)) + 1, [len(level)]])
    for a, b in pairwise(bounds):
        side = int(level[a])
        if side < 0:
            continue
        length = float(line.edge[b] - line.edge[a])
        longest[side] = max(longest[side], length)
        if length < PASSING:
            continue
        switched = a > 0 and level[a - 1] >= 0
        # A held speed was measured half a poll before its row on average: that much after a switch is not told.
        keep[side][a:b] = line.edge[a:b] >= line.edge[a] + (poll / 2 if switched else 0.0)
        settled[side][a:b] = line.edge[a:b] >= line.edge[a] + (SETTLES if switched else 0.0)
    share = float(line.seconds[level == 1].sum() / line.seconds[level >= 0].sum())
    rare = min(share, 1 - share) < _RARE and min(longest.values()) < PASSING
    if max(longest.values()) < DWELL or rare:
        return None
    names: dict[int, StateName] = {0: "loads off", 1: "loads on"}
    refusals = tuple(
        CannotTell(
            reason=f"the idle with {names[side]}: held for {longest[side]:.0f} s at most, only in passing",
            way_out=f"Keep the {'loads off' if side == 0 else 'load on'} for a minute and record again.",
        )
        for side in (0, 1)
        if longest[side] < DWELL
    )
    held = [side for side in (0, 1) if longest[side] >= DWELL]
    return Split(
        rows={names[side]: keep[side] for side in held},
        settled={names[side]: settled[side] for side in held},
        refusals=refusals,
        by=signal(by).label,
    )
