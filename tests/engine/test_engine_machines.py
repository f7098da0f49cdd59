"""Families that run the engine, at the machine watching for each: inside every window taken, outside one refused."""

from dataclasses import replace

import numpy as np
import pytest

from tickover.engine import ENTRIES
from tickover.engine.watch import machine
from tickover.engine.windows import State, margin

CALM = State(running=True, shut=True, speed=750, coolant=88, fan=False, loaded=False, geared=False, road=0)


class Watched:
    """A machine with a clock: ``let`` shows it one state for so long, ``edge`` tells it."""

    def __init__(self, family, seed=1):
        self.machine = machine(ENTRIES[family], 0.0, np.random.default_rng(seed))
        self.t = 0.0
        self.said = []

    def let(self, seconds, **state):
        end = self.t + seconds
        while self.t + 0.2 <= end:
            self.t += 0.2
            self.said += self.machine.tick(self.t) + self.machine.sample(self.t, replace(CALM, **state))
        self.t = end
        self.said += self.machine.tick(self.t)

    def edge(self, *kinds):
        for kind in kinds:
            if kind in self.machine.hears:
                self.said += self.machine.edge(kind, self.t)

    def outcomes(self):
        return [a.text for a in self.said if a.what == "outcome"]


def _run_in(w, idle=600, each=(100, 100, 100), pause=10, coolant=88.0, blip=0.0):
    w.edge("on", "crank", "running")
    if blip:
        w.let(300)
        w.let(blip, shut=False)
        w.let(idle - 300 - blip)
    else:
        w.let(idle, coolant=coolant)
    for k, length in enumerate(each):
        w.edge("load on")
        w.let(length, loaded=True)
        w.edge("load off")
        w.let(pause if k + 1 < len(each) else 3)
    w.edge("off")


