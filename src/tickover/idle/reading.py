"""A recording -> a measured idle with its uncertainty and what it cannot say."""

from __future__ import annotations

import math

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from tickover.idle.cold import cold_idle, cold_words
from tickover.idle.expect import expectations, not_throttled
from tickover.idle.hunting import find_hunting
from tickover.idle.levels import THROTTLES
from tickover.idle.results import ColdIdle, Hunting, IdleReading, IdleState, StateName
from tickover.idle.settling import near_stalls, releases
from tickover.idle.states import SETTLES, Split, split
from tickover.idle.stretches import COLD, IDLE, OPEN_LOOP, STANDS, WARM_FROM, Timeline, pieces, sound, timeline
from tickover.idle.thousands import doubted
from tickover.results import CannotTell, Measured, Quantity
from tickover.signals import Recording, Series, signal
from tickover.stats import MeanAndSpread, mean_and_spread

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

LEVEL = 0.95
LEAST_REFRESHES = 8  # with fewer measurements no mean is stated; own choice
WIDEST, FASTEST = 250.0, 2000.0  # spread and mean speed [r/min] beyond which nothing is an idle; own choice, the second
# as the plan's stop sign: hunting at 150 r/min has a spread of 106, and an idle that races above 2,000 is not measured
WANDER, WANDERS_FOR = 1.5, 25.0  # drift that a short log hides [r/min], [s]; docs/why/effective-samples.md
_TRACE = 600


def read_idle(
    recording: Recording, rng: Generator, *, diesel: bool = False, displacement: float | None = None
) -> IdleReading | CannotTell:
    """Measure the idle in a recording.

    Args:
        recording: at least engine speed; better with road speed, pedal, coolant, trims, throttle, manifold pressure.
        rng: seeded generator for the intervals.
        diesel: whether the engine is a diesel, which has no idle of this kind to learn.
        displacement: of the engine [l]; without it nothing is said of the air it should take.
    Returns: the reading, or why nothing can be measured.
    Valid for: any warm spark engine; an engine that races or hunts is measured like any other.
    Source: own choice of limits, see ``stretches`` and ``states``; statistics from ``tickover.stats``.
    """
    if diesel:
        return CannotTell(
            reason="a diesel meters its idle by fuel, there is no learned idle air to measure",
            way_out="Follow the maker's own procedure.",
        )
    in_doubt = doubted(recording)
    if in_doubt is not None:
        return in_doubt
    recording, left_out = sound(recording)
    line = timeline(recording)
    if isinstance(line, CannotTell):
        return line
    if not np.any(line.code == IDLE):
        return _nothing(line, _cold(line, recording, rng))
    speed = recording["engine_speed"]
    poll = poll_period(speed)
    loads = split(line, poll)
    states = tuple(
        state
        for name, rows in loads.rows.items()
        if (state := _state(name, rows, _spread(loads.settled[name], rows, line, recording, rng), line, recording, rng))
        is not None
    )
    if not states:
        return CannotTell(
            reason=f"too little idle: fewer than {LEAST_REFRESHES} measurements of engine speed while all holds",
            way_out="Record a minute of idle.",
        )
    refused = not_throttled(states[0], recording, line)
    if refused is not None:
        return refused
    if any(_no_idle(s) for s in states):
        return CannotTell(
            reason="part of what looks like idle is not: its speed moves, or stands, far from any idle",
            way_out=_told_apart_by(recording),
        )
    name = states[0].name
    first = _spread(loads.settled[name], loads.rows[name], line, recording, rng)
    cold = _cold(line, recording, rng)
    hunting = _hunting(loads.settled[name], loads.rows[name], line, recording, _swing(first), poll, rng)
    idles = tuple(s.speed.value for s in states if isinstance(s.speed, Quantity))
    return IdleReading(
        states=states,
        stretches=pieces(line),
        refusals=(*loads.refusals, *line.refusals, *_no_frequency(poll, hunting), *_stops(line)),
        swing=_swing(first),
        settled_from=float(line.edge[int(np.argmax(line.code == IDLE))]),
        rests_on=(*_rests_on(states, loads, line, recording), *left_out),
        trace=thinned_trace(speed, "speed", 2),
        simulated=recording.simulated,
        source=recording.source,
        hunting=hunting,
        releases=releases(recording, line, idles, _hunts(hunting)),
        dips=near_stalls(speed, line, min(idles)),
        cold=cold,
        expected=() if displacement is None else expectations(states[0], recording, displacement),
        trim_trace={} if (total := total_trim(recording)) is None else thinned_trace(total, "trim", 3),
    )


