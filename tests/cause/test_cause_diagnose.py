"""Laws of the reasoning about causes."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import ValidationError

from tickover.cause import TESTS, Car, Evidence, NextTest, Value, diagnose
from tickover.cause.channels import CHANNELS, INDEX, unscaled
from tickover.cause.hypotheses import BY_NAME, HYPOTHESES
from tickover.cause.tables import BEHAVIOUR, chances
from tickover.cause.weighing import weigh
from tickover.cause.worth import information
from tickover.results import CannotTell, Quantity

AIR, PRESSURE = Car(metering="air", displacement_l=2.0), Car(metering="pressure", displacement_l=2.0, normal=(700, 800))
POINTS = ("idle", "idle with load", "2500", "cruise", "hard load")

trims = st.dictionaries(st.sampled_from(POINTS), st.floats(-30, 30), max_size=4)
tests = st.dictionaries(st.sampled_from(sorted(TESTS)), st.integers(0, 1), max_size=3).map(
    lambda d: {name: list(TESTS[name].outcomes)[k] for name, k in d.items()}
)
seen = st.builds(
    Evidence,
    trims=trims,
    tests=tests,
    idle_speed=st.none() | st.floats(450, 1500).map(lambda v: Value(value=v)),
    codes=st.none() | st.just(()) | st.just(("P0171",)) | st.just(("P0302", "P0507")),
    history=st.none() | st.sampled_from([("nothing",), ("cleaned",), ("battery", "misfire")]),
    attempts=st.integers(0, 2),
)
cars = st.sampled_from([Car(), AIR, PRESSURE, Car(metering="air"), Car(displacement_l=1.2)])


def p_of(found, name):
    return next(c.share for g in found.groups for c in g.causes if c.name == name)


@settings(max_examples=8, deadline=None)
@given(seen, cars)
def test_every_answer_is_whole(evidence, car):
    found = diagnose(evidence, car)
    names = [c.name for g in found.groups for c in g.causes]
    assert len(names) == len(set(names))
    assert "something else" in names
    assert next(g for g in found.groups if "something else" in g.names).names == {"something else"}
    assert sum(g.probability for g in found.groups) == pytest.approx(1, abs=1e-6)
    for g in found.groups:
        assert g.lo <= g.probability <= g.hi
        assert g.likely == ("unlikely" if g.probability < 0.2 else "likely" if g.probability > 0.5 else "possible")
        stand = [c for c in g.causes if c.share >= 0.1 * g.probability]
        sound = any(c.family == "sound" for c in g.causes)
        assert bool(g.tied_because) == (len(g.causes) > 1 and (len(stand) > 1 or sound))
    assert [g.probability for g in found.groups] == sorted((g.probability for g in found.groups), reverse=True)
    if isinstance(found.next_test, NextTest):
        assert found.pull is not None or found.next_test.name not in evidence.tests
        assert not found.next_test.outcomes or sum(o.chance for o in found.next_test.outcomes) > 0.8


@settings(max_examples=8, deadline=None)
@given(st.permutations(list(POINTS)), st.permutations(["pinch", "bore", "listen"]))
def test_the_order_of_evidence_does_not_matter(points, order):
    values = dict(zip(POINTS, (14, 11, 5, 3, 1), strict=True))
    outcomes = {"pinch": "falls", "bore": "dirty", "listen": "quiet"}
    plain = diagnose(Evidence(trims=values, tests=outcomes), AIR)
    mixed = diagnose(Evidence(trims={p: values[p] for p in points}, tests={t: outcomes[t] for t in order}), AIR)
    for h in HYPOTHESES:
        if h.name in {c.name for g in plain.groups for c in g.causes}:
            assert p_of(mixed, h.name) == pytest.approx(p_of(plain, h.name), abs=1e-9)


def test_evidence_that_every_cause_makes_alike_changes_nothing():
    """A reading with an endless spread, and a pressure that only other metering could reckon as flow."""
    plain = weigh(Evidence(trims={"idle": 12}), PRESSURE).causes
    blunt = weigh(Evidence(trims={"idle": 12, "cruise": Value(value=3, spread=1e6)}), PRESSURE).causes
    np.testing.assert_allclose(blunt, plain, atol=2e-3)
    unused = diagnose(Evidence(trims={"idle": 12}, air_flow={"idle": 3}), PRESSURE)
    np.testing.assert_allclose(weigh(Evidence(trims={"idle": 12}, air_flow={"idle": 3}), PRESSURE).causes, plain)
    assert any("reckoned" in u for u in unused.unused)


def test_a_test_that_tells_nothing_of_two_causes_keeps_their_odds():
    before = weigh(Evidence(trims={"idle": 12}), AIR).causes
    after = weigh(Evidence(trims={"idle": 12}, tests={"hose heat": "late"}), AIR).causes
    leak, meter = (HYPOTHESES.index(BY_NAME[n]) for n in ("leak", "air meter"))
    assert after[leak] / after[meter] == pytest.approx(before[leak] / before[meter], rel=1e-6)


@pytest.mark.parametrize(
    ("truth", "size"), [("leak", 2.0), ("weak pump", 0.3), ("dead coil", 0.8), ("old memory", 8.0)]
)
def test_more_evidence_of_the_truth_does_not_lower_it_on_average(truth, size):
    """Readings are drawn from the cause's own prediction; channels are read one after the other."""
    rng = np.random.default_rng(17)
    w = weigh(Evidence(), AIR)
    k = HYPOTHESES.index(BY_NAME[truth])
    own = np.flatnonzero((w.cells.cause == k) & np.isclose(w.cells.size, size, rtol=0.09))
    cell = int(own[0])
    order = ("trim idle", "trim 2500", "trim hard load", "misfires", "speed")
    index = np.array([INDEX[c] for c in order])
    spreads = np.array([CHANNELS[i].read for i in index])
    covariance = w.cells.covariance(index, spreads)[cell]
    logs = []
    for draw in rng.multivariate_normal(w.cells.means[cell, index], covariance, size=40):
        values = [float(unscaled(CHANNELS[i], v)) for i, v in zip(index, draw, strict=True)]
        values = [
            min(max(v, -59.0), 59.0) if c.startswith("trim") else max(v, 0.0)
            for c, v in zip(order, values, strict=True)
        ]
        logs.append(
            [np.log(weigh(_evidence(dict(list(zip(order, values, strict=True))[:n])), AIR).causes[k]) for n in range(6)]
        )
    mean = np.mean(logs, axis=0)
    assert np.all(np.diff(mean) > -0.02)
    assert mean[-1] > mean[0] + 0.5


