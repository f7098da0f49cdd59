"""Bounds between events, closed: how far any two of them can lie apart, or which bounds contradict one another.

A bound ``lo ≤ t(b) − t(a) ≤ hi`` is a pair of arcs, a→b of length hi and b→a of length −lo. The length of the shortest
path from i to j is then the largest ``t(j) − t(i)`` that any run can reach, and a cycle of negative length is a
contradiction. Source: Dechter, Meiri & Pearl, Temporal constraint networks, Artificial Intelligence 49 (1991) 61–95.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tickover.errors import ContradictionError, TimingError
from tickover.timing.plan import Answer, Constraint, Counter, Plan

Matrix = NDArray[np.float64]
Bound = Constraint | Answer | Counter

TOLERANCE = 1e-9
"""Times that differ by less than this are the same [s]; rounding of sums stays far below it. Own choice."""

_NO_ARC = 2.0**60
"""Stands for an arc that is not there while paths are summed [s]; far beyond any time, twice it is still a number."""


def close(lengths: Matrix) -> Matrix:
    """Shortest paths between all pairs (Floyd–Warshall), arcs of length zero kept.

    Args:
        lengths: length of the arc from row to column, n × n, ``inf`` where there is none, 0 on the diagonal [s].
    Returns: lengths of the shortest paths, n × n, a new array [s]. A negative number on its diagonal is a
        contradiction, and the caller must look: nothing is raised here.
    Example: ``close(np.array([[0.0, 2.0], [-1.0, 0.0]]))`` returns the same numbers.
    """
    n = len(lengths)
    out = np.minimum(lengths, _NO_ARC)  # finite: infinity times a kernel's padding is not a number, and raises its flag
    through = np.empty_like(out)
    # For each pivot, all paths through it at once: column plus row, as the product of [column, 1] and [1, row]. That is
    # exact, and BLAS takes about half the time of a broadcast sum at this size. No memory is taken inside the loop.
    left, right = np.ones((2, n)), np.ones((2, n))
    column, row, product, smaller = left[0], right[1], np.dot, np.minimum
    for pivot_column, pivot_row in zip(out.T, out, strict=True):
        column[:] = pivot_column
        row[:] = pivot_row
        smaller(out, product(left.T, right, through), out=out)
    out[out >= _NO_ARC / 2] = math.inf
    return out


def has_contradiction(closed: Matrix) -> bool:
    """Whether a matrix from ``close`` holds a negative cycle, beyond rounding."""
    return bool(closed.diagonal().min() < -TOLERANCE)


def shortest_negative_cycle(lengths: Matrix) -> list[int]:
    """The negative cycle with the fewest arcs.

    Args:
        lengths: as for ``close``; a negative number on the diagonal is an arc from a node to itself [s].
    Returns: its nodes in order, the first not repeated at the end; empty where there is none.
    """
    n = len(lengths)
    best = lengths.copy()
    np.fill_diagonal(best, np.minimum(best.diagonal(), 0.0))
    steps = best.copy()
    # came[k][i, j]: the node before j on the shortest walk of at most k + 1 arcs from i to j.
    came: list[NDArray[np.intp]] = [np.repeat(np.arange(n)[:, None], n, axis=1)]
    for _ in range(n):
        worst = int(best.diagonal().argmin())
        if best[worst, worst] < -TOLERANCE:
            return _walk_back(came, worst)
        sums = best[:, :, None] + steps[None, :, :]
        before = sums.argmin(axis=1)
        came.append(before)
        best = np.take_along_axis(sums, before[:, None, :], axis=1)[:, 0, :]
    return []


def _walk_back(came: list[NDArray[np.intp]], node: int) -> list[int]:
    """Nodes of the closed walk that ends in ``node``, standing still left out."""
    nodes = [node]
    here = node
    for before in reversed(came):
        here = int(before[node, here])
        if here != nodes[-1]:
            nodes.append(here)
    nodes.reverse()
    return nodes[1:] if len(nodes) > 1 else nodes


def label_of(bound: Bound) -> str:
    """What a person would call a bound; made from its events and numbers where it has no label."""
    if bound.label:
        return bound.label
    a, b = ends_of(bound)
    span = f"at least {bound.lo:g} s" if math.isinf(bound.hi) else f"{bound.lo:g} to {bound.hi:g} s"
    if math.isinf(bound.lo):
        span = f"at most {bound.hi:g} s"
    return f"“{b}” {span} after “{a}”"


def ends_of(bound: Bound) -> tuple[str, str]:
    """The event a bound is counted from, and the event it is about."""
    if isinstance(bound, Constraint):
        return bound.a, bound.b
    if isinstance(bound, Answer):
        return bound.after, bound.event
    return bound.start, bound.event


def bounds_of(plan: Plan) -> tuple[Bound, ...]:
    """Every bound of a plan in a fixed order: constraints, answers, counters."""
    return (*plan.constraints, *plan.answers, *plan.counters)


def as_constraint(bound: Bound) -> Constraint:
    """A bound on real time alone. A counter may stand, so in real time it only has a lower end."""
    if isinstance(bound, Constraint):
        return bound
    a, b = ends_of(bound)
    hi = math.inf if isinstance(bound, Counter) else bound.hi
    return Constraint(a, b, bound.lo, hi, label_of(bound), bound.group)


@dataclass(frozen=True, slots=True)
class Arc:
    """Where the length of an arc comes from: the bound's place in the list, and which side of it."""

    bound: int
    upper: bool


