"""Which routines can be done on this car, and what each may cost in minutes."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from scipy import stats

from tickover.arrival.answers import Answers
from tickover.arrival.questions import BY_NAME, NOT_KNOWN
from tickover.errors import InputError, SwitchError
from tickover.results import Quantity, Result
from tickover.routines import CompiledRoutine, Routine, Switch, compile_routine
from tickover.timing import Network

SETUP_MINUTES = 3.0
"""Loads off, wheels straight, note lamp and codes [min]; own choice."""
WARM_MINUTES = 8.0
"""On top, where the routine needs a warm engine [min]; own choice."""
LOOK_MINUTES = 2.0
"""After each try: start, idle a minute without loads, look [min]; own choice."""

PRIOR: dict[str, tuple[float, float]] = {
    "common practice": (2.0, 2.0),
    "published": (4.0, 2.0),
    "service information": (4.0, 2.0),
}
"""What is held of a routine's success before the shop has counted, as successes and failures of a beta; own choice."""

LEVEL = 0.9
"""Coverage of the interval of the minutes."""


class ShopRate(Result):
    """What a shop's own jobs say of a routine, for one kind of car.

    Attributes:
        successes, tries: of single tries; no whole numbers where other kinds of car lent theirs.
        jobs: how many of the shop's jobs it comes from.
        said: that in a sentence.
    """

    successes: float
    tries: float
    jobs: int = 0
    said: str = ""


Rates = Mapping[str, tuple[int, int] | ShopRate]
"""Routine id to successes and tries."""


def counts_of(rates: Rates, name: str) -> tuple[float, float]:
    """Successes and tries of a routine; none where it was not counted."""
    found = rates.get(name, (0, 0))
    return (found.successes, found.tries) if isinstance(found, ShopRate) else found


@dataclass(frozen=True, slots=True)
class Candidate:
    """A routine that can be done on this car.

    Attributes:
        routine, compiled: the routine, for the car's switch.
        disturbs: most that it disturbs, its predecessors included.
        minutes: expected minutes until it has worked, if it works on this car at all.
        hints: words of the user's car that its ``fits`` also has.
    """

    routine: Routine
    compiled: CompiledRoutine
    disturbs: int
    minutes: Quantity
    hints: tuple[str, ...]


def unfit(routine: Routine, answers: Answers) -> str:
    """Why a routine cannot be offered on this car; empty where it can.

    What is not known counts as the answer that would forbid it, and the reason says how to find out.

    Args:
        routine: any routine.
        answers: what was answered.
    Returns: one or more sentences, or nothing.
    """
    reasons = [_throttle(routine, answers), _gear(routine, answers), _erases(routine, answers)]
    return " ".join(r for r in [*reasons, *_switch(routine, answers)] if r)


def _throttle(routine: Routine, answers: Answers) -> str:
    if answers.throttle in routine.throttle or set(routine.throttle) >= set(BY_NAME["throttle"].values):
        return ""
    kinds = " or ".join(routine.throttle)
    only = f"It is for {'a' if kinds.startswith('cable') else 'an'} {kinds} throttle"
    if answers.throttle == NOT_KNOWN:
        return f"{only}, and the kind is not known. {BY_NAME['throttle'].tell}"
    return f"{only}, and this one is {answers.throttle}."


def _switch(routine: Routine, answers: Answers) -> Iterator[str]:
    switches: tuple[Switch, ...] = ("key", "button") if answers.switch == "not known" else (answers.switch,)
    for switch in switches:
        try:
            compile_routine(routine, switch)
        except SwitchError as why:
            open_ = " Say how this car is started." if answers.switch == NOT_KNOWN else ""
            yield f"It cannot be done on a {switch}: {why.why}.{open_}"


def _gear(routine: Routine, answers: Answers) -> str:
    if all(step.kind != "gear drive" for step in routine.flat_steps) or answers.gearbox == "automatic":
        return ""
    if answers.gearbox == "manual":
        return "It selects a drive gear at a standstill, which a manual gearbox cannot do."
    return "It selects a drive gear at a standstill, and the gearbox is not known."


