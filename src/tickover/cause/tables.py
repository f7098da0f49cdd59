"""What is not a number: how likely each cause makes a code, a story, a complaint, an outcome.

All chances are our own judgement of common practice, without a published source. A cause that is not named has the
chance under ``""``. Where a number was measured that says the same, its word counts little.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tickover.cause.acts import TESTS
from tickover.cause.evidence import Evidence
from tickover.cause.hypotheses import HYPOTHESES
from tickover.results import CannotTell

Floats = NDArray[np.float64]
Chances = Mapping[str, float]

BESIDE_NUMBERS = 0.3
"""Weight of a word where a number says the same [1]. Own choice."""


@dataclass(frozen=True)
class Word:
    """One piece of evidence that is not a number.

    Attributes:
        key: for scripts.
        says: in words.
        log_likelihood: shape (causes,) [nat].
    """

    key: str
    says: str
    log_likelihood: Floats


CODE_GROUPS: dict[str, tuple[str, tuple[str, ...], Chances]] = {
    "lean": (
        "lean mixture",
        ("P0171", "P0174", "P2187", "P2189", "P2177", "P2179"),
        {
            "leak": 0.3,
            "air meter": 0.3,
            "fuel error": 0.25,
            "weak pump": 0.3,
            "injector dead time": 0.25,
            "dead coil": 0.12,
            "something else": 0.1,
            "": 0.02,
        },
    ),
    "rich": (
        "rich mixture",
        ("P0172", "P0175", "P2188", "P2190"),
        {"fuel error": 0.12, "coolant sensor": 0.08, "something else": 0.07, "": 0.015},
    ),
    "misfire": (
        "misfire",
        tuple(f"P03{n:02d}" for n in range(13)),
        {
            "dead coil": 0.75,
            "misfire counters": 0.3,
            "leak": 0.12,
            "injector dead time": 0.12,
            "fuel error": 0.08,
            "lost memory": 0.05,
            "something else": 0.2,
            "": 0.02,
        },
    ),
    "idle high": (
        "idle higher than expected",
        ("P0507",),
        {"old memory": 0.3, "leak": 0.2, "misfire counters": 0.1, "something else": 0.12, "": 0.02},
    ),
    "idle low": (
        "idle lower than expected",
        ("P0506",),
        {"lost memory": 0.3, "dead coil": 0.1, "something else": 0.1, "": 0.02},
    ),
    "idle": (
        "idle control",
        ("P0505", "P050A", "P0511"),
        {"old memory": 0.1, "lost memory": 0.1, "leak": 0.06, "something else": 0.12, "": 0.02},
    ),
    "air meter": (
        "air meter",
        ("P0100", "P0101", "P0102", "P0103", "P0104"),
        {"air meter": 0.3, "leak": 0.06, "something else": 0.06, "": 0.01},
    ),
    "fuel pressure": (
        "fuel pressure",
        ("P0087", "P0088", "P0230", "P0231", "P0190", "P0191"),
        {"weak pump": 0.2, "fuel error": 0.08, "something else": 0.03, "": 0.005},
    ),
    "coolant sensor": (
        "coolant sensor",
        ("P0115", "P0116", "P0117", "P0118", "P0119"),
        {"coolant sensor": 0.45, "something else": 0.02, "": 0.01},
    ),
    "thermostat": (
        "warms too slowly",
        ("P0125", "P0126", "P0128"),
        {"stuck thermostat": 0.6, "coolant sensor": 0.15, "": 0.01},
    ),
    "volts": (
        "supply voltage",
        ("P0560", "P0561", "P0562", "P0563"),
        {"tired battery": 0.2, "lost memory": 0.05, "something else": 0.04, "": 0.01},
    ),
    "throttle": (
        "throttle or pedal",
        ("P2111", "P2112", "P2118", "P2119", "P2100", "P2101", "P2135", "P2138", "P0120", "P0121", "P0122", "P0123"),
        {"something else": 0.2, "lost memory": 0.04, "old memory": 0.04, "": 0.01},
    ),
}
"""Groups of codes: words, members (meanings as the standard's list, from memory), chance by cause that one is set."""
_OTHER_CODE: Chances = {"something else": 0.3, "": 0.1}

HISTORY: dict[str, tuple[str, Chances]] = {
    "battery": (
        "the battery was flat or off",
        {"lost memory": 0.85, "memory cleared": 0.5, "tired battery": 0.65, "misfire counters": 0.05, "": 0.13},
    ),
    "cleaned": ("the throttle was cleaned", {"old memory": 0.8, "lost memory": 0.05, "": 0.13}),
    "misfire": ("a misfire was cured", {"misfire counters": 0.9, "dead coil": 0.2, "something else": 0.1, "": 0.06}),
    "unplugged": ("controller or throttle was unplugged", {"memory cleared": 0.25, "something else": 0.13, "": 0.07}),
}
COMPLAINT: dict[str, tuple[str, Chances]] = {
    "high": (
        "idles high",
        {
            "old memory": 0.75,
            "leak": 0.3,
            "misfire counters": 0.5,
            "coolant sensor": 0.4,
            "something else": 0.25,
            "healthy": 0.03,
            "lost memory": 0.01,
            "": 0.06,
        },
    ),
    "hangs": ("revs hang", {"old memory": 0.5, "leak": 0.25, "something else": 0.15, "": 0.04}),
    "low": ("idles low", {"lost memory": 0.7, "dead coil": 0.2, "something else": 0.2, "old memory": 0.01, "": 0.06}),
    "stalls": (
        "stalls",
        {"lost memory": 0.55, "leak": 0.15, "dead coil": 0.15, "weak pump": 0.15, "something else": 0.25, "": 0.07},
    ),
    "hunts": (
        "hunts",
        {"leak": 0.3, "old memory": 0.25, "lost memory": 0.2, "something else": 0.3, "healthy": 0.04, "": 0.1},
    ),
    "rough": (
        "shakes",
        {
            "dead coil": 0.92,
            "leak": 0.4,
            "injector dead time": 0.4,
            "fuel error": 0.25,
            "lost memory": 0.3,
            "something else": 0.4,
            "healthy": 0.06,
            "": 0.12,
        },
    ),
}
BEHAVIOUR: dict[str, Chances] = {
    "normal": {"stuck thermostat": 0.2, "coolant sensor": 0.3, "something else": 0.86, "": 0.95},
    "slow to warm": {"stuck thermostat": 0.78, "coolant sensor": 0.2, "something else": 0.1, "": 0.04},
    "jumps": {"stuck thermostat": 0.02, "coolant sensor": 0.5, "something else": 0.04, "": 0.01},
}
"""How the coolant reading behaves."""
VERDICT: dict[str, Chances] = {
    "settled": {"healthy": 0.85, "memory cleared": 0.3, "": 0.08},
    "better": {"healthy": 0.1, "memory cleared": 0.3, "something else": 0.2, "": 0.15},
    "worse": {"healthy": 0.01, "memory cleared": 0.1, "": 0.08},
}
"""Of before against after a relearn, for the state the car is in now."""
UNCHANGED: Chances = {
    "old memory": 0.25,
    "lost memory": 0.4,
    "misfire counters": 0.25,
    "healthy": 0.6,
    "memory cleared": 0.6,
    "": 0.85,
}
"""One correct attempt changed nothing."""
ZERO_TRIM: Chances = {"memory cleared": 0.95, "misfire counters": 0.03, "something else": 0.01, "": 0.003}
"""The long trim stands at exactly 0 everywhere. Own choice."""
ONE_BANK: Chances = {
    "dead coil": 0.85,
    "leak": 0.25,
    "fuel error": 0.1,
    "injector dead time": 0.15,
    "something else": 0.4,
    "": 0.02,
}
"""One bank's trim stands apart from the other's."""
_BANKS_ALIKE, _BANKS_APART = 2.5, 12.0


def chances(table: Chances) -> Floats:
    """A table's chance for every cause, shape (causes,)."""
    return np.array([table.get(h.name, table.get("", 0.0)) for h in HYPOTHESES])


def outcome_chances(test: str) -> Floats:
    """Chance of every outcome of a test, shape (causes, outcomes)."""
    rows = TESTS[test].chances
    return np.array([rows.get(h.name, rows[""]) for h in HYPOTHESES])


def code_group(code: str) -> str | None:
    """The group of a code; None for one that is in none."""
    return next((name for name, (_, members, _) in CODE_GROUPS.items() if code in members), None)


def words_of(evidence: Evidence) -> tuple[list[Word], list[CannotTell]]:
    """Everything that is not a number, and what of it cannot be used.

    Args:
        evidence: all that was seen.
    Returns: words with their likelihoods; reasons for what was left out
    """
    left: list[CannotTell] = []
    found = [*_codes(evidence), *_history(evidence), *_complaint(evidence), *_relearn(evidence, left)]
    found += [*_memory(evidence), *_banks(evidence, left)]
    if evidence.coolant_behaviour is not None:
        says = f"the coolant reading: {evidence.coolant_behaviour}"
        weight = BESIDE_NUMBERS if evidence.coolant is not None else 1.0
        found.append(Word("coolant behaviour", says, weight * np.log(chances(BEHAVIOUR[evidence.coolant_behaviour]))))
    for name, outcome in evidence.tests.items():
        at = tuple(TESTS[name].outcomes).index(outcome)
        says = f"{name}: {TESTS[name].outcomes[outcome]}"
        found.append(Word(f"test {name}", says, np.log(outcome_chances(name)[:, at])))
    return found, left


def _codes(evidence: Evidence) -> Iterator[Word]:
    if evidence.codes is None:
        return
    groups = {code: code_group(code) for code in evidence.codes}
    set_now = {g for g in groups.values() if g is not None}
    total = np.zeros(len(HYPOTHESES))
    for name, (words, members, table) in CODE_GROUPS.items():
        weight = BESIDE_NUMBERS if _measured(name, evidence) else 1.0
        p = chances(table)
        if name in set_now:
            shown = ", ".join(c for c in evidence.codes if c in members)
            yield Word(f"code {name}", f"code {shown} ({words})", weight * np.log(p))
        else:
            total += weight * np.log1p(-p)
    others = [c for c, g in groups.items() if g is None]
    if others:
        total += np.log(chances(_OTHER_CODE))
    else:
        total += np.log1p(-chances(_OTHER_CODE))
    says = "no codes stored" if not evidence.codes else "no further codes stored"
    yield Word("codes", says if not others else f"other codes: {', '.join(others)}", total)


def _measured(group: str, evidence: Evidence) -> bool:
    return {
        "lean": bool(evidence.trims),
        "rich": bool(evidence.trims),
        "idle high": evidence.idle_speed is not None,
        "idle low": evidence.idle_speed is not None,
        "misfire": evidence.misfires is not None,
        "volts": bool(evidence.volts),
        "thermostat": evidence.coolant is not None,
    }.get(group, False)


def _history(evidence: Evidence) -> Iterator[Word]:
    if evidence.history is None:
        return
    silent = np.zeros(len(HYPOTHESES))
    for name, (words, table) in HISTORY.items():
        if name in evidence.history:
            yield Word(f"history {name}", f"before: {words}", np.log(chances(table)))
        else:
            silent += np.log1p(-chances(table))
    told = [w for n, (w, _) in HISTORY.items() if n in evidence.history]
    yield Word("history", "nothing else told of before" if told else "before: nothing of the kind", silent)


def _complaint(evidence: Evidence) -> Iterator[Word]:
    if evidence.complaint is None:
        return
    said, total = [], np.zeros(len(HYPOTHESES))
    for name, (words, table) in COMPLAINT.items():
        weight = BESIDE_NUMBERS if name in ("high", "low") and evidence.idle_speed is not None else 1.0
        weight = BESIDE_NUMBERS if name == "rough" and evidence.roughness is not None else weight
        p = chances(table)
        if name in evidence.complaint:
            said.append(words)
        total += weight * np.log(p if name in evidence.complaint else 1 - p)
    yield Word("complaint", f"complaint: {', '.join(said) or 'none'}", total)


def _relearn(evidence: Evidence, left: list[CannotTell]) -> Iterator[Word]:
    tries = max(evidence.attempts, int(evidence.verdict == "no change"))
    if tries:
        says = f"{tries} correct {'attempt' if tries == 1 else 'attempts'} at a relearn changed nothing"
        yield Word("attempts", says, tries * np.log(chances(UNCHANGED)))
    if evidence.verdict in VERDICT:
        yield Word("verdict", f"after the relearn: {evidence.verdict}", np.log(chances(VERDICT[str(evidence.verdict)])))
    elif evidence.verdict == "cannot tell":
        left.append(CannotTell(reason="The comparison after the relearn could not tell.", way_out="Record it again."))


def _memory(evidence: Evidence) -> Iterator[Word]:
    if evidence.long_trim_zero is not None:
        p = chances(ZERO_TRIM)
        says = "the long trim stands at exactly 0" if evidence.long_trim_zero else "the long trim is learned"
        yield Word("long trim", says, np.log(p if evidence.long_trim_zero else 1 - p))
    if evidence.since_clear is not None:
        soon, stays = evidence.since_clear < 30, evidence.since_clear > 200
        table: Chances = {"memory cleared": 0.85 if soon else 0.01 if stays else 0.14, "": 0.1 if soon else 0.3}
        says = f"{evidence.since_clear:.0f} min of running since the memory was cleared"
        yield Word("since clear", says, np.log(chances(table)))


def _banks(evidence: Evidence, left: list[CannotTell]) -> Iterator[Word]:
    both = [p for p in evidence.trims if p in evidence.trims_bank2]
    if evidence.trims_bank2 and not both:
        left.append(
            CannotTell(reason="Bank 2 was read at other points than bank 1.", way_out="Read both at one point.")
        )
    if not both:
        return
    apart = float(np.mean([evidence.trims[p].value - evidence.trims_bank2[p].value for p in both]))
    alike, far = (np.exp(-((apart / s) ** 2) / 2) / s for s in (_BANKS_ALIKE, _BANKS_APART))
    p = chances(ONE_BANK)
    says = f"the trims of the two banks differ by {apart:+.0f} %"
    yield Word("banks", says, np.log((1 - p) * alike + p * far))
