"""Odds for a person who is known by 40 practice taps only: the stated range holds what then happens."""

import math

import numpy as np
import pytest

from tickover.routines import compile_routine, load_library
from tickover.routines.aiming import aims_for
from tickover.timing import Person, odds_for_people, simulate_many
from tickover.timing.learn import Tap, learn

ROUTINES = {name: compile_routine(r) for name, r in load_library().items()}
TARGETS = (0.5, 2.0, 6.0, 15.0)
TAPS, ATTEMPTS, DRAWS = 40, 20_000, 120


def somebody(rng: np.random.Generator) -> Person:
    """A person with a pace error and lapses, drawn without looking at what the learner assumes."""
    return Person(
        bias=rng.normal(0, 0.03),
        scale=rng.normal(0, 0.05),
        cv=rng.uniform(0.05, 0.14),
        motor_sd=rng.uniform(0.015, 0.04),
        lapse=rng.uniform(0.0, 0.05),
    )


def practised(person: Person, rng: np.random.Generator) -> list[Tap]:
    taps = []
    for k in range(TAPS):
        d = TARGETS[k % len(TARGETS)]
        noise = rng.standard_normal() * (5.0 if rng.random() < person.lapse else 1.0)
        made = (1 + person.scale) * d + person.bias + math.hypot(person.cv * d, person.motor_sd) * noise
        taps.append(Tap(d, max(0.02, made)))
    return taps


def covered(name: str, person: Person, rng: np.random.Generator) -> tuple[bool, float]:
    """Whether the share of hits lies in the stated range, and how wide that is."""
    routine = ROUTINES[name]
    learned = learn(practised(person, rng), rng, model="timed")
    aimed = aims_for(routine, "none", learned.person())
    stated = odds_for_people(routine.plan(), learned.draws(rng, DRAWS), aimed, cue_from="last act")
    t = simulate_many(routine.plan(), aimed, person, rng, ATTEMPTS)
    kept = np.ones(ATTEMPTS, dtype=bool)
    for c in (*routine.plan().constraints, *routine.plan().counters):
        a, b = (c.a, c.b) if hasattr(c, "a") else (c.start, c.event)
        kept &= (t[b] - t[a] >= c.lo - 1e-9) & (t[b] - t[a] <= c.hi + 1e-9)
    slack = 3 / math.sqrt(4 * ATTEMPTS)
    return stated.lo - slack <= kept.mean() <= stated.hi + slack, stated.hi - stated.lo


def share_covered(names: list[str], people: int, seed: int) -> float:
    rng = np.random.default_rng(seed)
    found = [covered(name, somebody(rng), rng)[0] for _ in range(people) for name in names]
    return float(np.mean(found))


def test_the_range_stated_after_forty_taps_holds_the_share_of_hits() -> None:
    assert share_covered(["pedal-hold", "power-cycle", "slow-presses"], 6, 5) >= 14 / 18


@pytest.mark.soak
@pytest.mark.parametrize("name", sorted(ROUTINES))
def test_the_range_stated_after_forty_taps_holds_it_for_every_routine(name: str) -> None:
    # Ranges of 90 %: of 60 people 47 or fewer inside has a chance of one in a thousand.
    assert share_covered([name], 60, 6) >= 48 / 60
