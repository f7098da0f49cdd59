"""Many at once say what one at a time says, to the last bit."""

import math
from collections import Counter as Tally

import numpy as np
import pytest
from timing_plans import pedal_count, random_prepared

from tickover.errors import TimingError
from tickover.timing import Judgement, Observation, Person, Plan, aims, judge, simulate_many
from tickover.timing.many import VERDICTS, ManyJudged, Sightings, judge_many, minimal_networks
from tickover.timing.network import close


def random_sightings(rng: np.random.Generator, plan: Plan, n: int) -> Sightings:
    """Attempts done roughly, brackets of all widths, events not seen, clocks off, watches that end, counts."""
    times = simulate_many(plan, aims(plan), Person(cv=0.1), rng, n)
    t = np.stack([times[e] for e in plan.events], axis=1)
    offset = np.stack([np.zeros(n), rng.choice([0.0, 0.0, 0.3], n)], axis=1)
    width = rng.choice([0.0, 0.02, 0.5], (n, 1)) * rng.random(t.shape)
    seen = t - offset[:, :1]
    lo, hi = seen - width * rng.random(t.shape), seen + width
    gone = rng.random(t.shape) < rng.choice([0.0, 0.2], (n, 1))
    lo[gone] = hi[gone] = math.nan
    order = np.argsort(np.argsort(np.where(gone, math.inf, seen), axis=1, kind="stable"), axis=1)
    swapped = rng.random(n) < 0.1  # the clock ran backwards
    order[swapped] = order[swapped][:, ::-1]
    last = np.nanmax(np.where(gone, 0.0, hi), axis=1)
    horizon = np.where(rng.random(n) < 0.5, last + rng.exponential(2.0, n), math.nan)
    counted = {}
    for k in plan.counters:
        least = np.maximum(0.0, (times[k.event] - times[k.start]) * rng.uniform(0.5, 1.05, n))
        counted[k.event] = np.stack([least, least + rng.choice([0.0, 0.4], n)], axis=1)
        counted[k.event][rng.random(n) < 0.3] = math.nan
    return Sightings(lo, hi, order, offset, horizon, counted)


def one(plan: Plan, s: Sightings, k: int) -> Judgement:
    assert s.order is not None
    assert s.offset is not None
    assert s.horizon is not None
    places = [j for j in np.argsort(s.order[k], kind="stable") if not math.isnan(s.t_lo[k, j])]
    return judge(
        plan,
        [Observation(plan.events[j], float(s.t_lo[k, j]), float(s.t_hi[k, j])) for j in places],
        clocks={"main": (float(s.offset[k, 0]), float(s.offset[k, 1]))},
        horizon=None if math.isnan(s.horizon[k]) else float(s.horizon[k]),
        counted={e: (float(c[k, 0]), float(c[k, 1])) for e, c in s.counted.items() if not math.isnan(c[k, 0])},
    )


def compare(found: ManyJudged, single: Judgement, k: int) -> None:
    assert VERDICTS[found.verdict[k]] == single.verdict
    assert VERDICTS[found.joint[k]] == single.joint
    assert [VERDICTS[code] for code in found.bounds[k]] == [b.verdict for b in single.bounds]
    assert found.lo[k].tolist() == [b.lo for b in single.bounds]
    assert found.hi[k].tolist() == [b.hi for b in single.bounds]
    assert found.at_odds[k] == ("contradict" in single.reason)


def check(rng: np.random.Generator, plans: int, each: int) -> Tally[str]:
    told: Tally[str] = Tally()
    for k in range(plans):
        plan = pedal_count() if k % 10 == 0 else random_prepared(rng, counter=0.4).plan
        seen = random_sightings(rng, plan, each)
        found = judge_many(plan, seen)
        for i in range(each):
            single = one(plan, seen, i)
            compare(found, single, i)
            alone = single.joint == "missed" and all(b.verdict != "missed" for b in single.bounds)
            told[single.verdict] += 1
            told["only together"] += alone
            told["at odds"] += bool(found.at_odds[i])
    return told


def test_many_attempts_are_judged_as_one_at_a_time() -> None:
    told = check(np.random.default_rng(5), 40, 20)
    assert min(told[v] for v in ("hit", "missed", "undecided")) > 50, told
    assert told["only together"] > 0, told
    assert told["at odds"] > 20, told


@pytest.mark.soak
def test_thousands_of_attempts_are_judged_as_one_at_a_time() -> None:
    check(np.random.default_rng(6), 600, 25)


def test_where_no_order_is_given_it_is_that_of_the_brackets() -> None:
    plan = pedal_count()
    times = simulate_many(plan, aims(plan), Person(), np.random.default_rng(1), 50)
    t = np.stack([times[e] for e in plan.events], axis=1)
    found = judge_many(plan, Sightings(t, t))
    for k in range(50):
        observations = [Observation(plan.events[j], t[k, j], t[k, j]) for j in np.argsort(t[k], kind="stable")]
        compare(found, judge(plan, observations), k)


def test_nothing_seen_of_no_attempts_is_no_error() -> None:
    plan = pedal_count()
    none = np.empty((0, len(plan.events)))
    assert judge_many(plan, Sightings(none, none)).verdict.shape == (0,)


def test_shapes_and_brackets_that_do_not_fit_are_refused() -> None:
    plan = pedal_count()
    t = np.zeros((3, len(plan.events)))
    for wrong in (
        Sightings(t[:, :-1], t[:, :-1]),
        Sightings(t + 1, t),
        Sightings(t, np.where(t == 0, np.nan, t)),
        Sightings(t, t, offset=np.array([[1.0, 0.0]] * 3)),
        Sightings(t, t, horizon=np.zeros(2)),
        Sightings(t, t, counted={"up": np.zeros((3, 3))}),
    ):
        with pytest.raises(TimingError):
            judge_many(plan, wrong)


def test_many_networks_are_closed_as_one_at_a_time() -> None:
    rng = np.random.default_rng(9)
    lengths = np.where(rng.random((200, 12, 12)) < 0.3, rng.uniform(-1, 6, (200, 12, 12)), math.inf)
    lengths[:, range(12), range(12)] = 0.0
    closed, sound = minimal_networks(lengths)
    assert 20 < sound.sum() < 180
    for k in range(200):
        alone = close(lengths[k])
        assert sound[k] == (alone.diagonal().min() >= -1e-9)
        if sound[k]:
            assert np.array_equal(closed[k], alone)
    with pytest.raises(TimingError):
        minimal_networks(lengths[0])
