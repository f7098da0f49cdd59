"""Sentences of the answer."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from tickover.cause.hypotheses import ELSE, HYPOTHESES
from tickover.cause.results import Advice, Finding, Likeliness, Speaks
from tickover.cause.ties import condition
from tickover.cause.weighing import Weighed

Floats = NDArray[np.float64]

UNLIKELY, LIKELY = 0.2, 0.5
"""Under the first a cause is unlikely, over the second likely; between, possible. The design fixes both."""
NAMED_AT_MOST = 4
"""Causes of a tied group that a sentence names [1]."""


def likeliness(probability: float) -> Likeliness:
    """The one word for a probability."""
    return "unlikely" if probability < UNLIKELY else "likely" if probability > LIKELY else "possible"


def speaks(bits: float) -> Speaks:
    """Which way a weight of evidence speaks, and how strongly. Own choice: 1 bit doubles the odds."""
    size, way = abs(bits), "for" if bits > 0 else "against"
    if size < 0.3:
        return "neither way"
    found: dict[tuple[str, str], Speaks] = {
        ("a little", "for"): "a little for",
        ("a little", "against"): "a little against",
        ("", "for"): "for",
        ("", "against"): "against",
        ("strongly", "for"): "strongly for",
        ("strongly", "against"): "strongly against",
    }
    return found["a little" if size < 1 else "" if size < 3 else "strongly", way]


def listed(parts: Sequence[str], last: str = "or") -> str:
    """A list in words."""
    parts = list(parts)
    return parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} {last} {parts[-1]}"


def group_says(members: Sequence[int]) -> str:
    """A group in words, the likelier of its members; a sound car first where it is among them."""
    names = [HYPOTHESES[k].says for k in sorted(members, key=lambda k: HYPOTHESES[k].family != "sound")]
    sound = any(HYPOTHESES[k].family == "sound" for k in members)
    if sound and len(members) > 1:
        return f"{names[0]} that these readings show; unseen by them, {listed(_few(names[1:]))}"
    return listed(_few(names))


def _few(names: Sequence[str]) -> list[str]:
    """Not more names than a sentence bears."""
    if len(names) <= NAMED_AT_MOST + 1:
        return list(names)
    return [*names[:NAMED_AT_MOST], f"{len(names) - NAMED_AT_MOST} more causes"]


def tied_because(w: Weighed, members: Sequence[int]) -> str:
    """Why the members of a group cannot be told apart; empty for one alone."""
    if len(members) < 2:
        return ""
    if not len(w.numbers.index) and not w.words:
        return "Nothing was read that could tell them apart."
    lead, second = sorted(members[:2], key=lambda k: HYPOTHESES[k].family != "sound")
    found = condition(w, lead, second)
    if found is not None and min(found[1:]) > 1 and found[0] > 5:
        return f"They change everything that was read in nearly the same proportion ({_condition(found[0])})."
    if found is not None and min(found[1:]) <= 1:
        return "What was read hardly changes with them."
    return "What was read would look about the same under each of them."


def _condition(number: float) -> str:
    return "the fit of both has no condition at all" if number > 1e4 else f"condition of the fit {number:.0f}"


def condition_says(w: Weighed) -> str:
    """How well the two leading causes, a sound car and something else aside, are told apart by these readings."""
    order = [
        int(k)
        for k in np.argsort(-w.causes, kind="stable")
        if HYPOTHESES[k].name not in ("healthy", "memory cleared", ELSE)
    ][:2]
    found = condition(w, order[0], order[1]) if len(order) == 2 else None
    if found is None:
        return ""
    one, two = (HYPOTHESES[k].says for k in order)
    number, first, second = found
    if first <= 1 or second <= 1:
        still = one if first <= 1 else two
        return f"The numbers that were read hardly change with {still}, so they cannot settle it."
    if number > 5:
        return f"The numbers change in nearly the same proportion with {one} and with {two} ({_condition(number)})."
    return f"The numbers tell {one} from {two} (condition of the fit {number:.1f})."


def decides(before: Floats, after: Floats) -> str:
    """What an outcome would decide, from the causes before and after it; shape (causes,) each."""
    top = int(np.argmax(after))
    gone = [k for k in np.argsort(-before) if before[k] > 0.12 and after[k] < 0.4 * before[k] and k != top][:2]
    if after[top] > LIKELY:
        lead = f"then {HYPOTHESES[top].says} {'is' if before[top] <= LIKELY else 'stays'} likely"
    elif after[top] > 1.3 * before[top]:
        lead = f"then it points more to {HYPOTHESES[top].says}"
    else:
        lead = "then it stays open"
    if gone:
        lead += f", and {listed([HYPOTHESES[k].says for k in gone], 'and')} less so"
    return lead + "."


def family_chance(causes: Floats, *families: str) -> float:
    """Chance that the cause is of one of these families."""
    return float(
        sum(causes[k] for k, h in enumerate(HYPOTHESES) if h.family in families and h.name != "memory cleared")
    )


def finding_of(w: Weighed, groups: Sequence[Sequence[int]]) -> Finding:
    """Stale, fault, sound, just cleared, or cannot tell."""
    causes = w.causes
    cleared = float(next(causes[k] for k, h in enumerate(HYPOTHESES) if h.name == "memory cleared"))
    if cleared > LIKELY:
        return "just cleared"
    families = {HYPOTHESES[k].family for k in groups[0]}
    if {"stale", "fault"} <= families and "sound" not in families:
        return "cannot tell"
    if family_chance(causes, "stale") > LIKELY:
        return "stale"
    if family_chance(causes, "fault") > LIKELY and "sound" not in families:
        return "fault"
    return "sound" if family_chance(causes, "sound") > LIKELY else "cannot tell"


def finding_says(finding: Finding, groups: Sequence[Sequence[int]], w: Weighed) -> str:
    """The finding in one sentence."""
    causes = w.causes
    if not len(w.numbers.index) and not w.words:
        return "Cannot tell: nothing was read yet."
    lead = [k for k in groups[0] if HYPOTHESES[k].family != "sound"][:NAMED_AT_MOST]
    if finding == "just cleared":
        return (
            "The memory was cleared a short while ago and has not learned yet: that is no stale memory, and no fault."
        )
    if finding == "sound":
        return "Nothing that was read speaks of a fault."
    if finding in ("stale", "fault"):
        family = [k for k in np.argsort(-causes) if HYPOTHESES[k].family == finding and causes[k] > 0.1]
        what = listed([HYPOTHESES[k].says for k in family[:NAMED_AT_MOST]] or [group_says(lead)])
        return f"{'A stale memory' if finding == 'stale' else 'A real fault'} is likely: {what}."
    if any(HYPOTHESES[k].family == "sound" for k in groups[0]):
        return "Cannot tell: nothing read so far speaks of a fault, and what was not read may still hide one."
    if HYPOTHESES[groups[0][0]].name == ELSE:
        return "Cannot tell: what was read fits no cause on the list well."
    if len(groups[0]) > 1:
        return f"Cannot tell yet: {listed([HYPOTHESES[k].says for k in lead])} fit alike."
    rivals = [k for k in np.argsort(-causes) if causes[k] > 0.1][:NAMED_AT_MOST]
    return (
        f"Cannot tell yet: {listed([HYPOTHESES[k].says for k in rivals])} {'fits' if len(rivals) == 1 else 'all fit'}."
    )


def advice_of(finding: Finding, w: Weighed, attempts: int) -> tuple[Advice, str]:
    """Whether to relearn again, and why."""
    if attempts >= 2:
        return "do not relearn", f"{attempts} correct attempts changed nothing; another would change nothing either."
    if finding == "fault":
        return "do not relearn", "A relearn would store the fault as normal, and it would come back."
    if finding == "just cleared":
        return "wait and watch", "Drive it until the trims have learned, an hour or two, and measure then."
    if finding == "sound":
        return "wait and watch", "There is nothing to relearn; watch whether it stays."
    if finding == "stale":
        lead = max((k for k, h in enumerate(HYPOTHESES) if h.family == "stale"), key=lambda k: w.causes[k])
        if HYPOTHESES[lead].name == "lost memory":
            return "relearn again", "Clean the bore first: what is learned on dirt is stale the day it is cleaned."
        return "relearn again", "The memory does not fit the engine as it is."
    if family_chance(w.causes, "sound") > UNLIKELY:
        return "wait and watch", "Nothing speaks of a stale memory; do the next test before anything is relearned."
    return "do not relearn", "Not before the next test: a relearn on top of a fault would store it as normal."
