"""A driver for the simulated car: performs entries with exact times."""

from dataclasses import dataclass, replace

import pytest

from tickover.engine import SimulatedCar


@dataclass(frozen=True)
class Presses:
    """One way to perform the pedal count; all times in seconds."""

    first: float = 3.0
    press: tuple[float, ...] = (0.5, 0.5, 0.5, 0.5, 0.5)
    gap: tuple[float, ...] = (0.4, 0.4, 0.4, 0.4)
    wait: float = 7.0
    release: float = 1.5
    """After the lamp stays lit; negative lets go before."""
    crank: float = 1.5

    def with_one(self, name, k, value):
        """The same with the k-th press or gap changed."""
        lengths = list(getattr(self, name))
        lengths[k] = value
        return replace(self, **{name: tuple(lengths)})


def pedal_count(car, way, lit_after=None):
    """Perform it; returns everything the car answered until the engine runs.

    A held press ends early once the car has rejected the attempt: no lamp will come.
    ``lit_after``: when the lamp will stay lit after the held press; needed to let go before it does.
    """
    known = len(car.cars.outcomes[0])
    car.do("ignition on")
    said = car.advance(way.first)
    for k, length in enumerate(way.press):
        car.do("press")
        said += car.advance(length)
        car.do("release")
        if k < len(way.gap):
            said += car.advance(way.gap[k])
    said += car.advance(way.wait)
    car.do("press")
    pressed = car.now
    if lit_after is not None:
        said += car.advance(lit_after + way.release)
    else:
        lit = None
        while lit is None and car.now < pressed + 30 and len(car.cars.outcomes[0]) == known:
            new = car.advance(0.02)
            lit = next((t for kind, t in new if kind == "lamp lit"), None)
            said += new
        if lit is not None:
            said += car.advance(max(lit + way.release - car.now, 0.0))
    car.do("release")
    said += car.advance(way.crank)
    car.do("crank")
    while not car.running and car.now < pressed + 60:
        said += car.advance(0.02)
    return said


def start(car, seconds):
    """Ignition on, 3 s, crank, and so many seconds of running."""
    if car.ignition != "on":
        car.do("ignition on")
        car.advance(3.0)
    car.do("crank")
    return car.advance(seconds)


def power_cycle(car, on=(10.0, 10.0, 10.0), off=(2.0, 2.0, 2.0)):
    """Ignition on and off as given, then on."""
    for a, b in zip(on, off, strict=True):
        car.do("ignition on")
        car.advance(a)
        car.do("ignition off")
        car.advance(b)
    car.do("ignition on")
    return car.advance(3.0)


def mean_speed(car, seconds):
    """Mean over the next so many seconds [r/min]."""
    total = 0.0
    count = round(seconds / 0.1)
    for _ in range(count):
        car.advance(0.1)
        total += car.engine_speed
    return total / count


class Driver:
    """What the tests do to a car."""

    Presses = Presses
    pedal_count = staticmethod(pedal_count)
    power_cycle = staticmethod(power_cycle)
    start = staticmethod(start)
    mean_speed = staticmethod(mean_speed)

    @staticmethod
    def car(spec, seed=1):
        """A new car."""
        return SimulatedCar(spec, seed)


@pytest.fixture(scope="session")
def driver():
    """See ``Driver``."""
    return Driver
