"""Learning a person from taps. The people here are simulated with numpy alone, not with the tool's own person."""

import math

import numpy as np
import pytest

from tickover.errors import TimingError
from tickover.timing import Person
from tickover.timing.learn import FEWEST, Tap, learn
from tickover.timing.person import Counting

TARGETS = (0.5, 2.0, 6.0)


class Someone:
    """A person drawn at random, and the taps that they make; lapses are five times as wide, or gross."""

    def __init__(self, seed: int, *, counts: bool = False) -> None:
        self.rng = np.random.default_rng(seed)
        r = self.rng
        self.counts = counts
        self.true = {
            "bias": r.normal(0, 0.04),
            "scale": r.normal(0, 0.04),
            "cv": r.uniform(0.01, 0.03) if counts else math.exp(r.uniform(math.log(0.04), math.log(0.2))),
            "motor_sd": r.uniform(0.01, 0.045),
            "event_sd": r.uniform(0.02, 0.06),
            "lapse": r.uniform(0.0, 0.1),
            "count_sd": r.uniform(0.03, 0.08) if counts else 0.0,
            "lead": r.normal(-0.03, 0.03),
        }

    def sd(self, d: float) -> float:
        t = self.true
        return math.sqrt(t["motor_sd"] ** 2 + (t["cv"] * d) ** 2 + t["count_sd"] ** 2 * d)

    def off(self, sd: float, uncertainty: float = 0.0) -> float:
        wide = 5.0 if self.rng.random() < self.true["lapse"] else 1.0
        return wide * sd * self.rng.normal() + uncertainty * self.rng.normal()

    def taps(self, n: int = 40, cued: int = 16, targets=TARGETS, uncertainty: float = 0.0) -> list[Tap]:
        t = self.true
        made = []
        for k in range(n):
            d = targets[k % len(targets)]
            y = (1 + t["scale"]) * d + t["bias"] + self.off(self.sd(d), uncertainty)
            made.append(Tap(d, max(y, 0.02), off=uncertainty))
        beats = [
            Tap(float(k), k + t["lead"] + self.off(t["event_sd"], uncertainty), True, uncertainty) for k in range(cued)
        ]
        return made + beats


def shares_inside(people: range, *, counts: bool, told: bool) -> dict[str, tuple[int, int]]:
    """Of each figure, how many of the ranges told hold the truth, and how many were told; spreads beside them."""
    inside: dict[str, list[bool]] = {}
    for seed in people:
        someone = Someone(seed, counts=counts)
        model = "counted" if counts else "timed"
        found = learn(someone.taps(), model=model if told else None)
        told_of = {name: q for name, q in found.ranges().items() if q.kind == "quantity"}
        if found.model != model:
            told_of = {n: q for n, q in told_of.items() if n not in {"cv", "count_sd", "motor_sd"}}
        for name, q in told_of.items():
            inside.setdefault(name, []).append(q.lo <= someone.true[name] <= q.hi)
        for d in (1.0, 4.0):
            q = found.spread(d)
            inside.setdefault(f"spread {d}", []).append(q.lo <= someone.sd(d) <= q.hi)
    return {name: (sum(hits), len(hits)) for name, hits in inside.items()}


def test_ranges_cover_as_often_as_they_say_small() -> None:
    """Forty people: no figure's share lies further from 0.9 than chance allows once in a thousand."""
    for counts in (False, True):
        found = shares_inside(range(1000, 1020), counts=counts, told=True)
        assert {"bias", "scale", "event_sd", "lapse", "lead", "spread 1.0", "spread 4.0"} <= set(found)
        for name, (hits, n) in found.items():
            assert hits >= 0.9 * n - 3.3 * math.sqrt(0.09 * n), (name, hits, n)
        assert sum(h for h, _ in found.values()) >= 0.84 * sum(n for _, n in found.values())


@pytest.mark.soak
@pytest.mark.parametrize(("counts", "told"), [(False, True), (True, True), (False, False)])
def test_ranges_cover_85_to_95_per_cent_of_500_people(counts: bool, told: bool) -> None:
    found = shares_inside(range(500), counts=counts, told=told)
    for name, (hits, n) in found.items():
        if n >= 200:  # told of fewer people, the share itself is not known well enough
            assert 0.85 <= hits / n <= 0.95, (name, hits, n)
    assert len([n for _, n in found.values() if n >= 200]) >= 7


def test_a_plain_standard_deviation_is_off_by_two_where_one_tap_in_twenty_lapses() -> None:
    """A lapse here is a lost count: the interval comes out half as long again, or half."""
    rng = np.random.default_rng(4)
    naive, learned = [], []
    for _ in range(6):
        noise = 0.10 * rng.normal(size=60)
        noise[::20] += rng.choice([-0.6, 0.8], 3)
        taps = [Tap(d, d * (1 + e)) for d, e in zip([1.0, 3.0, 6.0] * 20, noise, strict=True)]
        naive.append(float(np.std([t.made / t.aimed - 1 for t in taps], ddof=1)))
        found = learn(taps, model="timed").cv
        assert found.kind == "quantity"
        learned.append(found.value)
        assert found.lo < 0.10 < found.hi * 1.1
    assert 1.6 < np.mean(naive) / 0.10 < 2.4
    assert np.mean(learned) == pytest.approx(0.10, rel=0.15)


