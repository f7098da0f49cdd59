"""What the next test is worth: how far its outcomes would change the answer, in bits a minute.

An outcome that leaves the answer as it is counts nothing, however much it tells of the probabilities; a test without an
outcome that counts is not offered. A test that finds the place of the leading cause is worth more than its answer: it
is the first step of mending it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from tickover.cause.acts import ASK, CODES, FETCH, FINDS, MEASURES, TESTS, Act, Measure, cylinders_named
from tickover.cause.answer import Answer, answer_after, changed, parted
from tickover.cause.channels import CHANNELS, INDEX, Channel, unscaled
from tickover.cause.evidence import Car, Evidence
from tickover.cause.hypotheses import HYPOTHESES
from tickover.cause.tables import CODE_GROUPS, HISTORY, chances, outcome_chances
from tickover.cause.ties import Alike
from tickover.cause.weighing import LOOKS, WORD_WEIGHT, Cells, Ways, Weighed

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

LEAST_BITS = 0.03
"""A test that tells less is not offered [bit]. Own choice."""
LEAST_CHANGE = 0.05
"""… nor one that changes the answer less often than one time in twenty [1]. Own choice."""
WRONG = 60.0
"""Minutes that acting on a wrong answer costs [min]. Where there is an answer to act on, a test is offered if so many
times the chance that it changes the answer are no less than its own minutes. Own choice: an hour, without parts."""
OVERHEAD = 4.0
"""Minutes that any test costs beside its own, walking and writing down [min]; a question costs none. Own choice."""
ASKED_FROM = 0.2
"""A question that changes an answer to act on less often than one time in five does not go first for costing nothing
[1]. Own choice."""
AS_GOOD = 0.8
"""Within this share of the best worth per minute, a test without tools goes first [1]. Own choice."""
WHERE = 2.0
"""What it is worth to have found the place of the leading cause: one of four [bit]. Own choice."""
SPARE_SHOWN = 6
_FORGET = 1e-5
_BINS = 18
_CUTS_TRIED = 0.5


@dataclass(frozen=True)
class Now:
    """What is said now, and what it takes to say it anew.

    Attributes:
        answer: what is said.
        alike: which pairs of causes the evidence cannot part.
        attempts: correct relearns without effect.
    """

    answer: Answer
    alike: Alike
    attempts: int


@dataclass(frozen=True)
class Prospect:
    """A test that could be done next.

    Attributes:
        name, act, minutes, needs, cautions: as of a test; minutes with fetching.
        place: what it is worth beside, for finding where the leading cause is [bit].
        asks: whether it is a question to the customer.
        seldom: whether it is one, there is an answer to act on, and it seldom changes that.
        bits: how far it is expected to move what is held of the causes [bit].
        outcomes: in words.
        chance: of each outcome [1], shape (outcomes,).
        after: probability of each cause after each outcome, shape (outcomes, causes).
        says: what would be said after each outcome.
        counts: outcomes after which the answer is another one, shape (outcomes,).
        worth: the part of ``bits`` that comes from them [bit].
        parts: chance that it parts the pair which the sentence cannot, if it is one of the two [1].
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
    says: tuple[Answer, ...]
    counts: Bools
    worth: float
    parts: float
    place: float = 0.0
    asks: bool = False
    seldom: bool = False

    @property
    def costs(self) -> float:
        """Minutes in all [min]."""
        return self.minutes + (0.0 if self.asks else OVERHEAD)

    @property
    def per_minute(self) -> float:
        """Worth per minute [bit/min]; a question that seldom changes an answer to act on is no quicker than a look."""
        return (self.worth + self.place) / (self.costs + (OVERHEAD if self.seldom else 0.0))

    def pays(self, now: Answer) -> bool:
        """Whether it is worth its minutes: it may change the answer, and costs no more than acting wrongly would."""
        if self.bits < LEAST_BITS or self.changes < LEAST_CHANGE:
            return False
        return now.finding == "cannot tell" or self.changes * WRONG >= self.costs

    @property
    def changes(self) -> float:
        """Chance that the answer is another one after it [1]."""
        return min(float(self.chance[self.counts].sum()), 1.0)


def prospects(w: Weighed, evidence: Evidence, car: Car, now: Now) -> list[Prospect]:
    """Everything that could be done next and might change the answer, best first; as ``surveyed``."""
    return surveyed(w, evidence, car, now)[0]


