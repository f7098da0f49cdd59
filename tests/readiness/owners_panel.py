"""The forecast on many simulated owners: forecast chance against what came to pass."""

import random
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from simulated_owners import after_clear, life

from tickover.readiness.law import Law
from tickover.readiness.pace import paces

MONITORS = ("catalyst", "oxygen sensor", "evaporative system", "EGR or valve timing", "oxygen sensor heater")
HORIZON = 200


@dataclass
class Outcome:
    """One owner: the chance forecast for a day, whether it came true, and the days forecast for 80 and 95 %."""

    chance: float
    ready: bool
    day_80: int | None
    day_95: int | None
    took: float
    expected_80: float
    expected_95: float


def outcomes(owners, *, counted=True, first=0):
    """Forecast and drive so many owners."""
    found = []
    for seed in range(first, first + owners):
        pick = random.Random(seed * 7 + 1)
        owner, counters = life(seed, pick.randint(60, 1200))
        at_most = pick.choice((0, 1, 1, 2))
        law = Law(paces(MONITORS, counters if counted else {}), at_most)
        chance = law.chance(np.arange(HORIZON + 1) * owner.per_day)
        done = after_clear(owner, MONITORS, HORIZON)
        took = sorted(done.get(name, np.inf) for name in MONITORS)[len(MONITORS) - 1 - at_most]
        day = round(2 ** pick.uniform(0, 5))
        days = [int(np.argmax(chance >= level)) if chance[-1] >= level else None for level in (0.8, 0.95)]
        expected = [float(chance[d]) if d is not None else np.nan for d in days]
        found.append(Outcome(float(chance[day]), bool(took <= day), *days, float(took), *expected))
    return found


def bins(found, edges):
    """Per bin of the forecast chance: mean forecast, share that came true, how many."""
    rows = []
    for lo, hi in pairwise(edges):
        inside = [o for o in found if lo <= o.chance < hi]
        if inside:
            rows.append((np.mean([o.chance for o in inside]), np.mean([o.ready for o in inside]), len(inside)))
    return rows


def kept(found, level):
    """Share of owners that were ready on the day forecast for 80 or 95 %, and what was expected of whole days."""
    name = f"day_{level}"
    known = [o for o in found if getattr(o, name) is not None]
    share = np.mean([o.took <= getattr(o, name) for o in known])
    return float(share), float(np.mean([getattr(o, f"expected_{level}") for o in known]))
