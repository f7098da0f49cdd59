import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tickover.errors import ContradictionError, TimingError
from tickover.timing import Constraint, Counter, Network, Plan

EVENTS = tuple("abcdef")


@st.composite
def consistent(draw: st.DrawFn) -> tuple[Network, dict[str, float]]:
    """A network made around a known run, on a grid of quarters so that sums are exact."""
    quarters = st.integers(-40, 40).map(lambda n: n / 4)
    run = {e: draw(quarters) for e in EVENTS}
    bounds = []
    for _ in range(draw(st.integers(0, 14))):
        a, b = draw(st.permutations(EVENTS))[:2]
        below, above = draw(st.integers(0, 20)) / 4, draw(st.integers(0, 20)) / 4
        d = run[b] - run[a]
        bounds.append(
            Constraint(
                a,
                b,
                -math.inf if draw(st.booleans()) and draw(st.booleans()) else d - below,
                math.inf if draw(st.booleans()) and draw(st.booleans()) else d + above,
            )
        )
    return Network(EVENTS, bounds), run


def kept(bounds: tuple[Constraint, ...], times: dict[str, float]) -> bool:
    return all(c.lo - 1e-9 <= times[c.b] - times[c.a] <= c.hi + 1e-9 for c in bounds)


@given(consistent())
def test_every_end_of_every_window_is_reached_by_a_run_that_keeps_all_bounds(case: tuple[Network, dict]) -> None:
    network, run = case
    m = network.minimal()
    for i, a in enumerate(EVENTS):
        far = 1e6  # a start for what nothing bounds from a
        reach = {e: m[i, j] if np.isfinite(m[i, j]) else far for j, e in enumerate(EVENTS)}
        # Distances from a are themselves a run wherever they are finite.
        finite = {e for e in EVENTS if reach[e] < far}
        among = tuple(c for c in network.constraints if c.a in finite and c.b in finite)
        assert kept(among, reach)
        for j, b in enumerate(EVENTS):
            assert -m[j, i] - 1e-9 <= run[b] - run[a] <= m[i, j] + 1e-9


@given(consistent())
def test_closing_again_changes_nothing(case: tuple[Network, dict]) -> None:
    network, _ = case
    m = network.minimal()
    closed = [
        Constraint(a, b, -m[j, i], m[i, j])
        for i, a in enumerate(EVENTS)
        for j, b in enumerate(EVENTS)
        if i < j and (np.isfinite(m[i, j]) or np.isfinite(m[j, i]))
    ]
    np.testing.assert_array_equal(Network(EVENTS, closed).minimal(), m)


@given(consistent(), st.randoms(use_true_random=False))
def test_the_order_of_bounds_does_not_matter(case: tuple[Network, dict], random) -> None:
    network, _ = case
    shuffled = list(network.constraints)
    random.shuffle(shuffled)
    np.testing.assert_array_equal(Network(EVENTS, shuffled).minimal(), network.minimal())


@settings(max_examples=200)
@given(consistent(), st.integers(1, 12))
def test_a_bound_beyond_a_window_contradicts_by_no_more_than_that(case: tuple[Network, dict], quarters: int) -> None:
    network, _ = case
    m = network.minimal()
    pairs = [(i, j) for i in range(6) for j in range(6) if i != j and np.isfinite(m[i, j])]
    if not pairs:
        return
    i, j = pairs[0]
    beyond = float(m[i, j]) + quarters / 4
    with pytest.raises(ContradictionError) as caught:
        Network(EVENTS, [*network.constraints, Constraint(EVENTS[i], EVENTS[j], beyond, math.inf, "beyond")]).minimal()
    assert 0 < caught.value.short_by <= quarters / 4 + 1e-9
    assert "beyond" in caught.value.cycle


def test_the_contradiction_is_the_shortest_cycle_in_order() -> None:
    bounds = [
        Constraint("a", "b", 2, 3, "first"),
        Constraint("b", "c", 2, 3, "second"),
        Constraint("c", "d", 2, 3, "third"),
        Constraint("a", "d", 0, 5, "whole"),
        Constraint("a", "c", 0, 3.5, "two"),
    ]
    with pytest.raises(ContradictionError) as caught:
        Network("abcd", bounds).minimal()
    cycle = list(caught.value.cycle)
    at = cycle.index("two")
    assert cycle[at:] + cycle[:at] == ["two", "second", "first"]
    assert caught.value.short_by == pytest.approx(0.5)
    assert "0.5 s" in str(caught.value)


def test_bounds_that_meet_in_one_point_are_no_contradiction() -> None:
    network = Network(
        "abc", [Constraint("a", "b", 0.1, 0.1), Constraint("b", "c", 0.2, 0.2), Constraint("a", "c", 0.3, 0.3)]
    )
    assert network.window("a", "c") == pytest.approx((0.3, 0.3))


def test_events_that_coincide_keep_their_arc_of_length_zero() -> None:
    network = Network("abc", [Constraint("a", "b", 0, 0), Constraint("b", "c", 1, 2)])
    assert network.window("a", "b") == (0.0, 0.0)
    assert network.window("c", "a") == (-2.0, -1.0)


def test_what_nothing_bounds_is_open() -> None:
    assert Network("abc", [Constraint("a", "b", 1, math.inf)]).window("b", "c") == (-math.inf, math.inf)
    assert Network("ab", [Constraint("a", "b", 1, math.inf)]).window("a", "b") == (1.0, math.inf)


def test_a_bound_of_an_event_on_itself() -> None:
    assert Network("a", [Constraint("a", "a", -1, 1)]).window("a", "a") == (0.0, 0.0)
    with pytest.raises(ContradictionError) as caught:
        Network("ab", [Constraint("a", "a", 1, 2, "self")]).minimal()
    assert caught.value.cycle == ("self",)


@pytest.mark.parametrize(
    ("events", "bound"),
    [
        ("ab", Constraint("a", "c", 0, 1)),
        ("aa", Constraint("a", "a", 0, 1)),
        ("ab", Constraint("a", "b", 2, 1)),
        ("ab", Constraint("a", "b", math.nan, 1)),
        ("ab", Constraint("a", "b", math.inf, math.inf)),
    ],
)
def test_a_network_that_makes_no_sense_is_refused(events: str, bound: Constraint) -> None:
    with pytest.raises(TimingError):
        Network(events, [bound])


def test_an_unknown_event_is_refused() -> None:
    with pytest.raises(TimingError, match="no event “z”"):
        Network("ab", []).window("a", "z")


def test_the_minimal_matrix_cannot_be_changed_by_a_caller() -> None:
    with pytest.raises(ValueError, match="read-only"):
        Network("ab", [Constraint("a", "b", 1, 2)]).minimal()[0, 1] = 0.0


def test_a_counter_gives_a_network_its_lower_end_only() -> None:
    plan = Plan(("o", "e"), counters=(Counter("e", "o", "c", 3, 4),))
    assert Network.of(plan).window("o", "e") == (3.0, math.inf)