def surveyed(w: Weighed, evidence: Evidence, car: Car, now: Now) -> tuple[list[Prospect], list[Prospect]]:
    """Everything that could be done next.

    Args:
        w: what was weighed.
        evidence: what was seen already; none of it is offered again.
        car: what is known of it.
        now: what is said now.
    Returns: what might change the answer, and what tells something but does not pay; best first each
    """
    look = _Look(_thinned(w), now)
    found = [*_named(look, evidence), *_asked(look, evidence), *_measured(look, evidence, car)]
    good = [p for p in found if p.pays(now.answer)]
    spare = [p for p in found if not p.pays(now.answer) and (p.bits >= LEAST_BITS or p.place > 0)]
    spare = sorted(spare, key=lambda p: -p.per_minute)[:SPARE_SHOWN]
    if not good:
        return [], spare
    best = max(p.per_minute for p in good)
    by_worth = sorted(
        good, key=lambda p: (not (p.per_minute >= AS_GOOD * best and p.needs == "nothing"), -p.per_minute)
    )
    return by_worth, spare


def to_find(one: Answer, evidence: Evidence) -> int | None:
    """The leading cause, where nobody can mend it before its place is known, and its place is not; else None."""
    if not one.named or one.finding not in ("fault", "cannot tell"):
        return None
    name = HYPOTHESES[one.named[0]].name
    outcomes = [(test, outcome) for test, (cause, outcome) in FINDS.items() if cause == name]
    found = any(evidence.tests.get(test) == outcome for test, outcome in outcomes)
    if not outcomes or found or (name == "dead coil" and cylinders_named(evidence.codes)):
        return None
    return one.named[0]


def prospect_of(w: Weighed, name: str, evidence: Evidence, car: Car, now: Now) -> Prospect | None:
    """One test or measurement, whatever it is worth; None where there is none of that name.

    Args:
        w: what was weighed without it.
        name: of a test, a channel, "history" or "codes".
        evidence: without it.
        car, now: as for ``prospects``.
    """
    look = _Look(_thinned(w), now)
    for group in (_named(look, evidence), _asked(look, evidence), _measured(look, evidence, car)):
        for one in group:
            if one.name == name:
                return one
    return None


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


@dataclass(frozen=True)
class _Look:
    """What was weighed, and what is said of it."""

    w: Weighed
    now: Now

    def by_cause(self, given: Floats) -> tuple[Floats, Floats]:
        """Chances by way as chances by cause: p (causes,), given (causes, outcomes)."""
        ways, n = self.w.ways, len(HYPOTHESES)
        p = np.bincount(ways.cause, weights=self.w.p, minlength=n).astype(np.float64)
        joint = np.array([np.bincount(ways.cause, weights=self.w.p * col, minlength=n) for col in given.T]).T
        with np.errstate(invalid="ignore", divide="ignore"):
            return p, np.where(p[:, None] > 0, joint / p[:, None], 0.0)

    def prospect(
        self, told: Act | Measure, name: str, outcomes: tuple[str, ...], chance: Floats, after: Floats
    ) -> Prospect:
        """A test from the chance of each outcome, and what is held of the causes after it."""
        before = self.now.answer
        says = tuple(answer_after(before, row, self.now.alike, self.now.attempts) for row in after)
        counts = np.array([changed(before, one) for one in says])
        bits = chance * np.array([_moved(before.causes, row) for row in after])
        seldom = told.asks and before.finding != "cannot tell" and float(chance[counts].sum()) < ASKED_FROM
        return Prospect(
            name=name,
            act=told.act,
            bits=float(bits.sum()),
            minutes=told.minutes + FETCH[told.needs],
            needs=told.needs,
            cautions=told.cautions,
            outcomes=outcomes,
            chance=chance,
            after=after,
            says=says,
            counts=counts,
            worth=float(bits[counts].sum()),
            parts=_parting(before, says, chance),
            asks=told.asks,
            seldom=seldom,
        )

    def words(self, given: Floats, told: Act, name: str, outcomes: tuple[str, ...]) -> Prospect:
        """A test with a table: outcomes come as often as the table says, and weigh what words weigh.

        Args:
            given: chance of each outcome, shape (causes, outcomes).
        """
        ways = self.w.ways
        chance = self.w.p @ ways.of_causes(given)
        told_by = np.log(np.maximum(given, 1e-12))
        plain = told_by[ways.cause]
        mimic = LOOKS * told_by[ways.mimics] + (1 - LOOKS) * plain
        joint = self.w.p[:, None] * np.exp(WORD_WEIGHT * np.where((ways.mimics >= 0)[:, None], mimic, plain))
        after = np.array([np.bincount(ways.cause, weights=col, minlength=len(HYPOTHESES)) for col in joint.T])
        return self.prospect(told, name, outcomes, chance, after / after.sum(axis=1, keepdims=True))


def _moved(before: Floats, after: Floats) -> float:
    """How far an outcome moves what is held: Kullback and Leibler's divergence [bit]."""
    on = (after > 0) & (before > 0)
    return max(float((after[on] * np.log2(after[on] / before[on])).sum()), 0.0)