def _fast(w, speed=3000.0, held=60, idle=300, fan_every=0, load=False, hot=95.0):
    w.edge("on", "crank", "running")
    w.let(held, shut=False, speed=speed, coolant=80)
    w.let(3, shut=False, speed=speed, coolant=hot, fan=hot > 94)
    w.let(20, fan=hot > 94)
    for k in range(int(idle // 10)):
        w.let(10, loaded=load and k == 5)
        if fan_every and k % fan_every == 0:
            w.let(20, fan=True)
    w.edge("off")


def _rest(w, idle=180.0, off=60.0, again=180.0, start=3.0, disturb=None):
    w.edge("on", "crank", "running")
    w.let(60)
    if disturb:
        w.let(1, **disturb)
    w.let(idle - 60 - bool(disturb))
    w.edge("off", "stopped")
    w.t += off
    w.edge("on")
    w.t += start
    w.edge("crank", "running")
    w.let(again)
    w.edge("off")


def _drive(w, idle=180.0, off=60.0, again=180.0, road=80.0, fast=240, coasts=3, stand=70):
    w.edge("on", "crank", "running")
    w.let(idle)
    w.edge("off", "stopped")
    w.t += off
    w.edge("on", "crank", "running")
    w.let(again)
    for _ in range(coasts):
        w.let(fast / 3, shut=False, road=road, speed=2200)
        w.let(6, road=road - 3, speed=2000)
    if not coasts:
        w.let(fast, shut=False, road=road, speed=2200)
    w.let(stand)
    w.edge("off")


def _loads(w, on=(5, 15, 5, 15, 3), coolant=88.0, times=(10, 10, 10), brake=True, neutral_first=False, lift=False):
    for k, seconds in enumerate(on):
        w.edge("off" if k % 2 else "on")
        w.t += seconds
    w.edge("crank", "running")
    w.let(60, coolant=coolant)
    w.edge("compressor on")
    w.let(times[0], loaded=True)
    if brake:
        w.edge("brake press")
    w.edge("gear drive")
    w.let(times[1] / 2, geared=True, loaded=True)
    if lift:
        w.edge("brake release", "brake press")
    w.let(times[1] / 2, geared=True, loaded=True)
    w.edge(*(("gear neutral", "compressor off") if neutral_first else ("compressor off",)))
    w.let(times[2], geared=True)
    w.edge("gear neutral", "brake release", "off")


LONG = {
    "run-in-idle": _run_in,
    "fast-run-in": _fast,
    "rest-and-idle": _rest,
    "drive-in": _drive,
    "loads-in-turn": _loads,
}
TAKEN = [
    *(("run-in-idle", w) for w in ({}, {"idle": 545}, {"idle": 718}, {"each": (120, 100)}, {"each": (140, 140, 139)})),
    *(("fast-run-in", w) for w in ({}, {"speed": 2500}, {"speed": 3500}, {"idle": 290}, {"fan_every": 6})),
    *(("fast-run-in", w) for w in ({"hot": 91.0}, {"held": 25})),
    *(("rest-and-idle", w) for w in ({}, {"idle": 171}, {"off": 50}, {"off": 80}, {"again": 172}, {"idle": 900})),
    *(("drive-in", w) for w in ({}, {"road": 74}, {"fast": 160}, {"stand": 52}, {"again": 400})),
    *(("loads-in-turn", w) for w in ({}, {"times": (7, 7, 7)}, {"times": (13, 13, 13)}, {"on": (3, 12, 8, 20, 1)})),
]
REFUSED = [
    *(("run-in-idle", w) for w in ({"idle": 533}, {"idle": 730}, {"each": (110, 107)}, {"each": (250, 100)})),
    *(("run-in-idle", w) for w in ({"each": (230,)}, {"pause": 30.2}, {"blip": 1}, {"coolant": 70.0}, {"each": ()})),
    *(("fast-run-in", w) for w in ({"speed": 2400}, {"speed": 3600}, {"held": 6}, {"idle": 280}, {"load": True})),
    *(("fast-run-in", w) for w in ({"hot": 88.0}, {"idle": 280, "fan_every": 6})),
    *(("rest-and-idle", w) for w in ({"idle": 169}, {"off": 49.8}, {"off": 81}, {"again": 169}, {"start": 30.2})),
    *(("rest-and-idle", {"disturb": d}) for d in ({"shut": False}, {"loaded": True}, {"geared": True})),
    *(("drive-in", w) for w in ({"idle": 169}, {"off": 49.8}, {"again": 169}, {"road": 69}, {"fast": 125})),
    *(("drive-in", w) for w in ({"coasts": 2}, {"coasts": 0}, {"stand": 45})),
    *(("loads-in-turn", w) for w in ({"coolant": 80.0}, {"brake": False}, {"neutral_first": True}, {"lift": True})),
    *(("loads-in-turn", {"times": t}) for t in ((6.8, 10, 10), (13.2, 10, 10), (10, 6.8, 10), (10, 10, 13.2))),
    *(("loads-in-turn", {"on": t}) for t in ((5, 11.8, 5, 15, 3), (5, 15, 2.8, 15, 3), (5, 15, 5, 20.2, 3), (5,))),
]


@pytest.mark.parametrize(("family", "way"), TAKEN)
def test_a_run_in_inside_its_windows_is_written(family, way):
    w = Watched(family)
    LONG[family](w, **way)
    assert w.outcomes() == ["written"]


@pytest.mark.parametrize(("family", "way"), REFUSED)
def test_a_run_in_outside_one_leaves_nothing(family, way):
    w = Watched(family)
    LONG[family](w, **way)
    assert "written" not in w.outcomes()
    provisional = [a.what for a in w.said if a.what in ("write", "restore")]
    assert provisional in ([], ["write", "restore"])


@pytest.mark.parametrize(("family", "way"), [("rest-and-idle", {"idle": 170.1}), ("run-in-idle", {"idle": 537.0})])
def test_nothing_is_promised_within_the_margin_of_a_long_time(family, way):
    seen = []
    for seed in range(40):
        w = Watched(family, seed)
        LONG[family](w, **way)
        seen.append("written" in w.outcomes())
    assert 5 < sum(seen) < 35


def test_the_margin_grows_with_a_long_bound():
    assert [margin(b) for b in (1, 33, 60, 180, 600)] == pytest.approx([0.1, 0.1, 0.6, 1.8, 6.0])
