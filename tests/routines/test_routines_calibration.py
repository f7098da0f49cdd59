"""Stated odds against attempts carried out: every routine, lapses and pace error included."""

import math

import numpy as np
import pytest

from tickover.routines import CompiledRoutine, compile_routine, load_library
from tickover.routines.aiming import aims_for
from tickover.timing import Person, odds, simulate_many

ROUTINES = {name: compile_routine(r) for name, r in load_library().items()}
PERSON = Person(bias=-0.04, scale=0.04, cv=0.09, motor_sd=0.03, event_sd=0.04, lapse=0.03)


def share_of_hits(routine: CompiledRoutine, person: Person, seed: int, n: int, **help_: object) -> float:
    """Share of drawn attempts that keep every bound of the compiled file."""
    aimed = aims_for(routine, "none", person)
    t = simulate_many(routine.plan(), aimed, person, np.random.default_rng(seed), n, **help_)  # type: ignore[arg-type]
    kept = np.ones(n, dtype=bool)
    for c in (*routine.constraints, *routine.counters):
        a, b = (c.a, c.b) if hasattr(c, "a") else (c.start, c.event)
        d = t[b] - t[a]
        kept &= (d >= (c.lo if c.lo is not None else -math.inf) - 1e-9) & (
            d <= (c.hi if c.hi is not None else math.inf) + 1e-9
        )
    return float(kept.mean())


@pytest.mark.parametrize("name", sorted(ROUTINES))
def test_twenty_thousand_attempts_succeed_as_often_as_stated(name: str) -> None:
    routine, n = ROUTINES[name], 20_000
    stated = odds(routine.plan(), PERSON, aims_for(routine, "none", PERSON))
    share = share_of_hits(routine, PERSON, 7, n)
    assert stated.lo <= share <= stated.hi
    assert abs(share - stated.p) < 4 * math.sqrt(max(stated.p * (1 - stated.p), 1 / n) / n + stated.se**2)


@pytest.mark.soak
@pytest.mark.parametrize("name", sorted(ROUTINES))
def test_twenty_thousand_attempts_of_many_people_with_and_without_cues(name: str) -> None:
    routine, n, rng = ROUTINES[name], 20_000, np.random.default_rng(11)
    off = []
    for seed in range(25):
        person = Person(
            bias=rng.normal(0, 0.05),
            scale=rng.normal(0, 0.05),
            cv=rng.uniform(0.04, 0.15),
            motor_sd=rng.uniform(0.01, 0.05),
            event_sd=rng.uniform(0.025, 0.06),
            lapse=rng.choice([0.0, 0.02, 0.05]),
        )
        aimed = aims_for(routine, "none", person)
        cued = frozenset(e for e in aimed if rng.random() < 0.3)
        stated = odds(routine.plan(), person, aimed, cued, cue_from="last act")
        share = share_of_hits(routine, person, seed, n, cued=cued, cue_from="last act")
        spread = math.sqrt(max(stated.p * (1 - stated.p), 1 / n) / n + stated.se**2)
        off.append((share - stated.p) / spread)
        assert stated.lo - 3 * spread <= share <= stated.hi + 3 * spread
    assert max(np.abs(off)) < 5
    assert abs(np.mean(off)) < 1
