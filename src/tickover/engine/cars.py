"""A batch of simulated cars: switch, pedal, starter, controller and engine, advanced together by one fixed step.

Cars do not know of each other: a car in a batch does exactly what it does alone with the same seed.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from tickover.attempts import Kind
from tickover.engine import parameters as par
from tickover.engine.control import COMPRESSOR_AIR, DRAG_AIR, PEDAL_REST, THROTTLE_STOP, Controller
from tickover.engine.entry import Answer, Edge, KeyOnRest, Lamp, PedalRestLearning, ThrottleStopLearning
from tickover.engine.inputs import ACCESSORY, OFF, ON, CarAnswer, Inputs, same
from tickover.engine.plant import Plant
from tickover.engine.seat import SWITCHED, Seat
from tickover.engine.spec import CarSpec, has_entry
from tickover.engine.watch import machine
from tickover.engine.writing import Writer
from tickover.errors import OutOfOrderError, SignalRangeError

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

_IGNITION: dict[str, int] = {"ignition off": OFF, "ignition accessory": ACCESSORY, "ignition on": ON}
PRESSED, RELEASED = 0.9, 0.1
"""Pedal travel that is a full press, and a release [1]. The design fixes both."""
_LAMP_KINDS: dict[Lamp, Kind] = {"off": "lamp off", "lit": "lamp lit", "flashing": "lamp flashing"}


class Cars:
    """The batch.

    Args:
        specs: one per car
        seed: with each spec's own ``noise_seed`` it fixes all chance
        start: the clock's first reading [s]
    Raises: SignalRangeError for an empty batch.

    Attributes:
        plant, controller, seat: state, see there; changed only by stepping and acting
        shut: cars whose controller takes the pedal for up
        now: time of the last finished step [s]
        answers: what the cars answered since the caller last emptied it, in order of finding
        outcomes: per car, every outcome of an entry as (instant [s], entry, text)
    """

    plant: Plant
    controller: Controller
    seat: Seat
    pedal: Floats

    def __init__(self, specs: Sequence[CarSpec], seed: int = 0, *, start: float = 0.0) -> None:
        if not specs:
            raise SignalRangeError("number of cars", 0, 1, np.inf)
        self.specs = tuple(specs)
        n = len(self.specs)
        self.plant = Plant(self.specs, [(seed, s.noise_seed, 0) for s in self.specs])
        self.controller = Controller(self.specs)
        self.seat = Seat(self.specs)
        self._writer = Writer(self.plant, self.controller, self.seat)
        self._machines = [
            [
                machine(entry, s.after_run_s, np.random.default_rng([seed, s.noise_seed, 1, k]))
                for k, entry in enumerate(s.entries)
            ]
            for s in self.specs
        ]
        self._start, self._steps = start, 0
        self.answers: list[CarAnswer] = []
        self.outcomes: list[list[tuple[float, str, str]]] = [[] for _ in self.specs]
        self.lamps: list[Lamp] = ["off"] * n
        self._samplers = [(i, m) for i, ms in enumerate(self._machines) for m in ms if m.samples]
        self._rest_error = np.array([s.rest_error for s in self.specs])
        self._stop_error = np.array([s.stop_error_mm2 for s in self.specs]) * par.MM2
        self._errs = bool(self._rest_error.any() or self._stop_error.any())
        self._finds_rest = np.array([not has_entry(s, PedalRestLearning) for s in self.specs])
        self._finds_stop = np.array([not has_entry(s, KeyOnRest, ThrottleStopLearning) for s in self.specs])
        self.ignition = np.full(n, OFF)
        self.pedal = np.zeros(n)
        self.shut = np.ones(n, dtype=bool)
        self._down = np.zeros(n, dtype=bool)
        self.cranking, self._crank_asked = np.zeros(n, dtype=bool), np.zeros(n, dtype=bool)
        self._crank_time = np.zeros(n)
        self.firing, self.running, self.turning = (np.zeros(n, dtype=bool) for _ in range(3))
        self.since_switch = np.full(n, 1e6)
        self.touched = np.zeros(n, dtype=bool)
        self._after_run = np.array([s.after_run_s for s in self.specs])
        self._due = np.full(n, np.inf)
        self._lamp_test_ends = np.full(n, np.inf)
        self.controller.slow(self.plant.read)

    def __len__(self) -> int:
        return len(self.specs)

    @property
    def now(self) -> float:
        """Time of the last finished step [s]."""
        return self._start + self._steps * par.STEP

    @property
    def awake(self) -> Bools:
        """Cars whose controller is awake: ignition on, or in its after-run."""
        return np.asarray((self.ignition == ON) | (self.since_switch < self._after_run))

    # --- what people do ---------------------------------------------------------------------------

    def act(self, car: int, kind: Kind, t: float | None = None, load: str = "compressor") -> None:
        """One car's driver does something.

        Args:
            car: index
            kind: one of ``attempts.ACTS``; "hold speed" is 3,000 r/min, "drive" 80 km/h, other speeds by method
            t: true instant, between the last step and the next [s]; the last step's where None
            load: which load goes on or off, one of ``seat.LOADS``
        Raises: OutOfOrderError for anything a driver cannot do now.
        """
        t = self.now if t is None else t
        self.tick(t)
        if kind in _IGNITION:
            self._switch(car, _IGNITION[kind], t)
        elif kind in ("press", "release"):
            if self._down[car] == (kind == "press"):
                raise OutOfOrderError(kind, f"the pedal is {'down' if self._down[car] else 'up'} already")
            self.move_pedal(car, 1.0 if kind == "press" else 0.0, t)
        elif kind == "crank":
            self._crank(car, t)
        elif kind in SWITCHED:
            self._edge(car, self.seat.act(car, kind, load), t)
        elif kind in ("hold speed", "let idle"):
            self.hold(car, par.HELD if kind == "hold speed" else None)
        elif kind in ("drive", "coast", "stand"):
            self.drive(car, {"drive": par.CRUISE, "coast": par.ROLL_TO}.get(kind, 0.0))
        else:
            raise OutOfOrderError(kind, "it is the car's to answer, not the driver's to do")

    def move_pedal(self, car: int, travel: float, t: float | None = None) -> None:
        """Put one car's pedal to a travel; crossing 90 % down and 10 % up are a press and a release.

        Args:
            car: index
            travel: 0 to 1
            t: true instant [s], as in ``act``
        Raises: SignalRangeError for a travel outside 0 to 1.
        """
        if not 0 <= travel <= 1:
            raise SignalRangeError("pedal travel", travel, 0, 1, car)
        t = self.now if t is None else t
        self.pedal[car] = travel
        self.seat.held[car] = np.nan
        self.touched[car] |= travel > par.PEDAL_SHUT
        down = bool(travel >= PRESSED) if not self._down[car] else bool(travel > RELEASED)
        if down != self._down[car]:
            self._down[car] = down
            self._edge(car, "press" if down else "release", t)

    def hold(self, car: int, speed: float | None) -> None:
        """One car's driver holds an engine speed with the pedal, or lets the pedal go.

        Args:
            car: index
            speed: [rad/s], 1,000 to 3,800 r/min; None lets go
        Raises: OutOfOrderError unless the engine runs out of gear; SignalRangeError outside the range.
        """
        if speed is None:
            self.move_pedal(car, 0.0)
        else:
            self.seat.hold(car, speed, bool(self.running[car]))

    def drive(self, car: int, speed: float, *, uphill: bool = False) -> None:
        """One car's driver makes for a road speed; in standing traffic that is 0.

        Args:
            car: index
            speed: [m/s], 0 to 160 km/h
            uphill: on a hill that takes all a calm driver asks for: a hard load
        Raises: OutOfOrderError unless the engine runs, or to pull away with the brake held; SignalRangeError.
        """
        self.seat.drive(car, speed, bool(self.running[car]), uphill)

    def disconnect_battery(self, car: int) -> None:
        """Take one car's battery off and put it back: the volatile memory is gone.

        Raises: OutOfOrderError unless the ignition is off and the engine stands.
        """
        if self.ignition[car] != OFF or self.turning[car]:
            raise OutOfOrderError("disconnect battery", "the ignition is on or the engine turns")
        self.controller.forget(car)
        self.since_switch[car] = 1e6

    def _switch(self, car: int, to: int, t: float) -> None:
        was = int(self.ignition[car])
        if to == was:
            raise OutOfOrderError(("ignition off", "ignition accessory", "ignition on")[to], "it is there already")
        if was == ON and self.seat.road[car] > 0:
            raise OutOfOrderError("ignition off", "the car moves")
        self.ignition[car] = to
        if to == ON:
            self.touched[car] = self.pedal[car] > par.PEDAL_SHUT
            if self.specs[car].lamp_test_s:
                self._set_lamp(car, "lit", t)
                self._lamp_test_ends[car] = t + self.specs[car].lamp_test_s
            self._edge(car, "on", t)
        elif was == ON:
            self.cranking[car] = self.firing[car] = False
            self._lamp_test_ends[car] = np.inf
            self._edge(car, "off", t)
            self._set_lamp(car, "off", t)
        if ON in (to, was):
            self.since_switch[car] = 0.0
        self._refresh_due(car)

    def _crank(self, car: int, t: float) -> None:
        if self.ignition[car] != ON:
            raise OutOfOrderError("crank", "the ignition is not on")
        if self.running[car] or self.cranking[car]:
            raise OutOfOrderError("crank", "the engine runs or is being cranked")
        if self.seat.geared[car]:
            raise OutOfOrderError("crank", "a drive gear is in; P or N first")
        self.cranking[car], self._crank_time[car] = True, 0.0
        self._edge(car, "crank", t)

    # --- entries and lamp -------------------------------------------------------------------------

    def _edge(self, car: int, kind: Edge, t: float) -> None:
        for one in self._machines[car]:
            if kind in one.hears:
                if one.due <= t:
                    self._take(car, one.tick(t))
                self._take(car, one.edge(kind, t))
        self._refresh_due(car)

    def tick(self, t: float) -> None:
        """Let the entries' own instants up to ``t`` [s] happen."""
        for car in np.flatnonzero(self._due <= t):
            if self._lamp_test_ends[car] <= t:
                self._set_lamp(int(car), "off", float(self._lamp_test_ends[car]))
                self._lamp_test_ends[car] = np.inf
            for one in self._machines[car]:
                if one.due <= t:
                    self._take(int(car), one.tick(t))
            self._refresh_due(int(car))

    def _refresh_due(self, car: int) -> None:
        self._due[car] = min((one.due for one in self._machines[car]), default=np.inf)
        self._due[car] = min(self._due[car], self._lamp_test_ends[car])

    def _take(self, car: int, said: list[Answer]) -> None:
        blocked = ""
        for answer in said:
            if answer.what == "lamp":
                self._set_lamp(car, _lamp(answer.text), answer.t)
            elif answer.what == "outcome":
                text = blocked if blocked and answer.text == "written" else answer.text
                self.outcomes[car].append((answer.t, answer.entry, text))
            else:
                blocked = self._writer.take(car, answer)

    def _set_lamp(self, car: int, state: Lamp, t: float) -> None:
        if self.lamps[car] != state:
            self.lamps[car] = state
            self.answers.append(CarAnswer(car, _LAMP_KINDS[state], t))

    # --- time -------------------------------------------------------------------------------------

    def step(self, inputs: Inputs | None = None, dt: float = par.STEP) -> None:
        """Advance all cars.

        Args:
            inputs: what the drivers hold over this time; as before where None
            dt: time [s], a whole number of ``STEP``
        Raises: SignalRangeError if ``dt`` is not a positive multiple of ``STEP``; OutOfOrderError as ``act``.
        """
        count = round(dt / par.STEP)
        if count < 1 or abs(count * par.STEP - dt) > 1e-9:
            raise SignalRangeError("dt", dt, par.STEP, np.inf)
        if inputs is not None:
            self._apply(inputs)
        for _ in range(count):
            self._one()

    def _apply(self, inputs: Inputs) -> None:
        for car in np.flatnonzero(inputs.ignition != self.ignition):
            self._switch(int(car), int(inputs.ignition[car]), self.now)
        by_foot = np.isnan(self.seat.held) & (self.seat.road == 0)
        for car in np.flatnonzero(by_foot & (inputs.pedal != self.pedal)):
            self.move_pedal(int(car), float(inputs.pedal[car]))
        for car in np.flatnonzero(inputs.crank & ~self._crank_asked):
            self._crank(int(car), self.now)
        self._crank_asked = inputs.crank.copy()
        for one, kind in inputs.acts(self.seat.brake, self.seat.geared, self.seat.compressor):
            self.act(one, kind)
        if inputs.hold is not None:
            for car in np.flatnonzero(~same(inputs.hold, self.seat.held)):
                speed = float(inputs.hold[car])
                self.hold(int(car), None if np.isnan(speed) else speed)
        if inputs.road is not None:
            for car in np.flatnonzero(inputs.road != self.seat.aim):
                self.drive(int(car), float(inputs.road[car]))

    def _one(self) -> None:
        h, plant, control = par.STEP, self.plant, self.controller
        self._steps += 1
        if self._due.min() <= self.now:
            self.tick(self.now)
        self.since_switch += h
        seat, apart = self.seat, np.float64(0.0)
        if seat.moving:
            self.pedal = seat.foot(self.pedal, plant, control.command, self.running, h)
            self.touched |= self.pedal > par.PEDAL_SHUT
        pedal = self.pedal
        if self._errs:
            pedal = pedal + self._rest_error * (control.memory[PEDAL_REST] == 0)
            apart = self._stop_error * (control.memory[THROTTLE_STOP] == 0)
        self.shut = shut = pedal <= par.PEDAL_SHUT
        control.load_air = 0.0
        if seat.busy:
            memory = control.memory
            control.load_air = memory[COMPRESSOR_AIR] * seat.compressor + memory[DRAG_AIR] * seat.geared
        still = shut & ~seat.locked if seat.moving else shut
        control.idle_air(plant.speed, still, self.running, self.cranking, plant.read > par.WARM - 5, h)
        fuel = control.fuel(plant.sensed, pedal, plant.speed, plant.pressure, self.running, plant.read, h)
        driven = (self.ignition == ON) & (self.turning | self.cranking)
        by_foot = par.BORE_AREA * (1 - np.cos(par.BLADE_TRAVEL * pedal)) + apart
        plant.breathe(np.where(driven, control.command + by_foot, par.BLADE_REST), h)
        plant.burn(fuel, control.metered_by_air, self.firing & ~control.cut, h)
        before = plant.speed
        plant.turn(self.cranking, plant.load(seat.electric), h, seat.torque(plant.speed) if seat.busy else 0.0)
        if seat.moving and seat.locked.any():
            pulled = before + (seat.crank_speed() - before) * (h / par.LOCK_LAG)
            plant.speed = np.where(seat.locked & self.running, pulled, plant.speed)
        plant.sense(h)
        self._fire(h)
        if self._steps % par.SLOW_EVERY == 0:
            self._slowly(h * par.SLOW_EVERY)

    def _fire(self, h: float) -> None:
        """Starter, first firing, running, stalling, standing still."""
        speed = self.plant.speed
        if self.cranking.any():
            self._crank_time += h * self.cranking
            synced = self.cranking & (self._crank_time > par.SYNC_TIME) & (speed > par.STAND_SPEED)
            self.firing |= synced
            begun = self.cranking & self.firing & (speed > par.STARTER_RELEASE)
            self.cranking &= ~begun & (self._crank_time < par.STARTER_PATIENCE)
            if begun.any():
                self.controller.begin(begun, self.plant.read)
                self.running |= begun
                self._say(begun, "running")
        self.firing &= self.cranking | (speed > par.STALL_SPEED)
        self.running &= self.firing
        turns = speed > par.STAND_SPEED
        stopped = self.turning & ~turns & ~self.cranking
        self.turning = turns | (self.turning & ~stopped)
        if stopped.any():
            self.plant.speed = np.where(stopped, 0.0, speed)
            self.firing &= ~stopped
            self._say(stopped, "stopped")

    def _say(self, cars: Bools, kind: Literal["running", "stopped", "fan on", "fan off"]) -> None:
        for car in map(int, np.flatnonzero(cars)):
            self.answers.append(CarAnswer(car, kind, self.now))
            self._edge(car, kind, self.now)
            if kind == "running":
                self._lamp_test_ends[car] = np.inf
                self._set_lamp(car, "off", self.now)
                self._refresh_due(car)

    def _slowly(self, seconds: float) -> None:
        plant, control = self.plant, self.controller
        changed = plant.warm(seconds, self.running, self.seat.road)
        if changed.any():
            self._say(changed & plant.fan, "fan on")
            self._say(changed & ~plant.fan, "fan off")
        seat = self.seat
        control.slow(plant.read, par.COMPRESSOR_RAISE * seat.compressor - par.GEAR_LOWER * seat.geared)
        for car, one in self._samplers:
            self._take(car, one.sample(self.now, seat.state(car, plant, self.running, self.shut)))
            self._refresh_due(car)
        current = np.where(self.ignition == ON, par.KEY_ON_CURRENT, 0.0)
        light = (self.ignition == ACCESSORY) | (self.awake & (self.ignition != ON))
        current = np.where(light, par.ACCESSORY_CURRENT, current) + par.CRANK_CURRENT * self.cranking
        plant.electricity(current, self.running & (plant.speed > par.ALTERNATOR_FROM), seconds)
        memory, on = control.memory, self.ignition == ON
        rested = on & self._finds_rest & ~self.touched & (self.since_switch >= par.PEDAL_REST_TIME)
        memory[PEDAL_REST] = np.where(rested, par.PEDAL_REST, memory[PEDAL_REST])
        found = ~on & self._finds_stop & (np.abs(self.since_switch - par.STOP_TIME) < seconds)
        memory[THROTTLE_STOP] = np.where(found, par.BLADE_STOP, memory[THROTTLE_STOP])


def _lamp(text: str) -> Lamp:
    return "lit" if text == "lit" else "flashing" if text == "flashing" else "off"
