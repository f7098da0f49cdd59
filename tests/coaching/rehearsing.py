"""Scripts, cars and performances shared by the coaching tests."""

from __future__ import annotations

import io
from dataclasses import replace

import numpy as np

from tickover.attempts import Attempt, parse_attempt
from tickover.coaching import CoachState, Performer, Script, rehearse, script
from tickover.engine import (
    PEDAL_COUNT,
    PEDAL_HOLD,
    POWER_CYCLE,
    SimulatedCar,
    cured_misfire,
    old_memory_on_cleaned_bore,
)
from tickover.routines import compile_routine, load_routine
from tickover.timing import Person

ENTRIES = {"pedal-count": PEDAL_COUNT, "pedal-hold": PEDAL_HOLD, "power-cycle": POWER_CYCLE}


SCRIPTS: dict[str, Script] = {name: script(compile_routine(load_routine(name))) for name in ENTRIES}


def car_for(name: str, seed: int) -> SimulatedCar:
    story = cured_misfire() if name == "power-cycle" else old_memory_on_cleaned_bore()
    return SimulatedCar(replace(story, entries=(ENTRIES[name],)), seed)


def perform(
    play: Script, car: SimulatedCar, seed: int, person: Person | None = None, slips: dict[str, float] | None = None
) -> tuple[CoachState, Attempt]:
    performer = Performer(person or Person(cv=0.05, event_sd=0.02), np.random.default_rng(seed), slips)
    record = io.StringIO()
    state = rehearse(play, car, performer, record=record)
    return state, parse_attempt(record.getvalue())
