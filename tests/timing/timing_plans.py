"""Random plans, and a performer and a world to carry them out."""

from __future__ import annotations

import math

from numpy.random import Generator

from tickover.errors import TimingError
from tickover.timing import (
    Answer,
    Constraint,
    Counter,
    Plan,
    Prepared,
    Run,
    begin,
    condition,
    happen,
    next_acts,
    prepare,
    windows,
)

CONDITION = "fan off"


def pedal_count() -> Plan:
    """The routine of the design's page: five presses in a span, two answers, eighteen events."""
    events, bounds, before = ["on"], [], "on"
    for k in range(1, 6):
        lo, hi, what = (2.0, 4.0, "wait") if k == 1 else (0.12, 0.9, "gap")
        bounds.append(Constraint(before, f"press {k}", lo, hi, f"presses: {what} {k}", "presses"))
        bounds.append(Constraint(f"press {k}", f"let go {k}", 0.25, 0.9, f"presses: hold {k}", "presses"))
        before = f"let go {k}"
        events += [f"press {k}", before]
    bounds += [
        Constraint("press 1", "let go 5", -math.inf, 5.0, "presses: span", "presses"),
        Constraint("let go 5", "down", 6.0, 8.0, "down", "down"),
        Constraint("stays", "up", 0.0, 3.0, "up", "up"),
        Constraint("flashes", "stays", 0.0, math.inf, "order of the lamp", "stays"),
        Constraint("up", "start", 0.3, 3.0, "start", "start"),
    ]
    answers = (
        Answer("flashes", "down", 8.0, 14.0, "flashes", "flashes"),
        Answer("stays", "down", 16.0, 25.0, "stays", "stays"),
    )
    return Plan((*events, "down", "flashes", "stays", "up", "start"), tuple(bounds), answers)


def random_plan(rng: Generator, *, answers: int = 3, acts: int = 6, counter: float = 0.0) -> Plan:
    """A plan of up to so many answers and acts; with a counter in that share of cases."""
    n_answers = int(rng.integers(0 if counter else 1, answers + 1))
    kinds = list(rng.permutation(["answer"] * n_answers + ["act"] * int(rng.integers(2, acts + 1))))
    events, given, bounds = ["origin"], [], []
    for k, kind in enumerate(kinds):
        event, before = f"{kind} {k}", events[rng.integers(max(0, len(events) - 3), len(events))]
        lo = float(rng.uniform(0, 4) * (rng.random() < 0.8))
        if kind == "answer":
            given.append(Answer(event, before, lo, lo + rng.uniform(0.1, 5)))
        elif rng.random() < 0.8:
            bounds.append(Constraint(before, event, lo, lo + rng.uniform(0, 4) if rng.random() < 0.7 else math.inf))
        events.append(event)
    for _ in range(rng.integers(1, 7)):
        i, j = rng.choice(len(events), 2, replace=False)
        lo, side = float(rng.uniform(-2, 6)), rng.random()
        hi = math.inf if side > 0.6 else lo + float(rng.uniform(0, 8))
        bounds.append(Constraint(events[i], events[j], -math.inf if side < 0.2 else lo, hi))
    counters: tuple[Counter, ...] = ()
    if rng.random() < counter:
        start, end = sorted(rng.choice(len(events), 2, replace=False))
        if events[end].startswith("act"):
            lo = float(rng.uniform(0, 5) * (rng.random() < 0.8))
            hi = lo + float(rng.uniform(0.2, 4)) if rng.random() < 0.7 else math.inf
            counters = (Counter(events[end], events[start], CONDITION, lo, hi),)
    return Plan(tuple(events), tuple(bounds), tuple(given), counters)


def random_prepared(rng: Generator, *, require_controllable: bool = True, counter: float = 0.0) -> Prepared:
    """The first random plan that can be prepared."""
    while True:
        try:
            return prepare(random_plan(rng, counter=counter), require_controllable=require_controllable)
        except TimingError:
            continue


def carry_out(prepared: Prepared, rng: Generator, policy: str, world: str) -> Run:
    """Do every act inside its window: at its lower end, upper end, middle, or anywhere; and answer as the world likes.

    ``world`` is early, late, anywhere or either end. A counter's condition comes and goes at random.
    """
    plan = prepared.plan
    took = {
        w.event: {"early": w.lo, "late": w.hi, "anywhere": rng.uniform(w.lo, w.hi), "ends": rng.choice([w.lo, w.hi])}[
            world
        ]
        for w in plan.answers
    }
    flips = sorted(rng.uniform(0, 25, rng.integers(0, 8))) if plan.counters else []
    run = begin(prepared, holding=[CONDITION] if plan.counters and rng.random() < 0.5 else [])
    while not run.done:
        offered = windows(run)
        events = [
            (run.happened[w.after] + took[w.event], 0, w.event)
            for w in plan.answers
            if w.event in offered and w.after in run.happened
        ]
        for act in next_acts(run):
            lo, hi = offered[act]
            if lo < math.inf:
                assert lo <= hi + 1e-9, f"{act}: an empty window {lo}..{hi} was offered"
                hi = hi if hi < math.inf else lo + rng.uniform(0, 5)
                share = {"lower": 0.0, "upper": 1.0, "middle": 0.5, "anywhere": rng.random()}[policy]
                events.append((hi if share == 1.0 else lo + share * (hi - lo), 1, act))
        t, _, event = min(events, default=(math.inf, 0, ""))
        if flips and flips[0] < t:
            run = condition(run, CONDITION, CONDITION not in run.holding, max(run.now, flips.pop(0)))
        elif t == math.inf:  # everything waits for the count, and the count stands
            run = condition(run, CONDITION, True, run.now + 1.0)
        else:
            run = happen(run, event, t)
    return run


def broken_bounds(plan: Plan, times: dict[str, float]) -> dict[int, float]:
    """Places of the constraints and answers that these times break, and by how much; written without the tool."""
    found = {}
    ends = [(c.a, c.b, c.lo, c.hi) for c in plan.constraints] + [(w.after, w.event, w.lo, w.hi) for w in plan.answers]
    for place, (a, b, lo, hi) in enumerate(ends):
        off = max(lo - (times[b] - times[a]), times[b] - times[a] - hi)
        if off > 1e-9:
            found[place] = off
    return found