class Arcs:
    """A square matrix of arcs that remembers which bound set each of them.

    Args:
        n: number of nodes.
    """

    def __init__(self, n: int) -> None:
        self.lengths: Matrix = np.full((n, n), math.inf)
        np.fill_diagonal(self.lengths, 0.0)
        self.owner: dict[tuple[int, int], Arc] = {}

    def between(self, a: int, b: int, lo: float, hi: float, bound: int) -> None:
        """Lay both arcs of ``lo ≤ t(b) − t(a) ≤ hi`` [s]; the tighter of two bounds on the same arc is kept."""
        for i, j, length, upper in ((a, b, hi, True), (b, a, -lo, False)):
            if length < self.lengths[i, j]:
                self.lengths[i, j] = length
                self.owner[i, j] = Arc(bound, upper)

    def contradiction(self) -> tuple[list[Arc], float] | None:
        """The bounds on the shortest negative cycle in order, and by how much they miss each other [s]; or None."""
        nodes = shortest_negative_cycle(self.lengths)
        if not nodes:
            return None
        pairs = list(zip(nodes, nodes[1:] + nodes[:1], strict=True))
        return [self.owner[p] for p in pairs], -float(sum(self.lengths[p] for p in pairs))


class Network:
    """A simple temporal network.

    Args:
        events: names, each once.
        constraints: bounds between them; one side may be open (``inf``), both ends must be events.
    Raises: TimingError if an event is named twice, a bound names an unknown event, is upside down, or asks for an
        infinite distance.
    Source: as for the module.
    Example: ``Network(["a", "b"], [Constraint("a", "b", 1, 2)]).window("b", "a")`` is ``(-2.0, -1.0)``.
    """

    def __init__(self, events: Sequence[str], constraints: Sequence[Constraint]) -> None:
        self.events = tuple(events)
        self.constraints = tuple(constraints)
        self.index = {e: i for i, e in enumerate(self.events)}
        if len(self.index) != len(self.events):
            raise TimingError("a network names each event once")
        self._arcs = Arcs(len(self.events))
        self._minimal: Matrix | None = None
        for place, c in enumerate(self.constraints):
            if c.a not in self.index or c.b not in self.index:
                raise TimingError(f"bound “{label_of(c)}” names an event that the network does not have")
            if not c.lo <= c.hi or c.lo == math.inf or c.hi == -math.inf:
                raise TimingError(f"bound “{label_of(c)}” cannot be kept by any two times: {c.lo:g} to {c.hi:g}")
            self._arcs.between(self.index[c.a], self.index[c.b], c.lo, c.hi, place)

    @classmethod
    def of(cls, plan: Plan) -> Network:
        """The network of all of a plan's bounds; a counter gives its lower end only, because it may stand."""
        return cls(plan.events, [as_constraint(b) for b in bounds_of(plan)])

    @property
    def lengths(self) -> Matrix:
        """The arcs as given, n × n, ``inf`` where there is none [s]. Not to be changed."""
        return self._arcs.lengths

    def minimal(self) -> Matrix:
        """The tightest bounds that follow from all of them together.

        Returns: n × n; ``M[i, j]`` is the largest ``t(j) − t(i)`` in any run, ``inf`` where nothing bounds it [s].
        Raises: ContradictionError with the shortest contradicting cycle.
        Valid for: bounds far below 1e6 s, so that rounding stays below ``TOLERANCE``.
        """
        if self._minimal is None:
            closed = close(self._arcs.lengths)
            if has_contradiction(closed):
                self._refuse()
            np.fill_diagonal(closed, 0.0)
            closed.flags.writeable = False
            self._minimal = closed
        return self._minimal

    def window(self, a: str, b: str) -> tuple[float, float]:
        """The range of ``t(b) − t(a)`` over all runs [s]; every value in it occurs in some run.

        Raises: ContradictionError as in ``minimal``; TimingError for an unknown event.
        """
        for e in (a, b):
            if e not in self.index:
                raise TimingError(f"the network has no event “{e}”")
        closed = self.minimal()
        i, j = self.index[a], self.index[b]
        return 0.0 - float(closed[j, i]), float(closed[i, j])

    def _refuse(self) -> None:
        found = self._arcs.contradiction()
        if found is None:  # closed and walked sums differ by rounding only
            return
        arcs, short_by = found
        raise ContradictionError([label_of(self.constraints[a.bound]) for a in arcs], short_by)
