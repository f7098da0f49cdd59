"""The phone's judge and ours judge thousands of attempts alike."""

from __future__ import annotations

import math
from collections.abc import Iterator
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from chromium_pages import chromium

from tickover.cues.phone import bundle
from tickover.cues.vectors import vectors
from tickover.routines import (
    CompiledAnswer,
    CompiledConstraint,
    CompiledCounter,
    CompiledEvent,
    CompiledRoutine,
    compile_routine,
    load_library,
)


def small_routine(base: CompiledRoutine, rng: np.random.Generator) -> CompiledRoutine:
    """A random chain of acts with an answer, counted time and a span over some of it."""
    n = int(rng.integers(3, 7))
    names = [f"e{k}" for k in range(n)]
    bounds = []
    for a, b in pairwise(names):
        lo = round(float(rng.uniform(0.1, 3.0)), 2)
        hi = None if rng.random() < 0.2 else lo + round(float(rng.uniform(0.2, 4.0)), 2)
        bounds.append(CompiledConstraint(a=a, b=b, lo=lo, hi=hi, label=f"{a} {b}", group=b))
    least = sum(c.lo or 0 for c in bounds[:2])
    bounds.append(CompiledConstraint(a="e0", b="e2", lo=None, hi=least + 0.6, label="span", group="e2"))
    last = names[-1]
    answers = [CompiledAnswer(event="lamp", after=last, lo=1.0, hi=4.0, label="lamp", group="lamp")]
    bounds.append(CompiledConstraint(a="lamp", b="up", lo=0.0, hi=2.0, label="up", group="up"))
    counters = [CompiledCounter(event="end", start="up", condition="fan off", lo=5, hi=9, label="end", group="end")]
    events = [CompiledEvent(name=e, kind="press", step=e) for e in names]
    events.append(CompiledEvent(name="lamp", kind="lamp lit", step="lamp", answer=True))
    events += [CompiledEvent(name="up", kind="release", step="up"), CompiledEvent(name="end", kind="crank", step="end")]
    shape = {"events": tuple(events), "constraints": tuple(bounds), "answers": tuple(answers)}
    return base.model_copy(update={**shape, "counters": tuple(counters), "aim_by": {}})


def routines(rng: np.random.Generator) -> Iterator[tuple[CompiledRoutine, int]]:
    compiled = [compile_routine(r) for r in load_library().values()]
    yield from ((c, 100) for c in compiled)
    yield from ((small_routine(compiled[0], rng), 30) for _ in range(50))


def same(one: Any, other: Any) -> bool:
    if isinstance(one, float) and isinstance(other, (int, float)):
        return math.isclose(one, other, abs_tol=1e-9)
    if isinstance(one, (list, tuple)) and isinstance(other, (list, tuple)):
        return len(one) == len(other) and all(same(a, b) for a, b in zip(one, other, strict=True))
    if isinstance(one, dict):
        return all(same(value, other[key]) for key, value in one.items())
    return bool(one == other)


RUN = """(cases) => cases.map((c) => judge(c.routine, c.seen, c.horizon, c.counted))"""


@pytest.fixture(scope="module")
def judged() -> list[tuple[dict[str, Any], dict[str, Any]]]:
    rng = np.random.default_rng(20260725)
    pairs = []
    with chromium() as browser:
        page = browser.new_page()
        page.add_script_tag(content=bundle("judge.js"))
        for routine, count in routines(rng):
            cases = list(vectors(routine, rng, count))
            shape = routine.model_dump(mode="json")
            found = page.evaluate(
                f"(g) => ({RUN})(g.cases.map((c) => ({{...c, routine: g.shape}})))", {"shape": shape, "cases": cases}
            )
            pairs += [(case["expected"], plain(f)) for case, f in zip(cases, found, strict=True)]
    return pairs


def plain(value: Any) -> Any:
    if isinstance(value, float) and not math.isfinite(value):
        return None
    if isinstance(value, dict):
        return {k: plain(v) for k, v in value.items()}
    return [plain(v) for v in value] if isinstance(value, list) else value


def test_thousands_of_attempts_are_judged_alike(judged: list[tuple[dict[str, Any], dict[str, Any]]]) -> None:
    assert len(judged) > 2000
    for expected, found in judged:
        assert same(expected, found), (expected, found)


def test_the_vectors_hold_every_verdict_often(judged: list[tuple[dict[str, Any], dict[str, Any]]]) -> None:
    for verdict in ("hit", "missed", "undecided"):
        assert sum(expected["verdict"] == verdict for expected, _ in judged) > 100
        assert sum(b["verdict"] == verdict for expected, _ in judged for b in expected["bounds"]) > 500
    alone = [e for e, _ in judged if e["joint"] == "missed" and all(b["verdict"] != "missed" for b in e["bounds"])]
    assert len(alone) > 5  # missed together although no bound is missed alone
