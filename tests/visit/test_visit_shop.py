"""What a shop learns from its own jobs."""

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from scipy import stats as scipy_stats

from tickover.arrival import answers_of, build_ladder, stops, story
from tickover.arrival.candidates import ShopRate
from tickover.errors import InputError
from tickover.jobs.entries import Entry
from tickover.results import CannotTell, Quantity
from tickover.routines import load_library
from tickover.visit import KindOfCar, kind_of_car, learn, outcomes
from tickover.visit.shop import minutes_by_stage

BEGAN = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)
UNTIL = BEGAN + timedelta(days=100)
LIBRARY = load_library()
TOLD = ("arrive", "answers", {"throttle": "electronic"}), ("arrive", "story", {"story": "old memory on a clean bore"})
KIND = KindOfCar(throttle="electronic", metering="air meter", story="old memory on a clean bore")
CAR = ("arrive", "car", {"metering": "air meter", "throttle": "cable"})


def job(*rows, step=5.0, begun=BEGAN, simulated=False):
    return [
        Entry(seq=n, stage=stage, kind=kind, data=data, simulated=simulated,
              at=(begun + timedelta(minutes=step * n)).isoformat())
        for n, (stage, kind, data) in enumerate(rows, start=1)
    ]  # fmt: skip


def attempt(verdict, routine="pedal-hold"):
    return ("relearn", "attempt", {"routine": routine, "verdict": verdict})


def after(verdict):
    return ("after", "comparison", {"verdict": verdict})


def endings(*rows, **how):
    return [(o.routine, o.ending, o.tries) for o in outcomes({"1": job(CAR, *TOLD, *rows)}, UNTIL, **how)]


def test_the_kind_of_car_goes_by_the_questions_before_the_free_words():
    assert kind_of_car(job(CAR, *TOLD)) == KIND
    assert KIND.words == "electronic throttle, air meter, old memory on a clean bore"
    assert kind_of_car([]) == KindOfCar()


@pytest.mark.parametrize(
    ("rows", "found"),
    [
        ([], []),
        ([attempt("hit"), after("settled")], [("pedal-hold", "success", 1)]),
        ([attempt("missed"), attempt("hit"), after("settled")], [("pedal-hold", "success", 2)]),
        ([attempt("undecided"), after("better")], [("pedal-hold", "no effect", 1)]),
        ([attempt("missed")] * 3, [("pedal-hold", "no effect", 3)]),
        ([attempt("missed"), attempt("hit")], [("pedal-hold", "cannot tell", 1)]),
        ([attempt("hit"), after("cannot tell")], [("pedal-hold", "cannot tell", 0)]),
        ([attempt("hit"), after("cannot tell"), after("settled")], [("pedal-hold", "success", 1)]),
        ([attempt("hit"), after("no change"), attempt("hit", "power-cycle"), after("settled")],
         [("pedal-hold", "no effect", 1), ("power-cycle", "success", 1)]),
        # nobody measured between the two: which one of them worked is not known of the first
        ([attempt("hit"), attempt("hit", "power-cycle"), after("settled")],
         [("pedal-hold", "cannot tell", 0), ("power-cycle", "success", 1)]),
        ([attempt("hit"), after("worse"), ("cause", "repair", {}), attempt("hit"), after("settled")],
         [("pedal-hold", "no effect", 1), ("pedal-hold", "success", 1)]),
        ([attempt("hit"), after("settled"), ("arrive", "relapse", {})], [("pedal-hold", "relapse", 1)]),
    ],
)  # fmt: skip
def test_what_came_of_each_round(rows, found):
    assert endings(*rows) == found


def test_what_only_prepares_is_not_counted():
    rows = [attempt("hit", "pedal-rest"), attempt("hit"), after("settled")]
    assert endings(*rows, preparing={"pedal-rest"}) == [("pedal-hold", "success", 1)]


def test_invented_cars_are_left_out_and_later_entries_are_not_looked_at():
    rows = (CAR, *TOLD, attempt("hit"), after("settled"))
    assert outcomes({"1": job(*rows, simulated=True)}, UNTIL) == []
    assert len(outcomes({"1": job(*rows, simulated=True)}, UNTIL, simulated=True)) == 1
    early = outcomes({"1": job(*rows)}, BEGAN + timedelta(minutes=21))
    assert [o.ending for o in early] == ["cannot tell"]


