"""The ladder: which routine first, which next, and why; least disturbing first.

Source: the order of disturbance and the stop rule are our own choice; common practice for what a routine needs first.
"""

from __future__ import annotations

import shlex
from collections.abc import Mapping
from pathlib import Path
from typing import Literal

from tickover.arrival.answers import Answers
from tickover.arrival.candidates import Candidate, Rates, ShopRate, candidate, check_rates, counts_of, unfit
from tickover.arrival.questions import BY_NAME, NOT_KNOWN
from tickover.arrival.stops import Stop
from tickover.arrival.story import Story
from tickover.results import CannotTell, Quantity, Result
from tickover.routines import Routine
from tickover.routines.library import BUILT_IN

TRIES_PER_ROUTINE = 3
ROUTINES_PER_VISIT = 2
STOP_RULE = (
    "At most three tries at a routine and two routines a visit. Two correct tries that change nothing are a finding: "
    "go to Cause, not to another try."
)
UNTOLD_DISTURBS = 1
"""Most that a routine may disturb where no story of the memory fits: volatile memory only. Own choice."""


class Rung(Result):
    """One rung.

    Attributes:
        sort: a routine; advice that comes before any; or driving it.
        title: what to do.
        why: reasons, in sentences.
        routine: id of the routine.
        own_disturbs: what it disturbs by itself, 0 to 3; None where it is no routine.
        disturbs: most that is disturbed by it and by what it requires first.
        may_erase: it may erase codes or readiness.
        minutes: expected minutes to success.
        requires: routines to be done first.
        command: what to type.
    """

    sort: Literal["advice", "routine", "drive"]
    title: str
    why: tuple[str, ...]
    routine: str | None = None
    own_disturbs: int | None = None
    disturbs: int | None = None
    may_erase: bool = False
    minutes: Quantity | None = None
    requires: tuple[str, ...] = ()
    command: str = ""


class Withheld(Result):
    """A routine that is not offered, and why."""

    routine: str
    title: str
    why: str


class Ladder(Result):
    """The rungs in their order.

    Attributes:
        rungs: what to do, first one first; empty where ``none`` says why.
        withheld: routines left out, each with its reason.
        rule: when to stop.
        none: why there is no rung, and the way out.
    """

    rungs: tuple[Rung, ...] = ()
    withheld: tuple[Withheld, ...] = ()
    rule: str = STOP_RULE
    none: CannotTell | None = None

    @property
    def first(self) -> Rung | None:
        """The first rung that is a routine."""
        return next((r for r in self.rungs if r.sort == "routine"), None)


def build_ladder(
    answers: Answers,
    found: tuple[Stop, ...],
    told: Story | CannotTell,
    library: Mapping[str, Routine],
    rates: Rates | None = None,
) -> Ladder:
    """The ladder of routines for this car.

    Args:
        answers: what was answered.
        found: stop signs and faults; with any of them there is no rung.
        told: the story of the memory.
        library: routines by id, as ``load_library`` gives them.
        rates: the shop's own counts: routine id to successes and tries, or to what ``visit`` learned from its jobs. Ids
            that are not in the library do not matter.
    Returns: rungs, disturbance never falling, each after what it requires; last of all: drive it. Where no story fits,
        finding out comes first, and only what disturbs nothing learned comes after.
    Raises: InputError for counts that cannot be.
    """
    rates = rates or {}
    check_rates(rates)
    none = _none(answers, found, told)
    if none is not None:
        return Ladder(none=none)
    withheld = {name: why for name, r in library.items() if (why := _why_not(r, answers, told))}
    _withhold_dependants(library, withheld)
    fitting = {name: r for name, r in library.items() if name not in withheld}
    candidates = {
        name: candidate(r, answers, _most_disturbed(name, fitting), counts_of(rates, name))
        for name, r in fitting.items()
    }
    prepares = {name: tuple(d for d, r in fitting.items() if name in r.requires) for name in fitting}
    ordered = _in_order(candidates, prepares, rests_first=isinstance(told, Story) and told.name == "stops not learned")
    rungs = [_routine_rung(c, answers, told, rates, prepares[c.routine.id]) for c in ordered]
    if isinstance(told, CannotTell):
        rungs = [_find_out(told), *rungs]
    else:
        rungs = [*([_CLEAN] if told.clean_first else []), *rungs, _drive_rung(bool(rungs))]
    return Ladder(
        rungs=tuple(rungs),
        withheld=tuple(Withheld(routine=n, title=library[n].title, why=why) for n, why in withheld.items()),
    )


def _none(answers: Answers, found: tuple[Stop, ...], told: Story | CannotTell) -> CannotTell | None:
    if found:
        names = " and ".join([", ".join(s.name for s in found[:-1]), found[-1].name] if found[1:] else [found[0].name])
        return CannotTell(reason=f"No routine is begun: {names}.", way_out=found[0].instead)
    if answers.drive == NOT_KNOWN:
        return CannotTell(
            reason="What drives the car was not told, and a relearn is for injected petrol only.",
            way_out=f"Answer drive: {', '.join(BY_NAME['drive'].values)}.",
        )
    if answers.complaint in {(), ("none",)}:
        assert isinstance(told, CannotTell)
        return told
    return None


