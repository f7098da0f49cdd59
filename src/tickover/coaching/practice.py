"""Practice: which taps to make, when there are enough, and what they say of the person, in words. No clock in here."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from numpy.random import Generator

from tickover.results import CannotTell, Measured, Quantity, Result
from tickover.timing import Person
from tickover.timing.learn import Learned, Model, Tap
from tickover.timing.person import LAPSE_WIDENS

TARGETS = (0.5, 2.0, 6.0)
"""Intervals to practise [s]: a press, a wait, a hold; far enough apart to tell what grows. Own choice."""

CUED = 16
"""Taps to a beat of one a second, the first four to find it. Own choice."""
FIND_BEAT = 4
INTERVALS = 42
"""Intervals of a whole practice; about 40 taps tell enough. Own choice."""

NARROW = 1.7
"""A spread is known well enough where the top of its range is this many times the bottom, or less. Own choice."""


@dataclass(frozen=True, slots=True)
class Task:
    """One thing to produce: an interval of ``seconds`` between two taps, or a tap to a beat at ``seconds``."""

    seconds: float
    cued: bool = False


def tasks(rng: Generator, intervals: int = INTERVALS, targets: Sequence[float] = TARGETS) -> list[Task]:
    """What to produce, in order: the beat first, then the intervals, every target once in a round, mixed in it.

    Args:
        rng: mixes the targets, so that none is learned by heart from the one before.
        intervals: how many [at least one].
        targets: the intervals [s].
    Returns: the tasks.
    """
    beat = [Task(float(k), cued=True) for k in range(1, CUED + 1)]
    rounds = -(-intervals // len(targets))
    mixed = [Task(float(targets[k])) for _ in range(rounds) for k in rng.permutation(len(targets))]
    return [*beat, *mixed[:intervals]]


def simulated_taps(person: Person, todo: Sequence[Task], rng: Generator) -> list[Tap]:
    """What a simulated person makes of tasks, the first beats left out as in practice."""
    made = []
    for task in todo:
        if task.cued and task.seconds <= FIND_BEAT:
            continue
        wide = LAPSE_WIDENS if rng.random() < person.lapse else 1.0
        off = float(wide * rng.standard_normal())
        if task.cued:
            made.append(Tap(task.seconds, task.seconds + person.cued_sd * off, cued=True))
        else:
            came = person.mean(task.seconds) + person.spread(task.seconds) * off
            made.append(Tap(task.seconds, max(came, 0.01)))
    return made


def enough(learned: Learned) -> tuple[bool, str]:
    """Whether there are enough taps, and why or what is missing, in one sentence."""
    targets = learned.targets
    if len(targets) < 2 or targets[-1] < 2 * targets[0]:
        return False, "Not enough yet: intervals of two well separated lengths are wanted."
    wide = [(d, q) for d in (targets[0], targets[-1]) if (q := learned.spread(d)).lo and q.hi and q.hi / q.lo > NARROW]
    if not wide:
        return True, "Enough: more taps would narrow it little."
    d, q = wide[0]
    return False, f"Not enough yet: at {d:g} s the spread is known only to {_range(q, 1000, 'ms')}."


class Practised(Result):
    """What practice taps say.

    Attributes:
        intervals, cued: how many taps.
        targets: intervals practised [s].
        model: timed, counted, or None where the taps do not tell; p_counted: probability of counting.
        figures: each figure with its range, or why it is not determined.
        spread: for each target, the spread of an interval of that length [s].
        enough: whether more taps are wanted; why, in words.
        simulated: whether nobody tapped.
    """

    intervals: int
    cued: int
    targets: tuple[float, ...]
    model: Literal["timed", "counted"] | None
    p_counted: float | None
    figures: dict[str, Measured]
    spread: dict[str, Quantity]
    enough: bool
    why: str
    simulated: bool = False


def practised(learned: Learned, *, simulated: bool = False) -> Practised:
    """What was learned, as a result."""
    done, why = enough(learned)
    return Practised(
        intervals=learned.intervals,
        cued=learned.cued,
        targets=learned.targets,
        model=learned.model,
        p_counted=learned.p_counted,
        figures=learned.ranges(),
        spread={f"{d:g}": learned.spread(d) for d in learned.targets},
        enough=done,
        why=why,
        simulated=simulated,
    )


_NAMES = {
    "bias": ("Constant delay", 1000.0, "ms"),
    "scale": ("Pace, too slow (+) or fast", 100.0, "%"),
    "cv": ("Spread, share of the interval", 100.0, "%"),
    "count_sd": ("Spread of one counted second", 1000.0, "ms"),
    "motor_sd": ("Spread of the movement", 1000.0, "ms"),
    "event_sd": ("Spread of a tap to a cue", 1000.0, "ms"),
    "lead": ("Tap to a cue, late (+) or early", 1000.0, "ms"),
    "lapse": ("Lapses", 100.0, "%"),
}


def practice_lines(found: Practised) -> list[tuple[str, str]]:
    """What was learned, line by line: a name and what it is, ranges of nine in ten.

    Example: ``("Spread at 2 s", "160 to 260 ms")``.
    """
    lines = [(f"Spread at {d} s", _range(q, 1000, "ms")) for d, q in found.spread.items()]
    lines += [
        (name, _figure(found.figures[key], factor, unit))
        for key, (name, factor, unit) in _NAMES.items()
        if not (key == "count_sd" and found.model == "timed")
    ]
    return [("Way of timing", model_words(found.model, found.p_counted)), *lines]


def model_words(model: Model | None, p_counted: float | None) -> str:
    """Whether the taps follow timing or counting aloud."""
    told = "" if p_counted is None else f" (counting {100 * p_counted:.0f} % likely by the taps)"
    words = {
        "timed": "by feel: the spread grows with the interval",
        "counted": "by counting: the spread grows with its root",
        None: "cannot tell feel from counting",
    }
    return words[model] + told


def _figure(figure: Measured, factor: float, unit: str) -> str:
    if isinstance(figure, CannotTell):
        return f"not determined: {figure.reason}" + (f". {figure.way_out}" if figure.way_out else "")
    return _range(figure, factor, unit)


def _range(q: Quantity, factor: float, unit: str) -> str:
    lo, hi = (factor * (x if x is not None else q.value) for x in (q.lo, q.hi))
    places = 1 if unit == "%" and hi - lo < 20 else 0
    return f"{lo:.{places}f} to {hi:.{places}f} {unit}"
