"""Arrival in one call: answers in; stop signs, story, ladder and what to type next out."""

from __future__ import annotations

from collections.abc import Mapping

from tickover.arrival.answers import Answers
from tickover.arrival.candidates import Rates
from tickover.arrival.ladder import Ladder, build_ladder
from tickover.arrival.stops import IDLE_CODES, MISFIRE_CODES, NO_LEARNED_IDLE, Stop, codes_in, stops
from tickover.arrival.story import Story, Told, story
from tickover.results import CannotTell, Result
from tickover.routines import Routine


class Arrival(Result):
    """What arrival found.

    Attributes:
        answers: what was answered.
        stops: stop signs and faults that no relearn mends, the most dangerous first.
        story: which story of the memory fits, or why none can be told.
        ladder: routines in their order; empty where there is a stop.
        notes: what to see to, in sentences.
        commands: what to type next, in order.
        rests_on: what it rests on.
    """

    answers: Answers
    stops: tuple[Stop, ...]
    story: Told
    ladder: Ladder
    notes: tuple[str, ...]
    commands: tuple[str, ...]
    rests_on: tuple[str, ...]

    @property
    def sentence(self) -> str:
        """The one line of the arrival, for records."""
        if self.stops:
            return f"{self.stops[0].name[0].upper()}{self.stops[0].name[1:]}: {self.stops[0].instead}"
        return self.story.sentence if isinstance(self.story, Story) else self.story.reason


def arrive(answers: Answers, library: Mapping[str, Routine], rates: Rates | None = None) -> Arrival:
    """From answers to stop signs, story and ladder.

    Args:
        answers: what was answered.
        library: routines by id, as ``load_library`` gives them.
        rates: the shop's own counts: routine id to successes and tries.
    Returns: all of it.
    Raises: InputError for counts that cannot be.
    """
    found = stops(answers)
    told = _told(answers, found)
    ladder = build_ladder(answers, found, told, library, rates)
    return Arrival(
        answers=answers,
        stops=found,
        story=told,
        ladder=ladder,
        notes=_notes(answers),
        commands=_commands(found, ladder),
        rests_on=(
            "What was told, not measured.",
            "Common practice without a published source; the car's own service information wins.",
        ),
    )


def _told(answers: Answers, found: tuple[Stop, ...]) -> Story | CannotTell:
    """The story; behind a stop no way out is told but the stop's own, or it would send a car without oil to idle."""
    told = story(answers)
    if answers.drive in NO_LEARNED_IDLE:
        return CannotTell(reason=f"The stories of the memory are not for this drive: {answers.drive}.",
                          way_out=found[0].instead)  # fmt: skip
    if found and isinstance(told, CannotTell):
        return CannotTell(reason=f"First things first: {found[0].name}.", way_out=found[0].instead)
    return told


def _notes(answers: Answers) -> tuple[str, ...]:
    notes = []
    idle, misfire = codes_in(IDLE_CODES, answers), codes_in(MISFIRE_CODES, answers)
    if idle:
        notes.append(
            f"{' and '.join(idle)}: the controller has seen the idle off, or has not learned it. No reason to stop "
            "(from memory of SAE J2012)."
        )
    told = {*idle, *(c for s in stops(answers) for c in s.codes)}
    others = [c for c in answers.codes or () if c not in told]
    if misfire and misfire[0] in others:
        notes.append(f"{' and '.join(misfire)} is what the controller remembers of the cured misfire. Note it.")
        others = [c for c in others if c not in misfire]
    if others:
        notes.append(f"{' and '.join(others)}: not a reason to stop by itself. Note it, and mend it for itself.")
    if answers.codes is None:
        notes.append("The codes are not read. Read and note them, with lamp and readiness, before all else.")
    if answers.stop_start == "yes":
        notes.append("Switch the automatic engine stop off first: it would end the idle that is to be learned.")
    if answers.gearbox == "manual":
        notes.append("Neutral, parking brake on; clutch for the crank only.")
    if answers.gearbox == "automatic":
        notes.append("P or N, parking brake on.")
    if answers.battery == "charger":
        notes.append("The charger stays on, at low current, able to carry the key-on draw, no boost mode.")
    return tuple(notes)


def _commands(found: tuple[Stop, ...], ladder: Ladder) -> tuple[str, ...]:
    if found:
        return ()
    first = ladder.first
    return ("tickover idle LOG", *((first.command,) if first is not None else ()))
