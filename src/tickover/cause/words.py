"""Sentences of the answer."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from tickover.cause.acts import BORE_CAUTIONS, MEND, MEND_CAUTIONS, RELEARN_CAUTIONS
from tickover.cause.answer import LIKELY, NAMED_AT_MOST, Answer, changed, parted
from tickover.cause.evidence import Evidence
from tickover.cause.hypotheses import ELSE, HYPOTHESES
from tickover.cause.pulls import word_piece
from tickover.cause.results import Speaks
from tickover.cause.ties import condition, evidence_of
from tickover.cause.weighing import Weighed
from tickover.results import CannotTell

Floats = NDArray[np.float64]

APART_UP_TO = 5.0
"""Condition of the fit of two causes up to which the numbers can part them [1]. Own choice."""
SPEAKS_FROM = 1.0
"""A piece that weighs so much more for a fault or stale memory than for a sound car speaks of it [bit]. Own choice."""
EXCLUDES_FROM = 2.0
"""A cause that fits so much worse than a sound car is told as one that the readings speak against [bit]. Own choice."""
STILL_OPEN = 0.02
"""Causes rarer than this are not looked at when it is asked what speaks of a fault [1]. Own choice."""

HOW_TO_RELEARN = "Take the first routine of the ladder at Arrive that fits this car."


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
    return parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} {last} {parts[-1]}"


def says(k: int) -> str:
    """A cause in a few words, without a comma."""
    return HYPOTHESES[k].says.partition(",")[0]


def group_says(members: Sequence[int], *, nothing_read: bool = False) -> str:
    """A group in words, the likelier of its members; a sound car first where it is among them."""
    if len(members) == 1:
        return HYPOTHESES[members[0]].says
    unseen = [k for k in members if HYPOTHESES[k].family != "sound"]
    if nothing_read:
        return listed(_few(sorted(members, key=lambda k: k in unseen)))
    if len(unseen) < len(members) and unseen:
        return f"nothing wrong, or what these readings cannot show: {listed(_few(unseen))}"
    return listed(_few(members))


def _few(causes: Sequence[int], most: int = NAMED_AT_MOST) -> list[str]:
    """Not more names than a sentence bears."""
    names = [says(k) for k in causes]
    return names if len(names) <= most + 1 else [*names[:most], f"{len(names) - most} more causes"]


def tied_because(w: Weighed, members: Sequence[int]) -> str:
    """Why the members of a group cannot be told apart; empty for one alone."""
    if len(members) < 2:
        return ""
    if not len(w.numbers.index) and not w.words:
        return "Nothing was read that could tell them apart."
    lead, second = sorted(members[:2], key=lambda k: HYPOTHESES[k].family != "sound")
    found = condition(w, lead, second)
    if found is not None and min(found[1:]) > 1 and found[0] > APART_UP_TO:
        return "They change everything that was read in nearly the same proportion."
    if found is not None and min(found[1:]) <= 1:
        return "What was read hardly changes with them."
    return "What was read would look about the same under each of them."


def condition_says(w: Weighed, groups: Sequence[Sequence[int]]) -> str:
    """How well the numbers part the two leading causes, a sound car and something else aside."""
    order = [
        int(k)
        for k in np.argsort(-w.causes, kind="stable")
        if HYPOTHESES[k].name not in ("healthy", "memory cleared", ELSE)
    ][:2]
    found = condition(w, order[0], order[1]) if len(order) == 2 else None
    if found is None:
        return ""
    one, two = (says(k) for k in order)
    number, first, second = found
    if first <= 1 or second <= 1:
        still = one if first <= 1 else two
        return f"The numbers that were read hardly change with {still}, so they cannot settle it."
    shown = "beyond all bounds" if number > 1e4 else f"{number:.0f}" if number >= 10 else f"{number:.1f}"
    scale = f"{shown}; above {APART_UP_TO:.0f} the numbers cannot part them"
    if number > APART_UP_TO:
        return f"The numbers change in nearly the same proportion with {one} and with {two} (condition {scale})."
    tied = any({*order} <= {*g} for g in groups)
    but = " This time they lie where both fit." if tied else ""
    return f"The numbers can tell {one} from {two} (condition {scale}).{but}"


def decides(before: Answer, after: Answer) -> str:
    """What would be said after an outcome, against what is said now."""
    lead = _lead(after)
    if not changed(before, after):
        return f"no change: {_stays(before)}."
    if after.finding != before.finding:
        return {
            "fault": f"then a real fault is likely: {listed(_few(after.named, 2) or [lead])}.",
            "stale": f"then a stale memory is likely: {listed(_few(after.named, 2) or [lead])}.",
            "sound": "then nothing read speaks of a fault.",
            "just cleared": "then the memory was just cleared.",
            "cannot tell": f"then it is open: {listed(_few(after.named, 2) or [lead])}.",
        }[after.finding]
    if after.lead not in before.groups[0]:
        return f"then rather {lead}."
    if before.pair is not None and parted(before, after):
        one, two = sorted(before.pair, key=lambda k: float(-after.causes[k] / before.causes[k]))
        return f"then {says(one)} rather than {says(two)}."
    if after.lead != before.lead or HYPOTHESES[after.lead].family == "sound":
        return f"then it points more to {says(_gained(before, after))}."
    if before.likely != after.likely:
        only = "only " if (before.likely, after.likely) == ("likely", "possible") else ""
        return f"then {lead} is {only}{after.likely}."
    return f"then: {after.advice}."


def _gained(before: Answer, after: Answer) -> int:
    """The cause that an outcome lifts most."""
    return int(np.argmax(after.causes - before.causes))


def _lead(one: Answer) -> str:
    if HYPOTHESES[one.lead].family == "sound":
        return "nothing wrong"
    return listed(_few(sorted(one.groups[0], key=lambda k: -one.causes[k]), 1))


def _stays(before: Answer) -> str:
    if before.finding in ("fault", "stale"):
        stays = "stays likely" if before.likely == "likely" else "still leads"
        return f"{listed([says(k) for k in before.named[:2]])} {stays}"
    return {"sound": "nothing speaks of a fault", "just cleared": "just cleared"}.get(before.finding, "it stays open")


def finding_says(one: Answer, w: Weighed, evidence: Evidence) -> str:
    """The finding in one sentence."""
    if not len(w.numbers.index) and not w.words:
        return "Cannot tell: nothing was read yet."
    names = [says(k) for k in one.named]
    if one.finding == "just cleared":
        return (
            "The memory was cleared a short while ago and has not learned yet: that is no stale memory, and no fault."
        )
    if one.finding in ("stale", "fault"):
        what = "A stale memory" if one.finding == "stale" else "A real fault"
        if float(one.causes[list(one.named)].sum()) > LIKELY:
            return f"{what} is likely: {listed(names)}."
        return f"{what} is likely, and {listed(names, 'and')} {'leads' if len(names) == 1 else 'lead'}."
    if HYPOTHESES[one.lead].family == "sound":
        return _sound_says(one, w, evidence)
    if HYPOTHESES[one.groups[0][0]].name == ELSE:
        return "Cannot tell: what was read fits no cause on the list well."
    if len(one.groups[0]) > 1:
        return f"Cannot tell yet: {listed(names, 'and')} fit alike."
    return f"Cannot tell yet: {listed(names, 'and')} {'fits' if len(names) == 1 else 'all fit'}."


def _sound_says(one: Answer, w: Weighed, evidence: Evidence) -> str:
    """A sound car leads: what speaks of a fault all the same, or what the readings cannot show."""
    if (found := speaks_of_fault(w, evidence)) is not None:
        piece, cause = found
        return f"Cannot tell yet: a sound car fits best, but “{piece}” speaks of {says(cause)}."
    unseen = unseen_of(one)
    start = (
        "Nothing that was read speaks of a fault"
        if one.finding == "sound"
        else "Cannot tell: no reading speaks of a fault"
    )
    return f"{start}, but these readings cannot show {listed(_few(unseen, 3))}." if unseen else f"{start}."


def speaks_of_fault(w: Weighed, evidence: Evidence) -> tuple[str, int] | None:
    """The piece that speaks most for some fault or stale memory against a sound car, and for which; None for none.

    Words count with their whole tables: a stored code speaks, even where a number beside it weighs more.
    """
    sound = next(k for k, h in enumerate(HYPOTHESES) if h.family == "sound")
    open_ = [k for k, h in enumerate(HYPOTHESES) if h.family in ("fault", "stale") and w.causes[k] >= STILL_OPEN]
    if not open_:
        return None
    found = [
        (float(p.told[k] - p.told[sound]), p.says, k)
        for p in (word_piece(w_, evidence) for w_ in w.words)
        for k in open_
    ]
    whole = w.by_cause(w.total)
    for n, piece in enumerate(w.numbers.says):
        with np.errstate(invalid="ignore"):
            gained = whole - w.by_cause(w.total - w.fit[w.ways.cell] + w.without[n][w.ways.cell])
        found += [(float(gained[k] - gained[sound]), piece, k) for k in open_]
    best = max(found, default=(0.0, "", -1))
    return best[1:] if best[0] >= SPEAKS_FROM * np.log(2) else None


def unseen_of(one: Answer) -> tuple[int, ...]:
    """What the readings cannot tell from a sound car; empty where no sound car leads."""
    if HYPOTHESES[one.lead].family != "sound":
        return ()
    return tuple(k for k in one.groups[0] if HYPOTHESES[k].family != "sound" and HYPOTHESES[k].name != "memory cleared")


def excluded_of(one: Answer, w: Weighed) -> tuple[int, ...]:
    """What the readings speak against, a sound car beside it, likelier ones first; empty where no sound car leads."""
    if HYPOTHESES[one.lead].family != "sound":
        return ()
    told = evidence_of(w)
    against = [
        k
        for k in np.argsort(-w.causes, kind="stable")
        if np.isfinite(told[k]) and told[one.lead] - told[k] >= EXCLUDES_FROM * np.log(2)
    ]
    return tuple(int(k) for k in against if HYPOTHESES[k].name not in (ELSE, "memory cleared"))


def advice_because(one: Answer, attempts: int, *, more: bool) -> str:
    """Why the advice is what it is.

    Args:
        one: what is said.
        attempts: correct relearns without effect.
        more: whether a test is left that may change the answer.
    """
    if attempts >= 2:
        return f"{attempts} correct attempts changed nothing; another would change nothing either."
    if one.finding == "fault":
        return "A relearn would store the fault as normal, and it would come back."
    if one.finding == "just cleared":
        return "Drive it until the trims have learned, an hour or two, and measure then."
    if one.finding == "sound":
        return "There is nothing to relearn; watch whether it stays."
    if one.finding == "stale":
        lead = max((k for k, h in enumerate(HYPOTHESES) if h.family == "stale"), key=lambda k: one.causes[k])
        if HYPOTHESES[lead].name == "lost memory":
            return "Clean the bore first: what is learned on dirt is stale the day it is cleaned."
        return "The memory does not fit the engine as it is."
    first = "Not before the next test" if more else "Not while the cause is open"
    if one.advice == "wait and watch":
        return (
            "Do the next test before anything is relearned."
            if more
            else "There is nothing to relearn as far as is seen."
        )
    return f"{first}: a relearn on top of a fault would store it as normal."


def acting(one: Answer, *, more: bool) -> tuple[str, tuple[str, ...]]:
    """How to go about the relearn that is advised, and the cautions there or at what is to be acted on.

    Args:
        one: what is said.
        more: whether a test goes before; then nothing but a relearn is acted on.
    """
    if one.advice in ("relearn", "relearn again"):
        bore = BORE_CAUTIONS if HYPOTHESES[one.lead].name == "lost memory" else ()
        return HOW_TO_RELEARN, (*bore, *RELEARN_CAUTIONS)
    if more or one.finding != "fault":
        return "", ()
    return "", tuple(dict.fromkeys(c for k in one.named[:2] for c in MEND_CAUTIONS.get(HYPOTHESES[k].name, ())))


def no_test(one: Answer, *, nothing_read: bool) -> CannotTell:
    """That no test would change the answer, and what to act on."""
    reason = "No test at hand would change this answer."
    if nothing_read:
        return CannotTell(reason="Nothing was read yet, and no test at hand would tell.", way_out="Read the trims.")
    if one.finding == "sound" or (one.finding == "cannot tell" and HYPOTHESES[one.lead].family == "sound"):
        way = "Leave it as it is, drive it, and measure again if it comes back."
    elif one.finding == "just cleared":
        way = "Drive it for an hour or two, then measure the idle."
    elif one.finding == "stale" and one.advice == "do not relearn":
        way = "Act: have it learned another way, by a tester or by driving, as the ladder at Arrive says."
    elif one.finding == "stale":
        way = "Act: relearn as said below, then measure the idle again."
    elif HYPOTHESES[one.lead].name == ELSE or not one.named:
        way = "Look beyond the list: compression, valve timing, exhaust, engine mounts; or ask who knows this car."
    else:
        acts = [MEND[HYPOTHESES[k].name] for k in one.named[:2] if HYPOTHESES[k].name in MEND]
        then = f" If that is not it: {acts[1]}." if len(acts) > 1 else ""
        way = f"Act: {acts[0]}.{then} Then measure the idle again."
    return CannotTell(reason=reason, way_out=way)


def first_because(pair: tuple[int, int], parts: bool, parting: str, minutes: float, asks: bool) -> str:
    """Why a test goes first, where the sentence names two causes that it cannot part.

    Args:
        pair: the two causes.
        parts: whether this test parts them.
        parting: what the test that does is; empty for none.
        minutes: that this one takes.
        asks: whether it is a question.
    """
    one, two = says(pair[0]), says(pair[1])
    if parts:
        return f"It can part {one} from {two}."
    cheap = "Asking costs nothing." if asks else f"It takes {_minutes(minutes)} and needs nothing."
    if not parting:
        return f"No test at hand parts {one} from {two}; this one may still change the answer."
    return f"{cheap} The one that parts {one} from {two} comes next: {parting[0].lower()}{parting[1:]}."


def _minutes(minutes: float) -> str:
    return "a minute" if minutes <= 1.5 else f"{minutes:.0f} minutes"
