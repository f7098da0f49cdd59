"""Load states on invented cars that the cuts were not set on: steps, scatter, dwell and polling of other sizes.

The figures in ``docs/why/load-states.md`` come from ``pytest -m soak -s`` on this file.
"""

import sys
from concurrent.futures import ProcessPoolExecutor
from itertools import pairwise

import numpy as np
import pytest
from idle_panel import first_order
from scipy.stats import binomtest

from tickover.idle import IdleReading, read_idle
from tickover.signals import Recording, Series

FINE = 0.02  # [s]
MEMORY = 0.8  # of the engine's answer to a load [s]


def loads(rng, seconds, kind):
    """Load by time, 0 or 1: none, half and half, or a compressor that cycles."""
    on = np.zeros(round(seconds / FINE))
    at, state = rng.uniform(20, 60), 0
    edges = []
    while at < seconds and kind != "none":
        edges.append(at)
        at += seconds if kind == "once" else rng.uniform(15, 60)
    for a, b in pairwise([*edges, seconds]):
        state = 1 - state
        on[round(a / FINE) : round(b / FINE)] = state
    return on


def a_log(rng, kind, seconds=300.0):
    """A warm idle with a load; its true means off and on [r/min], and the size of the step in throttle [%]."""
    on = loads(rng, seconds + 12, kind)
    n = len(on)
    t = np.arange(n) * FINE
    step = rng.uniform(1.2, 6.0)  # of throttle
    raises = rng.uniform(-40, 250)
    mean = rng.uniform(600, 900)
    alpha = FINE / MEMORY
    answer = np.empty(n)
    held = on[0]
    for i in range(n):  # first-order answer; a load that comes on also dips the speed for a moment
        held += alpha * (on[i] - held)
        answer[i] = held
    dip = -rng.uniform(0, 60) * np.convolve(np.diff(on, prepend=on[0]), np.exp(-np.arange(150) / 40), "full")[:n]
    speed = mean + raises * answer + dip + rng.uniform(3, 12) * first_order(rng, n, rng.choice([0.3, 1.0, 3.0]))
    throttle = 14 + step * on + rng.uniform(0.02, 0.15) * first_order(rng, n, 0.5)
    poll = rng.choice([0.2, 0.5, 1.0, 1.8])
    at = np.arange(rng.uniform(0, poll), seconds + 12, poll)
    index = np.minimum((at / FINE).astype(int), n - 1)
    grain = rng.choice([0.1, 100 / 255])  # as a byte encodes it
    late = np.minimum(index + int(rng.uniform(0, poll) / FINE), n - 1)  # throttle is asked at another moment
    flat = np.arange(0, seconds + 12, 2.0)
    recording = Recording(
        {
            "engine_speed": Series.at(at, np.round(4 * speed[index]) / 4),
            "throttle_position": Series.at(at + (late - index) * FINE, np.round(throttle[late] / grain) * grain),
            "vehicle_speed": Series.at(flat, np.zeros(len(flat))),
            "coolant_temperature": Series.at(flat, np.full(len(flat), 90.0)),
            "short_trim_1": Series.at(flat, rng.normal(0, 1.5, len(flat)) + 0.01),
            "long_trim_1": Series.at(flat, np.full(len(flat), -1.5625)),
        },
        simulated=True,
    )
    settled = t > 12
    truth = {s: float(speed[settled & (on == k)].mean()) for k, s in ((0, "loads off"), (1, "loads on"))
             if np.count_nonzero(settled & (on == k)) > 20 / FINE}  # fmt: skip
    return recording, truth, step, float(speed[settled].mean()), on


def judged(job):
    """What became of one log: whether it was told right, and each state's error [r/min]."""
    i, kind = job
    rng = np.random.default_rng([201, i])
    recording, truth, step, pooled, _ = a_log(rng, kind)
    found = read_idle(recording, rng)
    if not isinstance(found, IdleReading):
        return kind, step, False, [], []
    names = {s.name for s in found.states}
    right = names == ({"one load state"} if kind == "none" else {"loads off", "loads on"})
    off = [s.speed.value - truth[s.name] for s in found.states if s.name in truth]
    naive = [pooled - v for v in truth.values()] if kind != "none" else []
    return kind, step, right, off, naive


def run(n):
    jobs = [(i, ("none", "once", "cycles")[i % 3]) for i in range(n)]
    with ProcessPoolExecutor(2) as pool:
        return list(pool.map(judged, jobs, chunksize=10))


def rate(k, n):
    found = binomtest(k, n).proportion_ci(0.95, method="exact")
    return f"{k} of {n} ({found.low:.3f} to {found.high:.3f})", found.low, found.high


def test_load_states_of_cars_never_seen_before():
    told = [judged((i, ("none", "once", "cycles")[i % 3])) for i in range(24)]
    assert all(right for kind, step, right, _, _ in told if kind == "none")
    assert sum(right for kind, step, right, _, _ in told if kind != "none" and step > 2) >= 0.9 * sum(
        kind != "none" and step > 2 for kind, step, *_ in told
    )
    errors = np.abs([e for _, _, right, off, _ in told if right for e in off])
    naive = np.abs([e for _, _, _, _, off in told for e in off])
    assert np.median(errors) < 5 < np.median(naive)  # one pooled mean is what a naive reading gives


@pytest.mark.soak
def test_soak_load_states_out_of_sample():
    told = run(600)
    single, low, _ = rate(sum(r[2] for r in told if r[0] == "none"), sum(r[0] == "none" for r in told))
    sys.stdout.write(f"one load is told as one: {single}\n")
    assert low > 0.97
    for kind in ("once", "cycles"):
        for lo, hi in ((1.2, 2.0), (2.0, 6.0)):
            mine = [r for r in told if r[0] == kind and lo <= r[1] < hi]
            words, low, _ = rate(sum(r[2] for r in mine), len(mine))
            off = np.abs([e for r in mine if r[2] for e in r[3]])
            naive = np.abs([e for r in mine for e in r[4]])
            sys.stdout.write(
                f"load {kind}, step {lo} to {hi} %: both told {words}; error of the mean, median {np.median(off):.1f}, "
                f"95 % below {np.quantile(off, 0.95):.1f} r/min; pooled {np.median(naive):.0f}\n"
            )
            if lo >= 2:
                assert low > 0.9
                assert np.quantile(off, 0.95) < 15
