"""Owners and cars, invented, with no line shared with the forecast: trips, weather and tank decide what completes.

A car is driven for months; each completed test of a monitor is counted as a car counts it. Then its memory is cleared
and driving goes on, season and habits included. What is known at the clear are the counters alone.
"""

import random

COUNTED = {
    "catalyst": "CAT",
    "oxygen sensor": "O2S",
    "evaporative system": "EVAP",
    "EGR or valve timing": "EGR",
}
TRIPS = ("errand", "town", "road", "motorway")
MINUTES = {"errand": (2, 8), "town": (8, 25), "road": (15, 45), "motorway": (25, 120)}


class Owner:
    """One owner: habits that change over the year, a car whose monitors are choosy to differing degrees."""

    def __init__(self, seed):
        self.rng = random.Random(seed)
        r = self.rng
        self.per_day = r.choice((1, 2, 2, 3, 3, 4))
        self.taste = [share * r.gammavariate(1.5, 1.0) for share in (2.0, 2.0, 1.0, 0.4)]
        self.steady = r.uniform(0.1, 0.9)
        self.catalyst_minutes = r.uniform(8, 22)
        self.sensor_minutes = r.uniform(4, 14)
        self.egr_overruns = r.uniform(0.1, 0.6)
        self.heater_quick = r.uniform(0.3, 0.95)
        self.purge_luck = r.uniform(0.15, 0.8)
        self.cold = r.choice((True, False))
        self.day = r.randrange(365)
        self.tank = r.uniform(0.1, 1.0)
        self.habit = self._new_habit()
        self.days_left = r.randint(20, 90)

    def _new_habit(self):
        weights = [t * self.rng.gammavariate(4.0, 0.25) for t in self.taste]
        return [w / sum(weights) for w in weights]

    def next_day(self):
        """All trips of one day, each as the set of monitors that completed in it."""
        r = self.rng
        self.day += 1
        self.days_left -= 1
        if self.days_left <= 0:
            self.habit, self.days_left = self._new_habit(), r.randint(20, 90)
        winter = abs((self.day % 365) - 182) / 182  # 1 in January
        outside = (20 - 28 * winter if self.cold else 24 - 14 * winter) + r.gauss(0, 5)
        # A whole number of trips that scatters about the habit.
        trips = max(0, round(r.gauss(self.per_day, 0.35 * self.per_day)))
        return [self._trip(first=n == 0, outside=outside) for n in range(trips)]

    def _trip(self, *, first, outside):
        r = self.rng
        trip = r.choices(TRIPS, self.habit)[0]
        minutes = r.uniform(*MINUTES[trip])
        self.tank -= minutes / 900
        if self.tank < 0.1:
            self.tank = r.uniform(0.5, 1.0)
        smooth = r.random() < self.steady * {"errand": 0.1, "town": 0.35, "road": 0.8, "motorway": 0.95}[trip]
        done = set()
        if minutes > 3 and r.random() < self.heater_quick:
            done.add("oxygen sensor heater")
        if minutes > self.sensor_minutes and (smooth or r.random() < 0.1):
            done.add("oxygen sensor")
        if minutes > self.catalyst_minutes and smooth:
            done.add("catalyst")
        if minutes > 6 and r.random() < self.egr_overruns * (1.0 if trip != "errand" else 0.2):
            done.add("EGR or valve timing")
        if first and 4 < outside < 35 and 0.15 < self.tank < 0.85 and minutes > 10 and r.random() < self.purge_luck:
            done.add("evaporative system")
        return done


def life(seed, cycles):
    """An owner after at least so many ignition cycles, and the counters the car then holds."""
    owner = Owner(seed)
    counters = {"OBDCOND": 0, "IGNCNTR": 0}
    for short in COUNTED.values():
        suffix = "1" if short in ("CAT", "O2S") else ""
        counters[f"{short}COMP{suffix}"] = 0
        counters[f"{short}COND{suffix}"] = 1
    while counters["IGNCNTR"] < cycles:
        for done in owner.next_day():
            counters["IGNCNTR"] += 1
            for name, short in COUNTED.items():
                suffix = "1" if short in ("CAT", "O2S") else ""
                counters[f"{short}COMP{suffix}"] += name in done
    return owner, counters


def after_clear(owner, monitors, days):
    """The day on which each monitor completes after a clear, from 1; missing where it does not."""
    found = {}
    for day in range(1, days + 1):
        for done in owner.next_day():
            for name in done & set(monitors):
                found.setdefault(name, day)
    return found
