"""Learn how a person times from practice taps: ranges, what the taps do not tell, and persons to draw odds with.

The likelihood is the model of ``Person`` itself with its lapses, the lapses with a heavy tail, so that one tap that
went wrong altogether does not widen the rest. The posterior is drawn by importance sampling (see ``weighing``).
Times are seconds; nothing here reads a clock.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray
from scipy.special import expit

from tickover.errors import TimingError
from tickover.results import CannotTell, Measured, Quantity
from tickover.timing.person import LAPSE_WIDENS, Person
from tickover.timing.weighing import Weighed, weigh

Floats = NDArray[np.float64]
Model = Literal["timed", "counted"]

LEVEL = 0.9
"""Coverage of the ranges."""

FEWEST = 12
"""With fewer taps nothing is told. Own choice."""

APART = 2.0
"""Targets are well separated where the longest is this many times the shortest. Own choice."""

TELLS = 0.6
"""A parameter is determined where its spread, on the scale of its prior, fell to this share or less. Own choice."""

SURE = 0.9
"""A model is said to be followed from this probability on. Own choice."""

DRAWS = 1000

PRIORS: dict[str, tuple[float, float]] = {
    "bias": (0.0, 0.10),
    "scale": (0.0, 0.10),
    "motor_sd": (math.log(0.025), 0.6),
    "lapse": (-3.2, 1.0),
    "cv": (math.log(0.10), 0.7),
    "pace": (math.log(0.02), 0.6),
    "count_sd": (math.log(0.05), 0.4),
    "lead": (-0.02, 0.06),
    "event_sd": (math.log(0.035), 0.5),
}
"""Normal priors, mean and standard deviation: spreads by their logarithm, lapses by their log odds, the rest as they
are [s]. Wide about FACTS' figures (cv 0.10–0.16, cued 25–60 ms, 5 % a count); own choice."""

_SHARED = ("bias", "scale", "motor_sd", "lapse", "lead", "event_sd")
_OF_MODEL: dict[Model, tuple[str, ...]] = {"timed": (*_SHARED, "cv"), "counted": (*_SHARED, "pace", "count_sd")}
_LOGS = frozenset({"motor_sd", "cv", "pace", "count_sd", "event_sd"})
_FIELDS = ("bias", "scale", "cv", "motor_sd", "event_sd", "lapse", "count_sd", "lead")


@dataclass(frozen=True, slots=True)
class Tap:
    """One practice tap, or pair of taps.

    Attributes:
        aimed: the interval that was asked for, or the time of the cue [s].
        made: the interval that came out, or the time of the tap on the clock of the cue [s].
        cued: whether it was a tap to a cue.
        off: standard uncertainty with which ``made`` was recorded [s].
    Raises: TimingError if an interval is not positive, or a number not finite.
    """

    aimed: float
    made: float
    cued: bool = False
    off: float = 0.0

    def __post_init__(self) -> None:
        if not all(map(math.isfinite, (self.aimed, self.made, self.off))) or self.off < 0:
            raise TimingError(f"a tap cannot be {self.made:g} s for {self.aimed:g} s, off by {self.off:g} s")
        if not self.cued and (self.aimed <= 0 or self.made <= 0):
            raise TimingError(f"an interval takes time: {self.made:g} s were made of {self.aimed:g} s")


@dataclass(frozen=True, eq=False)
class Learned:
    """What practice taps say of a person.

    Attributes:
        intervals, cued: how many taps of each sort.
        targets: the intervals that were asked for, each once, rising [s].
        model: whether the spread grows as in timing (with the interval) or as in counting (with its root); None where
            the taps do not tell.
        p_counted: probability of counting, both as likely beforehand.
        bias, scale, cv, motor_sd, event_sd, lapse, count_sd: as for ``Person``, each with its range at ``LEVEL`` or
            the reason why it is not determined. In counting ``cv`` is the floor, the pace from time to time.
        lead: how late cued taps came after their cues in the mean [s]; negative is early. Part of it is the delay of
            the sound and of the key.
        posterior: persons, each as likely; shape (draws, 8), columns as ``_FIELDS``.
    """

    intervals: int
    cued: int
    targets: tuple[float, ...]
    model: Model | None
    p_counted: float | None
    bias: Measured
    scale: Measured
    cv: Measured
    motor_sd: Measured
    event_sd: Measured
    lapse: Measured
    count_sd: Measured
    lead: Measured
    posterior: Floats

    def person(self) -> Person:
        """One person in the middle of what was learned: the median of each figure, of the likelier way of timing."""
        counts = self.posterior[:, _FIELDS.index("count_sd")] > 0
        likelier = self.posterior[counts] if counts.mean() > 0.5 else self.posterior[~counts]
        return _person(np.median(likelier, axis=0))

    def draws(self, rng: Generator, n: int) -> list[Person]:
        """``n`` persons, each as likely as the taps allow, for odds that carry what is not known of the person."""
        rows = rng.choice(len(self.posterior), n, replace=n > len(self.posterior))
        return [_person(row) for row in self.posterior[rows]]

    def ranges(self) -> dict[str, Measured]:
        """Every figure by its name."""
        return {name: getattr(self, name) for name in _FIELDS}

    def spread(self, d: float) -> Quantity:
        """Standard deviation of an interval aimed at ``d``, with its range [s]; told whatever is not determined."""
        column = {name: self.posterior[:, k] for k, name in enumerate(_FIELDS)}
        sd = np.sqrt((column["cv"] * d) ** 2 + column["count_sd"] ** 2 * d + column["motor_sd"] ** 2)
        lo, middle, hi = np.quantile(sd, [(1 - LEVEL) / 2, 0.5, (1 + LEVEL) / 2])
        return Quantity(value=float(middle), lo=float(lo), hi=float(hi), level=LEVEL, unit="s")


