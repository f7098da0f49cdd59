"""How long until the radiator fan cuts in, from the coolant of the last minutes.

Defaults (ours): a fan comes on between 93 and 105 °C and goes off 3 °C lower or more (trade figures, no source).
"""

from __future__ import annotations

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from tickover.arrival.trend import Draws, fit_approach
from tickover.results import CannotTell, Measured, Quantity, Result
from tickover.signals import Series

Floats = NDArray[np.float64]

FAN_ON = (93.0, 105.0)
"""Where fans cut in, where nothing is known of this one [°C]; trade figure, no source."""
FAN_FALL = 3.0
"""Coolant falls by this at least while the fan runs [°C]; trade figure, no source."""
FALL_WITHIN = 60.0
"""… and so fast [s]; own choice: a thermostat or a cool draught takes longer."""
LAST = 180.0
"""As much of the coolant's past is used [s]; own choice: longer, and thermostat and load have changed meanwhile."""
LEAST_SECONDS = 30.0
LEAST_RISE = 2.0
"""A rise shorter or smaller than these says nothing yet [s, °C]; own choice: two steps of a sensor read in whole °C."""
LEAST_SAMPLES = 8
NEVER = 0.3
"""With a larger share of draws that never get there, the time is not determined; own choice."""
SENSOR = 1.0
"""How far a peak may stand from where the fan came on [°C]; own choice: whole degrees, and the lag of the sensor."""


class FanWindow(Result):
    """When the radiator fan will come on.

    Attributes:
        seconds: from the last reading on; ``hi`` None where it may never come.
        threshold: coolant at which it comes on.
        threshold_from: where that comes from.
        running: true where the coolant falls as under a running fan.
    """

    seconds: Measured
    threshold: Quantity
    threshold_from: str
    running: bool = False

    def leaves(self, needed: float) -> bool | None:
        """Whether a routine of so many seconds fits before the fan; None where that cannot be told."""
        if isinstance(self.seconds, CannotTell):
            return False if self.running else None
        if self.seconds.lo is not None and self.seconds.lo >= needed:
            return True
        return False if self.seconds.hi is not None and self.seconds.hi < needed else None


def fan_peaks(coolant: Series) -> list[tuple[float, float]]:
    """Times and heights of the peaks at which a fan cut in: coolant rose by 2 °C, then fell by 3 °C within a minute.

    Args:
        coolant: coolant temperature [°C].
    Returns: (start of the fall [s], peak [°C]) in order.
    """
    t, v = coolant.mid, coolant.value
    peaks: list[tuple[float, float]] = []
    low = top = 0
    for i in range(1, len(v)):
        if v[i] >= v[top]:
            top = i
        elif v[top] - v[i] >= FAN_FALL:
            if t[i] - t[top] <= FALL_WITHIN and v[top] - v[low] >= LEAST_RISE:
                peaks.append((float(t[top]), float(v[top])))
            low = top = i
        if v[i] <= v[low]:  # still falling: no new peak has begun
            low = top = i
    return peaks


def fan_window(coolant: Series, rng: Generator, fan_on: float | None = None, draws: int = 4000) -> FanWindow:
    """Time until the fan comes on.

    Args:
        coolant: coolant temperature of the last minutes, in time order [°C].
        rng: seeded generator.
        fan_on: where this car's fan comes on, if known [°C]; else its own peaks in the recording, else 93 to 105 °C.
        draws: how many.
    Returns: the window; the time at 90 %, or why it cannot be told: too short, flat, falling, levelling off.
    Valid for: an engine idling as before, nothing switched on or off meanwhile.
    Source: a first-order approach, own choice; checked against simulated curves of known truth and recorded fan cycles.
    """
    lo, hi, known = _threshold(coolant, fan_on)
    threshold = Quantity(value=(lo + hi) / 2, lo=lo, hi=hi, level=0.9, unit="°C")
    rise = _last_rise(coolant)
    refusal, running = _refusal(coolant, rise)
    if refusal is not None:
        return FanWindow(seconds=refusal, threshold=threshold, threshold_from=known, running=running)
    now = float(coolant.t_hi[-1])
    fitted = fit_approach(rise.mid - now, rise.value, rng, draws)
    return FanWindow(
        seconds=_seconds(fitted, rng.uniform(lo, hi, draws)), threshold=threshold, threshold_from=known, running=False
    )


def _threshold(coolant: Series, fan_on: float | None) -> tuple[float, float, str]:
    if fan_on is not None:
        return fan_on - SENSOR / 2, fan_on + SENSOR / 2, "as told"
    peaks = [height for _, height in fan_peaks(coolant)]
    if peaks:
        middle = float(np.median(peaks))
        count = f"{len(peaks)} fall{'s' if len(peaks) != 1 else ''}"
        return middle - SENSOR, middle + SENSOR / 2, f"seen in this recording, {count} from there"
    return *FAN_ON, "not known: the range in which fans cut in (trade figure, no source)"


def _last_rise(coolant: Series) -> Series:
    """The part since the coolant last fell by 2 °C, three minutes at most."""
    t, v = coolant.mid, coolant.value
    first = int(np.searchsorted(t, t[-1] - LAST)) if len(t) else 0
    top, start = first, first
    for i in range(first, len(v)):
        if v[i] > v[top]:
            top = i
        elif v[top] - v[i] >= LEAST_RISE:
            top = start = i
    return Series(coolant.t_lo[start:], coolant.t_hi[start:], v[start:])


def _refusal(coolant: Series, rise: Series) -> tuple[CannotTell | None, bool]:
    t, v = coolant.mid, coolant.value
    if not len(v):
        return CannotTell(reason="No coolant was recorded.", way_out="Log it, or read it off by eye."), False
    recent = v[t >= t[-1] - LEAST_SECONDS]
    if recent.max() - v[-1] >= LEAST_RISE:
        return CannotTell(
            reason="The coolant is falling: the fan runs, or has just run.",
            way_out="Wait until it stops and the coolant has risen by 2 °C again.",
        ), True
    seconds = float(rise.t_hi[-1] - rise.mid[0])
    climbed = float(v[-1] - rise.value[0])
    if seconds < LEAST_SECONDS or len(rise) < LEAST_SAMPLES:
        return CannotTell(
            reason=f"Only {seconds:.0f} s of rising coolant, {len(rise)} readings.",
            way_out=f"Record {LEAST_SECONDS:.0f} s and {LEAST_SAMPLES} readings at least since the fan stopped.",
        ), False
    if climbed < LEAST_RISE:
        return CannotTell(
            reason=f"The coolant rose by {max(climbed, 0.0):.1f} °C in {seconds:.0f} s: flat, as far as can be seen.",
            way_out="Watch on, or run one fan cycle and begin as it stops.",
        ), False
    return None, False


def _seconds(fitted: Draws, threshold: Floats) -> Measured:
    times = np.where(fitted.level >= threshold, 0.0, fitted.time_to(threshold))
    never = float(np.mean(np.isinf(times)))
    if never > NEVER:
        return CannotTell(
            reason="The coolant is levelling off, and the curve does not say where.",
            way_out="Run one fan cycle and begin as the fan stops, or watch on.",
        )
    ordered = np.sort(times)
    low, middle, high = (float(ordered[int(q * (len(ordered) - 1))]) for q in (0.05, 0.5, 0.95))
    return Quantity(value=middle, lo=low, hi=None if np.isinf(high) else high, level=0.9, unit="s")