def _no_idle(state: IdleState) -> bool:
    """Whether a state cannot be an idle: where neither pedal nor throttle was logged, held speeds look like one."""
    fast = isinstance(state.speed, Quantity) and state.speed.value > FASTEST
    return fast or (state.spread is not None and state.spread > WIDEST)


def _told_apart_by(recording: Recording) -> str:
    """What is missing to tell an idle from a held speed: only that."""
    there = {name for name in recording if len(recording[name])}
    missing = [] if there & {"pedal_d", "pedal_e"} else ["the pedal"]
    missing += [] if "vehicle_speed" in there else ["the road speed"]
    if not missing:
        return "Cut the log down to its idle."
    cut = f"Log {' and '.join(missing)} with it, or cut the log down to its idle."
    if missing == ["the pedal"] and not there & set(THROTTLES):
        return "Log the pedal with it, or else the throttle; or cut the log down to its idle."
    return cut


def _cold(line: Timeline, recording: Recording, rng: Generator) -> tuple[ColdIdle, ...]:
    def measure(rows: Bools) -> Measured:
        return _quantity(_worth(recording["engine_speed"], rows, line, rng), "r/min", "engine speed")

    return cold_idle(line, measure)


def _hunting(
    settled: Bools, rows: Bools, line: Timeline, recording: Recording, swing: Measured, poll: float, rng: Generator
) -> Hunting | CannotTell:
    """Look for hunting once each change of load has settled; in the whole state where that is too little."""
    speed = recording["engine_speed"]
    for some in (settled, rows):
        weight, piece = _weights(speed, some, line)
        used = (weight > 0) & np.isfinite(speed.value)
        found = find_hunting(recording, used, piece, swing, poll, rng)
        if isinstance(found, Hunting):
            return found
    return found


def _hunts(found: Hunting | CannotTell) -> float:
    """By how much it hunts [r/min]; 0 where it does not, or nobody knows."""
    if isinstance(found, CannotTell) or not found.found or isinstance(found.size, CannotTell):
        return 0.0
    return found.size.value


def _stops(line: Timeline) -> tuple[CannotTell, ...]:
    """Stops in the middle of an idle: key, automatic or stall, the log does not say."""
    stops = np.flatnonzero((line.code[:-1] == IDLE) & (line.code[1:] == STANDS))
    at = [float(line.edge[i + 1]) for i in stops]
    if not at:
        return ()
    times = f"at {at[0]:.0f} s" if len(at) == 1 else f"{len(at)} times, first at {at[0]:.0f} s"
    return (CannotTell(reason=f"whether the engine was stopped or stalled: it stopped from idle {times}"),)


def poll_period(series: Series) -> float:
    """Usual time from one measurement to the next [s]; gaps in the log do not count."""
    steps = np.diff(series.t_hi)
    usual = steps[steps <= 2 * np.median(steps)]
    return float(usual.mean())


def _nothing(line: Timeline, cold: tuple[ColdIdle, ...]) -> CannotTell:
    """Why there is no idle: the last hurdle that any moment reached."""
    if np.all(line.code == STANDS):
        return CannotTell(reason="the engine never runs in this recording", way_out="Start it, and record a minute.")
    if np.any(line.code == COLD):
        hottest = float(np.nanmax(line.held["coolant_temperature"][line.code == COLD]))
        return CannotTell(
            reason=f"the engine is never warm while it idles: coolant reaches {hottest:.0f} °C then, "
            f"{WARM_FROM:.0f} °C is needed",
            way_out=f"Warm it up first. {cold_words(cold) or 'A cold idle is fast by design.'}",
        )
    if np.any(line.code == OPEN_LOOP):
        return CannotTell(reason="the fuel never is in closed loop at idle", way_out="Let it idle longer.")
    return CannotTell(
        reason="there is no idle in it: engine running, car standing, pedal at rest, later than 10 s after a start",
        way_out="Record a minute of idle without touching the pedal.",
    )


