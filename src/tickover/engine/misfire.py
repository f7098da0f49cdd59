"""Faults that come and go: one cylinder's missed firings, and a coolant sensor's bad contact. Shapes (n_cars,); SI."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from tickover.engine import parameters as par
from tickover.engine.arrays import CarArrays

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

_CYCLE = 4 * np.pi


class Misfire:
    """Missed firings of one cylinder per car.

    A missed firing takes away the torque of its cylinder's stretch of the cycle, so that speed dips there, and lets the
    cylinder's oxygen through to the sensor. One that misses always is a dead coil.

    Args:
        cars: whose faults

    Attributes:
        any: whether any car of the batch misses
        power: torque in this step over torque without misses [1]
        oxygen: share of the charge that passes unburnt, as mixed on its way to the sensor [1]
        counts: missed firings since the beginning [1]
        last_block: the count of the last full ``MISFIRE_BLOCK`` revolutions [1]; NaN before the first
    """

    def __init__(self, cars: CarArrays) -> None:
        n = len(cars.cylinders)
        self.any = bool((cars.misfire_rate > 0).any())
        self._level = ndtri(cars.misfire_rate)
        self._slot = _CYCLE / cars.cylinders
        self._begin = (cars.misfire_cylinder - 1) * self._slot
        self._share = 1 / cars.cylinders
        self._now = np.zeros(n, dtype=bool)
        self.power: Floats = np.ones(n)
        self.oxygen: Floats = np.zeros(n)
        self.counts: Floats = np.zeros(n)
        self.last_block: Floats = np.full(n, np.nan)
        self._cycles, self._block = np.zeros(n), np.zeros(n)

    def turn(self, begin: Floats, end: Floats, turned: Bools, chance: Floats) -> None:
        """Turn on by one step.

        Args:
            begin, end: crank angle in the cycle, the end not yet wrapped [rad]
            turned: cars that fire and begin a new cycle in this step
            chance: standard normal number that decides whether the new cycle's firing is missed [1]; the step's part in
                the slow drift of torque is too small to tie the two
        """
        new = np.where(turned, chance < self._level, self._now)
        lost = self._now * self._overlap(begin, end, self._begin)
        lost = lost + new * self._overlap(begin, end, self._begin + _CYCLE)
        self.power = 1 - lost / np.maximum(end - begin, 1e-9)
        self._now = new
        self.counts += turned & new
        self._block += turned & new
        self._cycles += turned
        full = self._cycles >= par.MISFIRE_BLOCK / 2
        if full.any():
            self.last_block = np.where(full, self._block, self.last_block)
            self._block, self._cycles = np.where(full, 0.0, self._block), np.where(full, 0.0, self._cycles)

    def mix(self, h: float) -> None:
        """Let the exhaust mix for one step [s]."""
        self.oxygen += (self._share * self._now - self.oxygen) * (h / par.OXYGEN_MIX)

    def _overlap(self, begin: Floats, end: Floats, at: Floats) -> Floats:
        """How much of the turn falls into the cylinder's stretch beginning at ``at`` [rad]."""
        return np.asarray(np.maximum(np.minimum(end, at + self._slot) - np.maximum(begin, at), 0.0))


class Contact:
    """The contact of the coolant sensor: bad for its share of the time, in spells drawn from the car's own chance.

    Args:
        cars: whose faults
        seeds: as the plant's; a stream of its own follows from each

    Attributes:
        any: whether any car of the batch has one
    """

    def __init__(self, cars: CarArrays, seeds: Sequence[Sequence[int]]) -> None:
        self._ohms, self._share = cars.coolant_sensor_ohms, cars.coolant_sensor_bad
        self.any = bool(((self._ohms > 0) & (self._share > 0)).any())
        self._loose = [int(i) for i in np.flatnonzero((self._ohms > 0) & (self._share > 0) & (self._share < 1))]
        self._rngs = {i: np.random.default_rng([*seeds[i], 3]) for i in self._loose}
        self._bad = self._share >= 1

    def ohms(self, seconds: float) -> Floats:
        """Resistance of the contact now [Ω].

        Args:
            seconds: since the last call [s]
        """
        for i in self._loose:
            moved, drawn = self._rngs[i].random(2)
            if moved < seconds / par.CONTACT_DWELL:
                self._bad[i] = drawn < self._share[i]
        return np.asarray(np.where(self._bad, self._ohms, 0.0))
