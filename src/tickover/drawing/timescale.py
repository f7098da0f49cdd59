"""Time from left to right in the room there is: long waits are cut out, and where they are is marked."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from tickover.drawing.figures import nice_step

CUT = 26.0
"""Room that a wait which was cut out still takes [px]."""


@dataclass(frozen=True, slots=True)
class Stretch:
    """A stretch of time at one scale: from ``t0`` to ``t1`` [s], drawn from ``x0`` to ``x1`` [px]."""

    t0: float
    t1: float
    x0: float
    x1: float
    cut: bool = False


@dataclass(frozen=True)
class TimeScale:
    """Stretches that join end to end. Every stretch that is not cut has the same scale."""

    stretches: tuple[Stretch, ...]

    def x(self, t: float) -> float:
        """Where an instant stands [px]; instants outside stand at the ends."""
        first, last = self.stretches[0], self.stretches[-1]
        if t <= first.t0:
            return first.x0
        for s in self.stretches:
            if t <= s.t1:
                return s.x0 + (t - s.t0) / (s.t1 - s.t0) * (s.x1 - s.x0) if s.t1 > s.t0 else s.x0
        return last.x1

    @property
    def cuts(self) -> tuple[Stretch, ...]:
        """The waits that were cut out."""
        return tuple(s for s in self.stretches if s.cut)

    @property
    def pixels_a_second(self) -> float:
        """The one scale of all that is not cut."""
        whole = [s for s in self.stretches if not s.cut and s.t1 > s.t0]
        return (whole[0].x1 - whole[0].x0) / (whole[0].t1 - whole[0].t0) if whole else 0.0

    def ticks(self, least: float, steps: Sequence[float] = ()) -> list[float]:
        """Instants at multiples of one nice step, at least ``least`` px apart, none inside a cut.

        Args:
            least: how far apart [px].
            steps: the steps to choose from [s], rising, the last where all are too short; any nice one where none.
        """
        if self.pixels_a_second <= 0:
            return []
        short = least / self.pixels_a_second
        step = next((s for s in steps if s >= short), steps[-1]) if steps else nice_step(short, 1)
        found = []
        for s in self.stretches:
            if not s.cut:
                first = -int(-(s.t0 - 1e-9) // step)
                found += [k * step for k in range(first, int((s.t1 + 1e-9) // step) + 1)]
        return sorted(set(found))


def time_scale(duration: float, instants: Sequence[float], x0: float, x1: float, *, least: float = 15.0) -> TimeScale:
    """Lay time out, cutting the longest waits only as long as close instants would run into each other.

    Args:
        duration: from 0 to this [s].
        instants: when something happens [s].
        x0, x1: the room [px].
        least: how far apart neighbouring instants should stand [px]; closer than 0.1 s counts as 0.1 s.
    Returns: the scale. A wait is cut out between 0.3 s after one instant and 0.3 s before the next.
    Raises: ValueError if the duration or the room is not positive.
    """
    if not (duration > 0 and x1 > x0):
        raise ValueError(f"no room for {duration:g} s in {x1 - x0:g} px")
    known = sorted({0.0, duration, *(t for t in instants if 0 <= t <= duration)})
    gaps = [(b - a, a, b) for a, b in pairwise(known)]
    close = max(0.1, min((g for g, _, _ in gaps if g > 1e-6), default=duration))
    waits = sorted(((a + 0.3, b - 0.3) for g, a, b in gaps if g > 1.5), key=lambda w: w[0] - w[1])
    cuts: list[tuple[float, float]] = []
    scale = (x1 - x0) / duration
    for wait in waits:
        if scale * close >= least or (wait[1] - wait[0]) * scale <= 1.5 * CUT:
            break
        left = duration - sum(b - a for a, b in [*cuts, wait])
        room = x1 - x0 - CUT * (len(cuts) + 1)
        if room < (x1 - x0) / 2:
            break
        cuts.append(wait)
        scale = room / left
    return TimeScale(tuple(_stretches(duration, sorted(cuts), scale, x0)))


def _stretches(duration: float, cuts: list[tuple[float, float]], scale: float, x0: float) -> list[Stretch]:
    found: list[Stretch] = []
    t, x = 0.0, x0
    for a, b in cuts:
        end = x + (a - t) * scale
        found += [Stretch(t, a, x, end), Stretch(a, b, end, end + CUT, cut=True)]
        t, x = b, end + CUT
    return [*found, Stretch(t, duration, x, x + (duration - t) * scale)]
