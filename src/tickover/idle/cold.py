"""A cold engine idles faster by design, the faster the colder."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from tickover.idle.results import ColdIdle
from tickover.idle.stretches import COLD, Timeline
from tickover.results import CannotTell, Measured, Quantity
from tickover.stats import theil_sen

BANDS = (10.0, 20.0, 30.0, 40.0, 50.0, 60.0, 70.0)  # coolant [°C]
WIDE = 2.5  # either side of a band [°C]
LOOSEST = 100.0  # a looser figure says nothing, and is left out [r/min]; own choice


def cold_idle(line: Timeline, measure: Callable[[NDArray[np.bool_]], Measured]) -> tuple[ColdIdle, ...]:
    """Mean idle near each ten degrees of coolant, while all but warmth holds.

    Args:
        line: the timeline.
        measure: mean engine speed over some rows.
    Returns: the bands in which it could be measured, rising.
    """
    coolant = line.held.get("coolant_temperature")
    if coolant is None or not np.any(line.code == COLD):
        return ()
    out = []
    for band in BANDS:
        speed = measure((line.code == COLD) & (np.abs(coolant - band) <= WIDE))
        if isinstance(speed, Quantity) and speed.half_width is not None and speed.half_width <= LOOSEST:
            out.append(ColdIdle(coolant=band, speed=speed))
    return tuple(out)


def cold_words(cold: tuple[ColdIdle, ...]) -> str:
    """The cold idle in a sentence; empty where it was not measured."""
    pairs = [(c.coolant, c.speed.value) for c in cold if not isinstance(c.speed, CannotTell)]
    if not pairs:
        return ""
    first, *rest = pairs
    told = ", ".join([f"{first[1]:.0f} r/min at {first[0]:.0f} °C", *(f"{v:.0f} at {c:.0f}" for c, v in rest)])
    if len(pairs) < 3:
        return f"Cold it idled at {told}; a cold idle is fast by design."
    slope = theil_sen([c for c, _ in pairs], [v for _, v in pairs]).slope
    if slope < 0:
        return f"Cold idle follows coolant: {told}. That is by design, no fault."
    return f"Cold it idled at {told}: it does not fall as the coolant warms. Look at the coolant sensor."
