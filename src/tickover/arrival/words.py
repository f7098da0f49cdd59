"""Arrival and set-up as lines for a technician: what is dangerous first, then the story, the ladder, what to type."""

from __future__ import annotations

from collections.abc import Iterable

from tickover.arrival.arrive import Arrival
from tickover.arrival.ladder import Ladder, Rung
from tickover.arrival.questions import NOT_KNOWN, QUESTIONS, Question
from tickover.arrival.setup import NeedState, SetUp
from tickover.arrival.stops import Stop
from tickover.arrival.story import Story
from tickover.results import CannotTell, Measured, Quantity
from tickover.routines.words import Line

MARKS = {"met": "◆", "not met": "✕", "by hand": "·", "cannot tell": "┄"}
"""A mark for each standing; the word stands beside it."""


def arrival_lines(arrival: Arrival, *, typed: bool = True) -> list[Line]:
    """The whole arrival.

    Args:
        arrival: what was found.
        typed: whether to end with what to type next; within a job that is the job's to say.
    Returns: lines; stop signs first, each with what to do instead.
    """
    lines: list[Line] = []
    for stop in arrival.stops:
        lines += stop_lines(stop)
    if arrival.stops:
        lines.append(Line("rule", ""))
    if isinstance(arrival.story, Story) or not arrival.stops:
        lines += [*story_lines(arrival.story), Line("rule", "")]
    lines += [*ladder_lines(arrival.ladder)]
    if arrival.notes:
        lines += [Line("head", "See to"), *(Line("text", note, 2) for note in arrival.notes)]
    lines += _next_lines(arrival) if typed else []
    lines.append(Line("soft", " ".join(arrival.rests_on)))
    return lines


def stop_lines(stop: Stop) -> list[Line]:
    """One stop: its name, why, and what to do instead."""
    lines = [
        Line("caution", f"Stop: {stop.name}" if stop.sort == "stop sign" else f"Not by relearn: {stop.name}"),
        Line("text", stop.why, 2),
        Line("lead", f"Instead: {stop.instead}", 2),
    ]
    if stop.do_not_drive:
        lines.append(Line("caution", "Do not drive it.", 2))
    if stop.codes:
        lines.append(Line("soft", stop.basis, 2))
    return lines


def story_lines(told: Story | CannotTell) -> list[Line]:
    """The story with its reasons, or why there is none and the way out."""
    if isinstance(told, CannotTell):
        return [
            Line("title", "Cannot tell which story of the memory fits"),
            Line("text", told.reason, 2),
            Line("text", told.way_out, 2),
        ]
    return [
        Line("title", f"{told.name[0].upper()}{told.name[1:]}"),
        Line("text", told.sentence, 2),
        *(Line("soft", f"For it: {reason}", 2) for reason in told.fits),
        *(Line("soft", f"Open: {doubt}", 2) for doubt in told.doubts),
    ]


def ladder_lines(ladder: Ladder) -> list[Line]:
    """The rungs in order, what is withheld, and when to stop."""
    if ladder.none is not None:
        return [
            Line("head", "No routine now"),
            Line("text", ladder.none.reason, 2),
            Line("text", ladder.none.way_out, 2),
        ]
    lines = [Line("head", "In this order")]
    shared = _shared(ladder)
    for number, rung in enumerate(ladder.rungs, start=1):
        lines += _rung_lines(number, rung, shared)
    if shared:
        lines.append(Line("soft", f"For all these routines: {' '.join(shared)}", 2))
    lines.append(Line("lead", ladder.rule, 2))
    if ladder.withheld:
        lines.append(Line("head", "Not offered"))
        reasons = dict.fromkeys(w.why for w in ladder.withheld)
        for why in reasons:
            names = ", ".join(w.routine for w in ladder.withheld if w.why == why)
            lines.append(Line("soft", f"{names}: {why}", 2))
    return lines


def _shared(ladder: Ladder) -> tuple[str, ...]:
    """Reasons that every routine of the ladder has: they are said once."""
    routines = [r for r in ladder.rungs if r.sort == "routine"]
    if len(routines) < 2:
        return ()
    return tuple(why for why in routines[0].why if all(why in r.why for r in routines[1:]))


