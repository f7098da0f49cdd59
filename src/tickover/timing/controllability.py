"""Whether a plan can be carried through whatever the world answers, and which acts must wait for an answer.

A plan with answers is a simple temporal network with uncertainty. It is *controllable* if there is a way of acting
that keeps every bound, where each decision uses only the answers that have come so far. It is decided on the labelled
distance graph, whose new arcs are of two kinds: plain bounds, and waits ("this act not before that answer, or before
so long after the event that the answer is counted from").
Source: Morris & Muscettola, Temporal dynamic controllability revisited, AAAI 2005; Morris, Muscettola & Vidal,
IJCAI 2001. From memory: the rules were written down again and are checked against a search of the whole game
in the tests.

Two choices of ours.

*An act may happen at the very instant of an answer, after it* (instantaneous reaction). "Exactly when the lamp
lights" is then controllable. A person needs time: state it as a lower end of the bound.

*A counter is an answer without a last moment.* When its count reaches ``lo`` is for the world to say: not before
``lo`` of real time, and there is no latest. After that the event has ``hi − lo``, in real time at the tightest. So an
upper bound of anything else across a counter that may stand is refused.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from tickover.errors import NotControllableError
from tickover.timing.network import (
    TOLERANCE,
    Arcs,
    Bound,
    Matrix,
    Network,
    as_constraint,
    bounds_of,
    close,
    has_contradiction,
    label_of,
)
from tickover.timing.plan import Answer, Constraint, Counter, Plan


@dataclass(frozen=True, slots=True)
class Link:
    """An answer in the graph: node ``to`` comes ``lo..hi`` after node ``after`` [s]; ``counter`` if it is a gate."""

    to: int
    after: int
    lo: float
    hi: float
    counter: int | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Graph:
    """A plan as a labelled distance graph.

    Attributes:
        lengths: plain arcs, n × n, the plan's events first, then one gate for each counter [s].
        links: the answers that are uncertain, gates included; an answer with ``lo = hi`` is a plain bound.
        never: a time later than any finite bound can reach; it stands for "no latest moment" [s].
    """

    lengths: Matrix
    links: tuple[Link, ...]
    never: float


@dataclass(frozen=True, slots=True, eq=False)
class Closed:
    """A labelled graph closed under all reductions.

    Attributes:
        plain: ``[i, j]`` is the largest ``t(j) − t(i)`` that may be allowed, n × n [s].
        waits: ``[i, c]``: node i not before answer c, or ``−waits`` after the event c is counted from, n × links [s].
        graph: what it was closed from.
    """

    plain: Matrix
    waits: Matrix
    graph: Graph


@dataclass(frozen=True, slots=True, eq=False)
class Controllable:
    """A plan that can be carried through whatever the world answers.

    Attributes:
        plan: the plan.
        waits: act, answer (or counter's event) and seconds: the act may not happen before the answer, or before so
            long after the event that the answer is counted from; ``inf``: not before the answer.
        closed: the closed graph, from which windows are computed.
    """

    plan: Plan
    waits: tuple[tuple[str, str, float], ...]
    closed: Closed


def graph_of(plan: Plan, *, origin_first: bool = True) -> Graph:
    """The labelled distance graph of a plan.

    Args:
        plan: events, bounds, answers and counters.
        origin_first: whether nothing may happen before the origin; true in every run.
    Returns: plain arcs and links.
    """
    index = {e: i for i, e in enumerate(plan.events)}
    n = len(plan.events)
    arcs = Arcs(n + len(plan.counters))
    for place, bound in enumerate(bounds_of(plan)):
        c = as_constraint(bound)
        arcs.between(index[c.a], index[c.b], c.lo, c.hi, place)
    lengths = arcs.lengths
    if origin_first:
        lengths[:n, 0] = np.minimum(lengths[:n, 0], 0.0)
    finite = np.abs(lengths[np.isfinite(lengths)]).sum()
    never = 1e3 * (1.0 + float(finite) + sum(k.hi for k in plan.counters if k.hi < math.inf))
    links = [Link(index[w.event], index[w.after], w.lo, w.hi) for w in plan.answers if w.hi - w.lo > TOLERANCE]
    for k, counter in enumerate(plan.counters):
        start, gate, event = index[counter.start], n + k, index[counter.event]
        lengths[start, gate], lengths[gate, start] = never, -counter.lo
        lengths[gate, event] = counter.hi - counter.lo
        if counter.lo > 0:  # with nothing to count first, the event need not wait for the condition to hold
            lengths[event, gate] = 0.0
        links.append(Link(gate, start, counter.lo, never, counter=k))
    return Graph(lengths, tuple(links), never)


def close_labelled(graph: Graph) -> Closed | None:
    """Close a labelled graph under all reductions; ``None`` if the world can win.

    Args:
        graph: from ``graph_of``.
    Returns: the closed graph, or ``None``.
    """
    plain = close(graph.lengths)
    if has_contradiction(plain):
        return None
    n, links = len(plain), graph.links
    waits = np.full((n, len(links)), math.inf)
    for c, link in enumerate(links):
        waits[link.to, c] = -link.hi
    # Morris & Muscettola bound the number of rounds; still changing after that means a cycle that keeps shrinking.
    for _ in range(n * n + n * len(links) + len(links) + 1):
        before = plain.copy(), waits.copy()
        plain, waits = _reduce(plain, waits, links)
        if _world_wins(plain, waits, links):
            return None
        if _same(before[0], plain) and _same(before[1], waits):
            np.fill_diagonal(plain, 0.0)
            plain[plain > graph.never / 2] = math.inf
            return Closed(plain, waits, graph)
    return None


def _reduce(plain: Matrix, waits: Matrix, links: tuple[Link, ...]) -> tuple[Matrix, Matrix]:
    """One round of every rule; both matrices come back new."""
    plain = close(plain)
    if links:  # a plain arc followed by a wait is a wait (upper-case and no-case rule)
        waits = np.minimum(waits, (plain[:, :, None] + waits[None, :, :]).min(axis=1))
    for c, link in enumerate(links):
        # The answer may come as early as it can: what must precede it must precede that (lower-case rule).
        must = plain[link.to] < -TOLERANCE
        plain[link.after, must] = np.minimum(plain[link.after, must], link.lo + plain[link.to, must])
        others = waits[link.to] < -TOLERANCE
        others[c] = False  # cross-case rule: not across the same answer
        waits[link.after, others] = np.minimum(waits[link.after, others], link.lo + waits[link.to, others])
    for c, link in enumerate(links):
        # A wait is over no sooner than the answer can come, so to that extent it is a plain bound (label removal).
        np.minimum(plain[:, link.after], np.maximum(waits[:, c], -link.lo), out=plain[:, link.after])
    return plain, waits


def _world_wins(plain: Matrix, waits: Matrix, links: tuple[Link, ...]) -> bool:
    """Whether the plan is contradictory once every answer comes as late as it can."""
    latest = plain.copy()
    for c, link in enumerate(links):
        np.minimum(latest[:, link.after], waits[:, c], out=latest[:, link.after])
    return has_contradiction(close(latest))


def _same(a: Matrix, b: Matrix) -> bool:
    with np.errstate(invalid="ignore"):
        return not bool((a - b > TOLERANCE).any())


def is_controllable(plan: Plan) -> bool:
    """Whether ``check_controllable`` would pass; no reason given."""
    return close_labelled(graph_of(plan)) is not None


def check_controllable(plan: Plan) -> Controllable:
    """Decide whether a plan can be carried through whatever the world answers.

    Args:
        plan: the plan; its origin is taken as its first event.
    Returns: the plan with its waits, ready to be run.
    Raises: ContradictionError if no run keeps the bounds even when the answers help; NotControllableError naming an
        irreducible set of bounds that the world can break.
    Valid for: tens of events; the labelled closure is repeated in full.
    Source: as for the module.
    """
    closed = close_labelled(graph_of(plan))
    if closed is None:
        Network.of(with_origin_first(plan)).minimal()
        culprits = _irreducible(plan)
        raise NotControllableError(_reason(culprits), [label_of(b) for b in culprits])
    return Controllable(plan, _named_waits(plan, closed), closed)


def with_origin_first(plan: Plan) -> Plan:
    """The plan with its origin made the first event by constraints of its own."""
    first = [
        Constraint(plan.origin, e, 0.0, math.inf, f"“{e}” is not before the start “{plan.origin}”")
        for e in plan.events[1:]
    ]
    return replace(plan, constraints=(*plan.constraints, *first))


def _named_waits(plan: Plan, closed: Closed) -> tuple[tuple[str, str, float], ...]:
    given = {w.event for w in plan.answers}
    found = []
    for c, link in enumerate(closed.graph.links):
        name = plan.events[link.to] if link.counter is None else plan.counters[link.counter].event
        for i, event in enumerate(plan.events):
            seconds = wait_seconds(closed, i, c)
            if event not in given and seconds is not None:
                found.append((event, name, seconds))
    return tuple(found)


def wait_seconds(closed: Closed, node: int, link: int) -> float | None:
    """How long ``node`` waits for an answer, from the event that it is counted from [s]; ``None`` if it does not."""
    length, after = float(closed.waits[node, link]), closed.graph.links[link].after
    if node == closed.graph.links[link].to or length >= closed.plain[node, after] - TOLERANCE:
        return None  # the plain bound says as much
    return math.inf if length < -closed.graph.never / 2 else -length


def _irreducible(plan: Plan) -> tuple[Bound, ...]:
    """Bounds that the world can break together, where leaving out any one would let the performer win.

    An answer is left out by letting the performer choose its moment freely; a counter by dropping it.
    """
    kept = bounds_of(plan)
    for candidate in bounds_of(plan):
        fewer = tuple(b for b in kept if b is not candidate)
        if not is_controllable(_of_bounds(plan, fewer)):
            kept = fewer
    return kept


def _of_bounds(plan: Plan, bounds: tuple[Bound, ...]) -> Plan:
    """The plan with only these bounds; an answer that is left out becomes an event without a window."""
    return Plan(
        plan.events,
        tuple(b for b in bounds if isinstance(b, Constraint)),
        tuple(b for b in bounds if isinstance(b, Answer)),
        tuple(b for b in bounds if isinstance(b, Counter)),
    )


def _reason(culprits: tuple[Bound, ...]) -> str:
    """Say in plain words how the world wins."""
    answers = [b for b in culprits if isinstance(b, Answer)]
    counters = [b for b in culprits if isinstance(b, Counter)]
    bounds = [b for b in culprits if isinstance(b, Constraint)]
    who = [f"“{a.event}” may come anywhere from {a.lo:g} to {a.hi:g} s after “{a.after}”" for a in answers]
    who += [f"the count “{label_of(k)}” may stand for any length of time" for k in counters]
    ends = " and ".join(who)
    what = "; ".join(f"“{label_of(b)}”" for b in bounds)
    if not bounds:
        return f"{ends}, and these cannot be kept together whatever is done"
    kept = "this bound cannot" if len(bounds) == 1 else "these bounds cannot all"
    return f"{ends}: {kept} be kept whatever is done: {what}"
