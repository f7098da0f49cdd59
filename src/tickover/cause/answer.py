"""The answer that a set of probabilities amounts to: finding, advice, the leading group and its word.

The same is reckoned for what is held now and for what would be held after each outcome of a test, so that a test whose
every outcome leaves the answer as it is can be left out.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tickover.cause.hypotheses import ELSE, HYPOTHESES
from tickover.cause.results import Advice, Finding, Likeliness
from tickover.cause.ties import Alike, grouped

Floats = NDArray[np.float64]

UNLIKELY, LIKELY = 0.2, 0.5
"""Under the first a cause is unlikely, over the second likely; between, possible. The design fixes both."""
NAMED_AT_MOST = 4
"""Causes that a sentence names [1]."""
NAMED_FROM = 0.1
"""A cause that is likelier than so much is named as a rival [1]. Own choice."""
STANDS_FROM = 0.1
"""A cause that has less than so much of its tied group's probability makes no tie of stale memory and fault [1]. Own
choice: base rates may be off by two, not by ten."""
STEP = 0.1
"""The word of the leading group counts as another one only where its probability moves by so much [1]. Own choice: else
a hair's breadth over 50 % would pass for news."""
PARTS = 3.0
"""Evidence that weighs so many times as much for one of two causes parts them [1]; as ``ties.ALIKE``."""


@dataclass(frozen=True)
class Answer:
    """What would be said.

    Attributes:
        causes: probability of each, shape (causes,).
        groups: tied groups, likelier first.
        finding, advice: as in ``Causes``.
        named: causes that the sentence names beside each other, likelier first; empty where it names none.
    """

    causes: Floats
    groups: tuple[tuple[int, ...], ...]
    finding: Finding
    advice: Advice
    named: tuple[int, ...]

    @property
    def lead(self) -> int:
        """The likeliest cause of the leading group; a sound car where it is among them."""
        return next((k for k in self.groups[0] if HYPOTHESES[k].family == "sound"), self.groups[0][0])

    @property
    def probability(self) -> float:
        """Of the leading group [1]."""
        return float(self.causes[list(self.groups[0])].sum())

    @property
    def likely(self) -> Likeliness:
        """Its word."""
        return likeliness(self.probability)

    @property
    def pair(self) -> tuple[int, int] | None:
        """The two likeliest causes that the sentence cannot part."""
        return (self.named[0], self.named[1]) if len(self.named) > 1 else None


def likeliness(probability: float) -> Likeliness:
    """The one word for a probability."""
    return "unlikely" if probability < UNLIKELY else "likely" if probability > LIKELY else "possible"


def answer_of(causes: Floats, alike: Alike, attempts: int, *, nothing_read: bool = False) -> Answer:
    """What would be said of some probabilities.

    Args:
        causes: probability of each, shape (causes,).
        alike: which pairs the evidence cannot part.
        attempts: correct relearns without effect.
        nothing_read: whether there is no evidence at all; then the sentence names nothing.
    """
    return _answer(causes, alike.tied(), attempts, nothing_read=nothing_read)


def answer_after(before: Answer, after: Floats, alike: Alike, attempts: int) -> Answer:
    """What would be said after an outcome.

    Args:
        before: what is said now.
        after: probability of each cause after it, shape (causes,).
        alike: which pairs the evidence at hand cannot part; the outcome's own weight is added.
        attempts: as for ``answer_of``.
    """
    return _answer(after, alike.tied(weight(before.causes, after)), attempts, nothing_read=False)


def weight(before: Floats, after: Floats) -> Floats:
    """Log of how well each cause explains an outcome, up to a constant, shape (causes,)."""
    with np.errstate(divide="ignore"):
        return np.asarray(np.where(before > 0, np.log(after) - np.log(np.maximum(before, 1e-300)), 0.0))


def _answer(causes: Floats, tied: NDArray[np.bool_], attempts: int, *, nothing_read: bool) -> Answer:
    groups = tuple(tuple(g) for g in grouped(causes, tied))
    finding = finding_of(causes, groups)
    named = () if nothing_read else named_of(finding, causes, groups)
    return Answer(causes, groups, finding, advice_of(finding, causes, attempts), named)


