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
from scipy import stats

from tickover.errors import SignalRangeError
from tickover.results import CannotTell, Measured, Quantity, Result
from tickover.stats.sequential import (
    cusum,
    cusum_run_length,
    ewma_cycles,
    normal_steps,
    sprt,
    sprt_bounds,
    sprt_expected,
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
LEVEL = 0.9
LEARNED_WITHIN = 1.0
"""A trim this near its end has learned [%]. Own choice."""
_FEWEST = 6


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
        expected_well, expected_back: drives to a decision on average, if it stays well, and if it comes back.
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
    later_at: int | None = None
    false_alarm: float
    says: str


class Learning(Result):
    """A trim that is still learning.

    Attributes:
        ends_at: where it will end [%].
        learned_at: when it will be within 1 % of that [as ``Drive.at``].
        time_constant: in which it covers 63 % of the way [as ``Drive.at``].
        says: that in a sentence.
    """

    kind: Literal["learning"] = "learning"
    ends_at: Quantity
    learned_at: Quantity
    time_constant: Quantity
    says: str


class Relapse(Result):
    """The watch as it stands.

    Attributes:
        verdict: of all quantities together: one that comes back is enough, all must stay well.
        sentence: that in a sentence.
        watched: quantity by quantity.
        learning: the fit of the trim, or why there is none.
        clean_cycles: driving cycles without a missed firing until the misfire counter is below its level.
        rests_on: what it rests on.
    """

    kind: Literal["relapse"] = "relapse"
    verdict: WatchVerdict
    sentence: str
    watched: tuple[Watched, ...]
    learning: Annotated[Learning | CannotTell, Field(discriminator="kind")]
    clean_cycles: Measured
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
    learning = fit_learning([(d.at, d.trim) for d in drives if d.trim is not None])
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
    unwatched = [
        f"The {what} is not watched: give what was normal right after it was healed."
        for what, values, normal in (("idle trim", trims, normal_trim), ("spread", spreads, normal_spread))
        if len(values) and normal is None
    ]
    return Relapse(
        verdict=verdict,
        sentence=_sentence(verdict, watched),
        watched=tuple(watched),
        learning=learning,
        clean_cycles=_clean_cycles(drives, below),
        rests_on=(
            *unwatched,
            *(["Trims that were still learning are left out of the test."] if np.isfinite(learned) else []),
            f"A well idle is called come back in {100 * alpha:g} % of cases, one that came back is missed in "
            f"{100 * beta:g} %; the sums that go on after it give a false alarm once in some 500 drives.",
            f"Come back means a standing change of the idle trim by {TRIM_SHIFT:g} %, or a spread {SPREAD_TIMES:g} "
            "times its normal; sound cars differ from drive to drive by "
            f"{TRIM_SPREAD:g} % and {100 * SPREAD_SPREAD:.0f} % of the spread. These are our own choice.",
        ),
    )


def _watched(what: str, off: Floats, shift: float, sides: Sequence[int], alpha: float, beta: float) -> Watched:
    """One quantity, standardised: a test for each direction it may come back in, and the sums that go on after it."""
    each = alpha / len(sides)
    runs = [sprt(normal_steps(side * off, 0.0, shift, 1.0), each, beta) for side in sides]
    back = [r for r in runs if r.decision == "alternative"]
    well = all(r.decision == "null" for r in runs)
    to_null, to_back = (max(n, 1.0) for n in sprt_expected(-(shift**2) / 2, shift**2 / 2, each, beta))
    lead = min(back, key=lambda r: r.at or 0) if back else max(runs, key=lambda r: float(r.sums[-1]))
    going_on = cusum(off, 0.0, shift / 2, CUSUM_LIMIT, two_sided=len(sides) > 1)
    later = going_on.at if well and not back else None
    verdict: WatchVerdict = "comes back" if back or later is not None else "stays well" if well else "watch on"
    drives = max(r.at or len(r.sums) for r in runs) if well and not back else len(lead.sums)
    says = {
        "stays well": f"{what}: stays well, decided after {_drives(drives)}",
        "comes back": f"{what}: comes back, decided after {_drives(drives)}"
        if later is None
        else f"{what}: well at first, comes back, seen at drive {later}",
        "watch on": f"{what}: not decided after {_drives(drives)}; about {to_null:.0f} drives decide it if it stays "
        f"well, about {to_back:.0f} if it comes back",
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
        later_at=later,
        false_alarm=cusum_run_length(shift / 2, CUSUM_LIMIT, two_sided=len(sides) > 1),
        says=says + ".",
    )


def _drives(n: int) -> str:
    return "1 drive" if n == 1 else f"{n} drives"


def _together(watched: Sequence[Watched]) -> WatchVerdict:
    if any(w.verdict == "comes back" for w in watched):
        return "comes back"
    return "stays well" if watched and all(w.verdict == "stays well" for w in watched) else "watch on"


def _sentence(verdict: WatchVerdict, watched: Sequence[Watched]) -> str:
    if not watched:
        return "Cannot tell: no trim or spread was given together with what was normal after it was healed."
    if verdict == "comes back":
        which = " and ".join(f"the {w.what}" for w in watched if w.verdict == "comes back")
        return f"It comes back, by {which}: a real fault is acting. Look for the cause before any relearn."
    if verdict == "stays well":
        return f"It stays well, decided after {_drives(max(w.drives for w in watched))}."
    return "Not decided yet: watch on, one reading a drive."


def fit_learning(points: Sequence[tuple[float, float]]) -> Learning | CannotTell:
    """Where a learning trim will end, and when.

    trim = end + (start − end) · exp(−t / τ), least squares; τ on a grid, the other two exactly; intervals from the
    likelihood over τ and Student's t within.

    Args:
        points: time and trim [%], rising in time.
    Returns: the fit with 90 % intervals; or why it cannot be told: too few points, no movement, or no bend yet
    Source: own choice of method; the law is a first-order lag, as long trims follow the short one.
    """
    if len(points) < _FEWEST:
        return CannotTell(
            reason=f"Where the trim will end: {len(points)} readings, {_FEWEST} are needed.", way_out="Read on."
        )
    t, y = (np.array(c, dtype=np.float64) for c in zip(*points, strict=True))
    t0, span = float(t[0]), float(t[-1] - t[0])
    taus = np.geomspace(span / 30, span * 30, 160)
    fits = [_linear(np.exp(-(t - t0) / tau), y) for tau in taus]
    errors = np.array([f[2] for f in fits])
    freedom = len(t) - 3
    floor = max(float(errors.min()), 1e-9 * max(float(np.ptp(y)) ** 2, 1e-12))
    flat = float(((y - y.mean()) ** 2).sum())
    if (flat - floor) / 2 / (floor / freedom) < stats.f.ppf(0.99, 2, freedom):
        return CannotTell(
            reason="Where the trim will end: it has not moved by more than it scatters.",
            way_out="It may have learned already; compare it with its normal.",
        )
    weight = (np.maximum(errors, floor) / floor) ** (-(freedom + 1) / 2)
    weight /= weight.sum()
    if float(weight[taus > 1.5 * span].sum()) > 0.1:
        return CannotTell(
            reason="Where the trim will end: it still moves and does not bend yet.",
            way_out="Read on; if it goes on like this, it is a fault and not learning.",
        )
    return _learning(t0, taus, fits, weight, freedom, floor)


def _linear(decay: Floats, y: Floats) -> tuple[float, float, float, float]:
    """Least squares of y on 1 and a decay: end, amplitude, squared error, variance factor of the end."""
    a = np.column_stack([np.ones_like(decay), decay])
    gram = np.linalg.pinv(a.T @ a)
    end, amplitude = gram @ (a.T @ y)
    error = float(((y - a @ np.array([end, amplitude])) ** 2).sum())
    return float(end), float(amplitude), error, float(max(gram[0, 0], 0.0))


def _learning(
    t0: float,
    taus: Floats,
    fits: Sequence[tuple[float, float, float, float]],
    weight: Floats,
    freedom: int,
    floor: float,
) -> Learning:
    best = int(np.argmax(weight))
    quantile = np.linspace(0.005, 0.995, 100)
    student = stats.t.ppf(quantile, freedom)
    ends = np.array([f[0] + student * np.sqrt(max(f[2], floor) / freedom * f[3]) for f in fits])
    amplitude = np.array([abs(f[1]) for f in fits])
    when = t0 + taus * np.log(np.maximum(amplitude / LEARNED_WITHIN, 1.0))
    each = np.repeat(weight / len(quantile), len(quantile))
    end = _quantity(fits[best][0], ends.ravel(), each, "%")
    learned = _quantity(float(when[best]), when, weight, "")
    says = f"The trim will end at {end.value:+.1f} % ({end.lo:+.1f} to {end.hi:+.1f})."
    return Learning(
        ends_at=end,
        learned_at=learned,
        time_constant=_quantity(float(taus[best]), taus, weight, ""),
        says=says,
    )


def _quantity(value: float, values: Floats, weight: Floats, unit: str) -> Quantity:
    order = np.argsort(values)
    total = np.cumsum(weight[order])
    lo, hi = (float(np.interp(q, total, values[order])) for q in ((1 - LEVEL) / 2, (1 + LEVEL) / 2))
    return Quantity(value=value, lo=min(lo, value), hi=max(hi, value), level=LEVEL, unit=unit)


def _clean_cycles(drives: Sequence[Drive], below: float) -> Measured:
    """Clean cycles until the misfire counter is below its level."""
    last = next((d.misfires for d in reversed(drives) if d.misfires is not None), None)
    if last is None:
        return CannotTell(reason="The misfire counter was not read.", way_out="Read it: service 06, TID 0B.")
    lo, hi = ewma_cycles(last, below, rounds=False), ewma_cycles(last, below)
    if lo is None or hi is None:
        return CannotTell(
            reason=f"A counter that keeps whole numbers may stay at {last:g} and never pass below {below:g}.",
            way_out="Choose a level of 5 or more, or clear nothing and compare the cylinders.",
        )
    return Quantity(value=float(hi), lo=float(lo), hi=float(hi), level=0.95, unit="count")
