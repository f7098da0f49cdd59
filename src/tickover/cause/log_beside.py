"""What a log tells beside speed and trims of bank 1: bank 2, commanded idle air, volts, how the coolant behaves."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.random import Generator
from numpy.typing import ArrayLike, NDArray

from tickover.cause.evidence import Point, Value, VoltsWhen
from tickover.cause.log_rows import RUNS, Rows, runs
from tickover.signals import Recording, Series
from tickover.stats.bootstrap import mean_and_spread

Floats = NDArray[np.float64]
Span = tuple[float, float]

LEAST_SAMPLES = 6
"""Fewer measurements than so many are no reading [1]. Own choice."""
LEAST = {"trim": 1.0, "idle air": 0.4, "volts": 0.1, "cranking": 0.3}
"""Least spread of each [%], [%], [V], [V]: a step of its parameter, or one log against the next. Own choice."""
KEY_ON_FROM = 45.0
"""Volts with ignition on and the engine still count after so long [s]: by then they have come down. Own choice."""
LONGEST_CRANK = 15.0
"""A starter that turns longer than that was no start [s]. Own choice."""
JUMP, JUMP_WITHIN, JUMPS = 8.0, 10.0, 2
"""A coolant reading that moves so far [K] in so short [s], so many times, jumps: no engine does. Own choice."""
COLD_START, WARM_UP, WARM_AT = 50.0, 900.0, 80.0
"""From a start below the first [°C] a sound engine reaches the last [°C] within that running time [s]; in hard frost or
a long idle it may not. Own choice."""


@dataclass(frozen=True)
class Beside:
    """What was read beside.

    Attributes:
        trims_bank2: at idle, by point.
        volts: by when.
        single: further fields of ``Evidence``.
        says: what was read in the stretches of an idle, by point.
        before: volts before the engine ran: when, stretch, words.
    """

    trims_bank2: dict[Point, Value]
    volts: dict[VoltsWhen, Value]
    single: dict[str, Any]
    says: dict[Point, str]
    before: tuple[tuple[VoltsWhen, Span, str], ...]


def beside(recording: Recording, rows: Rows, idles: Sequence[tuple[Point, Sequence[Span]]], rng: Generator) -> Beside:
    """All that a log tells beside speed and bank 1.

    Args:
        recording: of one car in one state.
        rows: of it.
        idles: stretches of warm idle, by point.
        rng: seeded generator, for the intervals.
    """
    trims: dict[Point, Value] = {}
    volts: dict[VoltsWhen, Value] = {}
    single: dict[str, Any] = {}
    says: dict[Point, str] = {}
    total = _bank_2(recording, rows)
    for point, spans in idles:
        words = []
        if (two := within(total, spans, rng, LEAST["trim"])) is not None:
            trims[point] = two
            words.append(f"bank 2 {two.value:+.1f} %")
        if point == "idle":
            air = within(recording.get("commanded_idle_air"), spans, rng, LEAST["idle air"])
            if air is not None and 0 < air.value <= 100:
                single["idle_air"] = air
                words.append(f"commanded idle air {air.value:.0f} %")
            running = within(recording.get("module_voltage"), spans, rng, LEAST["volts"])
            if running is not None:
                volts["running"] = running
                words.append(f"{running.value:.1f} V")
        says[point] = ", ".join(words)
    supply = recording.get("module_voltage")
    if not idles:
        spans = [(float(rows.t[a]), float(rows.t[b - 1])) for a, b in runs(rows.get("engine_speed") > RUNS)]
        if (driven := within(supply, spans, rng, LEAST["volts"])) is not None:
            volts["running"] = driven
    before = [] if supply is None else _before(supply, rows, volts, rng)
    behaves = coolant_behaviour(recording)
    if behaves is not None:
        single["coolant_behaviour"] = behaves
    return Beside(trims, volts, single, says, tuple(before))


def measured(values: ArrayLike, lengths: Sequence[int], rng: Generator, least: float) -> Value | None:
    """A mean with the spread that its effective samples leave.

    Args:
        values: samples of all stretches in their order, shape (n,).
        lengths: samples of each stretch.
        rng: seeded generator.
        least: least spread [unit of the values].
    Returns: None with too few samples.
    """
    x = np.asarray(values, dtype=np.float64)
    if len(x) < LEAST_SAMPLES:
        return None
    got = mean_and_spread(x, rng, groups=np.repeat(np.arange(len(lengths)), lengths), draws=500)
    return Value(value=got.mean, spread=max((got.hi - got.lo) / 2 / 1.96, least), how="log")


def within(series: Series | None, spans: Sequence[Span], rng: Generator, least: float) -> Value | None:
    """A signal over some stretches; only samples that were wholly measured within one count.

    Args:
        series: of the signal; None where it was not recorded.
        spans: begin and end of each [s].
        rng: seeded generator.
        least: least spread [unit of the signal].
    """
    if series is None:
        return None
    inside = [(series.between(a, b), b) for a, b in spans]
    parts = [s.value[np.isfinite(s.value) & (s.t_hi < end)] for s, end in inside]
    parts = [p for p in parts if len(p)]
    return measured(np.concatenate(parts), [len(p) for p in parts], rng, least) if parts else None


def _bank_2(recording: Recording, rows: Rows) -> Series | None:
    """Short and long trim of bank 2 together, where it was in closed loop; None where either was not recorded."""
    short, long = recording.get("short_trim_2"), recording.get("long_trim_2")
    if short is None or long is None or not len(short) or not len(long):
        return None
    row = np.clip(np.searchsorted(rows.t, short.t_hi, side="right") - 1, 0, len(rows.t) - 1)
    keep = rows.usable(2)[row]
    total = short.value + long.hold(short.t_hi)
    return Series(short.t_lo[keep], short.t_hi[keep], total[keep])


def _before(
    supply: Series, rows: Rows, volts: dict[VoltsWhen, Value], rng: Generator
) -> list[tuple[VoltsWhen, Span, str]]:
    """Volts with ignition on and engine still, and while the starter turns; the last of each that was seen."""
    found: dict[VoltsWhen, tuple[VoltsWhen, Span, str]] = {}
    speed = rows.get("engine_speed")
    for a, b in runs(speed == 0):
        start, stop = float(rows.t[a]) + KEY_ON_FROM, float(rows.t[b - 1])
        if stop > start and (one := within(supply, [(start, stop)], rng, LEAST["volts"])) is not None:
            volts["key on"] = one
            found["key on"] = ("key on", (start, stop), f"engine still, ignition on; {one.value:.1f} V")
    for a, b in runs((speed > 0) & (speed <= RUNS)):
        starts = b < len(speed) and speed[b] > RUNS and (a == 0 or speed[a - 1] == 0)
        start, stop = float(rows.t[max(a - 1, 0)]), float(rows.t[b - 1])
        turned = supply.between(start, stop).value
        if starts and stop - start <= LONGEST_CRANK and len(turned):
            scatter = float(np.std(turned, ddof=1)) / len(turned) ** 0.5 if len(turned) > 2 else 0.0
            least = LEAST["cranking"] * (2.0 if len(turned) < 3 else 1.0)
            low = float(np.median(turned))
            volts["cranking"] = Value(value=low, spread=max(scatter, least), how="log")
            found["cranking"] = ("cranking", (start, stop), f"the starter turns; {low:.1f} V")
    return list(found.values())


def coolant_behaviour(recording: Recording) -> Literal["normal", "slow to warm", "jumps"] | None:
    """How the coolant reading behaves; None where the recording does not show it.

    Args:
        recording: with coolant and engine speed; a start from cold shows whether it warms as it should.
    """
    coolant, speed = recording.get("coolant_temperature"), recording.get("engine_speed")
    if coolant is None or speed is None or len(coolant) < LEAST_SAMPLES or len(speed) < 2:
        return None
    t, level = coolant.t_hi, coolant.value
    runs_ = speed.hold(t) > RUNS
    moved = (np.abs(np.diff(level)) >= JUMP) & (np.diff(t) <= JUMP_WITHIN) & runs_[1:] & runs_[:-1]
    if np.count_nonzero(moved) >= JUMPS:
        return "jumps"
    running = np.flatnonzero(runs_)
    if not len(running) or level[running[0]] >= COLD_START:
        return None
    ran = np.concatenate([[0.0], np.cumsum(np.clip(np.diff(t), 0.0, 5.0) * runs_[:-1])])
    warm = np.flatnonzero(runs_ & (level >= WARM_AT))
    if len(warm) and ran[warm[0]] <= WARM_UP:
        return "normal"
    return "slow to warm" if ran[-1] > WARM_UP else None
