"""Odds by feel: none on the road and none for counted time, whichever door asks."""

from __future__ import annotations

from tickover.routines import compile_routine, load_library
from tickover.visit.odds import no_odds


def test_only_routines_that_are_timed_by_feel_have_odds() -> None:
    refused = {}
    for name, routine in load_library().items():
        why = no_odds(compile_routine(routine))
        if why is not None:
            refused[name] = why.reason
            assert why.way_out
    assert set(refused) == {"drive-in", "fast-run-in", "loads-in-turn"}
    assert "on the road" in refused["drive-in"]
    assert "fan off" in refused["fast-run-in"]