def learn(taps: Sequence[Tap], rng: Generator | None = None, model: Model | None = None) -> Learned:
    """Learn a person from practice taps.

    Args:
        taps: intervals aimed at and made, and taps to cues; about 40, at two or more targets ``APART`` times apart.
        rng: for the sampling; seeded with 0 if not given, so the same taps give the same answer.
        model: “counted” where the person is known to have counted aloud, “timed” where not; if not given the taps
            decide, or it stays open and the persons drawn are of both sorts.
    Returns: what they say. With taps at one length only, or too few, the figures are not determined, and the persons
        drawn are as various as the priors leave them.
    Raises: TimingError if there are no taps.
    Valid for: taps that do not share an instant, so that their errors are independent, by a person who does not change
        while practising.
    Source: own choice of likelihood and priors; the model as for ``Person`` and ``Counting``. Importance sampling with
        a Student proposal: common practice.
    """
    if not taps:
        raise TimingError("nothing can be learned without taps")
    rng = np.random.default_rng(0) if rng is None else rng
    data = _Data(taps)
    found = {m: _weighed(m, data, rng) for m in _OF_MODEL if model in (None, m)}
    p_counted = None
    if model is None and data.apart and len(data.made) >= FEWEST:
        p_counted = float(expit(found["counted"].log_evidence - found["timed"].log_evidence))
        if max(p_counted, 1 - p_counted) >= SURE:
            model = "counted" if p_counted > 0.5 else "timed"
    share = {"counted": 1.0, "timed": 0.0, None: 0.5 if p_counted is None else p_counted}[model]
    n_counted = round(DRAWS * share)
    rows = [_rows(m, f.resampled(rng, n_counted if m == "counted" else DRAWS - n_counted)) for m, f in found.items()]
    ranges = _told(data, found, model)
    return Learned(len(data.made), len(data.late), data.targets, model, p_counted, **ranges, posterior=np.vstack(rows))


class _Data:
    """Taps as arrays: intervals made and lateness of cued taps, each with its place among the kinds there are.

    A kind is a target with a variance of recording, shape (kinds, 2); of cued taps the variance alone, shape (kinds,).
    """

    def __init__(self, taps: Sequence[Tap]) -> None:
        own, cued = [t for t in taps if not t.cued], [t for t in taps if t.cued]
        self.made: Floats = np.array([t.made for t in own])
        self.late: Floats = np.array([t.made - t.aimed for t in cued])
        each = np.array([(t.aimed, t.off**2) for t in own]).reshape(-1, 2)
        self.kinds, self.kind = np.unique(each, axis=0, return_inverse=True)
        self.late_kinds, self.late_kind = np.unique([t.off**2 for t in cued], return_inverse=True)
        self.targets = tuple(sorted({t.aimed for t in own}))

    @property
    def apart(self) -> bool:
        """Whether two or more targets lie well apart."""
        return len(self.targets) > 1 and self.targets[-1] >= APART * self.targets[0]


def _weighed(model: Model, data: _Data, rng: Generator) -> Weighed:
    names = _OF_MODEL[model]
    means = np.array([PRIORS[n][0] for n in names])
    sds = np.array([PRIORS[n][1] for n in names])

    def log_target(points: Floats) -> Floats:
        prior = -0.5 * (((points - means) / sds) ** 2).sum(axis=1) - float(np.log(sds * math.sqrt(2 * math.pi)).sum())
        return np.asarray(prior + _log_likelihood(dict(zip(names, points.T, strict=True)), data), dtype=np.float64)

    return weigh(log_target, means, sds, rng)


def _log_likelihood(at: dict[str, Floats], data: _Data) -> Floats:
    """Of all taps, for many points at once: shape (points,)."""
    column = {n: (np.exp(v) if n in _LOGS else v)[:, None] for n, v in at.items()}
    lapse = expit(column["lapse"])
    d = data.kinds[:, 0]
    own = column["motor_sd"] ** 2 + data.kinds[:, 1]
    if "cv" in column:
        own = own + (column["cv"] * d) ** 2
    else:
        own = own + (column["pace"] * d) ** 2 + column["count_sd"] ** 2 * d
    off = data.made - ((1 + column["scale"]) * d + column["bias"])[:, data.kind]
    total = _log_density(off, np.sqrt(own), data.kind, lapse)
    cued = np.sqrt(column["event_sd"] ** 2 + data.late_kinds)
    return total + _log_density(data.late - column["lead"], cued, data.late_kind, lapse)