def _weights(series: Series, rows: Bools, line: Timeline) -> tuple[Floats, NDArray[np.int64]]:
    """Seconds that each sample stands for inside some rows, and the number of the unbroken piece it is in."""
    index = np.searchsorted(series.t_hi, line.edge[:-1], side="right") - 1
    inside = rows & (index >= 0)
    weight = np.zeros(len(series))
    np.add.at(weight, index[inside], line.seconds[inside])
    piece_of_row = np.cumsum(np.diff(np.concatenate([[False], rows]).astype(np.int64)) == 1)
    piece = np.zeros(len(series), dtype=np.int64)
    piece[index[inside]] = piece_of_row[inside]
    return weight, piece


def _worth(series: Series, rows: Bools, line: Timeline, rng: Generator) -> MeanAndSpread | None:
    """Mean and spread of one signal over some rows; None with too few measurements."""
    weight, piece = _weights(series, rows, line)
    used = (weight > 0) & np.isfinite(series.value)
    if np.count_nonzero(used) < LEAST_REFRESHES:
        return None
    return mean_and_spread(series.value[used], rng, weights=weight[used], groups=piece[used], level=LEVEL)


def _quantity(found: MeanAndSpread | None, unit: str, what: str) -> Measured:
    if found is None:
        return CannotTell(reason=f"{what}: fewer than {LEAST_REFRESHES} measurements")
    return Quantity(value=found.mean, lo=found.lo, hi=found.hi, level=LEVEL, unit=unit, n_eff=found.n_eff)


def _with_wander(speed: Measured, seconds: float) -> Measured:
    """An idle drifts over minutes by more than a short log shows: that much is joined to its interval."""
    if isinstance(speed, CannotTell) or speed.lo is None or speed.hi is None:
        return speed
    drift = 1.96 * WANDER * math.sqrt(min(1.0, 2 * WANDERS_FOR / seconds))
    lo, hi = (math.hypot(speed.value - speed.lo, drift), math.hypot(speed.hi - speed.value, drift))
    return speed.model_copy(update={"lo": speed.value - lo, "hi": speed.value + hi})


def _spread(settled: Bools, rows: Bools, line: Timeline, recording: Recording, rng: Generator) -> MeanAndSpread | None:
    """Statistics of engine speed once each change of load has settled; of the whole state where that is too little."""
    speed = recording["engine_speed"]
    return _worth(speed, settled, line, rng) or _worth(speed, rows, line, rng)


def _state(
    name: StateName,
    rows: Bools,
    steady: MeanAndSpread | None,
    line: Timeline,
    recording: Recording,
    rng: Generator,
) -> IdleState | None:
    speed = recording["engine_speed"]
    weight, _ = _weights(speed, rows, line)
    found = _worth(speed, rows, line, rng)
    if found is None or steady is None:
        return None
    coolant = line.held.get("coolant_temperature")
    known = None if coolant is None else coolant[rows & np.isfinite(coolant)]
    return IdleState(
        name=name,
        seconds=float(line.seconds[rows].sum()),
        refreshes=int(np.count_nonzero(weight > 0)),
        speed=_with_wander(_quantity(found, "r/min", "engine speed"), float(line.seconds[rows].sum())),
        spread=steady.sd,
        trim=_trim(rows, line, recording, rng),
        coolant=None if known is None or not len(known) else (float(known.min()), float(known.max())),
        manifold_pressure=_mean_of("manifold_pressure", rows, line, recording, rng),
        air_flow=_mean_of("air_flow", rows, line, recording, rng),
        throttle=_mean_of("throttle_position", rows, line, recording, rng),
        dwells=_dwells(rows, line),
    )


