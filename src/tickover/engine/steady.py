"""What a controller would report at an operating point, for many cars with any faults at once.

``predict`` solves the equations that the moving model steps through, at rest in time: a hypothesis about a car goes in
as arrays, and trims, air flow, pressure, idle air, speed and the rest come out. The balance of air and torque behind it
is in ``balance`` and can be had from here too. Borders speak the trade's units; everything inside is SI.
"""

from __future__ import annotations

from typing import NamedTuple, TypedDict

import numpy as np
from numpy.typing import NDArray

from tickover.engine import parameters as par
from tickover.engine.arrays import CarArrays
from tickover.engine.balance import (
    AIR_WORK,
    alternator_torque,
    area_for,
    charge_pressure,
    engine_flow,
    friction,
    full_pressure,
    needed_area,
    steady_pressure,
    steady_speed,
    torque_factor,
)
from tickover.engine.heat import coolant_read, settled_coolant
from tickover.engine.points import POINTS, OperatingPoint, Predicted
from tickover.engine.road import crank_at, torque_at
from tickover.engine.supply import Metering, settle, settled_lambda, wanted_lambda

__all__ = [
    "AIR_WORK",
    "POINTS",
    "OperatingPoint",
    "Predicted",
    "alternator_torque",
    "charge_pressure",
    "engine_flow",
    "friction",
    "idle_memory",
    "key_on_volts",
    "needed_area",
    "predict",
    "steady_pressure",
    "steady_speed",
    "torque_factor",
]

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]


class IdleMemory(NamedTuple):
    """What a car knows of its idle when the story begins; shapes as the cars'.

    Attributes:
        need: area a new bore needs at target [m²]
        learned, floor: learned air and learned floor [m²]
        compressor, drag: air set aside for them [m²]
        need_compressor, need_drag: what they take on this engine [m²]
    """

    need: Floats
    learned: Floats
    floor: Floats
    compressor: Floats
    drag: Floats
    need_compressor: Floats
    need_drag: Floats


def idle_memory(cars: CarArrays) -> IdleMemory:
    """Learned air, floor and the air set aside for loads, as the specs say.

    Args:
        cars: which
    """
    litres, target, rub = cars.displacement, cars.target, cars.rubbing
    need = needed_area(litres, target, rubbing=rub)
    raised, lowered = target + par.COMPRESSOR_RAISE, target - par.GEAR_LOWER
    drag = par.DRAG_PER_VOLUME * litres * lowered**2
    compressor = needed_area(litres, raised, torque=par.COMPRESSOR_TORQUE, rubbing=rub) - need
    geared = needed_area(litres, lowered, torque=drag, rubbing=rub) - need
    known = np.where(cars.loads_learned, 1.0, par.LOADS_FORGOTTEN)
    learned = np.maximum(need - cars.memory_bore_mm2 * par.MM2, par.AREA_LEAST)
    floor = learned - par.FLOOR_BELOW
    return IdleMemory(need, learned, floor, compressor * known, geared * known, compressor, geared)


def predict(cars: CarArrays, point: OperatingPoint) -> Predicted:
    """What the controllers of many cars would report at an operating point, once all has settled.

    Settled means: long enough for the trims and for slow learning of idle air (some ten minutes), and warm, as far as
    thermostat and coolant sensor let it be or seem so. The memory is the one the specs describe, and the radiator fan
    stands; a running fan asks for as much as ``electric=60``.

    Args:
        cars: specs as arrays: ``CarArrays.of(specs)`` or ``CarArrays.grid(spec, leak_mm=…)``
        point: one of ``POINTS``, or another
    Returns: see ``Predicted``
    Valid for: what ``CarSpec`` allows, from a start that the engine survives. Where the coolant sensor reads below
        60 °C the long trim does not learn, and the short one alone ends at 25 %; that is not counted here.
    Source: the balances of ``balance`` and ``supply``, solved by bisection; the same as the moving model's.
    Example: ``predict(CarArrays.grid(CarSpec(metering="air"), leak_mm=[0, 2]), POINTS["idle"]).trim`` is near
        [−1.5, 21.1].
    """
    ohms = np.where(cars.coolant_sensor_bad > 0, cars.coolant_sensor_ohms, 0.0)
    if point.idles:
        return _idling(cars, point, ohms)
    return _held(cars, point, ohms)