def _rung_lines(number: int, rung: Rung, shared: tuple[str, ...]) -> list[Line]:
    name = f"{rung.title} ({rung.routine})" if rung.routine else rung.title
    lines = [Line("lead", f"{number}  {name}", 2)]
    if rung.minutes is not None:
        lines.append(Line("text", f"About {minutes_words(rung.minutes)} to success, if it works on this car.", 5))
    return [*lines, *(Line("soft", reason, 5) for reason in rung.why if rung.sort != "routine" or reason not in shared)]


def minutes_words(q: Quantity) -> str:
    """Minutes with their interval: ``11 min (6 to 22)``."""
    if q.lo is None or q.hi is None:
        return f"{q.lo or 0.0:.0f} min or more"
    return f"{q.value:.0f} min ({q.lo:.0f} to {q.hi:.0f})"


def _next_lines(arrival: Arrival) -> list[Line]:
    if not arrival.commands:
        return []
    before, *after = arrival.commands
    lines = [Line("head", "Type next"), Line("text", f"{before}   (LOG: a minute of warm idle, as it is now)", 2)]
    return [*lines, *(Line("text", command, 2) for command in after)]


def set_up_lines(found: SetUp) -> list[Line]:
    """Needs with their standing, then fan and battery."""
    lines = [Line("rule", ""), Line("head", f"Set-up for {found.routine}")]
    for need in found.needs:
        lines += _need_lines(need)
    if found.fan is not None:
        lines.append(Line("text", f"Fan: {fan_words(found.fan.seconds)}.", 2))
        threshold = found.fan.threshold
        at = f"{threshold.lo:.0f} to {threshold.hi:.0f} °C"
        lines.append(Line("soft", f"It comes on at {at}: {found.fan.threshold_from}.", 4))
    if found.battery is not None:
        lines.append(Line("text", f"Battery: {found.battery.sentence}", 2))
        lines += [Line("text", found.battery.instead, 4)] if found.battery.instead else []
        lines.append(Line("soft", found.battery.basis, 4))
    if found.minutes is not None:
        lines.append(Line("text", f"To 12.0 V with the ignition on: {left_words(found.minutes)}.", 2))
    return lines


def _need_lines(need: NeedState) -> list[Line]:
    lines = [Line("lead", f"{MARKS[need.standing]} {need.standing}: {need.need}", 2)]
    said = " ".join(s for s in (need.found, need.instead) if s)
    return [*lines, *([Line("text", said, 4)] if said else []), Line("soft", need.why, 4)]


def fan_words(seconds: Measured) -> str:
    """Time until the fan: ``in 23 to 56 s, most likely about 36 s``."""
    if isinstance(seconds, CannotTell):
        return f"cannot tell. {seconds.reason} {seconds.way_out}".rstrip(".")
    if seconds.hi is None:
        return f"not before {seconds.lo or 0.0:.0f} s"
    if seconds.hi < 1:
        return "it may come on at any moment"
    return f"in {seconds.lo or 0.0:.0f} to {seconds.hi:.0f} s, most likely about {seconds.value:.0f} s"


def left_words(minutes: Measured) -> str:
    """Minutes left: ``4 to 9 min``; ``20 min or more``."""
    if isinstance(minutes, CannotTell):
        return f"cannot tell. {minutes.reason} {minutes.way_out}".rstrip(".")
    lo = minutes.lo or 0.0
    return f"{lo:.0f} min or more" if minutes.hi is None else f"{lo:.0f} to {minutes.hi:.0f} min"


def question_lines(questions: Iterable[Question] = QUESTIONS) -> list[Line]:
    """Every question with the values a script may give."""
    lines = []
    for q in questions:
        lines.append(Line("lead", f"{q.name}: {q.ask}"))
        wide = max((len(o.value) for o in q.options), default=0) + 2
        lines += [Line("text", f"{o.value:<{wide}}{o.words}", 2) for o in q.options]
        if q.form == "codes":
            lines.append(Line("text", "or the codes, separated by commas", 2))
        if q.form == "several":
            lines.append(Line("text", "several may be given, separated by commas", 2))
        if q.tell:
            lines.append(Line("soft", q.tell, 2))
    return [*lines, Line("soft", f"“{NOT_KNOWN}” is an answer everywhere; leaving a question out means the same.")]
