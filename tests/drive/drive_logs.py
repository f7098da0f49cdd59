"""Invented drives for the tests of the drive room."""

import numpy as np

from tickover.signals import Recording, Series


def log(t, *, engine=None, speed=None, coolant=None, pedal=None, bracket=0.0, source="invented.csv", **more):
    """A recording whose readings come at ``t``; each was measured at most ``bracket`` before."""
    t = np.asarray(t, dtype=float)
    named = {"engine_speed": engine, "vehicle_speed": speed, "coolant_temperature": coolant, "pedal_d": pedal, **more}
    series = {
        name: Series.of(t - bracket, t, np.broadcast_to(np.asarray(value, dtype=float), t.shape))
        for name, value in named.items()
        if value is not None
    }
    return Recording(series, source=source, simulated=True)


def ramp(t, *corners):
    """A speed through corners (instant, speed), straight between."""
    at, value = zip(*corners, strict=True)
    return np.interp(t, at, value)


def mock_drive():
    """24:30 of driving: a cruise of 2:41 at 80 km/h or more, lost at 12:04 when the speed falls to 79.6."""
    t = np.arange(0.0, 1471.0)
    speed = ramp(
        t, (0, 0), (50, 0), (60, 35), (120, 35), (130, 0), (155, 0), (170, 52), (250, 53), (300, 0), (330, 0),
        (400, 54), (430, 60), (562, 79), (1050, 79), (1060, 30), (1080, 57), (1310, 40), (1340, 0), (1470, 0),
    )  # fmt: skip
    speed[563:724] = 85.0
    speed[724] = 79.6
    speed[725:900] = 70.0
    engine = np.where((t >= 1) & (t < 1465), 900.0, 0.0)
    return log(t, engine=engine, speed=speed, coolant=np.minimum(88.0, 20 + 0.12 * t), run_time=np.maximum(0, t - 1))
