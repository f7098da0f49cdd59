"""Which routines have odds by feel at all; the same answer at every door."""

from __future__ import annotations

from tickover.cues.when import ROAD
from tickover.results import CannotTell
from tickover.routines import CompiledRoutine


def no_odds(routine: CompiledRoutine) -> CannotTell | None:
    """Why a routine has no odds by feel; None where it has some.

    Its seconds are then road's, traffic's or an instrument's, not those of a person who counts.
    """
    if any(s.kind in ROAD for s in routine.steps):
        return CannotTell(
            reason="it is done on the road, where speed and traffic decide, not timing by feel",
            way_out="Drive it with the coach, then let its log be checked.",
        )
    if routine.counters:
        counter = routine.counters[0]
        shown = counter.condition.replace("_", " ")
        return CannotTell(
            reason=f"the time of “{counter.group}” counts only while this holds: {shown}; that is read, not felt",
            way_out="Run it with the coach, and let its log be judged.",
        )
    return None
