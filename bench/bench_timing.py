"""The temporal mathematics: networks against csgraph and networkx, one step, aims and odds, and many at once."""

from __future__ import annotations

import math
from collections.abc import Callable

import networkx as nx
import numpy as np
from bench.common import Row, median_time
from scipy.sparse.csgraph import floyd_warshall
from scipy.stats import multivariate_normal

from tickover.routines import compile_routine, load_library
from tickover.routines.aiming import aims_for
from tickover.routines.chances import odds_of
from tickover.timing import (
    Answer,
    Constraint,
    Network,
    Observation,
    Person,
    Plan,
    begin,
    best_aims,
    happen,
    judge,
    odds,
    odds_by_sampling,
    prepare,
    simulate_many,
)
from tickover.timing.chain import Interval
from tickover.timing.genz import Sum, genz
from tickover.timing.many import Sightings, judge_many, minimal_networks
from tickover.timing.network import close

NETWORK_LIMIT = 1.5
"""Times csgraph's time for 50 events; the design's budget."""
STEP_LIMIT = 20.0
"""Microseconds for one event of a 20-event plan; the design's budget."""
AIMS_LIMIT = 100.0
"""Milliseconds for aims and odds of the longest routine, and of a 25-event chain; the design's budget."""
LATTICE_LIMIT = 0.05
"""Seconds for three crossing spans; own choice, so that a routine with them keeps the budget of aims and odds."""


def rows() -> list[Row]:
    """The design's budgets, and what is done for many at once against one at a time."""
    ours, peer = _network()
    step, aimed = _step(), _aims()
    name, longest = _longest()
    off = _off_sampling()
    many, single = _judged()
    closed, alone = _closed()
    lattice, scipys = _lattice()
    graph = _networkx()
    return [
        _row("minimal network, 50 events", ours, peer, "scipy csgraph", NETWORK_LIMIT * peer, "µs"),
        _row("the same, by networkx", ours, graph, "networkx", graph, "µs"),
        _row("step on one event, 20-event plan", step, None, "", STEP_LIMIT / 1e6, "µs"),
        _row("aims and odds, 25-event chain", aimed, None, "", AIMS_LIMIT / 1e3, "ms"),
        _row(f"aims and odds, longest routine ({name})", longest, None, "", AIMS_LIMIT / 1e3, "ms"),
        Row("odds off a million drawn attempts, worst routine", off, None, "", 3.0, "s.e.", off <= 3.0),
        _row("judged, one of 2,000 attempts at once", many, single, "one at a time", single, "µs"),
        _row("closed, one of 2,000 networks of 20 events", closed, alone, "scipy csgraph", alone, "µs"),
        _row("crossing spans, nine intervals, to 3e-4", lattice, scipys, "scipy normal cdf", LATTICE_LIMIT, "ms"),
    ]


def _row(what: str, ours: float, peer: float | None, peer_name: str, limit: float, unit: str) -> Row:
    """A row of times, all given in seconds."""
    times = {"µs": 1e6, "ms": 1e3}[unit]
    scaled = None if peer is None else peer * times
    return Row(what, ours * times, scaled, peer_name, limit * times, unit, ours <= limit)


def _network(events: int = 50) -> tuple[float, float]:
    """Our time and csgraph's from the same dense matrix, taken in turn.

    csgraph is given it masked, the quickest way to keep its arcs of length zero; a plain dense one would lose them.
    """
    rng = np.random.default_rng(1)
    run = rng.integers(0, 400, events) / 4  # quarters, so that sums are exact and no cycle is negative by rounding
    bounds = []
    for _ in range(3 * events):
        i, j = rng.choice(events, 2, replace=False)
        d = float(run[j] - run[i])
        bounds.append(Constraint(f"e{i}", f"e{j}", d - float(rng.integers(0, 4)), d + float(rng.integers(0, 4))))
    network = Network([f"e{k}" for k in range(events)], bounds)
    lengths = network.lengths

    def csgraph() -> object:
        return floyd_warshall(np.ma.masked_invalid(lengths))

    if not np.array_equal(close(lengths), csgraph()):
        raise AssertionError("ours and csgraph's minimal networks differ; their times mean nothing")
    pairs = [(median_time(lambda: close(lengths)), median_time(csgraph)) for _ in range(7)]
    return min(p[0] for p in pairs), min(p[1] for p in pairs)


def chain(events: int) -> Plan:
    """Presses and releases in spans of ten, a hold, two answers and what follows them."""
    names, bounds, before = ["e0"], [], "e0"
    for k in range(1, events - 4):
        name, lo = f"e{k}", 0.25 if k % 2 else 0.12
        bounds.append(Constraint(before, name, lo, 0.9, f"step {k}", f"presses {(k - 1) // 10}"))
        if k % 10 == 0:
            bounds.append(Constraint(f"e{k - 9}", name, -math.inf, 5.0, f"span {k}", f"presses {(k - 1) // 10}"))
        names.append(name)
        before = name
    bounds += [
        Constraint(before, "down", 6.0, 8.0, "down", "down"),
        Constraint("stays", "up", 0.0, 3.0, "up", "up"),
        Constraint("up", "start", 0.3, 3.0, "start", "start"),
    ]
    answers = (Answer("flashes", "down", 8.0, 14.0), Answer("stays", "down", 16.0, 25.0))
    return Plan((*names, "down", "flashes", "stays", "up", "start"), tuple(bounds), answers)