def test_what_the_taps_do_not_tell_is_said() -> None:
    someone = Someone(7)
    long = learn(someone.taps(targets=(3.0, 9.0)))
    assert long.motor_sd.kind == "cannot tell"
    assert "short" in long.motor_sd.way_out
    one = learn(someone.taps(targets=(3.0,)))
    for name in ("cv", "bias", "scale", "motor_sd"):
        assert one.ranges()[name].kind == "cannot tell", name
    assert "second interval" in one.cv.way_out
    few = learn(someone.taps(n=FEWEST - 1, cued=FEWEST - 1))
    assert {few.cv.kind, few.event_sd.kind, few.bias.kind} == {"cannot tell"}
    bare = learn(someone.taps(cued=0))
    assert (bare.event_sd.kind, bare.cv.kind) == ("cannot tell", "quantity")
    cued_only = learn(someone.taps(n=0))
    assert (cued_only.event_sd.kind, cued_only.cv.kind) == ("quantity", "cannot tell")


def test_very_short_intervals_tell_the_movement() -> None:
    rng = np.random.default_rng(3)
    taps = [Tap(d, d + math.hypot(0.05 * d, 0.04) * rng.normal()) for d in [0.25, 6.0] * 40]
    found = learn(taps, model="timed")
    assert found.motor_sd.kind == "quantity"
    assert found.motor_sd.lo < 0.04 < found.motor_sd.hi


def test_the_uncertainty_of_the_key_is_not_taken_for_the_person() -> None:
    rng = np.random.default_rng(8)
    off = 0.06
    taps = [Tap(float(k), k + 0.03 * rng.normal() + off * rng.normal(), True, off) for k in range(150)]
    assert learn(taps).event_sd.hi < 0.06
    assert learn([Tap(t.aimed, t.made, True) for t in taps]).event_sd.lo > 0.05


def test_counting_is_told_from_timing_where_the_taps_tell() -> None:
    told = {False: [], True: []}
    for counts in told:
        for seed in range(4):
            someone = Someone(seed, counts=counts)
            someone.true |= {"motor_sd": 0.02, "lapse": 0.02}
            someone.true |= {"cv": 0.015, "count_sd": 0.045} if counts else {"cv": 0.13}
            told[counts].append(learn(someone.taps(n=120)).model)
    assert told[True].count("counted") >= 2
    assert "timed" not in told[True]
    assert told[False].count("timed") >= 2
    assert "counted" not in told[False]


def test_where_it_is_open_the_persons_drawn_are_of_both_sorts() -> None:
    found = next(f for s in range(40) if (f := learn(Someone(s).taps(n=24))).p_counted and f.model is None)
    assert found.cv.kind == "cannot tell"
    drawn = found.draws(np.random.default_rng(0), 500)
    assert {p.count_sd > 0 for p in drawn} == {True, False}
    share = sum(p.count_sd > 0 for p in drawn) / 500
    assert share == pytest.approx(found.p_counted, abs=0.08)


def test_the_same_taps_say_the_same_and_draws_are_the_ranges() -> None:
    taps = Someone(5).taps()
    a, b = learn(taps, model="timed"), learn(taps, model="timed")
    assert np.array_equal(a.posterior, b.posterior)
    assert a.person() == b.person()
    cvs = [p.cv for p in a.draws(np.random.default_rng(1), 1000)]
    assert np.quantile(cvs, [0.05, 0.95]) == pytest.approx([a.cv.lo, a.cv.hi], rel=0.06)


@pytest.mark.parametrize("bad", [(0.0, 1.0), (1.0, 0.0), (math.nan, 1.0), (1.0, math.inf), (-1.0, 1.0)])
def test_intervals_that_are_none_are_refused(bad: tuple[float, float]) -> None:
    with pytest.raises(TimingError):
        Tap(*bad)


def test_no_taps_and_taps_gone_quite_wrong() -> None:
    with pytest.raises(TimingError, match="without taps"):
        learn([])
    rng = np.random.default_rng(2)
    taps = [Tap(d, d * (1 + 0.08 * rng.normal())) for d in [0.5, 2.0, 6.0] * 14]
    wrong = [*taps, Tap(2.0, 900.0)]  # the telephone rang
    assert learn(wrong, model="timed").cv.value == pytest.approx(learn(taps, model="timed").cv.value, rel=0.1)


def test_counting_spreads_with_the_root_and_never_below_its_floor() -> None:
    counting = Counting(per_count_sd=0.05, pace_sd=0.0, motor_sd=0.0)
    assert counting.spread(9.0) == pytest.approx(0.15)
    assert Counting(count=0.5, per_count_sd=0.05, pace_sd=0.0, motor_sd=0.0).spread(8.0) == pytest.approx(
        math.sqrt(16) * 0.05 * 0.5
    )
    assert Counting().spread(1e6) / 1e6 == pytest.approx(0.02, rel=1e-3)
    assert Counting(scale=0.1, bias=0.2).mean(10.0) == pytest.approx(11.2)
    assert Person(cv=0.0, motor_sd=0.0, count_sd=0.05).spread(4.0) == pytest.approx(0.1)
    with pytest.raises(TimingError):
        Counting(count=0.0)
