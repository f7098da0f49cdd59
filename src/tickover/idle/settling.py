"""What the speed does after the pedal is let up, and whether it nearly stalls."""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import NDArray

from tickover.idle.results import Dip, Release
from tickover.idle.stretches import (
    COLD_BELOW,
    GAP,
    MOVING,
    PEDAL,
    RELEASED,
    STANDS,
    STARTING,
    STOPS_BELOW,
    Timeline,
)
from tickover.results import CannotTell, Quantity
from tickover.signals import Recording, Series

SETTLED = 60.0  # within this of idle it has settled [r/min]
STAYS = 2.0  # and must stay there this long [s]; own choice
HANGS_ABOVE, HANGS_FOR = 200.0, 3.0  # trade practice, no source [r/min], [s]
LEAST_PEAK = 100.0  # a lesser blip has nothing to settle from [r/min]; own choice
NEAR_STALL = 0.65  # share of the idle below which it nearly stalls; own choice
_APART = 2.0  # dips nearer than this are one [s]


def releases(recording: Recording, line: Timeline, idles: tuple[float, ...], hunts: float = 0.0) -> tuple[Release, ...]:
    """Each let-up of the pedal with the car standing and the engine warm.

    Args:
        recording: with engine speed and a pedal.
        line: its timeline.
        idles: mean speed of each load state [r/min].
        hunts: by how much it hunts [r/min]; by more than 45 it does not stay within 60 of anything.
    Returns: in order of time; a let-up from less than 100 r/min above idle is left out.
    """
    pedal = recording.get("pedal_d") or recording.get("pedal_e")
    if pedal is None:
        return ()
    coolant = line.held.get("coolant_temperature")
    out = []
    for i in np.flatnonzero((line.code[:-1] == PEDAL) & (line.code[1:] == RELEASED)) + 1:
        if coolant is not None and not coolant[i] >= COLD_BELOW:
            continue
        after = np.flatnonzero(np.isin(line.code[i:], (PEDAL, MOVING, STANDS, GAP)))
        stop = float(line.edge[i + after[0]]) if len(after) else float(line.edge[-1])
        # let up after the last sample that was pressed, up to the first one that was not
        j = min(int(np.searchsorted(pedal.t_hi, line.edge[i])), len(pedal) - 1)
        one = _release(recording["engine_speed"], float(pedal.t_lo[max(j - 1, 0)]), float(pedal.t_hi[j]), stop, idles)
        if one is not None and hunts > 0.75 * SETTLED:
            no = CannotTell(reason=f"cannot be told: it hunts by {hunts:.0f} r/min")
            one = one.model_copy(update={"settles": no})
        if one is not None:
            out.append(one)
    return tuple(out)


def _release(speed: Series, lo: float, hi: float, stop: float, idles: tuple[float, ...]) -> Release | None:
    """One let-up between ``lo`` and ``hi``, followed until ``stop``."""
    about = (speed.t_hi >= lo - 1.5) & (speed.t_hi <= hi + 1.5)
    after = np.flatnonzero((speed.t_hi > lo) & (speed.t_hi <= stop))
    if not np.any(about) or not len(after):
        return None
    peak = float(speed.value[about].max())
    if peak < max(idles) + LEAST_PEAK:
        return None
    x = speed.value[after]
    near = np.min(np.abs(x[:, None] - np.array(idles)), axis=1) <= SETTLED
    begin = _stays(near, speed.t_hi[after])
    high = x > max(idles) + HANGS_ABOVE
    first = int(np.argmin(high)) if not np.all(high) else None
    above = _time_to(speed, after, first, lo, hi, stop)
    return Release(
        at=hi,
        peak=peak,
        settles=_time_to(speed, after, begin, lo, hi, stop),
        above=above,
        hanging=_hanging(above),
    )


def _stays(near: NDArray[np.bool_], t: NDArray[np.float64]) -> int | None:
    """First sample from which the speed stays near idle for two seconds and two samples."""
    for k in np.flatnonzero(near):
        inside = (t >= t[k]) & (t <= max(float(t[k]) + STAYS, float(t[min(int(k) + 1, len(t) - 1)])))
        if np.all(near[inside]) and np.count_nonzero(inside) > 1 and t[-1] >= t[k] + STAYS:
            return int(k)
    return None


def _time_to(speed: Series, after: NDArray[np.int64], k: int | None, lo: float, hi: float, stop: float) -> Quantity:
    """Time from the let-up to between sample k − 1 and sample k; at least all there is where k is None."""
    if k is None:
        least = max(0.0, stop - hi)
        return Quantity(value=least, lo=least, hi=None, unit="s")
    b = after[k]
    # before the first sample there is nothing but the let-up itself
    a_lo, a_mid = (float(speed.t_lo[after[k - 1]]), float(speed.mid[after[k - 1]])) if k else (lo, (lo + hi) / 2)
    least = max(0.0, a_lo - hi)
    most = max(least, float(speed.t_hi[b]) - lo)
    value = (a_mid + float(speed.mid[b])) / 2 - (lo + hi) / 2
    return Quantity(value=min(max(value, least), most), lo=least, hi=most, unit="s")


def _hanging(above: Quantity) -> Literal["yes", "no", "cannot tell"]:
    if above.lo is not None and above.lo >= HANGS_FOR:
        return "yes"
    return "no" if above.hi is not None and above.hi < HANGS_FOR else "cannot tell"


def near_stalls(speed: Series, line: Timeline, idle: float) -> tuple[Dip, ...]:
    """Falls below 0.65 of the idle that did not end in a stop; the car standing, 10 s after a start or later.

    Args:
        speed: engine speed.
        line: the timeline.
        idle: the lowest mean idle [r/min].
    """
    row = np.searchsorted(line.edge, speed.t_hi, side="right") - 1
    code = line.code[np.clip(row, 0, len(line.code) - 1)]
    low = (speed.value < NEAR_STALL * idle) & (speed.value >= STOPS_BELOW)
    low &= ~np.isin(code, (STANDS, STARTING, MOVING, GAP))
    stops = line.edge[:-1][line.code == STANDS]
    at = np.flatnonzero(low)
    out: list[Dip] = []
    for part in np.split(at, np.flatnonzero(np.diff(speed.t_hi[at]) > _APART) + 1):
        if not len(part):
            continue
        last = float(speed.t_hi[part[-1]])
        reach = max(_APART, 2 * float(np.median(np.diff(speed.t_hi))))
        if np.any((stops > last - 1e-9) & (stops <= last + reach)):
            continue  # the engine was on its way to a stop
        lowest = part[int(np.argmin(speed.value[part]))]
        out.append(Dip(at=float(speed.t_hi[lowest]), lowest=float(speed.value[lowest])))
    return tuple(out)