def _networkx(events: int = 50) -> float:
    """The time of networkx on a network of as many events and arcs; its arcs of length zero are kept."""
    rng = np.random.default_rng(1)
    graph = nx.DiGraph()
    graph.add_nodes_from(range(events))
    for _ in range(6 * events):
        i, j = rng.choice(events, 2, replace=False)
        graph.add_edge(int(i), int(j), weight=float(rng.integers(0, 400)) / 4)
    return median_time(lambda: nx.floyd_warshall_numpy(graph))


def _longest() -> tuple[str, float]:
    """The built-in routine with the most events: aims and odds with range, weak step and gains, from the file on."""
    routines = [compile_routine(r) for r in load_library().values()]
    routine = max(routines, key=lambda r: len(r.events))
    return routine.id, median_time(lambda: odds_of(routine, Person()))


def _off_sampling(n: int = 1_000_000) -> float:
    """Largest distance of the odds from as many drawn attempts over all built-in routines, in standard errors."""
    worst = 0.0
    for routine in map(compile_routine, load_library().values()):
        plan, aims = routine.plan(), aims_for(routine, "none")
        drawn = odds_by_sampling(plan, Person(), aims, np.random.default_rng(5), n)
        worst = max(worst, abs(odds(plan, Person(), aims).p - drawn.p) / drawn.se)
    return worst


def _judged(attempts: int = 2_000) -> tuple[float, float]:
    """Seconds an attempt at the 20-event chain, all at once and one at a time."""
    plan = chain(20)
    drawn = simulate_many(plan, best_aims(plan, Person()), Person(), np.random.default_rng(2), attempts)
    t = np.stack([drawn[e] for e in plan.events], axis=1)
    seen = Sightings(t - 0.02, t + 0.02)

    def one(k: int) -> object:
        order = np.argsort(seen.t_lo[k], kind="stable")
        found = [Observation(plan.events[j], float(seen.t_lo[k, j]), float(seen.t_hi[k, j])) for j in order]
        return judge(plan, found)

    few = attempts // 40
    ours, peer = _in_turn(lambda: judge_many(plan, seen), lambda: [one(k) for k in range(few)])
    return ours / attempts, peer / few


def _in_turn(ours: Callable[[], object], peer: Callable[[], object], repeats: int = 7) -> tuple[float, float]:
    """Least seconds of two pieces of work of about the same length, taken in turn: a busy machine spares neither."""
    pairs = [(median_time(ours, repeats=1), median_time(peer, repeats=1)) for _ in range(repeats)]
    return min(p[0] for p in pairs), min(p[1] for p in pairs)


def _closed(networks: int = 2_000, events: int = 20) -> tuple[float, float]:
    """Seconds a network, ours all at once and csgraph one at a time."""
    rng = np.random.default_rng(3)
    lengths = np.where(
        rng.random((networks, events, events)) < 0.3, rng.integers(0, 400, (networks, events, events)), 0
    )
    arcs = np.where(lengths > 0, lengths / 4, math.inf)
    arcs[:, range(events), range(events)] = 0.0
    ours, peer = _in_turn(
        lambda: minimal_networks(arcs),
        lambda: [floyd_warshall(np.ma.masked_invalid(one)) for one in arcs[: networks // 2]],
    )
    return ours / networks, peer / (networks // 2)


def _lattice() -> tuple[float, float]:
    """Three crossing spans over nine intervals with windows of their own: ours, and scipy's normal function.

    scipy has one row a bound, twelve in nine dimensions; ours has the nine intervals.
    """
    mean, sd, window = 1.0, 0.1, (0.85, 1.15)
    spans = [(0, 4, 4.8, 5.2), (2, 6, 4.8, 5.2), (4, 8, 4.8, 5.2)]
    sums = [Sum(tuple(range(a, b + 1)), (), lo, hi) for a, b, lo, hi in spans]
    sums += [Sum((k,), (), *window) for k in range(9)]
    intervals = [Interval(mean, sd)] * 9
    rows = np.array([[1.0 if k in s.plus else 0.0 for k in range(9)] for s in sums])
    normal = multivariate_normal(rows.sum(axis=1), rows @ rows.T * sd**2, allow_singular=True, abseps=3e-4, seed=1)
    lo, hi = np.array([s.lo for s in sums]), np.array([s.hi for s in sums])
    ours = genz(intervals, sums, np.random.default_rng(0))
    if abs(ours.p - normal.cdf(hi, lower_limit=lo)) > 4 * ours.se + 1e-3:
        raise AssertionError("ours and scipy's chances differ; their times mean nothing")
    return (
        median_time(lambda: genz(intervals, sums, np.random.default_rng(0))),
        median_time(lambda: normal.cdf(hi, lower_limit=lo), repeats=3),
    )


def _step() -> float:
    run = begin(prepare(chain(20)))
    return median_time(lambda: happen(run, "e1", 0.5))


def _aims() -> float:
    """Everything: closing the plan, the best aims of a person, the odds with range, weak step and gain."""
    plan, person = chain(25), Person()
    return median_time(lambda: odds(plan, person, best_aims(plan, person)))
