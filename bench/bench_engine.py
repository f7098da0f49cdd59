"""Speed of the simulated car: one car against real time, and a batch in car-seconds per second, on one core."""

from __future__ import annotations

import numpy as np
from bench.common import Row, median_time

from tickover.engine import FAULTS, POINTS, CarArrays, Cars, CarSpec, Inputs, SimulatedCar, population, predict

ONE_LIMIT = 20.0
"""Times real time for one car with recording on; the design's budget."""
BATCH_LIMIT = 5_000.0
"""Car-seconds per second in batches; the design's budget."""
SOLVED_LIMIT = 20.0
"""A settled point solved, over the same cars stepped for the two minutes that settling takes. Own choice."""
BATCH = 200


def rows() -> list[Row]:
    """Both budgets, idling warm (the single car records at 10 Hz as the demo does), and every fault on the road."""
    one = _one_car()
    batch = _batch()
    faulty = _faulty()
    solved = _solved()
    return [
        Row("simulated car, one, recording at 10 Hz", one, None, "", ONE_LIMIT, "× real time", one >= ONE_LIMIT),
        Row(f"simulated cars, {BATCH} at once", batch, None, "", BATCH_LIMIT, "car-s/s", batch >= BATCH_LIMIT),
        Row(f"… all faults, {BATCH} on the road", faulty, None, "", BATCH_LIMIT, "car-s/s", faulty >= BATCH_LIMIT),
        Row("steady prediction over stepping 2 min", solved, None, "", SOLVED_LIMIT, "×", solved >= SOLVED_LIMIT),
    ]


def _one_car(seconds: float = 20.0) -> float:
    car = SimulatedCar(CarSpec())
    car.do("ignition on")
    car.do("crank")
    car.advance(5.0)
    car.record(0.1, 0.01)
    return seconds / median_time(lambda: car.advance(seconds))


def _batch(seconds: float = 5.0) -> float:
    cars = Cars([CarSpec(noise_seed=k) for k in range(BATCH)])
    inputs = Inputs.idle(BATCH)
    inputs.crank[:] = True
    cars.step(inputs, 5.0)
    return BATCH * seconds / median_time(lambda: cars.step(None, seconds))


def _mixed() -> list[CarSpec]:
    rates = dict.fromkeys(FAULTS, 1 / len(FAULTS))
    return [one.spec for one in population(BATCH, np.random.default_rng(1), rates)]


def _faulty(seconds: float = 5.0) -> float:
    cars = Cars(_mixed())
    inputs = Inputs.idle(BATCH)
    inputs.crank[:] = True
    cars.step(inputs, 8.0)
    for k in np.flatnonzero(cars.running):
        cars.drive(int(k), 60 / 3.6)
    return BATCH * seconds / median_time(lambda: cars.step(None, seconds))


def _solved() -> float:
    arrays, cars = CarArrays.of(_mixed()), Cars(_mixed())
    inputs = Inputs.idle(BATCH)
    inputs.crank[:] = True
    cars.step(inputs, 5.0)
    stepped = 120 * median_time(lambda: cars.step(None, 1.0))
    return stepped / median_time(lambda: predict(arrays, POINTS["idle"]))


if __name__ == "__main__":
    for row in rows():
        print(f"{row.what}: {row.ours:,.0f} {row.unit}, limit {row.limit:,.0f}, {'kept' if row.ok else 'MISSED'}")
