"""Test vectors for the phone's judge: random attempts with exact taps, and what our own judge says of them."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

import numpy as np

from tickover.routines import CompiledRoutine
from tickover.routines.aiming import aims_for
from tickover.timing import Aim, Judgement, Observation, Plan, judge


def vectors(routine: CompiledRoutine, rng: np.random.Generator, count: int) -> Iterator[dict[str, Any]]:
    """Random attempts at a routine, most of them near its windows' ends.

    Args:
        routine: compiled.
        rng: for the draws.
        count: how many.
    Returns: ``{seen, horizon, counted, expected}`` each, plain JSON; expected as from ``verdict_data``.
    """
    plan = routine.plan()
    found = aims_for(routine, "coach")
    for _ in range(count):
        times = _times(plan, found, rng)
        order = sorted(times, key=lambda e: times[e])
        kept = order[: int(rng.integers(1, len(order) + 1))] if rng.random() < 0.3 else order
        if rng.random() < 0.2 and len(kept) > 2:
            kept.remove(kept[int(rng.integers(1, len(kept)))])
        if rng.random() < 0.03 and len(kept) > 2:
            kept[1], kept[2] = kept[2], kept[1]  # the clock ran backwards: nothing can be told
        horizon = None if rng.random() < 0.3 else max(times[e] for e in kept) + float(rng.exponential(3.0))
        counted = {}
        for k in plan.counters:
            if k.event in times and k.start in times and rng.random() < 0.8:
                counted[k.event] = float((times[k.event] - times[k.start]) * rng.uniform(0.3, 1.05))
        observations = [Observation(e, times[e], times[e]) for e in kept]
        ranges = {e: (c, c) for e, c in counted.items()}
        yield {
            "seen": [{"event": e, "t": times[e]} for e in kept],
            "horizon": horizon,
            "counted": counted,
            "expected": verdict_data(judge(plan, observations, horizon=horizon, counted=ranges)),
        }


def _times(plan: Plan, found: dict[str, Aim], rng: np.random.Generator) -> dict[str, float]:
    """When each event came: some attempts clean, some sloppy, some exactly on a bound."""
    times = {plan.origin: 0.0}
    spread = float(rng.choice([0.0, 0.03, 0.15, 0.5]))
    answers = {w.event: w for w in plan.answers}
    waiting = [e for e in plan.events if e != plan.origin]
    while waiting:
        ready = [
            e for e in waiting if (answers[e].after if e in answers else found[e].after if e in found else "") in times
        ]
        for e in ready or waiting[:1]:
            if e in answers:
                w = answers[e]
                t = times[w.after] + float(rng.uniform(w.lo, w.hi)) + spread * float(rng.normal())
            elif e in found and found[e].after in times:
                t = times[found[e].after] + found[e].delay * (1 + spread * float(rng.normal()))
            else:
                t = max(times.values()) + 1.0
            times[e] = max(0.0, t)
            waiting.remove(e)
    for c in plan.constraints:
        if rng.random() < 0.03:
            side = c.hi if math.isfinite(c.hi) and rng.random() < 0.5 else c.lo
            if math.isfinite(side) and c.b != plan.origin:
                times[c.b] = max(0.0, times[c.a] + side + float(rng.choice([0.0, 0.0, 1e-6, -1e-6])))
    return times


def verdict_data(found: Judgement) -> dict[str, Any]:
    """A judgement as plain JSON; infinite sides ``None``."""
    return {
        "verdict": found.verdict,
        "joint": found.joint,
        "bounds": [
            {
                "label": b.label,
                "verdict": b.verdict,
                "lo": _finite(b.lo),
                "hi": _finite(b.hi),
                "early": None if b.early_by is None else [_finite(x) for x in b.early_by],
                "late": None if b.late_by is None else [_finite(x) for x in b.late_by],
            }
            for b in found.bounds
        ],
    }


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None