def _evidence(read):
    trims = {c.removeprefix("trim "): v for c, v in read.items() if c.startswith("trim")}
    given = {"misfires": read.get("misfires")}
    if "speed" in read:
        given["idle_speed"] = min(max(read["speed"], 200), 3500)
    return Evidence(trims=trims, **{k: v for k, v in given.items() if v is not None})


def test_an_under_reading_meter_and_a_constant_fuel_error_are_tied():
    found = diagnose(Evidence(trims=dict.fromkeys(POINTS, 15.0), misfires=0, tests={"hand at exhaust": "even"}), AIR)
    group = found.group_of("air meter")
    assert {"air meter", "fuel error"} <= group.names
    assert group.probability > 0.5
    assert "proportion" in group.tied_because
    assert found.finding == "fault"


def test_a_leak_on_a_pressure_engine_leaves_the_trims_alone_and_is_tied_to_a_sound_car():
    found = diagnose(Evidence(trims={"idle": 0, "2500": 1, "cruise": 0}), Car(metering="pressure"))
    assert {"leak", "healthy"} <= found.group_of("leak").names
    assert isinstance(found.hole, CannotTell)
    same = diagnose(Evidence(trims={"idle": 0, "2500": 1, "cruise": 0}), Car(metering="air"))
    assert p_of(same, "leak") < 0.35 * p_of(found, "leak")


def test_a_leak_on_a_pressure_engine_lowers_the_commanded_idle_air():
    known = PRESSURE.model_copy(update={"idle_air_normal": 30.0})
    low, plain = (diagnose(Evidence(trims={"idle": 0}, idle_air=v, idle_speed=755), known) for v in (20, 30))
    assert p_of(low, "leak") > 3 * p_of(plain, "leak")
    assert isinstance(low.hole, Quantity)


def test_a_stale_memory_and_a_leak_on_a_pressure_engine_are_tied_by_speed_alone_and_parted_by_history():
    speed = Evidence(trims={"idle": 0, "2500": 0}, idle_speed=980)
    found = diagnose(speed, PRESSURE)
    assert {"old memory", "leak"} <= found.group_of("leak").names
    assert found.finding == "cannot tell"
    told = diagnose(speed.model_copy(update={"history": ("cleaned",), "tests": {"pinch": "nothing"}}), PRESSURE)
    assert told.finding == "stale"
    assert told.advice == "relearn"
    after = diagnose(speed.model_copy(update={"history": ("cleaned",), "attempts": 2}), PRESSURE)
    assert after.advice == "do not relearn"


