"""The engine itself, vectorised over cars: blade, manifold, cylinders, crank, exhaust, heat and battery.

A mean value model: no crank angle, one fixed step. The manifold is semi-implicit, because near full opening its time
constant falls below the step; throttle and leak enter as a conductance towards outside pressure, so that pressure can
never pass it. All arrays have shape (n_cars,); all SI.

Source: Hendricks & Sorenson, SAE 900616 (1990), for the structure (from memory); numbers in ``parameters``.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from tickover.engine import parameters as par
from tickover.engine.arrays import CarArrays
from tickover.engine.balance import AIR_WORK, alternator_torque, friction, torque_factor
from tickover.engine.flow import GAS_CONSTANT, choked_flux, model_flow
from tickover.engine.heat import conductance, coolant_read, heat_to_coolant, thermostat
from tickover.engine.misfire import Contact, Misfire
from tickover.engine.spec import CarSpec
from tickover.engine.supply import Metering, delivered

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

_FLUX = float(choked_flux(par.AMBIENT_PRESSURE, par.AMBIENT_TEMPERATURE)) * par.CD
_AIR = GAS_CONSTANT * par.MANIFOLD_TEMPERATURE
_CYCLE = 4 * np.pi
"""One four-stroke cycle [rad]."""


class Noise:
    """Two streams of normal numbers per car: one for single cycles, one for the slow drift.

    Args:
        seeds: one seed sequence entry per car; equal seeds give equal numbers in any batch
    """

    BLOCK = 512

    def __init__(self, seeds: Sequence[Sequence[int]]) -> None:
        self._rngs = [np.random.default_rng(list(s)) for s in seeds]
        self._block = np.empty((self.BLOCK, 2, len(self._rngs)))
        self._next = self.BLOCK

    def row(self) -> Floats:
        """The next numbers, shape (2, n_cars) [1]."""
        if self._next == self.BLOCK:
            for i, rng in enumerate(self._rngs):
                self._block[:, :, i] = rng.standard_normal((self.BLOCK, 2))
            self._next = 0
        self._next += 1
        row: Floats = self._block[self._next - 1]
        return row


class Plant:
    """State of the engines.

    Args:
        specs: one per car
        seeds: see ``Noise``

    Attributes (each of shape (n_cars,)):
        pressure: in the manifold [Pa]
        speed: of the crank [rad/s]
        area: blade's geometric opening, idle and pedal together, as the controller sees it [m²]
        flow_throttle, flow_leak, flow_engine: air [kg/s]
        torque: indicated, after its lag [N m]
        lam, sensed: λ in the cylinders that fire, and at the sensor [1]
        misfire: the missed firings, see there
        coolant, read: true, and as the sensor reads it [K]; fan: whether the radiator fan runs
        soak: heat stored beyond coolant [J]
        charge: of the battery [1]; volts: at the controller [V]
    """

    pressure: Floats
    speed: Floats
    area: Floats
    flow_throttle: Floats
    flow_leak: Floats
    flow_engine: Floats
    torque: Floats
    coolant: Floats
    charge: Floats
    volts: Floats

    def __init__(self, specs: Sequence[CarSpec], seeds: Sequence[Sequence[int]]) -> None:
        n = len(specs)
        self.cars = cars = CarArrays.of(specs)
        self.displacement, self.extra, self.leak = cars.displacement, cars.extra, cars.leak
        self.rough = par.ROUGHNESS * np.sqrt(4 / cars.cylinders)
        self.inertia = par.INERTIA_PER_VOLUME * self.displacement
        self.per_pressure = self.displacement / _CYCLE
        self.noise = Noise(seeds)
        self.pressure = np.full(n, par.AMBIENT_PRESSURE)
        self.speed = np.zeros(n)
        self.area = np.full(n, par.BLADE_REST)
        self.flow_throttle, self.flow_leak, self.flow_engine = np.zeros(n), np.zeros(n), np.zeros(n)
        self.torque = np.zeros(n)
        self.lam, self.sensed = np.ones(n), np.ones(n)
        self.misfire = Misfire(cars)
        self._contact = Contact(cars, seeds)
        self.coolant = cars.coolant_start + 273.15
        self.read = self._reading(0.0)
        self.soak = np.zeros(n)
        self.fan = np.zeros(n, dtype=bool)
        self.charge = cars.charge.copy()
        self._worn = 1 + par.WORN_RESISTANCE * cars.battery_wear
        self._capacity = par.BATTERY_CAPACITY * (1 - par.WORN_CAPACITY * cars.battery_wear)
        self.sag = np.zeros(n)
        self.volts = self._rest_volts()
        self._angle, self._cycle_noise, self._drift = np.zeros(n), np.zeros(n), np.zeros(n)
        self._ring = np.ones((par.DELAY_MOST, n))
        self._head = 0
        self._cars = np.arange(n)

    def breathe(self, wanted: Floats, h: float) -> None:
        """Move the blade and fill the manifold.

        Args:
            wanted: blade area the controller asks for [m²]
            h: step [s]
        """
        self.area += (wanted - self.area) * (h / (h + par.BLADE_LAG))
        open_area = np.maximum(self.area + self.extra, par.AREA_LEAST)
        flux = _FLUX * model_flow(self.pressure / par.AMBIENT_PRESSURE)
        self.flow_throttle, self.flow_leak = open_area * flux, self.leak * flux
        conductance = (self.flow_throttle + self.flow_leak) / np.maximum(par.AMBIENT_PRESSURE - self.pressure, 1.0)
        swept = self.per_pressure * self.speed / _AIR
        fill = h * _AIR / (par.MANIFOLD_SHARE * self.displacement)
        self.pressure = (self.pressure + fill * (conductance * par.AMBIENT_PRESSURE - swept * par.CHARGE_OFFSET)) / (
            1 + fill * (conductance + swept * par.CHARGE_SLOPE)
        )
        self.flow_engine = swept * np.maximum(par.CHARGE_SLOPE * self.pressure + par.CHARGE_OFFSET, 0.0)

    def burn(self, fuel: Floats, metered_by_air: Bools, firing: Bools, h: float) -> None:
        """Mix, burn and turn the gas into torque.

        Args:
            fuel: fuel asked for over the stoichiometric need of the *metered* air [1]
            metered_by_air: cars whose meter does not see the leak
            firing: cars that inject and ignite
            h: step [s]
        """
        inflow = np.maximum(self.flow_throttle + self.flow_leak, 1e-12)
        share = np.where(metered_by_air, self.cars.meter_scale * self.flow_throttle / inflow, 1.0)
        charge = np.maximum(par.CHARGE_SLOPE * self.pressure + par.CHARGE_OFFSET, 0.0)
        arrives = delivered(self.cars, fuel, Metering(share, charge, self.flow_engine))
        self.lam = 1 / np.maximum(arrives, 0.2)
        per_cycle, slow = self.noise.row()
        before, self._angle = self._angle, self._angle + self.speed * h
        turned = self._angle >= _CYCLE
        if self.misfire.any:
            self.misfire.turn(before, self._angle, turned & firing, slow)
            self.misfire.mix(h)
        self._angle = np.where(turned, self._angle - _CYCLE, self._angle)
        self._cycle_noise = np.where(turned, per_cycle, self._cycle_noise)
        fade = h / par.DRIFT_TIME
        self._drift += np.sqrt(2 * fade) * slow - fade * self._drift
        noise = 1 + self.rough * self._cycle_noise + par.DRIFT * self._drift
        made = AIR_WORK / _AIR * self.per_pressure * charge * torque_factor(self.lam) * firing * noise
        lag = par.TORQUE_LAG_CYCLES * _CYCLE / np.maximum(self.speed, 20.0)
        self.torque += (made - self.torque) * (h / (h + lag))

    @property
    def metered(self) -> Floats:
        """What the air meters read [kg/s]."""
        return np.asarray(self.cars.meter_scale * self.flow_throttle)

    def turn(self, cranking: Bools, load: Floats, h: float, hung: Floats | float = 0.0) -> None:
        """Accelerate the crank; friction never turns it backwards.

        Args:
            cranking: cars whose starter is engaged
            load: electric power drawn from the alternator [W]
            h: step [s]
            hung: torque of compressor and drive gear [N m]
        """
        pumping = par.EXHAUST_PRESSURE - self.pressure
        lost = self.per_pressure * (friction(self.speed, self.coolant) * self.cars.rubbing + pumping)
        lost += alternator_torque(self.speed, load) + hung
        starter = par.STARTER_TORQUE_PER_VOLUME * self.displacement * (1 - self.speed / par.STARTER_FREE_SPEED)
        driven = self.torque * self.misfire.power + np.maximum(starter, 0.0) * cranking
        self.speed = np.maximum(self.speed + h / self.inertia * (driven - lost), 0.0)

    def sense(self, h: float) -> None:
        """Carry λ to the sensor: one cycle and the run of the gas later, then the sensor's lag."""
        self._ring[self._head] = self.lam / (1 - par.OXYGEN_SEEN * self.misfire.oxygen)
        delay = (_CYCLE / np.maximum(self.speed, 20.0) + par.GAS_RUN) / h
        back = np.minimum(delay.astype(np.intp), par.DELAY_MOST - 1)
        arrived = self._ring[(self._head - back) % par.DELAY_MOST, self._cars]
        self._head = (self._head + 1) % par.DELAY_MOST
        self.sensed += (arrived - self.sensed) * (h / (h + par.SENSOR_LAG))

    def warm(self, seconds: float, running: Bools, road: Floats | float = 0.0) -> Bools:
        """Heat the coolant from the fuel burned, cool it by radiator, fan and road.

        Args:
            seconds: time since the last call [s], small against a minute
            running: cars whose engine runs; the others' fans stand
            road: road speed [m/s]
        Returns: cars whose fan has begun or ceased to turn.
        """
        fuel = self.flow_engine / par.STOICHIOMETRIC / self.lam * (self.torque > 1.0)
        turning = self.speed > par.STAND_SPEED
        gained = heat_to_coolant(self.displacement, fuel)
        stored = np.where(turning, (par.SOAK * gained - self.soak) / par.SOAK_RISE, -self.soak / par.SOAK_FALL)
        opened = thermostat(self.coolant, self.cars.thermostat_least, self.cars.thermostat_most)
        turns = conductance(opened, self.speed, self.fan, road)
        rests = par.LOSS_STILL + opened * par.RADIATOR
        lost = np.where(turning, turns, rests) * (self.coolant - par.AMBIENT_TEMPERATURE)
        net = np.where(turning, gained, -stored) - lost
        self.soak += seconds * stored
        self.coolant += seconds * net / (par.HEAT_CAPACITY_PER_VOLUME * self.displacement)
        self.coolant = np.minimum(self.coolant, par.BOIL)
        self.read = self._reading(seconds)
        was = self.fan
        self.fan = running & ((self.coolant > par.FAN_ON) | (self.fan & (self.coolant > par.FAN_OFF)))
        return np.asarray(self.fan != was)

    def electricity(self, current: Floats, charging: Bools, seconds: float) -> None:
        """Drain or charge the battery and settle the volts.

        Args:
            current: drawn from the battery while the alternator does not charge [A]
            charging: cars whose alternator charges
            seconds: time since the last call [s]
        """
        drawn = np.where(charging, 0.0, current)
        share = seconds / (seconds + par.BATTERY_SAG_TIME)
        self.sag += (drawn * par.BATTERY_SAG * self._worn - self.sag) * share
        gained = np.where(charging, 20.0 * (1 - self.charge), -drawn)
        self.charge = np.clip(self.charge + gained * seconds / self._capacity, 0.0, 1.0)
        from_battery = self._rest_volts() - drawn * par.BATTERY_RESISTANCE * self._worn - self.sag
        rising = self.volts + (self.cars.regulated_volts - self.volts) * (seconds / (seconds + par.REGULATOR_LAG))
        self.volts = np.where(charging, np.maximum(rising, from_battery), from_battery)

    def load(self, more: Floats | float = 0.0) -> Floats:
        """Electric power drawn while running, with what people have switched on beside [W]."""
        return np.asarray(par.BASE_LOAD + par.FAN_LOAD * self.fan + more)

    def _reading(self, seconds: float) -> Floats:
        """What the coolant sensor reads now [K]."""
        if not self._contact.any:
            return self.coolant.copy()
        return coolant_read(self.coolant, self._contact.ohms(seconds))

    def _rest_volts(self) -> Floats:
        charge, volts = np.array(par.REST_VOLTS).T
        return np.asarray(np.interp(self.charge, charge, volts))
