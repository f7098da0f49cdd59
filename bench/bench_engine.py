"""Speed of the simulated car: one car against real time, and a batch in car-seconds per second, on one core."""

from __future__ import annotations

from bench.common import Row, median_time

from tickover.engine import Cars, CarSpec, Inputs, SimulatedCar

ONE_LIMIT = 20.0
"""Times real time for one car with recording on; the design's budget."""
BATCH_LIMIT = 5_000.0
"""Car-seconds per second in batches; the design's budget."""
BATCH = 200


def rows() -> list[Row]:
    """Both budgets, each idling warm; the single car records at 10 Hz as the demo does."""
    one = _one_car()
    batch = _batch()
    return [
        Row("simulated car, one, recording at 10 Hz", one, None, "", ONE_LIMIT, "× real time", one >= ONE_LIMIT),
        Row(f"simulated cars, {BATCH} at once", batch, None, "", BATCH_LIMIT, "car-s/s", batch >= BATCH_LIMIT),
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


if __name__ == "__main__":
    for row in rows():
        print(f"{row.what}: {row.ours:,.0f} {row.unit}, limit {row.limit:,.0f}, {'kept' if row.ok else 'MISSED'}")
