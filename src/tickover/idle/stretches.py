"""Which pieces of a recording are idle, and why each begins and ends.

Idle is: engine running for 10 s or more, car standing, pedal at rest, warm, fuel in closed loop. Each condition is a
step function on the recording's own instants; a piece is used while all hold.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from tickover.idle.levels import SPEEDS_APART, held_open
from tickover.idle.results import Stretch
from tickover.results import CannotTell
from tickover.signals import Recording, Series, signal

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Ints = NDArray[np.int64]

RUNS_FROM, STOPS_BELOW = 400.0, 100.0  # above any starter, and below any near-stall [r/min]; own choice
AFTER_START = 10.0  # left out after every start [s]
AFTER_PEDAL = 5.0  # the fall back to idle, from the pedal or the road, is not the idle [s]; own choice
PEDAL_GIVE = 1.0  # a pedal this close to its learned rest is at rest [%]
WARM_FROM, COLD_BELOW = 80.0, 77.0  # coolant [°C]; own choice within the customary normal band
OPEN_LOOP_AFTER = 10.0  # a short trim of exactly 0 for this long is open loop [s]; own choice
SHORTEST = 5.0  # shorter pieces are passing moments [s]
_GAP = 5.0  # a silence longer than this, and than five refreshes, is a gap in the log [s]

# What a row is, in the order in which reasons are given. 0 is idle.
IDLE, STANDS, STARTING, MOVING, PEDAL, RELEASED, COLD, OPEN_LOOP, GAP, SHORT = range(10)
_WHY: dict[int, str] = {
    STANDS: "the engine does not run",
    STARTING: f"first {AFTER_START:.0f} s after a start",
    MOVING: "the car moves",
    PEDAL: "the pedal is pressed",
    RELEASED: f"first {AFTER_PEDAL:.0f} s after the pedal or the road",
    COLD: f"not warm: coolant below {WARM_FROM:.0f} °C",
    OPEN_LOOP: "fuel not in closed loop",
    GAP: "nothing was recorded",
    SHORT: f"idle for less than {SHORTEST:.0f} s",
}
_BEGINS: dict[int, str] = {
    STANDS: "the engine runs",
    STARTING: f"{AFTER_START:.0f} s after the start",
    MOVING: "the car stands",
    PEDAL: "the pedal is at rest",
    RELEASED: f"{AFTER_PEDAL:.0f} s after the pedal or the road",
    COLD: f"coolant reaches {WARM_FROM:.0f} °C",
    OPEN_LOOP: "fuel goes into closed loop",
    GAP: "the log goes on",
    SHORT: "idle again",
}
_ENDS: dict[int, str] = {
    IDLE: "idle begins",
    STANDS: "the engine stops",
    STARTING: "the engine starts",
    MOVING: "the car moves off",
    PEDAL: "the pedal is pressed",
    RELEASED: "the car stands with the pedal at rest",
    COLD: "coolant below its limit",
    OPEN_LOOP: "fuel leaves closed loop",
    GAP: "the log has a gap",
    SHORT: "idle for a moment",
}


@dataclass(frozen=True)
class Timeline:
    """The recording cut at every instant at which something was written down.

    Attributes:
        edge: instants, shape (n + 1,) [s]; row i holds from edge[i] to edge[i + 1].
        code: what each row is, shape (n,); 0 is idle.
        held: every signal as known in each row, shape (n,).
        refresh: number of the engine-speed sample known in each row, −1 before the first, shape (n,).
        rests_on: what had to be assumed.
        refusals: what the recording cannot say.
        closed_loop: whether closed loop was shown, by status or by proxy.
    """

    edge: Floats
    code: Ints
    held: dict[str, Floats]
    refresh: Ints
    rests_on: tuple[str, ...]
    refusals: tuple[CannotTell, ...]
    closed_loop: bool

    @property
    def seconds(self) -> Floats:
        """Length of each row [s]."""
        return np.diff(self.edge)


_NEEDED = (
    "engine_speed", "vehicle_speed", "pedal_d", "pedal_e", "coolant_temperature", "fuel_system_status", "short_trim_1",
    "long_trim_1", "throttle_position", "manifold_pressure", "air_flow",
)  # fmt: skip


def sound(recording: Recording) -> tuple[Recording, tuple[str, ...]]:
    """Leave out samples that no car can have sent: no number, or outside the plausible range by more than its width.

    Args:
        recording: any recording.
    Returns: the rest of it, and a sentence for each signal that lost samples.
    """
    series, notes = {}, []
    for name in recording:
        one, entry = recording[name], signal(name)
        width = entry.hi - entry.lo
        good = (one.value >= entry.lo - width) & (one.value <= entry.hi + width)  # NaN is on neither side
        if not np.all(good):
            one = Series(one.t_lo[good], one.t_hi[good], one.value[good])
            notes.append(f"{np.count_nonzero(~good)} impossible values of {entry.label} were left out.")
        series[name] = one
    return Recording(series, recording.source, recording.simulated, recording.notes), tuple(notes)


def timeline(recording: Recording) -> Timeline | CannotTell:
    """Lay the conditions of an idle over a recording.

    Args:
        recording: a recording that is ``sound``.
    Returns: the timeline, or why there is none.
    """
    speed = recording.get("engine_speed")
    if speed is None or len(speed) < 2:
        return CannotTell(reason="no engine speed was recorded", way_out="Log engine speed.")
    names = [n for n in _NEEDED if n in recording and len(recording[n])]
    wide = recording.wide(names)
    t = wide.pop("t")
    period = float(np.median(np.diff(speed.t_hi)))
    edge = np.append(t, t[-1] + min(period, _GAP))
    held = {n: wide[n] for n in names}
    refresh = np.searchsorted(speed.t_hi, t, side="right") - 1
    rests_on: list[str] = []
    refusals: list[CannotTell] = []
    running = _hysteresis(held["engine_speed"], RUNS_FROM, STOPS_BELOW)
    code = np.zeros(len(t), dtype=np.int64)

    def mark(where: Bools, what: int) -> None:
        code[where & (code == IDLE)] = what

    mark(np.diff(edge) > max(_GAP, 5 * period), GAP)
    mark(~running, STANDS)
    mark(_since(running, edge) < AFTER_START, STARTING)
    moving = _moving(held, rests_on)
    free = running & ~moving & (_since(running, edge) >= AFTER_START) & _warm(held, [], [])
    pressed = _pressed(held, recording, rests_on, free, edge)
    mark(moving, MOVING)
    mark(pressed, PEDAL)
    mark(_since(~pressed & ~moving, edge, first=np.inf) < AFTER_PEDAL, RELEASED)
    mark(~_warm(held, refusals, rests_on), COLD)
    closed_loop = _mark_open_loop(recording, held, edge, code, refusals, rests_on)
    _mark_short(code, edge)
    return Timeline(edge, code, held, np.asarray(refresh), tuple(rests_on), tuple(refusals), closed_loop)


def stretches(recording: Recording) -> tuple[Stretch, ...]:
    """The recording, piece by piece, with the reason each begins and ends.

    Args:
        recording: any recording.
    Returns: pieces in order of time, used and unused ones; empty where no engine speed was recorded.
    """
    found = timeline(sound(recording)[0])
    return () if isinstance(found, CannotTell) else pieces(found)


def pieces(line: Timeline) -> tuple[Stretch, ...]:
    """The stretches of a timeline."""
    cuts = np.flatnonzero(np.diff(line.code)) + 1
    bounds = [0, *cuts.tolist(), len(line.code)]
    out = []
    for a, b in pairwise(bounds):
        code = int(line.code[a])
        before = int(line.code[a - 1]) if a else None
        after = int(line.code[b]) if b < len(line.code) else None
        starts = "the log begins" if before is None else (_BEGINS[before] if code == IDLE else _ENDS[code])
        out.append(
            Stretch(
                start=float(line.edge[a]),
                stop=float(line.edge[b]),
                starts_because=starts,
                ends_because="the log ends" if after is None else _ENDS[after],
                used=code == IDLE,
                unused_because=None if code == IDLE else _WHY[code],
            )
        )
    return tuple(out)


def _hysteresis(x: Floats, above: float, below: float) -> Bools:
    """True from the first value at or above ``above`` until one falls below ``below``; NaN changes nothing."""
    state = np.where(x >= above, 1, np.where(x < below, 0, -1))
    known = np.where(state >= 0, np.arange(len(x)), -1)
    last = np.maximum.accumulate(known)
    return np.asarray((last >= 0) & (state[np.maximum(last, 0)] == 1))


def _since(holds: Bools, edge: Floats, first: float = 0.0) -> Floats:
    """Time at the begin of each row since a condition began to hold [s]; inf where it does not hold.

    Where it holds from the first row on, ``first`` is how long it is taken to have held before.
    """
    begins = holds & ~np.concatenate([[False], holds[:-1]])
    at = np.where(begins, np.arange(len(holds)), -1)
    index = np.maximum.accumulate(at)
    since = edge[:-1] - edge[np.maximum(index, 0)]
    since = np.where(index == 0, since + first, since)
    return np.where(holds, since, np.inf)


def _moving(held: dict[str, Floats], rests_on: list[str]) -> Bools:
    speed = held.get("vehicle_speed")
    if speed is None:
        rests_on.append("No road speed was recorded: that the car stood rests on your word.")
        return np.zeros(len(held["engine_speed"]), dtype=bool)
    return np.nan_to_num(speed, nan=0.0) >= 1.0


def pedal_rest(track: Series) -> float:
    """The rest of a pedal track, learned from the recording.

    Args:
        track: the pedal [%].
    Returns: the lowest value at which it stands for 2 % of its samples or more; a pedal never stands below its rest,
        and a single odd value is not a rest [%].
    """
    steps, counts = np.unique(np.round(track.value * 4) / 4, return_counts=True)
    usual = steps[counts >= max(2, 0.02 * len(track))]
    near = float(usual[0]) if len(usual) else float(np.median(track.value))
    return float(np.median(track.value[np.abs(track.value - near) <= 0.25]))


def _pressed(held: dict[str, Floats], recording: Recording, rests_on: list[str], free: Bools, edge: Floats) -> Bools:
    """Rows with the pedal pressed; ``free`` are rows in which the engine runs, warm, and the car stands."""
    for name in ("pedal_d", "pedal_e"):
        if name in held:
            rest = pedal_rest(recording[name])
            rests_on.append(f"The pedal's rest was learned from this log: {rest:.1f} %.")
            return np.abs(np.nan_to_num(held[name], nan=rest) - rest) > PEDAL_GIVE
    if "vehicle_speed" in held:
        found = held_open(recording, free, edge)
        if found is not None:
            rests_on.append(
                "No pedal was recorded: at rest means throttle and speed both at the lowest level that they hold, with "
                f"the speed {SPEEDS_APART:.0f} r/min or more below the next one."
            )
            return found
    rests_on.append("No pedal was recorded: that it was untouched rests on your word.")
    return np.zeros(len(held["engine_speed"]), dtype=bool)


def _warm(held: dict[str, Floats], refusals: list[CannotTell], rests_on: list[str]) -> Bools:
    coolant = held.get("coolant_temperature")
    if coolant is None:
        refusals.append(
            CannotTell(
                reason="whether the engine was warm: no coolant was recorded", way_out="Log coolant temperature."
            )
        )
        return np.ones(len(held["engine_speed"]), dtype=bool)
    rests_on.append(f"Warm means coolant of {WARM_FROM:.0f} °C or more, until it falls below {COLD_BELOW:.0f} °C.")
    return _hysteresis(coolant, WARM_FROM, COLD_BELOW)


def _mark_open_loop(
    recording: Recording,
    held: dict[str, Floats],
    edge: Floats,
    code: Ints,
    refusals: list[CannotTell],
    rests_on: list[str],
) -> bool:
    """Mark rows in open loop, unless that would leave nothing; say what closed loop rests on."""
    open_loop: Bools
    if "fuel_system_status" in held:
        open_loop = ~np.isin(np.nan_to_num(held["fuel_system_status"], nan=0.0), (2.0, 16.0))
        shown = "by its status"
    elif "short_trim_1" in held:
        open_loop = _stands_at_zero(recording["short_trim_1"], edge)
        shown = "judged by its short trim being alive, no status was recorded"
    else:
        refusals.append(
            CannotTell(
                reason="whether the fuel was in closed loop: neither status nor short trim was recorded",
                way_out="Log the short fuel trim.",
            )
        )
        return False
    if not np.any(~open_loop & (code == IDLE)):
        refusals.append(
            CannotTell(
                reason="fuel trim: the fuel never was in closed loop at idle",
                way_out="Warm it up with the lambda sensor working, and record again.",
            )
        )
        return False
    code[open_loop & (code == IDLE)] = OPEN_LOOP
    rests_on.append(f"Closed loop is {shown}.")
    return True


def _stands_at_zero(trim: Series, edge: Floats) -> Bools:
    """Whether the short trim stands at exactly 0 for so long that the loop must be open, by row."""
    zero = trim.value == 0.0
    bounds = np.concatenate([[0], np.flatnonzero(zero[1:] != zero[:-1]) + 1, [len(zero)]])
    end = np.append(trim.t_hi, edge[-1])
    begins, stops = end[bounds[:-1]], end[bounds[1:]]
    long = zero[bounds[:-1]] & (stops - begins >= OPEN_LOOP_AFTER)
    mark = np.zeros(len(edge), dtype=np.int64)
    np.add.at(mark, np.searchsorted(edge[:-1], begins[long]), 1)
    np.add.at(mark, np.searchsorted(edge[:-1], stops[long]), -1)
    return np.asarray(np.cumsum(mark[:-1]) > 0)


def _mark_short(code: Ints, edge: Floats) -> None:
    idle = np.concatenate([[False], code == IDLE, [False]])
    flips = np.flatnonzero(idle[1:] != idle[:-1])
    for a, b in zip(flips[::2], flips[1::2], strict=True):
        if edge[b] - edge[a] < SHORTEST:
            code[a:b] = SHORT
