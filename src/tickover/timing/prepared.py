"""A plan made ready to be run: closed once, laid out in plain tuples for the step function."""

from __future__ import annotations

import hashlib
import json
import math
from dataclasses import asdict, dataclass

import numpy as np

from tickover.errors import NotControllableError
from tickover.timing.controllability import (
    Closed,
    check_controllable,
    close_labelled,
    graph_of,
    wait_seconds,
    with_origin_first,
)
from tickover.timing.network import TOLERANCE, Matrix, Network, bounds_of, close, ends_of
from tickover.timing.plan import Plan

Row = tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Wait:
    """An act may not happen before ``answer``, or before ``seconds`` after ``after`` (places of events).

    ``gate`` is the place of a counter in the plan where the wait is for its count, else ``None``.
    """

    answer: int
    after: int
    seconds: float
    gate: int | None


@dataclass(frozen=True, slots=True, eq=False)
class Tables:
    """What the step function looks up; places are those of ``plan.events``.

    Attributes:
        ahead: ``ahead[i][j]`` is the largest ``t(j) − t(i)`` [s].
        behind: ``behind[i][j]`` is the largest ``t(i) − t(j)`` [s].
        first: earliest and latest time of each event when nothing has happened but the origin [s].
        waits: for each event, what it waits for.
        before: for each event, the places of those that must have happened.
        gates: for each counter, the largest ``t(j)`` after the moment at which its count reaches ``lo`` [s].
        opens: for each counter, the largest time of that moment after ``t(j)``, used as a lower end [s].
    """

    ahead: tuple[Row, ...]
    behind: tuple[Row, ...]
    first: tuple[tuple[float, float], ...]
    waits: tuple[tuple[Wait, ...], ...]
    before: tuple[tuple[int, ...], ...]
    gates: tuple[Row, ...]
    opens: tuple[Row, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Prepared:
    """A plan with its tables; make it once by ``prepare`` and run it often.

    Attributes:
        plan: the plan.
        controllable: whether the windows offered can be kept whatever the world answers.
        digest: names the plan in a stored run.
    """

    plan: Plan
    controllable: bool
    digest: str
    tables: Tables
    index: dict[str, int]
    touching: tuple[tuple[tuple[int, int, int, float, float], ...], ...]
    answers: dict[int, tuple[int, float, float]]
    counters: tuple[tuple[int, int, str, float, float], ...]
    counting: tuple[bool, ...]


def prepare(plan: Plan, *, require_controllable: bool = True) -> Prepared:
    """Make a plan ready to be run.

    Args:
        plan: the plan.
        require_controllable: refuse a plan that the world can defeat. If false such a plan is run all the same: its
            windows are right as long as the answers help, and there are no waits.
    Returns: the plan with its tables.
    Raises: ContradictionError if no run keeps the bounds; NotControllableError as in ``check_controllable``.
    """
    try:
        closed = check_controllable(plan).closed
        controllable = True
    except NotControllableError:
        if require_controllable:
            raise
        closed, controllable = closed_as_if_answers_help(plan), False
    index = {e: i for i, e in enumerate(plan.events)}
    counters = tuple((index[k.start], index[k.event], k.condition, k.lo, k.hi) for k in plan.counters)
    in_a_count = {i for start, event, *_ in counters for i in (start, event)}
    return Prepared(
        plan=plan,
        controllable=controllable,
        digest=plan_digest(plan),
        tables=tables_of(plan, closed, places=tuple(range(len(counters))), counters=len(counters)),
        index=index,
        touching=_touching(plan, index),
        answers={index[w.event]: (index[w.after], w.lo, w.hi) for w in plan.answers},
        counters=counters,
        counting=tuple(i in in_a_count for i in range(len(plan.events))),
    )


def plan_digest(plan: Plan) -> str:
    """A short digest of everything in a plan."""
    text = json.dumps(asdict(plan), sort_keys=True, ensure_ascii=False)
    return hashlib.sha256(text.encode()).hexdigest()[:16]


def closed_as_if_answers_help(plan: Plan) -> Closed:
    """The plan's graph closed as a plain network: answers and counts taken as chosen by the performer.

    Raises: ContradictionError if no run keeps the bounds even so.
    """
    graph = graph_of(plan)
    lengths = graph.lengths.copy()
    lengths[lengths >= graph.never] = math.inf
    closed = close(lengths)
    if closed.diagonal().min() < -TOLERANCE:
        Network.of(with_origin_first(plan)).minimal()
    np.fill_diagonal(closed, 0.0)
    waits = np.full((len(closed), len(graph.links)), math.inf)
    for c, link in enumerate(graph.links):
        if link.counter is not None and link.lo > 0:
            waits[plan.events.index(plan.counters[link.counter].event), c] = -graph.never
    return Closed(closed, waits, graph)


def close_plan(plan: Plan) -> Closed:
    """Closed with waits where the plan is controllable, else as if the answers help.

    Raises: ContradictionError if no run keeps the bounds.
    """
    return close_labelled(graph_of(plan)) or closed_as_if_answers_help(plan)


def tables_of(plan: Plan, closed: Closed, *, places: tuple[int, ...], counters: int) -> Tables:
    """Lay a closed graph out in tuples.

    Args:
        plan: what was closed.
        closed: its graph.
        places: for each counter of ``plan``, its place among the counters of the plan that is run.
        counters: how many counters the plan that is run has.
    """
    n = len(plan.events)
    nothing = (math.inf,) * n
    plain = closed.plain
    core = plain[:n, :n]
    given = {plan.events.index(w.event) for w in plan.answers}
    return Tables(
        ahead=_rows(core),
        behind=_rows(core.T),
        first=tuple((0.0 - float(core[i, 0]), float(core[0, i])) for i in range(n)),
        waits=tuple(() if i in given else _waits_of(closed, i, places) for i in range(n)),
        before=tuple(_before(core, i, given) for i in range(n)),
        gates=_at_places(_rows(plain[n:, :n]), places, counters, nothing),
        opens=_at_places(_rows(plain[:n, n:].T), places, counters, nothing),
    )


def _rows(matrix: Matrix) -> tuple[Row, ...]:
    return tuple(tuple(float(x) for x in row) for row in matrix)


def _at_places(rows: tuple[Row, ...], places: tuple[int, ...], total: int, nothing: Row) -> tuple[Row, ...]:
    found = dict(zip(places, rows, strict=True))
    return tuple(found.get(k, nothing) for k in range(total))


def _waits_of(closed: Closed, node: int, places: tuple[int, ...]) -> tuple[Wait, ...]:
    found = []
    for c, link in enumerate(closed.graph.links):
        seconds = wait_seconds(closed, node, c)
        if seconds is not None:
            found.append(Wait(link.to, link.after, seconds, None if link.counter is None else places[link.counter]))
    return tuple(found)


def _before(core: Matrix, i: int, given: set[int]) -> tuple[int, ...]:
    """Events that cannot come after event i. Of two acts that must coincide, the one named first goes first."""
    found = []
    for p in range(len(core)):
        if p == i or core[i, p] > TOLERANCE:
            continue
        together = core[p, i] <= TOLERANCE
        if not together or p < i or p in given:
            found.append(p)
    return tuple(found)


def _touching(plan: Plan, index: dict[str, int]) -> tuple[tuple[tuple[int, int, int, float, float], ...], ...]:
    """For each event the constraints and answers that it ends or begins: (place of the bound, a, b, lo, hi)."""
    found: list[list[tuple[int, int, int, float, float]]] = [[] for _ in plan.events]
    for place, bound in enumerate(bounds_of(plan)[: len(plan.constraints) + len(plan.answers)]):
        a, b = (index[e] for e in ends_of(bound))
        entry = (place, a, b, bound.lo, bound.hi)
        found[a].append(entry)
        if b != a:
            found[b].append(entry)
    return tuple(tuple(entries) for entries in found)
