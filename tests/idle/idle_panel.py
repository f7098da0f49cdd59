"""A panel of invented idles with known truth, made without the code under test.

One log in six breaks what the methods assume: falls from which it recovers, heavy tails, a fan that cycles, and with
the falls a hunt that is no sine.
"""

from dataclasses import dataclass

import numpy as np
from scipy.signal import lfilter

from tickover.signals import Recording, Series

FINE = 0.02  # the engine's own time step [s]
PLAIN, ODD = ("plain",), ("kicks", "tails", "fan")


@dataclass(frozen=True)
class Car:
    """How one engine idles [r/min, s]."""

    mean: float
    sd: float
    memory: float
    slow: float
    odd: str
    hunts: float = 0.0
    at: float = 0.5


def a_car(rng, **fixed):
    """Any engine; ``fixed`` overrides."""
    drawn = {
        "mean": rng.uniform(600, 950),
        "sd": rng.uniform(4, 14),
        "memory": rng.choice([0.3, 1.0, 3.0]),
        "slow": rng.uniform(0, 3),
        "odd": str(rng.choice(ODD)) if rng.random() < 1 / 6 else "plain",
    }
    return Car(**{**drawn, **fixed})


def first_order(rng, n, memory):
    """Unit wander of that memory on the fine grid."""
    r = np.exp(-FINE / memory)
    return (
        lfilter([1.0], [1.0, -r], rng.normal(size=n + 2000) * np.sqrt(1 - r * r))[2000:]
        if memory < 30
        else (lfilter([1.0], [1.0, -r], rng.normal(size=n) * np.sqrt(1 - r * r), zi=[rng.normal() * r])[0])
    )


def engine(rng, car, seconds):
    """Engine speed on the fine grid from 0 s."""
    n = round(seconds / FINE)
    t = np.arange(n) * FINE
    x = car.mean + car.sd * first_order(rng, n, car.memory) + car.slow * first_order(rng, n, 25.0)
    if car.odd == "kicks":  # about one fall in 40 s that recovers in 2 s
        kicks = (rng.random(n) < FINE / 40) * rng.uniform(20, 60, n)
        fall = lfilter([1.0], [1.0, -np.exp(-FINE / 0.7)], kicks)
        x += fall.mean() - fall
    elif car.odd == "tails":
        x += car.sd * rng.standard_t(3, n) / 2
    elif car.odd == "fan":  # a whole number of fan cycles, so that the mean is what it was
        x += 6 * np.sign(np.sin(2 * np.pi * np.arange(n) / n * max(1, round(seconds / 110))))
    if car.hunts:
        phase = 2 * np.pi * car.at * t + 0.05 * np.cumsum(rng.normal(size=n)) * np.sqrt(FINE / 0.1)
        swing = np.sin(phase)
        x += car.hunts * (swing if car.odd != "kicks" else 1.2 * np.tanh(1.5 * swing))
    return t, x


def polls(rng, how, seconds):
    """Instants of measurement: ``10 Hz``, ``1 Hz``, ``1.8 s`` even; ``uneven`` about twice a second."""
    if how == "uneven":
        t = np.cumsum(rng.uniform(0.3, 0.8, round(seconds / 0.3)))
    else:
        step = {"10 Hz": 0.1, "2 Hz": 0.5, "1 Hz": 1.0, "1.8 s": 1.8}[how]
        t = np.arange(rng.uniform(0, step), seconds, step)
    return t[t < seconds]


def a_log(rng, car, *, how="2 Hz", seconds=180.0):
    """The log of a warm idle, ten seconds after the start and on, to quarter turns."""
    total = seconds + 12
    t, x = engine(rng, car, total)
    at = polls(rng, how, total)
    speed = np.round(4 * np.interp(at, t, x)) / 4
    other = np.arange(0, total, 2.0)
    return Recording(
        {
            "engine_speed": Series.at(at, speed),
            "vehicle_speed": Series.at(other, np.zeros(len(other))),
            "coolant_temperature": Series.at(other, 88 + np.round(3 * np.sin(other / 17))),
            "short_trim_1": Series.at(other, np.round(rng.normal(0, 1.5, len(other)) / 0.78125) * 0.78125 + 0.01),
            "long_trim_1": Series.at(other, np.full(len(other), -1.5625)),
            "manifold_pressure": Series.at(other, np.round(28 + rng.normal(0, 0.6, len(other)))),
        },
        simulated=True,
    )
