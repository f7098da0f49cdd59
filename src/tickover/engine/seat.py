"""What the people in the cars hold and drive, vectorised: brake, gear, loads, a held engine speed, a road speed.

Road speed is an input. The crank follows it through a gear above walking pace, the pedal follows from what the car
needs, and is up while it slows down: that is overrun.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from tickover.engine import parameters as par
from tickover.engine.balance import needed_area
from tickover.engine.plant import Plant
from tickover.engine.road import crank_at, torque_at
from tickover.engine.spec import CarSpec
from tickover.engine.windows import Edge, State
from tickover.errors import OutOfOrderError, SignalRangeError

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

SWITCHED = frozenset({"brake press", "brake release", "gear drive", "gear neutral", "load on", "load off"})
"""Acts that put something in one of two states."""
LOADS: dict[str, float] = {"compressor": 0.0, "blower": 180.0, "lights": 160.0, "rear heater": 220.0}
"""Loads by name, with their electric power [W]; the compressor is a torque at the crank instead. Own choice."""


class Seat:
    """State of what drivers hold.

    Args:
        specs: one per car

    Attributes (each of shape (n_cars,)):
        brake, geared, compressor: held, in a drive gear, on
        electric: power of the loads that are on [W]
        held: engine speed the driver holds with the pedal [rad/s]; NaN where none
        road, aim: road speed, and what the driver makes for [m/s]
        uphill: on a hill that takes all a calm driver asks for
        locked: the crank follows the wheels
        busy: loads or gears anywhere in the batch; moving: a held speed or a road speed anywhere
    """

    def __init__(self, specs: Sequence[CarSpec]) -> None:
        n = len(specs)
        self.specs = tuple(specs)
        self.displacement = np.array([s.displacement_l for s in specs]) * 1e-3
        self.brake, self.geared, self.compressor, self.locked, self.uphill = (np.zeros(n, dtype=bool) for _ in range(5))
        self.electric, self.road, self.aim = np.zeros(n), np.zeros(n), np.zeros(n)
        self.held = np.full(n, np.nan)
        self._hold = np.zeros(n)
        self._loads: list[set[str]] = [set() for _ in specs]
        self.busy = self.moving = False

    def loaded(self, car: int) -> bool:
        """Whether a car has any load on."""
        return bool(self._loads[car])

    def act(self, car: int, kind: str, load: str) -> Edge:
        """Brake, gear or load of one car.

        Args:
            car: index
            kind: "brake press", "brake release", "gear drive", "gear neutral", "load on" or "load off"
            load: which load, one of ``LOADS``
        Returns: the edge that the controller sees.
        Raises: OutOfOrderError for what cannot be done now, or an unknown load.
        """
        what, _, how = kind.partition(" ")
        edge = {"brake": self._brake, "gear": self._gear}.get(what, self._load)(car, how, load)
        self.busy = bool(self.geared.any() or self.compressor.any() or self.electric.any())
        return edge

    def _brake(self, car: int, how: str, _load: str) -> Edge:
        to = how == "press"
        if self.brake[car] == to:
            raise OutOfOrderError(f"brake {how}", f"the brake is {'held' if to else 'free'} already")
        self.brake[car] = to
        if self.geared[car]:
            self.aim[car] = 0.0 if to else par.CREEP
            self.moving = True
        return "brake press" if to else "brake release"

    def _gear(self, car: int, how: str, _load: str) -> Edge:
        to = how == "drive"
        if self.geared[car] == to:
            raise OutOfOrderError(f"gear {how}", f"{'a drive gear' if to else 'P or N'} is in already")
        if to and self.specs[car].gearbox == "manual":
            raise OutOfOrderError(f"gear {how}", "a manual gearbox cannot idle in gear")
        if to and not self.brake[car]:
            raise OutOfOrderError(f"gear {how}", "the selector is locked until the brake is held")
        self.geared[car] = to
        if not to:
            self.aim[car] = 0.0
        return "gear drive" if to else "gear neutral"

    def _load(self, car: int, how: str, load: str) -> Edge:
        to = how == "on"
        if load not in LOADS:
            raise OutOfOrderError(f"load {how}", f"no load is called “{load}”; there are {', '.join(LOADS)}")
        if (load in self._loads[car]) == to:
            raise OutOfOrderError(f"load {how}", f"the {load} is {how} already")
        (self._loads[car].add if to else self._loads[car].remove)(load)
        self.electric[car] = sum(LOADS[name] for name in self._loads[car])
        if load == "compressor":
            self.compressor[car] = to
            return "compressor on" if to else "compressor off"
        return "load on" if to else "load off"

    def hold(self, car: int, speed: float, running: bool) -> None:
        """Hold an engine speed with the pedal.

        Args:
            car: index
            speed: [rad/s]
            running: whether its engine runs
        Raises: SignalRangeError outside 1,000 to 3,800 r/min; OutOfOrderError unless the engine runs out of gear.
        """
        if not running or self.geared[car] or self.road[car] > 0:
            raise OutOfOrderError("hold speed", "the engine must run, out of gear, the car standing")
        if not 1000 * par.RPM <= speed <= 3800 * par.RPM:
            raise SignalRangeError("held engine speed", speed / par.RPM, 1000, 3800, car)
        self.held[car] = speed
        self._hold[car] = 0.0
        self.moving = True

    def drive(self, car: int, speed: float, running: bool, uphill: bool = False) -> None:
        """Make for a road speed.

        Args:
            car: index
            speed: [m/s], 0 to 160 km/h
            running: whether its engine runs
            uphill: on a hill that takes all a calm driver asks for
        Raises: SignalRangeError outside that; OutOfOrderError where the engine stands or the brake is held.
        """
        if not 0 <= speed <= 160 / 3.6:
            raise SignalRangeError("road speed", speed * 3.6, 0, 160, car)
        if not running:
            raise OutOfOrderError("drive", "the engine does not run")
        if self.brake[car] and speed > self.road[car]:
            raise OutOfOrderError("drive", "the brake is held")
        self.aim[car], self.uphill[car], self.held[car], self.moving = speed, uphill, np.nan, True

    def state(self, car: int, plant: Plant, running: Bools, shut: Bools) -> State:
        """What one car's machines are shown; arguments as ``Cars`` holds them."""
        return State(
            running=bool(running[car]),
            shut=bool(shut[car]),
            speed=float(plant.speed[car] / par.RPM),
            coolant=float(plant.coolant[car] - 273.15),
            fan=bool(plant.fan[car]),
            loaded=self.loaded(car),
            geared=bool(self.geared[car]),
            road=float(self.road[car] * 3.6),
        )

    def torque(self, speed: Floats) -> Floats:
        """Torque of compressor and drive gear at the crank.

        Args:
            speed: of the crank [rad/s]
        Returns: [N m]
        """
        turning = np.minimum(speed / par.ALTERNATOR_FROM, 1.0)
        drag = par.DRAG_PER_VOLUME * self.displacement * speed * speed * self.geared
        return np.asarray(par.COMPRESSOR_TORQUE * turning * self.compressor + drag)

    def foot(self, pedal: Floats, plant: Plant, command: Floats, running: Bools, h: float) -> Floats:
        """Roll on by one step, and move the feet.

        Args:
            pedal: travel now [1]
            plant: the engines
            command: area the controller gives by itself [m²]
            running: cars whose engine runs
            h: step [s]
        Returns: pedal travel [1]
        """
        held = ~np.isnan(self.held)
        error = np.where(held, self.held - plant.speed, 0.0)
        self._hold = np.clip(self._hold + par.FOOT_I * error * h, 0.0, par.FOOT_MOST)
        pedal = np.where(held, np.clip(par.FOOT_P * error + self._hold, par.PEDAL_SHUT * 1.5, par.FOOT_MOST), pedal)
        gap = self.aim - self.road
        slow = np.where(self.brake | (self.aim < par.WALK), par.BRAKING, par.COASTING)
        step = np.clip(gap, -slow * h, par.PULLING * h * running)
        was_moving = self.road > 0
        self.road = np.maximum(self.road + step, 0.0)
        self.locked = self.road > par.WALK
        driven = self.locked & running & (gap > -0.1)
        if driven.any():
            wanted = self._travel(step / h, command, plant)
            pedal = np.where(driven, wanted, pedal)
        pedal = np.where((self.locked | was_moving) & ~driven & ~held, 0.0, pedal)
        self.moving = bool(held.any() or self.road.any() or self.aim.any())
        return np.asarray(pedal)

    def crank_speed(self) -> Floats:
        """What the wheels turn the crank to in the gear for this road speed [rad/s]."""
        return crank_at(self.road)

    def _travel(self, acceleration: Floats, command: Floats, plant: Plant) -> Floats:
        """Pedal travel that road, air and acceleration need [1]; a driver makes up for faults, as far as that goes."""
        crank, cars = np.maximum(self.crank_speed(), 100.0), plant.cars
        torque = torque_at(self.road, self.displacement, self.uphill, acceleration)
        power = plant.load(self.electric)
        lam, fires = np.minimum(plant.lam, par.ROAD_LEAN), 1 - cars.missed
        needed = needed_area(self.displacement, crank, plant.coolant, lam, torque, power, cars.rubbing, fires)
        area = np.clip(needed - command - plant.extra - plant.leak, 0.0, par.BORE_AREA)
        return np.asarray(np.clip(np.arccos(1 - area / par.BORE_AREA) / par.BLADE_TRAVEL, 0.0, par.ROAD_PEDAL))
