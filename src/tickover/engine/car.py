"""One simulated car with a driver's seat: do something, let time pass, hear what the car answers."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from tickover.attempts import Kind
from tickover.engine import parameters as par
from tickover.engine.cars import Cars
from tickover.engine.control import (
    COMPRESSOR_AIR,
    DRAG_AIR,
    FLOOR,
    GUARD,
    INTEGRAL,
    LEARNED,
    PEDAL_REST,
    THROTTLE_STOP,
    TRIM_IDLE,
    TRIM_LOAD,
    TRIM_OFF_IDLE,
)
from tickover.engine.entry import Lamp
from tickover.engine.inputs import OFF, ON
from tickover.engine.recorder import Recorder
from tickover.engine.road import gear_at
from tickover.engine.spec import CarSpec
from tickover.errors import OutOfOrderError, SignalRangeError
from tickover.signals import Recording


@dataclass(frozen=True)
class Memory:
    """The volatile memory of one car, in the trade's units.

    Attributes:
        learned_air_mm2, floor_mm2, integral_mm2: idle air [mm²]
        long_trim_idle, long_trim_off_idle, long_trim_load: long trim of each cell [%]
        misfire_guard: misfire counters stand high
        pedal_rest, throttle_stop: learned sensor shares [%]; None where not learned
        compressor_air_mm2, drag_air_mm2: air set aside for compressor and drive gear [mm²]
    """

    learned_air_mm2: float
    floor_mm2: float
    integral_mm2: float
    long_trim_idle: float
    long_trim_off_idle: float
    misfire_guard: bool
    pedal_rest: float | None
    throttle_stop: float | None
    compressor_air_mm2: float
    drag_air_mm2: float
    long_trim_load: float = 0.0


class SimulatedCar:
    """A car of one, on its own clock.

    Args:
        spec: which car
        seed: with the spec's ``noise_seed`` fixes all chance
        start: first reading of the clock [s]

    Example::

        car = SimulatedCar(old_memory_on_cleaned_bore())
        car.do("ignition on")
        car.advance(3.0)
        car.do("crank")
        car.advance(60.0)          # [("running", 3.54)]
        car.engine_speed           # near 1000, and stays there
    """

    def __init__(self, spec: CarSpec, seed: int = 0, *, start: float = 0.0) -> None:
        self.spec = spec
        self.cars = Cars([spec], seed, start=start)
        self.now = start
        self._seed = seed
        self._recorder: Recorder | None = None
        self._recordings = 0

    # --- doing ------------------------------------------------------------------------------------

    def do(self, kind: Kind, load: str = "compressor") -> None:
        """Do one thing, now.

        Args:
            kind: one of ``attempts.ACTS``; "hold speed" is 3,000 r/min, "drive" 80 km/h, "coast" rolls to 10;
                the starter is held until the engine runs, at most 6 s
            load: which load "load on" and "load off" mean: "compressor", "blower", "lights" or "rear heater"
        Raises: OutOfOrderError for anything a driver cannot do now.
        """
        self.cars.act(0, kind, self.now, load)

    def hold_speed(self, speed: float | None) -> None:
        """Hold an engine speed with the pedal from now on; ``pedal`` ends it too.

        Args:
            speed: [r/min], 1,000 to 3,800; None lets the pedal go
        Raises: OutOfOrderError unless the engine runs out of gear; SignalRangeError outside the range.
        """
        self.cars.tick(self.now)
        self.cars.hold(0, None if speed is None else speed * par.RPM)

    def drive(self, speed: float, *, uphill: bool = False) -> None:
        """Make for a road speed from now on: pull away or speed up, hold it, or slow down with the pedal up.

        Args:
            speed: [km/h], 0 to 160
            uphill: on a hill that takes all a calm driver asks for: a hard load
        Raises: OutOfOrderError where the engine stands, or to pull away with the brake held; SignalRangeError.
        """
        self.cars.drive(0, speed / 3.6, uphill=uphill)

    def pedal(self, travel: float) -> None:
        """Move the pedal to a travel, 0 to 1, now: for blips and held speeds.

        Raises: SignalRangeError for a travel outside 0 to 1.
        """
        self.cars.tick(self.now)
        self.cars.move_pedal(0, travel, self.now)

    def disconnect_battery(self) -> None:
        """Take the battery off and put it back; raises OutOfOrderError unless all is off."""
        self.cars.disconnect_battery(0)

    def advance(self, seconds: float) -> list[tuple[Kind, float]]:
        """Let time pass.

        Args:
            seconds: how long [s], 0 or more
        Returns: what the car answered since the last call, with instants on the car's clock [s]: lamp changes exactly,
            "running" and "stopped" to the model's step of 0.02 s, the fan to 0.2 s.
        Raises: SignalRangeError for a negative time.
        """
        if not seconds >= 0:
            raise SignalRangeError("seconds", seconds, 0, np.inf)
        self.now += seconds
        while self.cars.now + par.STEP <= self.now + 1e-9:
            if self._recorder is not None:
                self._recorder.before(self.cars.now + par.STEP)
            self.cars.step()
        if self._recorder is not None:
            self._recorder.before(self.now)
        self.cars.tick(self.now)
        said = sorted(self.cars.answers, key=lambda a: a.t)
        self.cars.answers.clear()
        return [(a.kind, a.t) for a in said]

    # --- seeing -----------------------------------------------------------------------------------

    @property
    def engine_speed(self) -> float:
        """Crank speed now [r/min]."""
        return float(self.cars.plant.speed[0] / par.RPM)

    @property
    def manifold_pressure(self) -> float:
        """Absolute manifold pressure now [kPa]."""
        return float(self.cars.plant.pressure[0] / 1e3)

    @property
    def road_speed(self) -> float:
        """Road speed now [km/h]."""
        return float(self.cars.seat.road[0] * 3.6)

    @property
    def coolant(self) -> float:
        """True coolant temperature now [°C]; what the car reports is in its recording."""
        return float(self.cars.plant.coolant[0] - 273.15)

    @property
    def volts(self) -> float:
        """Supply at the controller now [V]."""
        return float(self.cars.plant.volts[0])

    @property
    def gear(self) -> int:
        """Gear on the road, from 1; 0 at a stand or at walking pace."""
        road = self.cars.seat.road[0]
        return int(gear_at(road)) if road > par.WALK else 0

    @property
    def misfires(self) -> tuple[int, ...]:
        """Missed firings so far of each cylinder, in firing order."""
        spec, counted = self.spec, int(self.cars.plant.misfire.counts[0])
        return tuple(counted * (k + 1 == spec.misfire_cylinder) for k in range(spec.cylinders))

    @property
    def misfires_per_1000(self) -> float:
        """Missed firings in the last full 1,000 revolutions; NaN before the first."""
        return float(self.cars.plant.misfire.last_block[0])

    @property
    def lamp(self) -> Lamp:
        """Engine lamp now: "off", "lit" or "flashing"."""
        return self.cars.lamps[0]

    @property
    def fan(self) -> bool:
        """Whether the radiator fan runs."""
        return bool(self.cars.plant.fan[0])

    @property
    def running(self) -> bool:
        """Whether the engine runs by itself."""
        return bool(self.cars.running[0])

    @property
    def ignition(self) -> str:
        """Switch now: "off", "accessory" or "on"."""
        state = int(self.cars.ignition[0])
        return "off" if state == OFF else "on" if state == ON else "accessory"

    @property
    def entry_outcome(self) -> str | None:
        """What became of the last relearn entry: "written", "rejected: why", or None before any."""
        outcomes = self.cars.outcomes[0]
        return outcomes[-1][2] if outcomes else None

    @property
    def outcomes(self) -> tuple[tuple[float, str, str], ...]:
        """Every relearn entry so far: when it ended [s], its name, "written" or "rejected: why"."""
        return tuple(self.cars.outcomes[0])

    def memory(self) -> Memory:
        """The volatile memory as it stands."""
        m = self.cars.controller.memory[:, 0]
        rest, stop = float(m[PEDAL_REST]), float(m[THROTTLE_STOP])
        return Memory(
            learned_air_mm2=float(m[LEARNED] / par.MM2),
            floor_mm2=float(m[FLOOR] / par.MM2),
            integral_mm2=float(m[INTEGRAL] / par.MM2),
            long_trim_idle=float(100 * m[TRIM_IDLE]),
            long_trim_off_idle=float(100 * m[TRIM_OFF_IDLE]),
            misfire_guard=bool(m[GUARD] > 0),
            pedal_rest=100 * rest if rest else None,
            throttle_stop=100 * stop if stop else None,
            compressor_air_mm2=float(m[COMPRESSOR_AIR] / par.MM2),
            drag_air_mm2=float(m[DRAG_AIR] / par.MM2),
            long_trim_load=float(100 * m[TRIM_LOAD]),
        )

    # --- recording --------------------------------------------------------------------------------

    def record(self, period: float = 0.1, jitter: float = 0.0, names: Iterable[str] | None = None) -> None:
        """Begin to record; ``recording`` ends it.

        Args:
            period: from row to row [s]
            jitter: spread of each question's lateness [s]
            names: signals wanted; all this car answers where None
        Raises: OutOfOrderError while a recording runs; otherwise as ``Recorder``.
        """
        if self._recorder is not None:
            raise OutOfOrderError("record", "a recording runs already")
        rng = np.random.default_rng([self._seed, self.spec.noise_seed, 2, self._recordings])
        self._recorder = Recorder(self.cars, 0, self.now, period, jitter, rng, names)
        self._recordings += 1

    def recording(self) -> Recording:
        """End the recording and hand it over; raises OutOfOrderError where none runs."""
        if self._recorder is None:
            raise OutOfOrderError("recording", "none was begun")
        done = self._recorder.finish()
        self._recorder = None
        return done
