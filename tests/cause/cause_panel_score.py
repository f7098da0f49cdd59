"""Diagnosing the second model's cars, and counting what came of it."""

from collections import Counter
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from cause_panel_cars import SETS, cases, evidence
from scipy.stats import binomtest

from tickover.cause import TESTS, Car, Evidence, diagnose

STALE = {"old memory", "lost memory", "misfire counters"}
KINDS = ("sound", "just cleared", "stale", "fault", "outside", "stale and fault")
EDGES = (0.0, 0.02, 0.1, 0.2, 0.35, 0.5, 0.65, 0.8, 0.9, 0.95, 1.0001)


@dataclass
class Answer:
    """What was said of one car on one set of evidence."""

    case: object
    which: str
    given: dict
    groups: list  # (names, probability), likelier first
    finding: str
    hole: tuple | None  # (lo, hi, level); None where it cannot be said
    test: str = ""

    @property
    def top_right(self):
        return bool(self.groups[0][0] & self.case.truth)

    @property
    def wrong_and_sure(self):
        return any(p > 0.9 and not names & self.case.truth for names, p in self.groups)

    @property
    def kind(self):
        """Which kind of car it is, for the finding."""
        truth = self.case.truth - {"something else"}
        stale, faulty = bool(truth & STALE), bool(truth - STALE)
        if not truth:
            return "outside"
        if stale and (faulty or "something else" in self.case.truth):
            return "stale and fault"
        return "stale" if stale else {"healthy": "sound", "memory cleared": "just cleared"}.get(min(truth), "fault")


def answer(case, which, given, test=""):
    """Diagnose one car."""
    said = diagnose(Evidence(**given), Car(**case.paper))
    hole = said.hole
    span = (hole.lo, hole.hi, hole.level) if hole.kind == "quantity" else None
    groups = [(g.names, g.probability) for g in said.groups]
    return said, Answer(case, which, given, groups, said.finding, span, test)


def answers(seed, n, population, sets=SETS):
    """n cars of one shop, each on every set of evidence."""
    found = []
    for i, case in enumerate(cases(seed, n, population)):
        for which in sets:
            given = evidence(case, which, seed * 100_003 + i)
            said, got = answer(case, which, given)
            if which == "after one no-tool test":
                advised = (t.name for t in (said.next_test, *said.tests) if hasattr(t, "needs"))
                test = next((t for t in advised if t in TESTS and TESTS[t].needs == "nothing"), None)
                if test is not None:
                    given = given | {"tests": {test: case.acts[test]}}
                    _, got = answer(case, which, given, test)
            found.append(got)
    return found


def bounds(k, n):
    """Exact 95 % bounds of a rate; the upper one is beaten by chance in 2.5 % of cases."""
    got = binomtest(k, n).proportion_ci(0.95, "exact")
    return float(got.low), float(got.high)


def rate(found, true):
    """How many, of how many, the rate and its bounds."""
    k, n = sum(bool(true(a)) for a in found), len(found)
    return (k, n, k / n, *bounds(k, n)) if n else (0, 0, np.nan, 0.0, 1.0)


def calibration(found):
    """Per bin of the stated probability: mean stated, share that was right, how many, bounds. One-cause cars only."""
    pairs = [(p, bool(names & a.case.truth)) for a in found if len(a.case.truth) == 1 for names, p in a.groups]
    rows = []
    for lo, hi in pairwise(EDGES):
        inside = [(p, right) for p, right in pairs if lo <= p < hi]
        if inside:
            k, n = sum(r for _, r in inside), len(inside)
            rows.append((float(np.mean([p for p, _ in inside])), k / n, n, *bounds(k, n)))
    return rows


def covered(a):
    """Whether the interval of the hole holds it; an open side holds everything beyond."""
    lo, hi, _ = a.hole
    return (lo is None or a.case.hole_mm >= lo) and (hi is None or a.case.hole_mm <= hi)


def leaks_told(found):
    """Cars with a leak whose hole was told."""
    return [a for a in found if a.case.hole_mm is not None and a.hole is not None]


def report(found):
    """The panel in words and numbers."""
    lines = []
    populations = sorted({a.case.population for a in found})
    for which in SETS:
        mine = [a for a in found if a.which == which]
        if not mine:
            continue
        lines += ["", f"== {which}: {len(mine)} cars"]
        for name, part in [("all", mine)] + [(p, [a for a in mine if a.case.population == p]) for p in populations]:
            k, n, right, lo, hi = rate(part, lambda a: a.top_right)
            w, _, wrong, _, top = rate(part, lambda a: a.wrong_and_sure)
            sure = rate(part, lambda a: a.groups[0][1] > 0.9)
            size = np.mean([len(a.groups[0][0]) for a in part])
            lines.append(
                f"{name:12} first group right {right:.3f} ({lo:.3f} to {hi:.3f}; {k} of {n}), causes in it {size:.1f}; "
                f"over 90 % said {sure[2]:.3f}; wrong and sure {wrong:.4f} (upper bound {top:.4f}; {w})"
            )
        listed = [a for a in mine if "something else" not in a.case.truth]
        k, n, right, lo, hi = rate(listed, lambda a: a.top_right)
        lines.append(f"one listed cause: first group right {right:.3f} ({lo:.3f} to {hi:.3f}; {k} of {n})")
        told = leaks_told(mine)
        leaky = [a for a in mine if a.case.hole_mm is not None]
        k, n, share, lo, hi = rate(told, covered)
        one_sided = sum(a.hole[1] is None for a in told)
        lines.append(
            f"hole: told in {n} of {len(leaky)} leaks ({one_sided} as 'at least'), "
            f"covered {share:.3f} ({lo:.3f} to {hi:.3f})"
        )
        lines.append("stated, came true, how many, 95 % bounds:")
        lines += [f"  {p:.3f}  {r:.3f}  {n:5d}  {lo:.3f} to {hi:.3f}" for p, r, n, lo, hi in calibration(mine)]
        table = Counter((a.kind, a.finding) for a in mine)
        heads = sorted({a.finding for a in mine})
        lines.append("finding      " + " ".join(f"{h:>13}" for h in heads))
        lines += [
            f"  {kind:16}" + " ".join(f"{table[kind, h]:13d}" for h in heads)
            for kind in KINDS
            if any(table[kind, h] for h in heads)
        ]
        worst = Counter((a.case.what, " / ".join(sorted(a.groups[0][0]))) for a in mine if a.wrong_and_sure)
        lines += [f"  wrong and sure: {what} called {said} ({count})" for (what, said), count in worst.most_common(12)]
    return "\n".join(lines)
