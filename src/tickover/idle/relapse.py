"""Relapse watch: does a healed idle stay well, decided drive by drive with stated error rates.

One reading a drive goes in: idle trim, spread of the idle's speed, misfire counter; each may be missing. A sequential
test decides as soon as enough was seen, in either direction. A trim that is still learning is fitted as an exponential,
which foretells where it ends.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from math import log
from typing import Annotated, Literal

import numpy as np
from numpy.typing import NDArray
from pydantic import Field

from tickover.errors import SignalRangeError
from tickover.idle.learning import Learning, fit_learning
from tickover.idle.to_come import drives_to_come
from tickover.results import CannotTell, Measured, Quantity, Result
from tickover.stats.sequential import (
    cusum,
    cusum_run_length,
    ewma_cycles,
    normal_steps,
    sprt,
    sprt_bounds,
)

Floats = NDArray[np.float64]
WatchVerdict = Literal["stays well", "comes back", "watch on"]

TRIM_SHIFT = 4.0
"""A standing change of the idle trim that counts as come back [%]. Own choice, near the 5 % the trade calls good."""
TRIM_SPREAD = 3.0
"""How far the idle trim of a sound car differs from drive to drive, one standard deviation [%]. Own choice."""
SPREAD_TIMES = 1.5
"""A spread of the idle so many times its normal counts as come back [1]. Own choice."""
SPREAD_SPREAD = 0.35
"""How far its logarithm differs from drive to drive [1]. Own choice."""
CUSUM_LIMIT = 4.0
"""Of the cumulative sums that go on after the test has decided, over the spread [1]. Own choice; with half the shift as
slack a well idle gives a false alarm once in some 540 drives on average (``cusum_run_length``)."""
NEWEST = 3
"""Drives at the end that say where trim and spread stand now; own choice: a car that comes back is often found by so
few, and older ones may be from when it was well."""
COUNTER_STOPS = 5
"""A counter of whole numbers to which a drive adds a tenth stops falling here: rounding holds it [count]."""


class Drive(Result):
    """One drive's reading.

    Attributes:
        at: when [h of running, or the drive's number].
        trim: short and long trim at warm idle [%].
        spread: standard deviation of the warm idle's speed [r/min].
        misfires: the misfire counter that the car averages over its cycles [count].
    """

    at: float
    trim: float | None = None
    spread: float | None = Field(default=None, gt=0)
    misfires: float | None = Field(default=None, ge=0)


class Watched(Result):
    """How one quantity went.

    Attributes:
        what: which.
        verdict: stays well, comes back, or watch on.
        drives: used so far, up to the decision.
        sums: log likelihood ratio after each of them, the side that leads [nat].
        upper, lower: where it decides [nat].
        expected_well, expected_back: drives from the first one to a decision on average, if it stays well, and if it
            comes back.
        more_well, more_back: drives that are still to come on average, from where it stands; None once decided.
        later_at: drive at which the running sums found it come back after the test had called it well; None where not.
        false_alarm: drives between false alarms of these sums, on average.
        says: all that in a sentence.
    """

    what: str
    verdict: WatchVerdict
    drives: int
    sums: tuple[float, ...]
    upper: float
    lower: float
    expected_well: float
    expected_back: float
    more_well: float | None = None
    more_back: float | None = None
    later_at: int | None = None
    false_alarm: float
    says: str


class Relapse(Result):
    """The watch as it stands.

    Attributes:
        verdict: of all quantities together: one that comes back is enough, all must stay well.
        sentence: that in a sentence.
        watched: quantity by quantity.
        learning: the fit of the trim, or why there is none.
        newest_trim: idle trim of the last drives that have one, three at most, with 95 % bounds [%].
        newest_spread: spread of the idle's speed, likewise [r/min].
        clean_cycles: driving cycles without a missed firing until the misfire counter is below its level.
        counter_says: what the misfire counter says, in a sentence; empty where it was not read.
        rests_on: what it rests on.
    """

    kind: Literal["relapse"] = "relapse"
    verdict: WatchVerdict
    sentence: str
    watched: tuple[Watched, ...]
    learning: Annotated[Learning | CannotTell, Field(discriminator="kind")]
    newest_trim: Measured
    newest_spread: Measured
    clean_cycles: Measured
    counter_says: str = ""
    rests_on: tuple[str, ...]


def watch(
    drives: Sequence[Drive],
    *,
    normal_trim: float | None = None,
    normal_spread: float | None = None,
    alpha: float = 0.05,
    beta: float = 0.05,
    below: float = 10.0,
) -> Relapse:
    """Watch a healed idle drive by drive.

    Args:
        drives: in order of time, each read warm and with loads off.
        normal_trim: idle trim right after it was healed [%]; without it the trim is not watched, for a trim that stands
            off zero is no relapse by itself.
        normal_spread: spread of the idle's speed then [r/min]; without it the spread is not watched.
        alpha: chance of calling a well idle come back, 0 to 0.5, for each quantity [1].
        beta: chance of calling one well that came back, 0 to 0.5 [1].
        below: level that the misfire counter is to pass below [count].
    Returns: see ``Relapse``
    Raises: SignalRangeError for rates out of range, a normal spread that is not above 0, or drives out of order.
    Valid for: drives that differ independently of each other; a slow drift counts as come back.
    Source: Wald's sequential test, once for each direction with half of alpha; shifts and spreads are our own choice.
    """
    times = [d.at for d in drives]
    if any(b <= a for a, b in pairwise(times)):
        raise SignalRangeError("time of a drive after the one before", min(np.diff(times)), 0.0, np.inf)
    sprt_bounds(alpha, beta)
    watched = []
    learning = fit_learning([(d.at, d.trim) for d in drives if d.trim is not None], normal_trim)
    learned = learning.learned_at.value if isinstance(learning, Learning) else -np.inf
    trims = np.array([d.trim for d in drives if d.trim is not None and d.at >= learned])
    if len(trims) and normal_trim is not None:
        off = (trims - normal_trim) / TRIM_SPREAD
        watched.append(_watched("idle trim", off, TRIM_SHIFT / TRIM_SPREAD, (1, -1), alpha, beta))
    spreads = np.array([d.spread for d in drives if d.spread is not None])
    if len(spreads) and normal_spread is not None:
        if not normal_spread > 0:
            raise SignalRangeError("normal spread", normal_spread, 0.0, np.inf)
        off = np.log(spreads / normal_spread) / SPREAD_SPREAD
        watched.append(_watched("spread of the idle", off, log(SPREAD_TIMES) / SPREAD_SPREAD, (1,), alpha, beta))
    verdict = _together(watched)
    clean = _clean_cycles(drives, below)
    return Relapse(
        verdict=verdict,
        sentence=_sentence(verdict, watched),
        watched=tuple(watched),
        learning=learning,
        newest_trim=_newest([d.trim for d in drives], TRIM_SPREAD, "%", "idle trim"),
        newest_spread=_newest([d.spread for d in drives], None, "r/min", "spread of the idle"),
        clean_cycles=clean,
        counter_says=_counter_says(drives, below, clean),
        rests_on=(
            *_unwatched(drives, normal_trim, normal_spread),
            *(["Trims that were still learning are left out of the test."] if np.isfinite(learned) else []),
            f"A well idle is called come back in {100 * alpha:g} % of cases, one that came back is missed in "
            f"{100 * beta:g} %{_false_alarm(watched)}.",
            f"Come back means a standing change of the idle trim by {TRIM_SHIFT:g} %, or a spread {SPREAD_TIMES:g} "
            "times its normal; sound cars differ from drive to drive by "
            f"{TRIM_SPREAD:g} % and {100 * SPREAD_SPREAD:.0f} % of the spread. These are our own choice.",
        ),
    )


def _newest(readings: Sequence[float | None], apart: float | None, unit: str, what: str) -> Measured:
    """Mean of the last drives that have a reading.

    Args:
        readings: one a drive.
        apart: how far sound cars differ from drive to drive [unit]; None for the share of the spread that they do. The
            drives count as no nearer to each other than that.
        unit, what: of it.
    """
    x = np.array([r for r in readings if r is not None][-NEWEST:])
    if not len(x):
        return CannotTell(reason=f"No drive has a reading of the {what}.", way_out="Read it on the next drive.")
    mean = float(x.mean())
    least = apart if apart is not None else SPREAD_SPREAD * mean
    sd = max(float(x.std(ddof=1)) if len(x) > 1 else 0.0, least)
    half = 1.96 * sd / len(x) ** 0.5
    lo = mean - half if apart is not None else max(mean - half, 0.0)
    return Quantity(value=mean, lo=lo, hi=mean + half, level=0.95, unit=unit)


def _unwatched(drives: Sequence[Drive], trim: float | None, spread: float | None) -> list[str]:
    """What is not watched, and what is missing for it."""
    read = (any(d.trim is not None for d in drives), any(d.spread is not None for d in drives))
    told = []
    for what, there, normal in (("idle trim", read[0], trim), ("spread of the idle", read[1], spread)):
        if there and normal is None:
            told.append(f"The {what} is not watched: give what was normal right after it was healed.")
        elif normal is not None and not there:
            told.append(f"The {what} is not watched: no drive has a reading of it.")
    return told


def _false_alarm(watched: Sequence[Watched]) -> str:
    """How often the sums that go on after the test alarm without a reason, of all quantities together."""
    if not watched:
        return ""
    drives = 1 / sum(1 / w.false_alarm for w in watched)
    return f"; the sums that go on after it give a false alarm once in some {round(drives, -1):.0f} drives"


def _watched(what: str, off: Floats, shift: float, sides: tuple[int, ...], alpha: float, beta: float) -> Watched:
    """One quantity, standardised: a test for each direction it may come back in, and the sums that go on after it."""
    each = alpha / len(sides)
    runs = [sprt(normal_steps(side * off, 0.0, shift, 1.0), each, beta) for side in sides]
    back = [r for r in runs if r.decision == "alternative"]
    well = all(r.decision == "null" for r in runs)
    bounds = runs[0].bounds
    to_null, to_back = (drives_to_come(shift, sides, bounds, mean) for mean in (0.0, shift))
    lead = min(back, key=lambda r: r.at or 0) if back else max(runs, key=lambda r: float(r.sums[-1]))
    going_on = cusum(off, 0.0, shift / 2, CUSUM_LIMIT, two_sided=len(sides) > 1)
    later = going_on.at if well and not back else None
    verdict: WatchVerdict = "comes back" if back or later is not None else "stays well" if well else "watch on"
    drives = max(r.at or len(r.sums) for r in runs) if well and not back else len(lead.sums)
    more: tuple[float, float] | None = None
    if verdict == "watch on":
        done = tuple(r.decision == "null" for r in runs)
        way = next((side for side, r in zip(sides, runs, strict=True) if r is lead), sides[0])
        walk, seen = float(off.sum()), len(off)
        well_in, back_in = (drives_to_come(shift, sides, bounds, m, walk, seen, done) for m in (0.0, way * shift))
        more = (well_in, back_in)
    says = {
        "stays well": f"{what}: stays well, decided after {_drives(drives)}",
        "comes back": f"{what}: comes back, decided after {_drives(drives)}"
        if later is None
        else f"{what}: well at first, comes back, seen at drive {later}",
        "watch on": f"{what}: not decided after {_drives(drives)}; {_more(more)}",
    }[verdict]
    return Watched(
        what=what,
        verdict=verdict,
        drives=drives,
        sums=tuple(float(s) for s in lead.sums),
        upper=lead.bounds.upper,
        lower=lead.bounds.lower,
        expected_well=to_null,
        expected_back=to_back,
        more_well=more[0] if more else None,
        more_back=more[1] if more else None,
        later_at=later,
        false_alarm=cusum_run_length(shift / 2, CUSUM_LIMIT, two_sided=len(sides) > 1),
        says=says + ".",
    )


def _drives(n: int) -> str:
    return "1 drive" if n == 1 else f"{n} drives"


def _more(more: tuple[float, float] | None) -> str:
    """How many drives are still to come, either way."""
    if more is None:
        return ""
    well, back = (max(1, round(n)) for n in more)
    if well == back:
        return f"about {_more_drives(well)}"
    return f"about {_more_drives(well)} if it stays well, {back} if it comes back"


def _more_drives(n: int) -> str:
    return "1 more drive" if n == 1 else f"{n} more drives"


def _together(watched: Sequence[Watched]) -> WatchVerdict:
    if any(w.verdict == "comes back" for w in watched):
        return "comes back"
    return "stays well" if watched and all(w.verdict == "stays well" for w in watched) else "watch on"


def _sentence(verdict: WatchVerdict, watched: Sequence[Watched]) -> str:
    if not watched:
        return "Cannot tell: no trim or spread was given together with what was normal after it was healed."
    if verdict == "comes back":
        which = " and ".join(f"the {w.what}" for w in watched if w.verdict == "comes back")
        return (
            f"It comes back, by {which}: a relapse. What is behind it Cause tells, a fault or a memory that went stale "
            "once more. Find the cause before any relearn."
        )
    if verdict == "stays well":
        return f"It stays well, decided after {_drives(max(w.drives for w in watched))}."
    open_ = [(w.more_well or 1.0, w.more_back or 1.0) for w in watched if w.verdict == "watch on"]
    more = (max(well for well, _ in open_), min(back for _, back in open_))
    return f"Go on watching, one reading a drive: {_more(more)}."


def _clean_cycles(drives: Sequence[Drive], below: float) -> Measured:
    """Clean cycles until the misfire counter is below its level."""
    last = next((d.misfires for d in reversed(drives) if d.misfires is not None), None)
    if last is None:
        return CannotTell(reason="The misfire counter was not read.", way_out="Read it: service 06, TID 0B.")
    lo, hi = ewma_cycles(last, below, rounds=False), ewma_cycles(last, below)
    if lo is None or hi is None:
        return CannotTell(
            reason=f"A misfire counter that keeps whole numbers stops falling at {COUNTER_STOPS} and never passes "
            f"below {below:g}.",
            way_out=f"Give a level above {COUNTER_STOPS}, or compare the counters of the cylinders.",
        )
    return Quantity(value=float(hi), lo=float(lo), hi=float(hi), level=0.95, unit="count")


def _counter_says(drives: Sequence[Drive], below: float, clean: Measured) -> str:
    """What the counter stands at, and how many drives without a missed firing bring it below its level."""
    last = next((d.misfires for d in reversed(drives) if d.misfires is not None), None)
    if last is None:
        return ""
    if isinstance(clean, CannotTell):
        return f"It stands at {last:g}. {clean.reason} {clean.way_out}"
    if not clean.value:
        return f"It stands at {last:g}, below {below:g} already."
    lo, hi = round(clean.lo or 0), round(clean.hi or clean.value)
    many = _drives(hi) if lo == hi else f"{lo} to {hi} drives"
    return (
        f"It stands at {last:g}. {many} in a row without a missed firing bring it below {below:g}, for each drive "
        "weighs a tenth; if it falls more slowly, it still misfires."
    )