def _erases(routine: Routine, answers: Answers) -> str:
    if not routine.may_erase or answers.codes is not None or answers.lamp == "dark":
        return ""
    lamp = "nobody has looked at the lamp" if answers.lamp == NOT_KNOWN else f"the lamp is {answers.lamp}"
    return f"It may erase codes, {lamp} and the codes are not read. Read and note them first."


def candidate(routine: Routine, answers: Answers, disturbs: int, counts: tuple[float, float]) -> Candidate:
    """A routine that fits, with what it may cost.

    Args:
        routine: one for which ``unfit`` is empty.
        answers: what was answered.
        disturbs: most that it and its predecessors disturb.
        counts: the shop's own successes and tries.
    Returns: the candidate.
    """
    compiled = compile_routine(routine, "button" if answers.switch == "button" else "key")
    warm = any(need.signal == "coolant_temperature" for need in routine.needs)
    return Candidate(
        routine=routine,
        compiled=compiled,
        disturbs=disturbs,
        minutes=expected_minutes(
            duration_minutes(compiled), PRIOR[routine.basis.kind], counts, SETUP_MINUTES + WARM_MINUTES * warm
        ),
        hints=common_words(routine.fits, answers.car),
    )


def duration_minutes(compiled: CompiledRoutine) -> float:
    """How long one try takes: middle of shortest and longest run, or the shortest where it is open [min]."""
    plan = compiled.plan()
    network = Network.of(plan)
    ends = [network.window(plan.origin, event) for event in plan.events]
    lo, hi = max(e[0] for e in ends), max(e[1] for e in ends)
    return (lo if hi == float("inf") else (lo + hi) / 2) / 60


def check_rates(rates: Rates) -> None:
    """See that counts are counts.

    Raises: InputError naming the first that is none.
    """
    for name in rates:
        successes, tries = counts_of(rates, name)
        if not 0 <= successes <= tries:
            raise InputError(
                f"{successes:g} successes of {tries:g} tries of “{name}” cannot be",
                way_out="Give successes first, then tries, neither below 0.",
            )


def expected_minutes(
    minutes: float, prior: tuple[float, float], counts: tuple[float, float], setup: float = SETUP_MINUTES
) -> Quantity:
    """Expected minutes to success: set-up once, then try and look until it works.

    With a chance p a try, tries to success are 1/p on average; with p of a beta B(a, b) that is (a + b − 1)/(a − 1).

    Args:
        minutes: one try [min].
        prior: successes and failures held beforehand; the first above 1.
        counts: the shop's own successes and tries.
        setup: once [min].
    Returns: minutes; the interval is that of p.
    Source: mean of the inverse of a beta variable (from memory, checked by sampling in the tests).
    Example: a try of 1 min, prior (2, 2), nothing counted: 3 + 3 × 3 = 12 min.
    """
    a, b = prior[0] + counts[0], prior[1] + counts[1] - counts[0]
    each = minutes + LOOK_MINUTES
    low, high = (float(stats.beta.ppf(q, a, b)) for q in ((1 - LEVEL) / 2, (1 + LEVEL) / 2))
    return Quantity(
        value=setup + each * (a + b - 1) / (a - 1),
        lo=setup + each / high,
        hi=setup + each / low,
        level=LEVEL,
        unit="min",
    )


_WORDS = re.compile(r"\d+(?:[.,]\d+)?|[^\W\d_]{3,}")
_COMMON = frozenset(
    {"the", "car", "cars", "some", "with", "and", "whose", "after", "was", "own", "service", "information", "says"}
    | {"whether", "throttle", "electronic", "cable", "cylinders", "cylinder", "engine", "controller", "ignition"}
    | {"bore", "cleaned", "petrol", "manual", "automatic", "goes", "off", "once", "when"}
)


def common_words(fits: str, car: str) -> tuple[str, ...]:
    """Words that the ``fits`` of a routine and the user's words of the car share, everyday ones left aside.

    Example: ``common_words("2.0 l, four cylinders", "a 2,0 of 2009, four cylinders")`` is ``("2.0", "four")``.
    """
    mine = {w.replace(",", ".").casefold() for w in _WORDS.findall(car)}
    theirs = [w.replace(",", ".").casefold() for w in _WORDS.findall(fits)]
    return tuple(dict.fromkeys(w for w in theirs if w in mine and w not in _COMMON))