def test_a_relapse_in_a_later_job_is_laid_to_the_earlier_one():
    first = job(CAR, *TOLD, attempt("hit"), after("settled"))
    second = job(("arrive", "relapse", {"of": "1"}), begun=BEGAN + timedelta(days=10))
    found = outcomes({"1": first, "2": second}, UNTIL)
    assert [o.ending for o in found] == ["relapse"]
    assert found[0].days == pytest.approx(10, abs=0.05)
    alone = outcomes({"1": first}, UNTIL)
    assert alone[0].days == pytest.approx(100, abs=0.05)


def test_corrections_are_applied_before_counting():
    rows = job(CAR, *TOLD, attempt("hit"), after("settled"))
    wrong = Entry(seq=6, stage="after", kind="comparison", at=rows[-1].at, corrects=5, data={"verdict": "no change"})
    assert [o.ending for o in outcomes({"1": [*rows, wrong]}, UNTIL)] == ["no effect"]


def test_times_need_an_offset():
    with pytest.raises(InputError, match="no offset"):
        outcomes({}, datetime(2026, 1, 1))
    bad = Entry(seq=1, stage="arrive", kind="car", at="yesterday")
    with pytest.raises(InputError, match="entry 1 has no time"):
        outcomes({"1": [bad]}, UNTIL)


def test_minutes_leave_nights_out():
    rows = job(CAR, *TOLD, attempt("hit"), step=7)
    night = Entry(seq=5, stage="after", kind="reading", at=(BEGAN + timedelta(hours=20)).isoformat())
    then = Entry(seq=6, stage="after", kind="comparison", at=(BEGAN + timedelta(hours=20, minutes=4)).isoformat())
    assert minutes_by_stage([*rows, night, then]) == {"arrive": 14.0, "relearn": 7.0, "after": 4.0}


def test_nothing_counted_leaves_the_ladder_as_it_was():
    found = learn([], KIND, LIBRARY)
    assert found.jobs == 0
    assert "No job" in found.sentence
    assert set(found.routines) == set(LIBRARY) - {"pedal-rest", "throttle-stop"}
    hold = found.routines["pedal-hold"]
    assert hold.rate.lo < 0.06
    assert hold.rate.hi > 0.94
    assert (hold.counts.successes, hold.counts.tries) == (0, 0)
    assert isinstance(found.relapses, CannotTell)
    assert isinstance(found.minutes["drive"], CannotTell)
    assert ladder(found.rates) == ladder(None)


def ladder(rates):
    answers = answers_of(
        ["danger=none", "drive=petrol", "lamp=dark", "codes=none", "complaint=high", "before=cleaned", "misfire=no",
         "throttle=electronic", "leak=no", "bore=clean", "screws=untouched", "battery=healthy", "switch=key",
         "gearbox=manual"]
    )  # fmt: skip
    return build_ladder(answers, stops(answers), story(answers), LIBRARY, rates)


def shop_of(counts):
    """Jobs on one kind of car each: (throttle story, worked, rounds)."""
    jobs = {}
    for name, worked, rounds in counts:
        told = ("arrive", "story", {"story": name})
        for n in range(rounds):
            rows = (CAR, TOLD[0], told, attempt("hit"), after("settled" if n < worked else "no change"))
            jobs[f"{name} {n}"] = job(*rows, step=2 + n % 3)
    return jobs


def test_counts_reach_the_ladder_with_their_words():
    found = learn(outcomes(shop_of([(KIND.story, 9, 10), ("dirty bore", 4, 8)]), UNTIL), KIND, LIBRARY)
    hold = found.routines["pedal-hold"]
    assert (hold.worked, hold.rounds, hold.worked_anywhere, hold.rounds_anywhere) == (9, 10, 13, 18)
    assert 9 / 10 > hold.rate.value > 13 / 18
    rung = next(r for r in ladder(found.rates).rungs if r.routine == "pedal-hold")
    bare = next(r for r in ladder(None).rungs if r.routine == "pedal-hold")
    assert rung.minutes.value < bare.minutes.value
    assert rung.minutes.hi - rung.minutes.lo < bare.minutes.hi - bare.minutes.lo
    assert any("worked in 9 of 10 jobs on this kind of car, and in 13 of 18 on all kinds" in w for w in rung.why)
    assert found.jobs == 18
    assert "the intervals are wide" in found.sentence


