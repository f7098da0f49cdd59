"""When to do each act of a routine: by feel, to a sound file, or with the coach, who hears each act."""

from __future__ import annotations

from typing import Literal

from tickover.routines.compiled import CompiledRoutine
from tickover.timing import Aim, CueFrom, Person, Prepared, Run, best_aims, prepare

Help = Literal["none", "sound file", "coach"]
"""What helps the person: nothing (timed by feel), cues made beforehand, or cues that follow what was done."""

CUES_FROM: dict[Help, CueFrom] = {"none": "schedule", "sound file": "schedule", "coach": "last act"}


def aims_for(
    routine: CompiledRoutine,
    help_by: Help,
    person: Person | None = None,
    *,
    prepared: Prepared | None = None,
    run: Run | None = None,
) -> dict[str, Aim]:
    """The best aims for a person who is helped so; every act is cued, or none.

    Args:
        routine: compiled.
        help_by: what helps.
        person: who performs it; if not given, somebody with the usual spread.
        prepared: the routine's plan, where it has been made ready already.
        run: what has happened so far; if not given nothing but the first act, and every condition holds.
    Returns: an aim for each act to come, as ``timing.best_aims``.
    Raises: as ``timing.prepare``.
    """
    ready = run.prepared if run is not None else prepared or prepare(routine.plan())
    cued = frozenset[str]() if help_by == "none" else frozenset(e.name for e in routine.events if not e.answer)
    return best_aims(ready, person or Person(), run, margins=routine.margins(), cued=cued, cue_from=CUES_FROM[help_by])
