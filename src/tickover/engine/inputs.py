"""What goes into a batch of cars and comes out: what people hold over a step, and what the cars answer."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tickover.attempts import Kind

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

OFF, ACCESSORY, ON = 0, 1, 2
"""Ignition states."""


@dataclass(frozen=True)
class CarAnswer:
    """One answer of one car: lamp, running, stopped or fan, at its instant [s]."""

    car: int
    kind: Kind
    t: float


@dataclass
class Inputs:
    """What the people in the cars do, held over a step.

    Attributes (each of shape (n_cars,); those that may be None leave things as they are):
        ignition: ``OFF``, ``ACCESSORY`` or ``ON``
        pedal: travel, 0 to 1
        crank: the starter is asked for; engages once, at the change from False to True
        brake, drive_gear, compressor: held, in, on; or None
        hold: engine speed held with the pedal [rad/s], NaN for none; or None
        road: road speed to make for [m/s]; or None
    """

    ignition: NDArray[np.int_]
    pedal: Floats
    crank: Bools
    brake: Bools | None = None
    drive_gear: Bools | None = None
    compressor: Bools | None = None
    hold: Floats | None = None
    road: Floats | None = None

    @classmethod
    def idle(cls, n_cars: int, ignition: int = ON) -> Inputs:
        """Ignition as given, pedal up, no starter."""
        return cls(np.full(n_cars, ignition), np.zeros(n_cars), np.zeros(n_cars, dtype=bool))

    def acts(self, brake: Bools, geared: Bools, compressor: Bools) -> Iterator[tuple[int, Kind]]:
        """Acts that bring the cars from how they are to how they should be.

        Args:
            brake, geared, compressor: as they are
        Returns: car and act, in an order that the selector lock allows.
        """
        ways: tuple[tuple[Bools | None, Bools, bool, Kind], ...] = (
            (self.brake, brake, True, "brake press"),
            (self.drive_gear, geared, True, "gear drive"),
            (self.drive_gear, geared, False, "gear neutral"),
            (self.brake, brake, False, "brake release"),
            (self.compressor, compressor, True, "load on"),
            (self.compressor, compressor, False, "load off"),
        )
        for wanted, has, to, kind in ways:
            if wanted is not None:
                for car in np.flatnonzero((wanted == to) & (has != to)):
                    yield int(car), kind


def same(a: Floats, b: Floats) -> Bools:
    """Where two arrays agree, NaN with NaN."""
    return np.asarray((a == b) | (np.isnan(a) & np.isnan(b)))