def key_on_volts(cars: CarArrays, seconds: float, *, cranking: bool = False) -> Floats:
    """Supply with the engine off, ignition on for a while, rested before.

    Args:
        cars: whose batteries
        seconds: since ignition on [s]
        cranking: the starter turns, beside
    Returns: shape of the cars [V]
    Example: a sound battery at 85 % stands at 12.36 V at key on and at 12.13 V a minute later.
    """
    at, volts = np.array(par.REST_VOLTS).T
    current = par.KEY_ON_CURRENT + par.CRANK_CURRENT * cranking
    worn = 1 + par.WORN_RESISTANCE * cars.battery_wear
    slow = par.KEY_ON_CURRENT * par.BATTERY_SAG * worn * (1 - np.exp(-seconds / par.BATTERY_SAG_TIME))
    spent = par.KEY_ON_CURRENT * seconds / (par.BATTERY_CAPACITY * (1 - par.WORN_CAPACITY * cars.battery_wear))
    rest = np.interp(np.maximum(cars.charge - spent, 0.0), at, volts)
    return np.asarray(rest - current * par.BATTERY_RESISTANCE * worn - slow)


_USUAL_AIR = par.IDLE_FUEL_PER_VOLUME * par.STOICHIOMETRIC
"""Air of a warm idle per displacement, enough to know that it warms to its fan [kg/(s m³)]."""


class _Load(NamedTuple):
    """What hangs on the engine, and how it meters."""

    cars: CarArrays
    point: OperatingPoint
    frozen: Floats
    coolant: Floats
    torque: Floats

    def hung(self, speed: Floats) -> Floats:
        """Torque at the crank beside the alternator's [N m]."""
        turning = np.minimum(speed / par.ALTERNATOR_FROM, 1.0)
        drag = par.DRAG_PER_VOLUME * self.cars.displacement * speed * speed * self.point.geared
        return np.asarray(self.torque + par.COMPRESSOR_TORQUE * turning * self.point.compressor + drag)

    def pressure(self, speed: Floats, lam: Floats) -> Floats:
        """Manifold pressure that holds a speed [Pa]."""
        c, power = self.cars, par.BASE_LOAD + self.point.electric
        hung, fires = self.hung(speed), 1 - c.missed
        return steady_pressure(c.displacement, speed, self.coolant, lam, hung, power, c.rubbing, fires)

    def area(self, speed: Floats, lam: Floats) -> Floats:
        """Throttle and leak together that hold a speed [m²]."""
        c, power = self.cars, par.BASE_LOAD + self.point.electric
        hung, fires = self.hung(speed), 1 - c.missed
        return needed_area(c.displacement, speed, self.coolant, lam, hung, power, c.rubbing, fires)

    def metering(self, speed: Floats, lam: Floats, throttle: Floats) -> Metering:
        """How the controller meters, with so much throttle area [m²] open."""
        return self.metering_at(speed, self.pressure(speed, lam), throttle)

    def metering_at(self, speed: Floats, pressure: Floats, throttle: Floats) -> Metering:
        """The same at a pressure [Pa] known already."""
        seen = self.cars.meter_scale * throttle / (throttle + self.cars.leak)
        share = np.where(self.cars.metered_by_air, seen, 1.0)
        flow = engine_flow(self.cars.displacement, speed, pressure)
        return Metering(share, charge_pressure(pressure), flow)

    def lam(self, speed: Floats, throttle: Floats) -> Floats:
        """λ in the firing cylinders, trims settled [1]; pressure and λ depend on each other, weakly."""
        lam = np.broadcast_to(wanted_lambda(self.cars), speed.shape)
        for _ in range(2):
            lam = settled_lambda(self.cars, self.metering(speed, lam, throttle), self.frozen)[0]
        return lam