def test_the_hole_of_a_leak_seen_through_an_air_meter():
    """A 2 mm leak of a 3.4 g/s idle is + 21 %, and + 6 % at 10 g/s."""
    found = diagnose(Evidence(trims={"idle": 21.3, "2500": 6.3}), AIR)
    assert found.finding == "fault"
    assert found.groups[0].names == {"leak"}
    assert found.hole.lo <= 2.0 <= found.hole.hi
    assert found.hole.hi / found.hole.lo < 2.2
    assert found.advice == "do not relearn"


def test_past_the_limit_of_the_trims_a_hole_is_only_at_least():
    spent = diagnose(Evidence(trims={"idle": Value(value=25, at_limit=True), "2500": 9}), AIR)
    assert spent.hole.hi is None
    assert spent.hole.lo > 1.2
    assert any("limit" in r for r in spent.rests_on)


def test_a_hole_below_a_millimetre_is_not_spoken_of():
    found = diagnose(Evidence(trims={"idle": 2, "2500": 1, "cruise": 0}), AIR)
    assert isinstance(found.hole, CannotTell) or found.hole.lo is None


def test_a_cleared_memory_is_neither_stale_nor_a_fault():
    found = diagnose(Evidence(trims={"idle": 1, "cruise": -2}, long_trim_zero=True, since_clear=8), PRESSURE)
    assert found.finding == "just cleared"
    assert found.advice == "wait and watch"


def test_what_is_not_known_widens_and_never_guesses():
    evidence = Evidence(trims={"idle": 21.3, "2500": 6.3})
    known, litres = (diagnose(evidence, c) for c in (AIR, Car(metering="air")))
    assert np.log(litres.hole.hi / litres.hole.lo) > np.log(known.hole.hi / known.hole.lo)
    assert any("displacement" in c.reason for c in litres.cannot_tell)
    assert any("meter" in c.reason for c in diagnose(evidence).cannot_tell)


def test_no_evidence_is_said_to_be_none():
    found = diagnose(Evidence())
    assert found.finding == "cannot tell"
    assert "nothing was read" in found.sentence
    assert isinstance(found.next_test, NextTest)
    assert found.next_test.needs == "nothing"


def test_information_is_a_mutual_information():
    assert information(np.array([0.5, 0.5]), np.eye(2)) == pytest.approx(1)
    assert information(np.array([0.3, 0.7]), np.array([[0.2, 0.8], [0.2, 0.8]])) == pytest.approx(0, abs=1e-12)
    assert information(np.array([0.25] * 4), np.eye(4)) == pytest.approx(2)


def test_tables_are_chances():
    for act in TESTS.values():
        for row in act.chances.values():
            assert len(row) == len(act.outcomes)
            assert sum(row) == pytest.approx(1)
        assert "" in act.chances
        assert set(act.chances) <= {*BY_NAME, ""}
    total = sum(chances(table) for table in BEHAVIOUR.values())
    np.testing.assert_allclose(total, 1, atol=0.011)
    for h in HYPOTHESES:
        assert h.weights.sum() == pytest.approx(1)
        assert len(h.weights) == len(h.sizes)


def test_no_act_asks_for_flammable_spray_and_running_engines_carry_a_caution():
    for act in TESTS.values():
        assert "spray" not in act.act.lower()
        assert act.cautions
    assert any("No flammable spray" in c for c in TESTS["pinch"].cautions)


@pytest.mark.parametrize(
    ("given_", "words"),
    [
        ({"tests": {"smell": "yes"}}, "no test is called"),
        ({"tests": {"pinch": "maybe"}}, "outcome of"),
        ({"trims": {"idle": 200}}, "trim 200"),
        ({"idle_speed": 90000}, "idle speed"),
        ({"trims": {"idle": float("nan")}}, "finite"),
    ],
)
def test_evidence_that_cannot_be_is_refused(given_, words):
    with pytest.raises(ValidationError, match=words):
        Evidence(**given_)


def test_rates_that_cannot_be_are_refused():
    for bad in ({"gremlins": 0.1}, {"leak": -1.0}):
        with pytest.raises(ValueError, match=r"cause|rate"):
            diagnose(Evidence(), base_rates=bad)
    often = diagnose(Evidence(), AIR, base_rates={"leak": 5.0})
    assert p_of(often, "leak") > 0.7