def _parting(before: Answer, says: tuple[Answer, ...], chance: Floats) -> float:
    """Chance that the pair of the sentence is parted, where the cause is one of the two [1]."""
    if before.pair is None:
        return 0.0
    pair = list(before.pair)
    total = float(before.causes[pair].sum())
    return sum(
        float(c) * float(one.causes[pair].sum()) / total
        for one, c in zip(says, chance, strict=True)
        if parted(before, one)
    )


def _named(look: _Look, evidence: Evidence) -> Iterator[Prospect]:
    for name, act in TESTS.items():
        if name not in evidence.tests:
            one = look.words(outcome_chances(name), act, name, tuple(act.outcomes.values()))
            yield replace(one, place=WHERE * _finds(look, name, evidence))


def _finds(look: _Look, name: str, evidence: Evidence) -> float:
    """Chance that a test finds the place of the leading cause [1]."""
    lead = to_find(look.now.answer, evidence)
    cause, outcome = FINDS.get(name, ("", ""))
    if lead is None or HYPOTHESES[lead].name != cause:
        return 0.0
    at = tuple(TESTS[name].outcomes).index(outcome)
    return float(look.now.answer.causes[lead] * outcome_chances(name)[lead, at])


def _asked(look: _Look, evidence: Evidence) -> Iterator[Prospect]:
    if evidence.history is None:
        rows = [chances(table) for _, table in HISTORY.values()]
        yield look.words(_first_of(rows), ASK, "history", (*(w for w, _ in HISTORY.values()), "nothing of the kind"))
    if evidence.codes is None:
        names = [g for g in CODE_GROUPS if not (g in ("lean", "rich") and evidence.trims)]
        rows = [chances(CODE_GROUPS[g][2]) for g in names]
        words = (*(f"a code for {CODE_GROUPS[g][0]}" for g in names), "none of these")
        yield look.words(_first_of(rows), CODES, "codes", words)


def _first_of(rows: list[Floats]) -> Floats:
    """Chance that each of several independent things is the first of them that holds, and that none does."""
    none, out = np.ones(len(HYPOTHESES)), []
    for row in rows:
        out.append(none * row)
        none = none * (1 - row)
    return np.array([*out, none]).T


def _measured(look: _Look, evidence: Evidence, car: Car) -> Iterator[Prospect]:
    metering = car.metering or ("air" if evidence.air_flow else None)
    numbers = look.w.numbers
    for measure in MEASURES:
        if numbers.has(measure.channel):
            continue
        if measure.channel.startswith("flow") and metering != "air":
            continue
        if measure.channel == "vacuum" and numbers.has("map idle"):
            continue
        yield _number(look, measure, car)


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


def _number(look: _Look, measure: Measure, car: Car) -> Prospect:
    """A reading, as one of two outcomes: under or over the cut that changes the answer most."""
    w, channel = look.w, CHANNELS[INDEX[measure.channel]]
    mean, spread = predictive(w, INDEX[measure.channel], channel.read)
    middle = float(w.p @ mean)
    reach = 3.5 * float(np.sqrt(w.p @ ((mean - middle) ** 2 + spread**2))) + 1e-9
    edges = np.linspace(middle - reach, middle + reach, _BINS + 1)[1:-1]
    p, below = look.by_cause(ndtr((edges - mean[:, None]) / spread[:, None]))
    tells = np.array([information(p, np.column_stack([low, 1 - low])) for low in below.T])
    bins = np.diff(below, axis=1, prepend=0.0, append=1.0)
    best: Prospect | None = None
    for cut in np.argsort(-tells, kind="stable"):
        if best is not None and tells[cut] < _CUTS_TRIED * tells.max():
            break
        given = np.column_stack([below[:, cut], 1 - below[:, cut]])
        chance = p @ given
        after = (p[:, None] * given / np.maximum(chance, 1e-12)).T
        at = float(unscaled(channel, edges[cut] + _normal_air(channel.name, car)))
        shown = _shown(at, channel)
        one = look.prospect(measure, measure.channel, (f"below {shown}", f"{shown} or more"), chance, after)
        if best is None or one.worth > best.worth:
            best = one
    assert best is not None
    return replace(best, bits=information(p, np.clip(bins, 0.0, 1.0)))


def _shown(at: float, channel: Channel) -> str:
    digits = 1 if channel.unit in ("V", "g/s") else 0
    sign = "+" if channel.name.startswith("trim") else ""
    unit = channel.unit or ("missed firings per 1,000 revolutions" if channel.name == "misfires" else "")
    return f"{at:{sign}.{digits}f}{' ' + unit if unit else ''}"


def _normal_air(channel: str, car: Car) -> float:
    known = channel == "idle air" and car.idle_air_normal is not None
    return float(np.log(car.idle_air_normal)) if known and car.idle_air_normal is not None else 0.0
