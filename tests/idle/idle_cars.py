"""Recordings of invented idles, made without the code under test."""

import numpy as np
from scipy.signal import lfilter

from tickover.signals import Recording, Series


def wander(rng, n, sd, r):
    """A first-order process of that spread."""
    return sd * lfilter([1.0], [1.0, -r], rng.normal(size=n + 200) * np.sqrt(1 - r * r))[200:]


def idle(
    mean=700.0,
    sd=6.0,
    seconds=120.0,
    step=0.5,
    r=0.4,
    seed=1,
    coolant=88.0,
    pressure=28.0,
    leave_out=(),
    **change,
):
    """A minute or two of idle: the engine starts at 0 s after 5 s of key on.

    ``change`` replaces a signal by a function of time, or by None to leave it out.
    """
    rng = np.random.default_rng(seed)
    t = np.arange(-5.0, seconds, step)
    running = t >= 0
    signals = {
        "engine_speed": np.where(running, mean + wander(rng, len(t), sd, r), 0.0),
        "vehicle_speed": np.zeros(len(t)),
        "pedal_d": np.full(len(t), 16.08),
        "coolant_temperature": np.full(len(t), coolant),
        "short_trim_1": np.where(running, np.round(wander(rng, len(t), 2, 0.5) / 0.78125) * 0.78125, 0.0),
        "long_trim_1": np.full(len(t), -1.5625),
        "throttle_position": np.full(len(t), 15.7) + rng.choice([0, 0.4], len(t)),
        "manifold_pressure": np.round(pressure + rng.normal(size=len(t))),
    }
    for name, how in change.items():
        signals[name] = np.asarray(how(t, signals.get(name)), dtype=float)
    return Recording({n: Series.at(t, v) for n, v in signals.items() if n not in leave_out}, source="invented")