def _idling(cars: CarArrays, point: OperatingPoint, ohms: Floats) -> Predicted:
    """Idle: find the commanded air within its limits, then the speed it gives."""
    memory, guard = idle_memory(cars), cars.misfire_guard > 0
    frozen = np.where(guard, 1 + cars.long_trim_idle, np.nan)
    warm = settled_coolant(cars, cars.target, _USUAL_AIR * cars.displacement, 0.0)
    read = coolant_read(warm, ohms)
    load = _Load(cars, point, frozen, warm, np.zeros(cars.shape))
    below = np.maximum(par.WARM - read, 0.0)
    rise = np.minimum(par.COLD_SPEED * below, par.COLD_SPEED_CAP)
    target = cars.target + rise + par.GUARD_SPEED * cars.misfire_guard
    target = target + par.COMPRESSOR_RAISE * point.compressor - par.GEAR_LOWER * point.geared
    cold = needed_area(cars.displacement, cars.target + rise, par.WARM - below, rubbing=cars.rubbing) - memory.need
    aside = cold + memory.compressor * point.compressor + memory.drag * point.geared
    foot = par.BORE_AREA * (1 - np.cos(par.BLADE_TRAVEL * cars.rest_error)) * cars.rest_unlearned
    asleep = cars.rest_unlearned & (cars.rest_error > par.PEDAL_SHUT)
    stray = cars.extra + foot + cars.stop_error_mm2 * par.MM2 * cars.stop_unlearned

    floor = memory.floor + aside
    base = memory.learned + aside + par.RELEASE_AIR * asleep
    lowest = np.where(asleep, base, np.maximum(base - par.AUTHORITY, floor))
    highest = np.where(asleep, base, np.maximum(base + par.AUTHORITY, floor))
    command = _command(load, target, stray, lowest, highest)
    speed = _speed(load, command, stray, target)
    near = np.abs(speed - target) < par.LEARN_WITHIN
    learns = near & (read > par.WARM - 5) & ~guard & ~asleep & (not point.compressor and not point.geared)
    learns = learns & (np.abs(speed - target) > par.RPM / 2)
    lowest, highest = np.where(learns, floor, lowest), np.where(learns, base + par.IDLE_AREA_FULL, highest)
    if learns.any():
        command = np.where(learns, _command(load, target, stray, lowest, highest), command)
        speed = np.where(learns, _speed(load, command, stray, target), speed)

    short, over = speed < target - par.RPM, speed > target + par.RPM
    throttle = _throttle(command, stray)
    turning = np.where(np.isnan(speed), _SLOWEST, speed)
    pressure = load.pressure(turning, load.lam(turning, throttle))
    got = _report(load, speed, pressure, throttle, read)
    command = np.where(np.isnan(speed), np.nan, command)
    correction = (command - aside - memory.learned - par.RELEASE_AIR * asleep) / par.MM2
    return Predicted(
        **got,
        idle_air=np.asarray(command / par.MM2),
        idle_air_share=np.asarray(100 * command / par.IDLE_AREA_FULL),
        idle_correction=np.asarray(correction),
        authority=np.asarray(np.clip(correction * par.MM2 / par.AUTHORITY, -1.0, 1.0)),
        air_spent_up=np.asarray(short | np.isnan(speed)),
        air_spent_down=np.asarray(over),
        at_floor=np.asarray(command <= floor + 1e-9),
        out_of_breath=np.zeros(cars.shape, dtype=bool),
        stalls=np.isnan(speed),
        surges=np.asarray(speed > par.OVERRUN_CUT),
    )


def _throttle(command: Floats, stray: Floats) -> Floats:
    """What the bore passes when so much is commanded [m²]."""
    return np.asarray(np.maximum(command + stray, par.AREA_LEAST))


def _command(load: _Load, target: Floats, stray: Floats, lowest: Floats, highest: Floats) -> Floats:
    """Idle air that holds the target, within its limits [m²]."""
    lo, hi = lowest.copy(), highest.copy()
    for _ in range(_HALVINGS):
        mid = (lo + hi) / 2
        throttle = _throttle(mid, stray)
        short = throttle + load.cars.leak < load.area(target, load.lam(target, throttle))
        lo, hi = np.where(short, mid, lo), np.where(short, hi, mid)
    return np.asarray((lo + hi) / 2)


_HALVINGS = 26
"""Of an interval, in a bisection: idle air to 1e-6 mm², speed to 1e-4 r/min [1]."""
_SLOWEST, _FASTEST = 420 * par.RPM, 3500 * par.RPM
"""Speeds between which an idle is looked for [rad/s]."""


def _speed(load: _Load, command: Floats, stray: Floats, like: Floats) -> Floats:
    """Speed that a command holds [rad/s]; NaN where it stalls, the upper bound where it runs beyond."""
    throttle = _throttle(command, stray)
    passed = throttle + load.cars.leak
    lo, hi = np.full(like.shape, _SLOWEST), np.full(like.shape, _FASTEST)
    stalls = load.area(lo, load.lam(lo, throttle)) > passed
    for _ in range(_HALVINGS):
        mid = (lo + hi) / 2
        enough = load.area(mid, load.lam(mid, throttle)) < passed
        lo, hi = np.where(enough, mid, lo), np.where(enough, hi, mid)
    return np.asarray(np.where(stalls, np.nan, (lo + hi) / 2))


