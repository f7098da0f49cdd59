"""Minimal networks against the published example and against two libraries."""

import math

import networkx as nx
import numpy as np
import pytest
from scipy.sparse.csgraph import csgraph_from_dense, floyd_warshall

from tickover.errors import ContradictionError
from tickover.timing import Constraint, Network

INF = math.inf
EVENTS = ("X0", "X1", "X2", "X3", "X4")
ALWAYS = [("X0", "X1", 10, 20), ("X3", "X2", 10, 20), ("X0", "X4", 60, 70)]
CAR, BUS = ("X1", "X2", 30, 40), ("X1", "X2", 60, INF)
FRED_CAR, CARPOOL = ("X3", "X4", 20, 30), ("X3", "X4", 40, 50)


def commute(john: tuple, fred: tuple) -> Network:
    return Network(EVENTS, [Constraint(*c, label=f"{c[0]} to {c[1]}") for c in (*ALWAYS, john, fred)])


def test_the_minimal_network_of_the_commute() -> None:
    """From memory: Dechter, Meiri & Pearl, Artificial Intelligence 49 (1991), the commute example, minutes from 7:00.

    The constraints are remembered; with them the distance table of the paper comes out, number by number. A network
    that is merely consistent, or one that leaves the zero arcs or the signs wrong, gives other numbers.
    """
    expected = [
        [0, 20, 50, 30, 70],
        [-10, 0, 40, 20, 60],
        [-40, -30, 0, -10, 30],
        [-20, -10, 20, 0, 50],
        [-60, -50, -20, -40, 0],
    ]
    network = commute(CAR, CARPOOL)
    np.testing.assert_array_equal(network.minimal(), expected)
    assert network.window("X3", "X2") == (10.0, 20.0)
    assert network.window("X2", "X3") == (-20.0, -10.0)
    assert network.window("X1", "X4") == (50.0, 60.0)


def test_the_other_ways_to_work() -> None:
    """From memory: the same paper; the four choices of transport, one of which cannot be.

    John by bus while Fred is in a carpool is a contradiction of 10 minutes; bus and car meet in a single run.
    """
    assert commute(CAR, FRED_CAR).window("X0", "X1") == (10.0, 20.0)
    with pytest.raises(ContradictionError) as caught:
        commute(BUS, CARPOOL).minimal()
    assert caught.value.short_by == pytest.approx(20.0)
    assert set(caught.value.cycle) == {"X0 to X1", "X1 to X2", "X3 to X2", "X3 to X4", "X0 to X4"}
    point = commute(BUS, FRED_CAR)
    assert [point.window("X0", e) for e in EVENTS[1:]] == [(10, 10), (70, 70), (50, 50), (70, 70)]


def random_network(rng: np.random.Generator, n: int = 12) -> Network:
    """Consistent, in whole numbers, with many arcs of length zero."""
    run = rng.integers(0, 6, n)
    bounds = []
    for _ in range(2 * n):
        i, j = rng.choice(n, 2, replace=False)
        d = int(run[j] - run[i])
        lo = d - int(rng.integers(0, 3)) if rng.random() < 0.8 else -INF
        bounds.append(Constraint(f"e{i}", f"e{j}", lo, d + int(rng.integers(0, 3)) if rng.random() < 0.8 else INF))
    return Network([f"e{k}" for k in range(n)], bounds)


def test_minimal_networks_equal_csgraph_with_its_zero_arcs_kept() -> None:
    """Reference library: scipy.sparse.csgraph, 500 networks in whole numbers.

    Given the dense matrix as it is, csgraph takes an arc of length 0 for no arc and answers otherwise; that is shown
    here too, and that these networks are such that it matters.
    """
    rng = np.random.default_rng(0)
    different = 0
    for _ in range(500):
        network = random_network(rng)
        arcs = np.array(network.lengths)
        kept = floyd_warshall(csgraph_from_dense(arcs, null_value=INF, nan_null=False))
        np.testing.assert_array_equal(network.minimal(), kept)
        naive = arcs.copy()
        naive[np.isinf(naive)] = 0.0
        different += not np.array_equal(floyd_warshall(naive), network.minimal())
    assert different > 400


def test_minimal_networks_equal_networkx_and_contradictions_are_not_passed_over() -> None:
    """Reference library: networkx, 200 networks, half of them made contradictory.

    Its matrix function returns a negative diagonal without a word; ours must raise exactly there.
    """
    rng = np.random.default_rng(1)
    raised = 0
    for case in range(200):
        network = random_network(rng, n=8)
        bounds = list(network.constraints)
        if case % 2:
            i, j = rng.choice(8, 2, replace=False)
            bounds.append(Constraint(f"e{i}", f"e{j}", int(rng.integers(2, 9)), INF))
        graph = nx.DiGraph()
        graph.add_nodes_from(network.events)
        for c in bounds:
            for a, b, length in ((c.a, c.b, c.hi), (c.b, c.a, -c.lo)):
                if length < INF and length < graph.get_edge_data(a, b, {"weight": INF})["weight"]:
                    graph.add_edge(a, b, weight=length)
        theirs = np.asarray(nx.floyd_warshall_numpy(graph, nodelist=list(network.events)))
        ours = Network(network.events, bounds)
        if theirs.diagonal().min() < 0:
            raised += 1
            with pytest.raises(ContradictionError):
                ours.minimal()
        else:
            np.testing.assert_array_equal(ours.minimal(), theirs)
    assert raised > 30


def test_the_contradiction_named_is_a_negative_cycle_with_the_fewest_arcs() -> None:
    """Reference library: networkx enumerates every simple cycle of 60 small contradictory networks."""
    rng = np.random.default_rng(2)
    seen = 0
    while seen < 60:
        bounds = [
            Constraint(f"e{i}", f"e{j}", int(lo), int(lo) + int(rng.integers(0, 4)), f"{k}")
            for k, (i, j, lo) in enumerate(
                (*rng.choice(5, 2, replace=False), rng.integers(-4, 5)) for _ in range(int(rng.integers(3, 7)))
            )
        ]
        try:
            Network([f"e{k}" for k in range(5)], bounds).minimal()
        except ContradictionError as caught:
            found = caught
        else:
            continue
        seen += 1
        graph = nx.DiGraph()
        for c in bounds:
            for a, b, length in ((c.a, c.b, c.hi), (c.b, c.a, -c.lo)):
                if length < graph.get_edge_data(a, b, {"weight": INF})["weight"]:
                    graph.add_edge(a, b, weight=length)
        negative = {}
        for cycle in nx.simple_cycles(graph):
            weight = sum(graph[a][b]["weight"] for a, b in zip(cycle, cycle[1:] + cycle[:1], strict=True))
            if weight < 0:
                negative.setdefault(len(cycle), set()).add(-weight)
        assert len(found.cycle) == min(negative)
        assert found.short_by in negative[min(negative)]