def finding_of(causes: Floats, groups: Sequence[Sequence[int]]) -> Finding:
    """Stale, fault, sound, just cleared, or cannot tell."""
    if causes[_CLEARED] > LIKELY:
        return "just cleared"
    families = {HYPOTHESES[k].family for k in standing(causes, groups[0])}
    if {"stale", "fault"} <= families and "sound" not in families:
        return "cannot tell"
    if family_chance(causes, "stale") > LIKELY:
        return "stale"
    if family_chance(causes, "fault") > LIKELY and "sound" not in families:
        return "fault"
    return "sound" if family_chance(causes, "sound") > LIKELY else "cannot tell"


def standing(causes: Floats, group: Sequence[int]) -> list[int]:
    """Members of a tied group that count beside the others, likelier first; a sound car always does."""
    least = STANDS_FROM * float(causes[list(group)].sum())
    order = sorted(group, key=lambda k: -causes[k])
    return [k for k in order if causes[k] >= least or HYPOTHESES[k].family == "sound"]


def named_of(finding: Finding, causes: Floats, groups: Sequence[Sequence[int]]) -> tuple[int, ...]:
    """Causes that the sentence of a finding names, likelier first."""
    lead = standing(causes, groups[0])
    if finding in ("stale", "fault"):
        family = [k for k in _order(causes) if HYPOTHESES[k].family == finding and causes[k] > NAMED_FROM]
        return tuple((family or [k for k in lead if HYPOTHESES[k].family == finding] or list(lead))[:NAMED_AT_MOST])
    if (
        finding != "cannot tell"
        or any(HYPOTHESES[k].family == "sound" for k in lead)
        or HYPOTHESES[lead[0]].name == ELSE
    ):
        return ()
    if len(lead) > 1:
        return tuple(lead[:NAMED_AT_MOST])
    return tuple(k for k in _order(causes) if causes[k] > NAMED_FROM)[:NAMED_AT_MOST]


def advice_of(finding: Finding, causes: Floats, attempts: int) -> Advice:
    """Whether to relearn."""
    if attempts >= 2 or finding == "fault":
        return "do not relearn"
    if finding in ("just cleared", "sound"):
        return "wait and watch"
    if finding == "stale":
        return "relearn again" if attempts else "relearn"
    return "wait and watch" if family_chance(causes, "sound") > UNLIKELY else "do not relearn"


def changed(before: Answer, after: Answer) -> bool:
    """Whether an outcome counts: after it finding, advice, leading group or its word differ, or the pair is parted."""
    return (
        before.finding != after.finding
        or before.advice != after.advice
        or after.lead not in before.groups[0]
        or (before.likely != after.likely and abs(before.probability - after.probability) >= STEP)
        or parted(before, after)
    )


def parted(before: Answer, after: Answer) -> bool:
    """Whether an outcome parts the two causes that the sentence could not: it weighs, and no row holds both then."""
    if before.pair is None:
        return False
    held = {*before.pair}
    if any(held <= {*g} for g in before.groups) and any(held <= {*g} for g in after.groups):
        return False
    one, two = (float(weight(before.causes, after.causes)[k]) for k in before.pair)
    with np.errstate(invalid="ignore"):
        return bool(abs(one - two) >= np.log(PARTS))


def family_chance(causes: Floats, *families: str) -> float:
    """Chance that the cause is of one of these families."""
    return sum(float(causes[k]) for f in families for k in _FAMILY[f])


def _order(causes: Floats) -> list[int]:
    return [int(k) for k in np.argsort(-causes, kind="stable")]


_CLEARED = next(k for k, h in enumerate(HYPOTHESES) if h.name == "memory cleared")
_FAMILY = {
    f: [k for k, h in enumerate(HYPOTHESES) if h.family == f and k != _CLEARED]
    for f in ("sound", "stale", "fault", "else")
}
