"""The controller, vectorised over cars: idle air, fuel trims, and the volatile memory behind both.

Idle air. Commanded area = learned air + a correction of at most ± ``AUTHORITY``, never below the learned floor. Learned
air takes over a standing correction slowly, and only while speed is within ``LEARN_WITHIN`` of its target. This is why
a stale memory does not heal by itself: with 8 mm² too much the correction takes back 3, the remaining 5 hold the speed
some 250 r/min high, and there the controller does not learn. The floor is a cell of its own, written by a relearn or at
the default; slow learning does not move it, so it bounds how far slow learning can go.

Fuel. An air meter does not see a leak, so the trims answer it; a manifold-pressure engine meters it, so they do not.
All arrays have shape (n_cars,); all SI.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from tickover.engine import parameters as par
from tickover.engine.arrays import CarArrays
from tickover.engine.balance import needed_area
from tickover.engine.spec import CarSpec
from tickover.engine.steady import idle_memory

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

(
    LEARNED,
    FLOOR,
    INTEGRAL,
    TRIM_IDLE,
    TRIM_OFF_IDLE,
    GUARD,
    PEDAL_REST,
    THROTTLE_STOP,
    COMPRESSOR_AIR,
    DRAG_AIR,
    TRIM_LOAD,
) = range(11)
"""Rows of the volatile memory: learned air, floor and idle integral [m²]; long trim of the idle and the off-idle cell
[1]; misfire counters standing high (1 or 0); learned pedal rest and throttle stop [1], 0 where not learned; air
set aside for the compressor and for a drive gear [m²]; long trim of the hard-load cell [1]."""


class Controller:
    """State of the controllers.

    Args:
        specs: one per car

    Attributes:
        memory: volatile memory, shape (11, n_cars); rows as named above. Kept at key off, lost with the battery.
        command: idle air asked for [m²]
        short: short trim [1]
        closed: closed loop
        loaded: the long trim's cell for hard load is in use, pedal down
        cut: fuel cut, on overrun or at the free limit
        run_time: since the engine began to run [s]
        target: idle target now [rad/s]
        load_air: set aside now for compressor and drive gear, on top of the rest [m²]; nothing is learned meanwhile
        need_compressor, need_drag: what they take on this engine [m²]
    """

    memory: Floats
    command: Floats
    short: Floats
    run_time: Floats
    target: Floats

    def __init__(self, specs: Sequence[CarSpec]) -> None:
        n = len(specs)
        cars = CarArrays.of(specs)
        self.base_target = cars.target
        known = idle_memory(cars)
        self.need, self.need_compressor, self.need_drag = known.need, known.need_compressor, known.need_drag
        self.load_air: Floats | float = 0.0
        self.metered_by_air = cars.metered_by_air
        self._cold_table = _cold_air(cars)
        self._cars = np.arange(n)
        self.memory = np.zeros((11, n))
        for i, s in enumerate(specs):
            self.forget(i)
            self.memory[LEARNED, i], self.memory[FLOOR, i] = known.learned[i], known.floor[i]
            self.memory[TRIM_IDLE, i] = s.long_trim_idle
            self.memory[GUARD, i] = s.misfire_guard
            self.memory[PEDAL_REST, i] = par.PEDAL_REST * s.rest_learned
            self.memory[THROTTLE_STOP, i] = par.BLADE_STOP * s.stop_learned
            if s.loads_learned:
                self.learn_loads(i)
                self.learn_drag(i)
        self.command = self.memory[LEARNED].copy()
        self.short = np.zeros(n)
        self.closed, self.cut, self.loaded = (np.zeros(n, dtype=bool) for _ in range(3))
        self.run_time, self.quiet = np.zeros(n), np.zeros(n)
        self.target = self.base_target.copy()
        self.enrichment, self.cold_air, self.closed_after = np.zeros(n), np.zeros(n), np.zeros(n)
        self._start_air, self._release_air = np.zeros(n), np.zeros(n)
        self._slow_error = np.zeros(n)

    def forget(self, car: int) -> None:
        """The battery came off: back to a new engine's memory."""
        self.memory[:, car] = 0.0
        self.memory[LEARNED, car] = self.need[car]
        self.memory[FLOOR, car] = self.need[car] - par.FLOOR_BELOW
        self.memory[COMPRESSOR_AIR, car] = par.LOADS_FORGOTTEN * self.need_compressor[car]
        self.memory[DRAG_AIR, car] = par.LOADS_FORGOTTEN * self.need_drag[car]

    def learn_loads(self, car: int) -> None:
        """Write the air set aside for the compressor."""
        self.memory[COMPRESSOR_AIR, car] = self.need_compressor[car]

    def learn_drag(self, car: int) -> None:
        """Write the air set aside for a drive gear."""
        self.memory[DRAG_AIR, car] = self.need_drag[car]

    def relearn(self, car: int, bore_extra: float, most: float = np.inf) -> None:
        """Write what a relearn writes: learned air as this bore needs it at target, floor, idle cell.

        Args:
            car: which
            bore_extra: what its bore passes beyond a new one [m²]
            most: by how much learned air may move [m²]
        """
        stood = self.memory[LEARNED, car]
        learned = max(stood + np.clip(self.need[car] - bore_extra - stood, -most, most), par.AREA_LEAST)
        self.memory[LEARNED, car] = learned
        self.memory[FLOOR, car] = learned - par.FLOOR_BELOW
        self.memory[[INTEGRAL, TRIM_IDLE], car] = 0.0

    def reset(self, car: int) -> None:
        """Clear what a power cycle clears: idle integral, idle cell, misfire counters; nothing learned."""
        self.memory[[INTEGRAL, TRIM_IDLE, GUARD], car] = 0.0

    def begin(self, cars: Bools, coolant: Floats) -> None:
        """The engine of these cars begins to run: set what depends on the start."""
        (cold, warm), (soon, late) = par.COLD_SENSOR, par.CLOSED_AFTER
        share = np.clip((warm - coolant) / (warm - cold), 0.0, 1.0)
        self.closed_after = np.where(cars, soon + (late - soon) * share, self.closed_after)
        self.run_time = np.where(cars, 0.0, self.run_time)
        self.quiet = np.where(cars, 0.0, self.quiet)
        self.short = np.where(cars, 0.0, self.short)

    def slow(self, coolant: Floats, shift: Floats | float = 0.0) -> None:
        """What changes over seconds: target, cold air, enrichment.

        Args:
            coolant: [K]
            shift: of the target, by compressor and drive gear [rad/s]
        """
        below = np.maximum(par.WARM - coolant, 0.0)
        rise = np.minimum(par.COLD_SPEED * below, par.COLD_SPEED_CAP)
        self.target = self.base_target + rise + par.GUARD_SPEED * self.memory[GUARD] + shift
        place = np.minimum(below / _COLD_STEP, len(self._cold_table) - 1.001)
        row = place.astype(np.intp)
        low, high = self._cold_table[row, self._cars], self._cold_table[row + 1, self._cars]
        self.cold_air = low + (place - row) * (high - low)
        cold = par.COLD_RICH * np.clip(below / (par.WARM - par.COLD_SENSOR[0]), 0.0, 1.5)
        self.enrichment = cold + par.START_RICH * np.exp(-self.run_time / par.START_RICH_TIME)

    def idle_air(self, speed: Floats, shut: Bools, running: Bools, cranking: Bools, warm: Bools, h: float) -> None:
        """Correct and learn the idle air.

        Args:
            speed: [rad/s]
            shut: pedal up
            running, cranking, warm: states of each car
            h: step [s]
        """
        m = self.memory
        self.quiet = np.where(shut & running & ~self.cut, self.quiet + h, 0.0)
        active = self.quiet > par.SETTLE_TIME
        error = self.target - speed
        capped = np.minimum(np.maximum(error, -par.ERROR_CAP), par.ERROR_CAP)
        moved = m[INTEGRAL] + (h * par.IDLE_I) * capped * active
        m[INTEGRAL] = np.minimum(np.maximum(moved, -par.AUTHORITY), par.AUTHORITY)
        correction = m[INTEGRAL] + par.IDLE_P * capped * active
        correction = np.minimum(np.maximum(correction, -par.AUTHORITY), par.AUTHORITY)
        self._slow_error += (error - self._slow_error) * h
        near = (np.abs(self._slow_error) < par.LEARN_WITHIN) & (np.abs(error) < par.LEARN_WITHIN)
        learns = active & near & warm & (self.run_time > par.LEARN_AFTER) & (m[GUARD] == 0)
        learns &= np.asarray(self.load_air) == 0
        step = m[INTEGRAL] * (h / par.LEARN_TIME) * learns
        m[LEARNED] += step
        m[INTEGRAL] -= step
        self._start_air = np.where(cranking, par.START_AIR, self._start_air * (1 - h / par.START_AIR_TIME))
        self._release_air = np.where(shut, self._release_air * (1 - h / par.RELEASE_AIR_TIME), par.RELEASE_AIR)
        asked = np.maximum(m[LEARNED] + correction, m[FLOOR])
        self.command = asked + self.cold_air + self._start_air + self._release_air * running + self.load_air

    def fuel(
        self,
        sensed: Floats,
        pedal: Floats,
        speed: Floats,
        pressure: Floats,
        running: Bools,
        coolant: Floats,
        h: float,
    ) -> Floats:
        """Close the loop and move the trims.

        Args:
            sensed: λ at the sensor [1]
            pedal: travel as the controller sees it [1]
            speed: [rad/s]; pressure: in the manifold [Pa]; running, coolant [K] as read: states of each car
            h: step [s]
        Returns: fuel asked for over the stoichiometric need of the metered air [1]
        """
        m = self.memory
        shut, power = pedal <= par.PEDAL_SHUT, pedal >= par.POWER_PEDAL
        resumed = np.where(self.cut, par.OVERRUN_RESUME, par.OVERRUN_CUT)
        self.cut = running & ((shut & (speed > resumed)) | (speed > par.FREE_LIMIT))
        self.run_time = np.where(running, self.run_time + h, 0.0)
        self.closed = running & (self.run_time > self.closed_after) & ~self.cut & (m[GUARD] == 0) & ~power
        lean = np.minimum(np.maximum((sensed - 1) / par.SENSOR_BAND, -1.0), 1.0)
        moved = self.short + (h * par.SHORT_RATE) * lean
        self.short = np.minimum(np.maximum(moved, -par.TRIM_LIMIT), par.TRIM_LIMIT) * self.closed
        taken = self.short * (h / par.LONG_TIME) * (self.closed & (coolant > par.TRIM_LEARN_TEMPERATURE))
        self.loaded = pressure > par.LOAD_CELL * par.AMBIENT_PRESSURE
        for row, used in ((TRIM_IDLE, shut), (TRIM_OFF_IDLE, ~shut & ~self.loaded), (TRIM_LOAD, ~shut & self.loaded)):
            m[row] = np.minimum(np.maximum(m[row] + taken * used, -par.TRIM_LIMIT), par.TRIM_LIMIT)
        rich = self.enrichment * ~self.closed + par.POWER_RICH * (power & running)
        return np.asarray(1 + rich + self.short + self.long(shut))

    def long(self, shut: Bools) -> Floats:
        """Long trim of the cell in use, pedal up or not [1]."""
        off_idle = np.where(self.loaded, self.memory[TRIM_LOAD], self.memory[TRIM_OFF_IDLE])
        return np.asarray(np.where(shut, self.memory[TRIM_IDLE], off_idle))


_COLD_STEP = 5.0
"""Spacing of the cold-air table [K]."""


def _cold_air(cars: CarArrays) -> Floats:
    """Extra area a new engine needs when cold [m²]; shape (25, n_cars), a row for every ``_COLD_STEP`` kelvin."""
    below = _COLD_STEP * np.arange(25)[:, None]
    rise = np.minimum(par.COLD_SPEED * below, par.COLD_SPEED_CAP)
    litres, target, rub = cars.displacement, cars.target, cars.rubbing
    cold = needed_area(litres, target + rise, par.WARM - below, rubbing=rub)
    return np.asarray(cold - needed_area(litres, target, rubbing=rub))
