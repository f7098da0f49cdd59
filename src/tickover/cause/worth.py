"""What the next test is worth: expected information about the cause, in bits, for all that could be done."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from tickover.cause.acts import FETCH, MEASURES, TESTS, Act, Measure
from tickover.cause.channels import CHANNELS, INDEX, unscaled
from tickover.cause.evidence import Car, Evidence
from tickover.cause.hypotheses import HYPOTHESES
from tickover.cause.tables import CODE_GROUPS, HISTORY, chances, outcome_chances
from tickover.cause.weighing import Cells, Ways, Weighed

Floats = NDArray[np.float64]

LEAST_BITS = 0.03
"""A test worth less is not offered [bit]. Own choice."""
OVERHEAD = 4.0
"""Minutes that any test costs beside its own, walking and writing down [min]. Own choice."""
AS_GOOD = 0.8
"""Within this share of the best worth per minute, a test without tools goes first [1]. Own choice."""
_FORGET = 1e-5
_BINS = 18


@dataclass(frozen=True)
class Prospect:
    """A test that could be done next.

    Attributes:
        name, act, minutes, needs, cautions: as of a test; minutes with fetching.
        bits: expected information about the cause [bit].
        outcomes: in words.
        chance: of each outcome [1], shape (outcomes,).
        after: probability of each cause after each outcome, shape (outcomes, causes).
    """

    name: str
    act: str
    bits: float
    minutes: float
    needs: str
    cautions: tuple[str, ...]
    outcomes: tuple[str, ...]
    chance: Floats
    after: Floats

    @property
    def per_minute(self) -> float:
        """Worth per minute [bit/min]."""
        return self.bits / (self.minutes + OVERHEAD)


def prospects(w: Weighed, evidence: Evidence, car: Car) -> list[Prospect]:
    """Everything that could be done next and would tell something, best first.

    Args:
        w: what was weighed.
        evidence: what was seen already; none of it is offered again.
        car: what is known of it.
    """
    thin = _thinned(w)
    found = [*_named(thin, evidence), *_asked(thin, evidence), *_measured(thin, evidence, car)]
    good = [p for p in found if p.bits >= LEAST_BITS]
    if not good:
        return []
    good.sort(key=lambda p: -p.per_minute)
    best = good[0].per_minute
    return sorted(good, key=lambda p: (not (p.per_minute >= AS_GOOD * best and p.needs == "nothing"), -p.per_minute))


def information(p: Floats, given: Floats) -> float:
    """Mutual information of a cause and an outcome.

    Args:
        p: probability of each cause, shape (causes,).
        given: chance of each outcome under it, shape (causes, outcomes).
    Returns: [bit]
    Example: ``information(np.array([0.5, 0.5]), np.eye(2))`` is 1.0.
    """
    joint = p[:, None] * given
    apart = p[:, None] * joint.sum(axis=0)
    on = joint > 0
    return max(float((joint[on] * np.log2(joint[on] / apart[on])).sum()), 0.0)


def _thinned(w: Weighed) -> Weighed:
    """Without ways that hardly count."""
    keep = w.p > _FORGET * w.p.max()
    ways = Ways(w.ways.cell[keep], w.ways.cause[keep], w.ways.mimics[keep], w.ways.prior[keep])
    p = w.p[keep]
    return replace(w, ways=ways, p=p / p.sum(), total=w.total[keep], told=w.told[:, keep])


def _by_cause(w: Weighed, given: Floats) -> tuple[Floats, Floats]:
    """Chances by way as chances by cause: p (causes,), given (causes, outcomes)."""
    n = len(HYPOTHESES)
    p = np.bincount(w.ways.cause, weights=w.p, minlength=n).astype(np.float64)
    joint = np.array([np.bincount(w.ways.cause, weights=w.p * col, minlength=n) for col in given.T]).T
    with np.errstate(invalid="ignore", divide="ignore"):
        return p, np.where(p[:, None] > 0, joint / p[:, None], 0.0)


def _prospect(w: Weighed, given: Floats, told: Act | Measure, name: str, outcomes: tuple[str, ...]) -> Prospect:
    p, by_cause = _by_cause(w, given)
    chance = p @ by_cause
    after = (p[:, None] * by_cause / np.maximum(chance, 1e-12)).T
    minutes = told.minutes + FETCH[told.needs]
    bits = information(p, by_cause)
    return Prospect(name, told.act, bits, minutes, told.needs, told.cautions, outcomes, chance, after)


def _named(w: Weighed, evidence: Evidence) -> Iterator[Prospect]:
    for name, act in TESTS.items():
        if name in evidence.tests:
            continue
        yield _prospect(w, w.ways.of_causes(outcome_chances(name)), act, name, tuple(act.outcomes.values()))


_ASK = Act(
    "history",
    "Ask what happened before: battery flat or off, throttle cleaned, a misfire cured, something unplugged",
    {},
    {},
    1.0,
)
_CODES = Act("codes", "Read the stored codes; clear nothing", {}, {}, 2.0, "a reader")


def _asked(w: Weighed, evidence: Evidence) -> Iterator[Prospect]:
    if evidence.history is None:
        rows = {name: chances(table) for name, (_, table) in HISTORY.items()}
        words = (*(w_ for w_, _ in HISTORY.values()), "nothing of the kind")
        yield _prospect(w, w.ways.of_causes(_first_of(list(rows.values()))), _ASK, "history", words)
    if evidence.codes is None:
        names = [g for g in CODE_GROUPS if not (g in ("lean", "rich") and evidence.trims)]
        rows = {g: chances(CODE_GROUPS[g][2]) for g in names}
        words = (*(f"a code for {CODE_GROUPS[g][0]}" for g in names), "none of these")
        yield _prospect(w, w.ways.of_causes(_first_of(list(rows.values()))), _CODES, "codes", words)


def _first_of(rows: list[Floats]) -> Floats:
    """Chance that each of several independent things is the first of them that holds, and that none does."""
    none, out = np.ones(len(HYPOTHESES)), []
    for row in rows:
        out.append(none * row)
        none = none * (1 - row)
    return np.array([*out, none]).T


def _measured(w: Weighed, evidence: Evidence, car: Car) -> Iterator[Prospect]:
    metering = car.metering or ("air" if evidence.air_flow else None)
    for measure in MEASURES:
        if w.numbers.has(measure.channel):
            continue
        if measure.channel.startswith("flow") and metering != "air":
            continue
        if measure.channel == "vacuum" and w.numbers.has("map idle"):
            continue
        yield _number(w, measure, car)


def predictive(w: Weighed, channel: int, read: float) -> tuple[Floats, Floats]:
    """What a reading not yet taken would be, cell by cell, given those that were.

    Args:
        w: what was weighed.
        channel: its index.
        read: spread of the reading [channel's scale].
    Returns: mean and spread by way, shape (n,) each [channel's scale]
    """
    cells, index = w.cells, w.numbers.index
    at, where = np.unique(w.ways.cell, return_inverse=True)
    mean, variance = _own(cells, at, channel, read)
    if len(index):
        f = cells.factors
        cross = np.einsum("sf,sfd->sd", f[:, :, channel], f[:, :, index])[cells.stratum[at]]
        gain = np.einsum("nd,nde->ne", cross, w.inverse[at])
        mean = mean + np.einsum("nd,nd->n", gain, w.residual[at])
        variance = np.maximum(variance - np.einsum("nd,nd->n", gain, cross), 0.1 * variance)
    return mean[where], np.sqrt(variance)[where]


def _own(cells: Cells, at: NDArray[np.intp], channel: int, read: float) -> tuple[Floats, Floats]:
    shared = (cells.factors[:, :, channel] ** 2).sum(axis=1)[cells.stratum[at]]
    return cells.means[at, channel], shared + cells.alone[at, channel] + read**2


def _number(w: Weighed, measure: Measure, car: Car) -> Prospect:
    channel = CHANNELS[INDEX[measure.channel]]
    mean, spread = predictive(w, INDEX[measure.channel], channel.read)
    middle = float(w.p @ mean)
    reach = 3.5 * float(np.sqrt(w.p @ ((mean - middle) ** 2 + spread**2))) + 1e-9
    edges = np.linspace(middle - reach, middle + reach, _BINS + 1)[1:-1]
    below = ndtr((edges - mean[:, None]) / spread[:, None])
    bins = np.diff(below, axis=1, prepend=0.0, append=1.0)
    p, by_cause = _by_cause(w, np.clip(bins, 0.0, 1.0))
    bits = information(p, by_cause)
    lower = np.cumsum(by_cause, axis=1)[:, :-1]
    worth = [information(p, np.column_stack([low, 1 - low])) for low in lower.T]
    cut = int(np.argmax(worth))
    given = np.column_stack([below[:, cut], 1 - below[:, cut]])
    at = float(unscaled(channel, edges[cut] + _normal_air(channel.name, car)))
    digits = 1 if channel.unit in ("V", "g/s") else 0
    sign = "+" if channel.name.startswith("trim") else ""
    shown = f"{at:{sign}.{digits}f}{' ' + channel.unit if channel.unit else ''}"
    made = _prospect(w, given, measure, measure.channel, (f"below {shown}", f"{shown} or more"))
    return replace(made, bits=bits)


def _normal_air(channel: str, car: Car) -> float:
    known = channel == "idle air" and car.idle_air_normal is not None
    return float(np.log(car.idle_air_normal)) if known and car.idle_air_normal is not None else 0.0