def _mean_of(name: str, rows: Bools, line: Timeline, recording: Recording, rng: Generator) -> Measured:
    series = recording.get(name)
    entry = signal(name)
    if series is None or not len(series):
        return CannotTell(reason=f"{entry.label} was not recorded")
    return _quantity(_worth(series, rows, line, rng), entry.unit, entry.label)


def total_trim(recording: Recording) -> Series | None:
    """Short and long trim together [%]: the long one is added as known when the short one was measured."""
    short, long = recording.get("short_trim_1"), recording.get("long_trim_1")
    if short is None or long is None or not len(short) or not len(long):
        return None
    return Series(short.t_lo, short.t_hi, short.value + long.hold(short.t_hi))


def _trim(rows: Bools, line: Timeline, recording: Recording, rng: Generator) -> Measured:
    total = total_trim(recording)
    if total is None:
        return CannotTell(reason="fuel trim: short and long trim were not both recorded", way_out="Log both trims.")
    if not line.closed_loop:
        return CannotTell(reason="fuel trim: closed loop was not shown", way_out="Log the fuel system status.")
    return _quantity(_worth(total, rows, line, rng), "%", "fuel trim")


def _dwells(rows: Bools, line: Timeline) -> tuple[tuple[float, float], ...]:
    padded = np.concatenate([[False], rows, [False]])
    flips = np.flatnonzero(padded[1:] != padded[:-1])
    return tuple((float(line.edge[a]), float(line.edge[b])) for a, b in zip(flips[::2], flips[1::2], strict=True))


def _swing(found: MeanAndSpread | None) -> Measured:
    """Size of the swing about the mean, √2 · sd: the amplitude of a sine of that spread."""
    if found is None:
        return CannotTell(reason=f"how far it swings: fewer than {LEAST_REFRESHES} measurements")
    factor = math.sqrt(2)
    high = factor * found.sd_hi
    return Quantity(
        value=factor * found.sd,
        lo=factor * found.sd_lo,
        hi=high if math.isfinite(high) else None,
        level=LEVEL,
        unit="r/min",
        n_eff=found.n_eff,
    )


def _no_frequency(poll: float, hunting: Hunting | CannotTell) -> tuple[CannotTell, ...]:
    """Why it cannot be told how fast it swings. Slower polling than 4 Hz folds 0.2 to 2 Hz onto itself."""
    if isinstance(hunting, CannotTell):
        return (hunting,)
    if hunting.found:
        return (hunting.frequency,) if isinstance(hunting.frequency, CannotTell) else ()
    if poll <= 0.25:
        return ()
    return (
        CannotTell(
            reason=f"how fast it swings: engine speed is measured every {poll:.1f} s",
            way_out="Log engine speed alone, ten times a second.",
        ),
    )


def _rests_on(states: tuple[IdleState, ...], loads: Split, line: Timeline, recording: Recording) -> tuple[str, ...]:
    seconds = sum(s.seconds for s in states)
    count = sum(s.refreshes for s in states)
    out = [f"{seconds:.0f} s of idle, {count} measurements of engine speed, 10 s after every start left out."]
    if loads.by is not None:
        out.append(f"Load states are told apart by {loads.by}, and never mixed; the spread leaves out "
                   f"{SETTLES:.0f} s after each change of load.")  # fmt: skip
    elif not any(n in line.held for n in ("throttle_position", "manifold_pressure", "air_flow")):
        out.append(
            "Neither throttle nor manifold pressure was recorded: that no load came and went rests on your word."
        )
    if recording.simulated:
        out.append("The car was simulated.")
    return (*out, *line.rests_on)


def thinned_trace(series: Series, name: str, places: int) -> dict[str, list[float]]:
    """A signal for a picture: at most 600 points, lowest and highest of each piece of time kept."""
    t, x = series.t_hi, series.value
    good = np.isfinite(x)
    t, x = t[good], x[good]
    if len(t) > _TRACE:
        keep: list[int] = []
        for part in np.array_split(np.arange(len(t)), _TRACE // 2):
            keep += sorted({int(part[np.argmin(x[part])]), int(part[np.argmax(x[part])])})
        t, x = t[keep], x[keep]
    return {"t": [round(float(v), 3) for v in t], name: [round(float(v), places) for v in x]}