def _why_not(routine: Routine, answers: Answers, told: Story | CannotTell) -> str:
    reasons = [unfit(routine, answers)]
    if isinstance(told, CannotTell) and routine.disturbs > UNTOLD_DISTURBS:
        reasons.append("It disturbs what was learned, and no story of the memory fits yet.")
    return " ".join(r for r in reasons if r)


def _withhold_dependants(library: Mapping[str, Routine], withheld: dict[str, str]) -> None:
    """Whatever requires a withheld routine is withheld too."""
    growing = True
    while growing:
        growing = False
        for name, routine in library.items():
            blocked = [r for r in routine.requires if r in withheld or r not in library]
            if name not in withheld and blocked:
                withheld[name] = f"It requires {' and '.join(blocked)} first, which cannot be offered."
                growing = True


def _most_disturbed(name: str, library: Mapping[str, Routine]) -> int:
    routine = library[name]
    return max([routine.disturbs, *(_most_disturbed(r, library) for r in routine.requires)])


def _in_order(
    candidates: dict[str, Candidate], prepares: Mapping[str, tuple[str, ...]], *, rests_first: bool
) -> list[Candidate]:
    """Least disturbing first, then least expected minutes; nothing before what it requires.

    Of equal disturbance, what only prepares another comes after what stands by itself, except where the rests of pedal
    and throttle are what was lost.
    What requires another disturbs at least as much as that one, predecessors counted, so disturbance never falls.
    """
    waiting = dict(candidates)
    ordered: list[Candidate] = []
    while waiting:
        free = [c for c in waiting.values() if not any(r in waiting for r in c.routine.requires)]
        best = min(
            free,
            key=lambda c: (
                c.disturbs,
                bool(prepares[c.routine.id]) != rests_first,
                c.minutes.value,
                not c.hints,
                c.routine.id,
            ),
        )
        ordered.append(waiting.pop(best.routine.id))
    return ordered


_DISTURBS = ("nothing", "volatile memory only", "the learned idle", "everything learned")


def _routine_rung(
    c: Candidate,
    answers: Answers,
    told: Story | CannotTell,
    rates: Rates,
    prepares: tuple[str, ...],
) -> Rung:
    r = c.routine
    why = [f"It disturbs {_DISTURBS[r.disturbs]}."]
    if c.disturbs > r.disturbs:
        why.append(f"What it requires first disturbs {_DISTURBS[c.disturbs]}.")
    if r.requires:
        why.append(f"It comes after {' and '.join(r.requires)}.")
    if prepares:
        why.append(f"It prepares {' and '.join(prepares)}, which must not come before it.")
    if isinstance(told, CannotTell):
        why.append("No story of the memory fits yet, and this disturbs nothing that was learned.")
    if r.may_erase:
        why.append("It may erase codes and readiness: note lamp, codes and readiness first.")
    why.append(_rate_words(r, rates))
    if c.hints:
        why.append(f"It says it fits “{r.fits}”; your words share {', '.join(c.hints)}. A hint, no proof.")
    why.append(c.compiled.basis.words)
    switch = " --switch button" if answers.switch == "button" else ""
    return Rung(
        sort="routine",
        title=r.title,
        why=tuple(why),
        routine=r.id,
        own_disturbs=r.disturbs,
        disturbs=c.disturbs,
        may_erase=r.may_erase,
        minutes=c.minutes,
        requires=r.requires,
        command=f"tickover coach {_called(r)}{switch}",
    )


def _called(routine: Routine) -> str:
    """What the coach is given: the id of a built-in routine, the file of one of the user's own."""
    path = Path(routine.file)
    return shlex.quote(routine.file) if path.suffix == ".toml" and path.parent != BUILT_IN else routine.id


def _rate_words(routine: Routine, rates: Rates) -> str:
    found = rates.get(routine.id)
    if isinstance(found, ShopRate) and found.said:
        return found.said
    successes, tries = counts_of(rates, routine.id)
    if not tries:
        return "This shop has not counted it yet; the minutes rest on our own guess of its success."
    return f"In this shop it worked in {successes:g} of {tries:g} tries."


_CLEAN = Rung(
    sort="advice",
    title="Clean the bore first",
    why=(
        "What is learned on dirt is stale the day it is cleaned, and a lost memory finds its idle on a clean bore.",
        "Ignition off, key out, fingers away from the plate's edge: the motor can close it. Throttle cleaner, "
        "a cloth, no force on the plate.",
        "It may idle well by itself then. If it idles high after the cleaning, go on to the next rung.",
    ),
)


def _find_out(told: CannotTell) -> Rung:
    return Rung(sort="advice", title="Find out more first", why=(told.reason, told.way_out))


def _drive_rung(after_routines: bool) -> Rung:
    return Rung(
        sort="drive",
        title="No entry exists: drive it",
        why=(
            "If none of these has an effect, some controllers offer no entry at all and learn by themselves."
            if after_routines
            else "None of the routines can be offered on this car; some controllers learn by themselves.",
            "Warm, idle 3 min, off 60 s, idle 3 min; then steady driving with clean closed-throttle decelerations and "
            "idles of a few minutes, over a day or two. Only if it holds its idle at a halt; else go to Cause.",
            "The lamp or an idle-speed code may come meanwhile: tell the customer. Not settled then: go to Cause.",
            "Common practice, no published source. The car's own service information wins.",
        ),
    )