def test_few_jobs_say_how_few():
    found = learn(outcomes(shop_of([(KIND.story, 1, 2)]), UNTIL), KIND, LIBRARY)
    assert "1 of 2 jobs on this kind of car" in found.routines["pedal-hold"].sentence
    assert "Few: the range is wide." in found.routines["pedal-hold"].sentence
    assert "2 jobs of this shop: the intervals are wide" in found.sentence
    minutes = found.minutes["relearn"]
    assert isinstance(minutes, Quantity)
    assert (minutes.lo, minutes.hi) == (None, None)


def test_counts_that_cannot_be_are_refused_by_the_ladder():
    with pytest.raises(InputError, match="3 successes of 2 tries"):
        ladder({"pedal-hold": ShopRate(successes=3, tries=2)})


STORIES = ("old memory on a clean bore", "lost memory on a clean bore", "dirty bore", "stops not learned")


def _simulated(rng, jobs=60, relapses_a_day=0.0):
    """A shop whose jobs come from known chances: the entries, and the chance of each story."""
    mean = rng.uniform(0.3, 0.85)
    truth = dict(zip(STORIES, rng.beta(6 * mean, 6 * (1 - mean), 4), strict=True))
    record = {}
    for n in range(jobs):
        name = STORIES[int(rng.choice(4, p=[0.55, 0.25, 0.15, 0.05]))]
        works = rng.random() < truth[name]
        rows = [CAR, TOLD[0], ("arrive", "story", {"story": name}), attempt("hit"),
                after("settled" if works else "no change")]  # fmt: skip
        entries = job(*rows, begun=BEGAN + timedelta(days=float(rng.uniform(0, 60))))
        if works and relapses_a_day:
            back = datetime.fromisoformat(entries[-1].at) + timedelta(days=rng.exponential(1 / relapses_a_day))
            entries.append(Entry(seq=6, stage="arrive", kind="relapse", at=back.isoformat()))
        record[str(n)] = entries
    return record, truth


def _learned(shops, seed):
    """How often the 90 % hold the truth, of how many, and squared errors pooled and alone."""
    rng = np.random.default_rng(seed)
    inside, pooled, alone = 0, [], []
    for _ in range(shops):
        record, truth = _simulated(rng)
        found = outcomes(record, UNTIL)
        for name, chance in truth.items():
            kind = KIND.model_copy(update={"story": name})
            rate = learn(found, kind, {"pedal-hold": LIBRARY["pedal-hold"]}).routines["pedal-hold"]
            inside += rate.rate.lo <= chance <= rate.rate.hi
            pooled.append((rate.rate.value - chance) ** 2)
            alone.append((rate.alone.value - chance) ** 2)
    return inside, len(pooled), float(np.mean(pooled)), float(np.mean(alone))


def test_a_simulated_shop_is_learned():
    inside, cases, pooled, alone = _learned(6, 11)
    assert inside / cases > 0.75
    assert pooled < 1.2 * alone


def _watched(shops, seed, a_day=1 / 150):
    rng = np.random.default_rng(seed)
    found = (outcomes(_simulated(rng, relapses_a_day=a_day)[0], UNTIL) for _ in range(shops))
    rates = [learn(one, KIND, {}).relapses for one in found]
    return sum(r.lo <= 100 * a_day <= r.hi for r in rates)


def test_relapses_of_a_simulated_shop_are_counted_against_their_time_at_risk():
    assert _watched(12, 13) >= 8


@pytest.mark.soak
def test_many_simulated_shops_are_learned():
    inside, cases, pooled, alone = _learned(250, 12)
    low, high = (scipy_stats.beta.ppf(q, inside / 2 + 1, (cases - inside) / 2 + 1) for q in (0.025, 0.975))
    assert low > 0.85, (inside, cases, low, high)
    assert high < 0.95, (inside, cases, low, high)
    assert pooled < 0.9 * alone, (pooled, alone)
    assert _watched(300, 14) > 0.86 * 300