_TAIL_SQUARE = 4 * LAPSE_WIDENS**2 / 2
"""Of a Student distribution of four degrees of freedom, so scaled that a lapse has LAPSE_WIDENS times the spread."""


def _log_density(off: Floats, sd: Floats, kind: NDArray[np.intp], lapse: Floats) -> Floats:
    """Sum over taps of the log density: normal, or in a lapse Student with four degrees of freedom and wider.

    ``off`` is of shape (points, taps), ``sd`` (points, kinds), and ``kind`` tells each tap's.
    """
    square = off / sd[:, kind]
    np.square(square, out=square)
    tail = 1 + square / _TAIL_SQUARE
    usual = (1 - lapse) / math.sqrt(2 * math.pi) * np.exp(-0.5 * square)
    wide = lapse * (0.75 / math.sqrt(_TAIL_SQUARE)) / (tail * tail * np.sqrt(tail))
    count = np.bincount(kind, minlength=sd.shape[1])
    return np.asarray(np.log(usual + wide).sum(axis=1) - np.log(sd) @ count, dtype=np.float64)


def _natural(name: str, values: Floats) -> Floats:
    if name in _LOGS:
        return np.exp(values)
    return np.asarray(expit(values), dtype=np.float64) if name == "lapse" else values


def _rows(model: Model, points: Floats) -> Floats:
    """Sampled points as rows of persons."""
    names = list(_OF_MODEL[model])
    out = np.zeros((len(points), len(_FIELDS)))
    for name in names:
        field = "cv" if name == "pace" else name
        out[:, _FIELDS.index(field)] = _natural(name, points[:, names.index(name)])
    return out


def _person(row: Floats) -> Person:
    got = dict(zip(_FIELDS, map(float, row), strict=True))
    del got["lead"]
    return Person(**got)


_WHAT = {
    "bias": ("s", "the constant delay"),
    "scale": ("1", "the pace"),
    "cv": ("1", "the spread that grows with the interval"),
    "motor_sd": ("s", "the spread of the movement itself"),
    "event_sd": ("s", "the spread about a cue"),
    "lapse": ("1", "the share of lapses"),
    "count_sd": ("s", "the spread of one count"),
    "lead": ("s", "how early or late a tap to a cue comes"),
}


def _told(data: _Data, every: dict[Model, Weighed], model: Model | None) -> dict[str, Measured]:
    """Each figure with its range, or why it is not determined."""
    likely: Model = "timed" if model is None else model
    if model is None and every["counted"].log_evidence > every["timed"].log_evidence:
        likely = "counted"
    found, names = every[likely], list(_OF_MODEL[likely])
    told: dict[str, Measured] = {}
    for field in _FIELDS:
        name = "pace" if field == "cv" and likely == "counted" else field
        blind = _untold(field, data, model)
        if blind is not None:
            told[field] = blind
            continue
        values = found.points[:, names.index(name)]
        if name != "lapse" and found.sd(values) > TELLS * PRIORS[name][1]:
            told[field] = CannotTell(
                reason=f"these taps do not tell {_WHAT[field][1]} apart from the rest", way_out=_WAYS.get(field, "")
            )
            continue
        lo, middle, hi = _natural(name, found.quantiles(values, [(1 - LEVEL) / 2, 0.5, (1 + LEVEL) / 2]))
        told[field] = Quantity(value=float(middle), lo=float(lo), hi=float(hi), level=LEVEL, unit=_WHAT[field][0])
    return told


_WAYS = {
    "motor_sd": "Practise very short intervals too, a quarter of a second.",
    "cv": "Practise longer intervals too, of several seconds.",
    "count_sd": "Practise longer intervals too, of several seconds.",
}


def _untold(field: str, data: _Data, model: Model | None) -> CannotTell | None:
    """What the taps cannot tell whatever they are."""
    cued = field in {"event_sd", "lead"}
    have, sort = (len(data.late), "taps to a cue") if cued else (len(data.made), "intervals")
    if field == "count_sd" and model == "timed":
        return CannotTell(reason="this person times, and does not count")
    if field == "lapse":
        have, sort = len(data.made) + len(data.late), "taps"
    if have < FEWEST:
        return CannotTell(reason=f"{have} {sort} are too few", way_out=f"{FEWEST} or more {sort} are wanted.")
    if not cued and field != "lapse" and not data.apart:
        return CannotTell(
            reason="the intervals practised are all about as long, so nothing tells "
            f"{_WHAT[field][1]} from what is the same at every length",
            way_out=f"Practise a second interval, {APART:g} or more times as long.",
        )
    if field in {"cv", "count_sd"} and model is None:
        why = "the taps do not tell whether the spread grows as in timing or as in counting aloud"
        return CannotTell(reason=why, way_out="Say which it was, or practise intervals further apart.")
    return None
