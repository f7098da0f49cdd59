"""When the limits of a condition hold together on a recording: true, false or not known, as pieces of time.

Every reading is held from the row that shows it until the next one, at most as long as the condition file allows.
A change of state lies in the bracket of the reading that brought it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tickover.drive.conditions import Limit
from tickover.idle.stretches import pedal_rest
from tickover.signals import Recording, Series

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

FALSE, UNKNOWN, TRUE = -1, 0, 1
RUNS_FROM, STANDS_BELOW = 400.0, 100.0
"""Engine speed above which it runs and below which it stands [r/min]; own choice, as for an idle."""
SOON = 5.0
"""A log whose first run time is no more than this began with the engine [s]; own choice."""
FIRST_READING = 30.0
"""A value at the start may be read this long after it [s]; own choice: coolant has not moved by then."""
HOLD = 5.0
"""How long a reading is held where the condition file says nothing [s]."""


@dataclass(frozen=True)
class Log:
    """A recording made ready: series by name, worked-out quantities among them.

    Attributes:
        series: by standard or worked-out name.
        start, end: of the log [s].
        begins, ends: whether the engine's start and its end are in the log.
        holds: how long a reading is held, by name [s].
        notes: what had to be worked out or supplied, in sentences.
    """

    series: Mapping[str, Series]
    start: float
    end: float
    begins: bool
    ends: bool
    holds: Mapping[str, float]
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Piece:
    """A piece of time in one state.

    Attributes:
        start, end: [s].
        state: TRUE, FALSE or UNKNOWN.
        slack: how much sooner than ``start`` the state may have begun [s].
        why: what ended the state before: the limit, and the reading that broke it; None where nothing was broken.
        tail: how long the last readings were only held at the end of the log [s]; 0 for every piece but the last.
    """

    start: float
    end: float
    state: int
    slack: float = 0.0
    why: tuple[Limit, float] | None = None
    tail: float = 0.0

    @property
    def length(self) -> float:
        """[s]."""
        return self.end - self.start


@dataclass(frozen=True, slots=True)
class Block:
    """Pieces in a row in which nothing known is false.

    Attributes:
        start, end: of the true pieces, from the first to the last [s].
        nominal: the longest true piece as logged [s].
        lo, hi: least and greatest length in one piece, whatever brackets, gaps and the cut ends hide [s].
        true: the longest true piece.
        cut, gap: whether the log's end cuts it off, and whether something unknown borders on it.
        why: what ended it.
    """

    start: float
    end: float
    nominal: float
    lo: float
    hi: float
    true: Piece
    cut: bool
    gap: bool
    why: tuple[Limit, float] | None


def prepare(
    recording: Recording,
    holds: Mapping[str, float],
    *,
    known: Mapping[str, float] | None = None,
    whole: bool = False,
) -> Log:
    """Make a recording ready.

    Args:
        recording: of one drive.
        holds: how long a reading is held [s].
        known: what somebody knows besides the log, by name, in the quantity's unit.
        whole: the log runs from the engine's start to its end, on somebody's word.
    Returns: the log with worked-out quantities.
    """
    start, end = recording.span
    series = {name: one for name in recording if len(one := _finite(recording[name]))}
    start = min((float(s.t_hi[0]) for s in series.values()), default=start)
    notes: list[str] = []
    begins, ends, t0 = _ends(series, start, end)
    begins, ends = whole or begins, whole or ends
    every = dict(holds)
    for name, value in (known or {}).items():
        if name not in series:
            series[name] = Series.at([start], [value])
            every[name] = math.inf
    _pedal(series, every, notes)
    _outside(series, every, notes, t0, known=known or {})
    if begins:
        _since_start(series, every, t0)
    return Log(series, start, end, begins, ends, every, tuple(notes))


def _finite(series: Series) -> Series:
    """The series without what is no number."""
    good = np.isfinite(series.value)
    return series if np.all(good) else Series(series.t_lo[good], series.t_hi[good], series.value[good])


def _ends(series: Mapping[str, Series], start: float, end: float) -> tuple[bool, bool, float]:
    """Whether engine start and engine end are in the log, and when the engine starts [s]."""
    speed, run_time = series.get("engine_speed"), series.get("run_time")
    begins, ends, t0 = False, False, start
    if speed is not None:
        runs = np.flatnonzero(speed.value >= RUNS_FROM)
        if len(runs):
            begins = bool(runs[0] > 0 and np.all(speed.value[: runs[0]] < RUNS_FROM))
            ends = bool(speed.value[-1] < STANDS_BELOW and end - speed.t_hi[-1] < HOLD)
            t0 = float(speed.t_hi[runs[0]]) if begins else start
    if run_time is not None:  # it falls to 0 at a start by key, and not at one by itself
        begins = bool(run_time.value[0] <= SOON)
    return begins, ends, t0


def _pedal(series: dict[str, Series], holds: dict[str, float], notes: list[str]) -> None:
    for name in ("pedal_d", "pedal_e"):
        if name in series:
            rest = pedal_rest(series[name])
            one = series[name]
            series["pedal_travel"] = Series(one.t_lo, one.t_hi, one.value - rest)
            holds["pedal_travel"] = holds.get(name, HOLD)
            notes.append(f"The pedal's rest was learned from this log: {rest:.1f} %.")
            return


def _outside(
    series: dict[str, Series], holds: dict[str, float], notes: list[str], t0: float, known: Mapping[str, float]
) -> None:
    if "ambient_temperature" in series:
        series["outside"] = series["ambient_temperature"]
        holds["outside"] = holds.get("ambient_temperature", HOLD)
        if "ambient_temperature" in known:
            notes.append(f"Outside air of {known['ambient_temperature']:g} °C rests on your word.")
        return
    intake = series.get("intake_temperature")
    at = _at_start(intake, t0)
    coolant = _at_start(series.get("coolant_temperature"), t0)
    if at is None or coolant is None or abs(coolant - at) > 6.7:
        return  # a warm engine bay says nothing of the air outside
    series["outside"] = Series.at([t0], [at])
    holds["outside"] = math.inf
    notes.append(f"No outside air was recorded: the intake air at the cold start, {at:.0f} °C, stands for it.")


def _at_start(series: Series | None, t0: float) -> float | None:
    """The reading that stood at the start, or the first soon after."""
    if series is None or not len(series):
        return None
    k = int(np.searchsorted(series.t_hi, t0, side="right")) - 1
    k = max(k, 0)
    return float(series.value[k]) if abs(series.t_hi[k] - t0) <= FIRST_READING else None


def _since_start(series: dict[str, Series], holds: dict[str, float], t0: float) -> None:
    coolant = series.get("coolant_temperature")
    first = _at_start(coolant, t0)
    if coolant is None or first is None:
        return
    series["coolant_rise"] = Series(coolant.t_lo, coolant.t_hi, coolant.value - first)
    holds["coolant_rise"] = holds.get("coolant_temperature", HOLD)
    outside = _at_start(series.get("outside"), t0)
    if outside is not None:
        series["coolant_above_outside"] = Series.at([t0], [first - outside])
        holds["coolant_above_outside"] = math.inf


def missing(log: Log, limits: Sequence[Limit]) -> list[Limit]:
    """Limits on quantities that the log does not hold and nobody may assume."""
    return [one for one in limits if one.of not in log.series and not one.assume]


def pieces(log: Log, limits: Sequence[Limit]) -> list[Piece]:
    """The log cut where the state of the limits changes.

    Args:
        log: prepared.
        limits: what must hold together; one on a quantity that is not there is left out if it may be assumed, else
            its state is not known throughout.
    Returns: pieces that join from the log's start to its end; empty for a log without any length.
    """
    judged = [one for one in limits if one.of in log.series]
    grid = _grid(log, judged)
    if len(grid) < 2:
        return []
    begins = grid[:-1]
    state = np.full(len(begins), TRUE if not missing(log, limits) else UNKNOWN, dtype=np.int64)
    own: list[Ints] = []
    for one in judged:
        found = _state(log, one, begins)
        own.append(found)
        state = np.minimum(state, found)
    cuts = np.concatenate([[0], np.flatnonzero(np.diff(state)) + 1])
    at, stops = grid[cuts], np.append(grid[cuts[1:]], grid[-1])
    slack, which, value = _turns(log, judged, own, cuts, at)
    tails = [0.0] * (len(cuts) - 1) + [_tail(log, judged)]
    return [
        Piece(a, b, s, w, (judged[k], v) if k >= 0 else None, tail)
        for a, b, s, w, k, v, tail in zip(
            at.tolist(), stops.tolist(), state[cuts].tolist(), slack.tolist(), which.tolist(), value.tolist(), tails,
            strict=True,
        )
    ]  # fmt: skip


def _turns(
    log: Log, judged: Sequence[Limit], own: Sequence[Ints], cuts: Ints, at: Floats
) -> tuple[Floats, Ints, Floats]:
    """At each cut: bracket of the reading that brought it [s], the limit that broke (−1: none), and its reading."""
    slack, value = np.zeros(len(cuts)), np.zeros(len(cuts))
    which = np.full(len(cuts), -1, dtype=np.int64)
    before = np.maximum(cuts - 1, 0)
    for number, (one, states) in enumerate(zip(judged, own, strict=True)):
        series = log.series[one.of]
        k = np.maximum(np.searchsorted(series.t_hi, at, side="right") - 1, 0)
        turned = (states[cuts] != states[before]) & (series.t_hi[k] == at)
        slack = np.maximum(slack, np.where(turned, at - series.t_lo[k], 0.0))
        broke = (which < 0) & (states[cuts] == FALSE) & ((cuts == 0) | (states[before] != FALSE))
        which[broke] = number
        value[broke] = series.value[k][broke]
    return slack, which, value


def _tail(log: Log, judged: Sequence[Limit]) -> float:
    """How long the oldest of the last readings was held at the end of the log [s]."""
    last = [float(log.series[one.of].t_hi[-1]) for one in judged if math.isfinite(_hold(log, one))]
    return log.end - min(last, default=log.end)


def _hold(log: Log, one: Limit) -> float:
    return log.holds.get(one.of, HOLD)


def _grid(log: Log, judged: Sequence[Limit]) -> Floats:
    """Instants at which anything may change: readings, and readings that have been held too long."""
    marks = [np.array([log.start, log.end])]
    for one in judged:
        series, hold = log.series[one.of], _hold(log, one)
        marks.append(series.t_hi)
        if math.isfinite(hold):
            late = np.diff(np.append(series.t_hi, log.end)) > hold
            marks.append(series.t_hi[late] + hold)
    every = np.unique(np.concatenate(marks))
    return every[(every >= log.start) & (every <= log.end)]


def _state(log: Log, one: Limit, at: Floats) -> Ints:
    """State of one limit from each instant on."""
    series = log.series[one.of]
    k = np.searchsorted(series.t_hi, at, side="right") - 1
    value = series.value[np.maximum(k, 0)]
    fresh = (k >= 0) & (at - series.t_hi[np.maximum(k, 0)] < _hold(log, one) - 1e-9)
    good = (value >= one.least) & (value <= one.most)
    return np.where(fresh, np.where(good, TRUE, FALSE), UNKNOWN).astype(np.int64)
