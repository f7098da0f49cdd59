"""Sentences of the answer."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from tickover.cause.answer import LIKELY, NAMED_AT_MOST, Answer, changed, parted, standing
from tickover.cause.evidence import Evidence
from tickover.cause.hypotheses import ELSE, HYPOTHESES
from tickover.cause.pulls import word_piece
from tickover.cause.results import Speaks
from tickover.cause.ties import condition, evidence_of
from tickover.cause.weighing import Weighed

Floats = NDArray[np.float64]

APART_UP_TO = 5.0
"""Condition of the fit of two causes up to which the numbers can part them [1]. Own choice."""
SPEAKS_FROM = 1.0
"""A piece that weighs so much more for a fault or stale memory than for a sound car speaks of it [bit]. Own choice."""
EXCLUDES_FROM = 2.0
"""A cause that fits so much worse than a sound car is told as one that the readings speak against [bit]. Own choice."""
STILL_OPEN = 0.02
"""Causes rarer than this are not looked at when it is asked what speaks of a fault [1]. Own choice."""


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


def group_says(members: Sequence[int], causes: Floats, *, nothing_read: bool = False) -> str:
    """A group in words, the likelier of its members; a sound car first where it is among them.

    Args:
        members: of it, likelier first.
        causes: probability of each cause, shape (causes,).
        nothing_read: whether there is no evidence at all.
    """
    if len(members) == 1:
        return HYPOTHESES[members[0]].says
    unseen = [k for k in members if HYPOTHESES[k].family != "sound"]
    if nothing_read:
        return listed(_few(sorted(members, key=lambda k: k in unseen)))
    if len(unseen) < len(members) and unseen:
        return f"nothing wrong, or what these readings cannot show: {listed(_few(unseen))}"
    stand = standing(causes, members)
    rare = [k for k in members if k not in stand]
    return listed(_few(stand)) + (f" or, rarely, {listed(_few(rare, 1))}" if rare else "")


def _few(causes: Sequence[int], most: int = NAMED_AT_MOST) -> list[str]:
    """Not more names than a sentence bears."""
    names = [says(k) for k in causes]
    return names if len(names) <= most + 1 else [*names[:most], f"{len(names) - most} more causes"]


def tied_because(w: Weighed, members: Sequence[int]) -> str:
    """Why the members of a group cannot be told apart; empty for one alone, or where all others in it are rare."""
    alone = len(standing(w.causes, members)) < 2 and all(HYPOTHESES[k].family != "sound" for k in members)
    if alone or len(members) < 2:
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
            "cannot tell": f"then it cannot be told yet: {listed(_few(after.named, 2) or [lead])}.",
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
        stays = "likely" if before.likely == "likely" else "in the lead"
        names = [says(k) for k in before.named[:2]]
        return f"{names[0]} stays {stays}" if len(names) == 1 else f"both stay {stays}"
    return {"sound": "nothing speaks of a fault", "just cleared": "just cleared"}.get(
        before.finding, "still not to be told apart" if before.pair is not None else "still cannot be told"
    )


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