_ROUNDS = 16
"""Rounds in which λ, coolant and pressure off idle find each other [1]; a lean engine needs more air, and so on."""


def _held(cars: CarArrays, point: OperatingPoint, ohms: Floats) -> Predicted:
    """Off idle: the driver holds engine or road speed, whatever pedal that takes."""
    guard = cars.misfire_guard > 0
    road = point.road / 3.6
    held = float(crank_at(road)) if point.held is None else point.held * par.RPM
    speed = np.full(cars.shape, held)
    torque = torque_at(road, cars.displacement, float(point.uphill)) if road else np.zeros(cars.shape)
    load = _Load(cars, point, np.where(guard, 1.0, np.nan), np.full(cars.shape, par.WARM), torque)
    widest = par.BORE_AREA * (1 - np.cos(par.BLADE_TRAVEL * par.ROAD_PEDAL)) + cars.leak
    most = full_pressure(cars.displacement, speed, widest)
    lam = np.broadcast_to(wanted_lambda(cars), cars.shape)
    for _ in range(_ROUNDS):
        needed = load.pressure(speed, np.minimum(lam, par.ROAD_LEAN) if road else lam)
        pressure = np.minimum(needed, most)
        flow = engine_flow(cars.displacement, speed, pressure)
        throttle = np.maximum(area_for(flow, pressure) - cars.leak, par.AREA_LEAST)
        lam = settled_lambda(cars, load.metering_at(speed, pressure, throttle), load.frozen)[0]
        if road:
            load = load._replace(coolant=settled_coolant(cars, speed, flow, road))
    coolant = load.coolant if road else settled_coolant(cars, speed, flow, road)
    nowhere, nan = np.zeros(cars.shape, dtype=bool), np.full(cars.shape, np.nan)
    return Predicted(
        **_report(load, speed, pressure, throttle, coolant_read(coolant, ohms)),
        idle_air=nan,
        idle_air_share=nan,
        idle_correction=nan,
        authority=nan,
        air_spent_up=nowhere,
        air_spent_down=nowhere,
        at_floor=nowhere,
        out_of_breath=np.asarray((needed > most) | ((lam > par.ROAD_LEAN) & bool(road))),
        stalls=nowhere,
        surges=nowhere,
    )


class _Common(TypedDict):
    speed: Floats
    manifold_pressure: Floats
    trim: Floats
    short_trim: Floats
    long_trim: Floats
    air_flow: Floats
    engine_air: Floats
    lam: Floats
    misfires: Floats
    volts: Floats
    coolant: Floats
    long_spent: Bools
    lean_spent: Bools
    rich_spent: Bools


def _report(load: _Load, speed: Floats, pressure: Floats, throttle: Floats, read: Floats) -> _Common:
    """What every point reports; NaN where it stalls."""
    cars, stalls = load.cars, np.isnan(speed)
    turning = np.where(stalls, _SLOWEST, speed)
    metering = load.metering_at(turning, pressure, throttle)
    got = settle(cars, metering, load.frozen)
    trim = got.asked - 1
    open_loop = ~np.isnan(load.frozen)
    long = np.where(open_loop, trim, np.clip(trim, -par.TRIM_LIMIT, par.TRIM_LIMIT))

    def shown(value: Floats) -> Floats:
        return np.asarray(np.where(stalls, np.nan, value))

    return _Common(
        speed=shown(turning / par.RPM),
        manifold_pressure=shown(pressure / 1e3),
        trim=shown(100 * trim),
        short_trim=shown(100 * (trim - long)),
        long_trim=shown(100 * long),
        air_flow=shown(np.where(cars.metered_by_air, 1e3 * metering.share * metering.flow, np.nan)),
        engine_air=shown(1e3 * metering.flow),
        lam=shown(got.lam),
        misfires=shown(par.MISFIRE_BLOCK / 2 * cars.misfire_rate),
        volts=shown(cars.regulated_volts * np.ones(speed.shape)),
        coolant=shown(read - 273.15),
        long_spent=np.asarray((np.abs(trim) >= par.TRIM_LIMIT - 1e-6) & ~open_loop & ~stalls),
        lean_spent=got.lean & ~stalls,
        rich_spent=got.rich & ~stalls,
    )
