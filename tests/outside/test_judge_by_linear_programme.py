"""The judge against linear programmes (HiGHS) written down from the observations, sharing no code with it."""

import itertools

import numpy as np
import pytest
from scipy.optimize import linprog

from tickover.timing import Answer, Constraint, Observation, Plan, judge

INF = np.inf


class Case:
    """A random plan, a true run near it, and what two clocks saw of that run; everything on a grid of 0.01 s."""

    def __init__(self, rng: np.random.Generator) -> None:
        n = int(rng.integers(3, 7))
        self.events = [f"e{k}" for k in range(n)]
        self.truth = np.round(np.cumsum(rng.uniform(0, 2, n)), 2)
        bounds, answers = [], []
        for k in range(1, n):
            d = self.truth[k] - self.truth[k - 1]
            lo, hi = np.round([max(0, d - rng.uniform(-0.2, 1)), max(0, d - 0.15) + rng.uniform(0, 1.2)], 2)
            if lo <= hi and rng.random() < 0.2:
                answers.append(Answer(self.events[k], self.events[k - 1], lo, hi))
            elif lo <= hi:
                bounds.append(Constraint(self.events[k - 1], self.events[k], lo, hi))
        for _ in range(rng.integers(0, 3)):
            i, j = sorted(rng.choice(n, 2, replace=False))
            d = self.truth[j] - self.truth[i]
            lo = np.round(d - rng.uniform(-0.2, 1), 2) if rng.random() < 0.6 else -INF
            bounds.append(
                Constraint(self.events[i], self.events[j], lo, max(lo, np.round(d + rng.uniform(-0.2, 1), 2)))
            )
        self.plan = Plan(tuple(self.events), tuple(bounds), tuple(answers))
        width = rng.choice([0.0, 0.05, 0.2, 0.6])
        self.clocks = {"main": (0.0, 0.0), "other": tuple(np.round(np.sort(rng.uniform(-1, 1, 2)), 2))}
        ahead = {"main": 0.0, "other": np.round(rng.uniform(*self.clocks["other"]), 2)}
        self.observations = []
        for k in range(n):
            if rng.random() < 0.06 and k:
                continue
            clock = "main" if rng.random() < 0.7 else "other"
            t = self.truth[k] - ahead[clock]
            lo, hi = np.round(t + [-1, 1] * rng.uniform(0, width, 2), 2)
            self.observations.append(Observation(self.events[k], lo, hi, clock))
        self.horizon = float(np.round(self.truth[-1] + rng.uniform(-1, 2), 2)) if rng.random() < 0.6 else None
        unseen = set(self.events) - {o.event for o in self.observations}
        if self.horizon is not None and any(self.truth[self.events.index(e)] < self.horizon for e in unseen):
            self.horizon = None  # the true run must be a witness

    def judge(self):
        return judge(self.plan, self.observations, self.clocks, self.horizon)

    def rows(self) -> tuple[np.ndarray, np.ndarray]:
        """The observations as A x ≤ b; x is every event's time, then the offset of the other clock."""
        n, found = len(self.events), []

        def at_most(plus: int | None, minus: int | None, most: float) -> None:
            row = np.zeros(n + 1)
            if plus is not None:
                row[plus] += 1
            if minus is not None:
                row[minus] -= 1
            found.append((row, most))

        for o in self.observations:
            k, offset = self.events.index(o.event), n if o.clock == "other" else None
            at_most(k, offset, o.t_hi)
            at_most(offset, k, -o.t_lo)
        at_most(n, None, self.clocks["other"][1])
        at_most(None, n, -self.clocks["other"][0])
        for clock in self.clocks:
            order = [self.events.index(o.event) for o in self.observations if o.clock == clock]
            for before, after in itertools.pairwise(order):
                at_most(before, after, 0.0)
        if self.horizon is not None:
            for e in set(self.events) - {o.event for o in self.observations}:
                at_most(None, self.events.index(e), -self.horizon)
        return np.array([r for r, _ in found]), np.array([m for _, m in found])

    def ends(self) -> list[tuple[int, int, float, float]]:
        """Every bound: first event, second event, least, most."""
        bounds = [(c.a, c.b, c.lo, c.hi) for c in self.plan.constraints]
        bounds += [(w.after, w.event, w.lo, w.hi) for w in self.plan.answers]
        return [(self.events.index(a), self.events.index(b), lo, hi) for a, b, lo, hi in bounds]

    def bound_rows(self) -> tuple[np.ndarray, np.ndarray]:
        """The bounds as A x ≤ b."""
        rows, most = [], []
        for i, j, lo, hi in self.ends():
            row = np.zeros(len(self.events) + 1)
            row[j] += 1
            row[i] -= 1
            rows += [row, -row]
            most += [hi, -lo]
        keep = np.isfinite(most)
        return np.array(rows)[keep], np.array(most)[keep]


def possible(a: np.ndarray, b: np.ndarray) -> bool:
    found = linprog(np.zeros(a.shape[1]), A_ub=a, b_ub=b, bounds=(None, None), method="highs")
    assert found.status in (0, 2), found.message
    return found.status == 0


def furthest(row: np.ndarray, a: np.ndarray, b: np.ndarray) -> float:
    found = linprog(-row, A_ub=a, b_ub=b, bounds=(None, None), method="highs")
    if found.status == 0:
        return -found.fun
    assert found.status in (3, 4), found.message
    return INF


def test_the_joint_verdict_is_the_feasibility_of_a_linear_programme() -> None:
    """Reference library: HiGHS by scipy.optimize.linprog, 2,500 random attempts.

    The observations with all the bounds are feasible if and only if the judge does not say missed. Many of the misses
    are such that no single bound shows them.
    """
    rng = np.random.default_rng(1)
    counts = {"hit": 0, "missed": 0, "undecided": 0}
    only_joint = 0
    for _ in range(2500):
        case = Case(rng)
        found = case.judge()
        (a, b), (a2, b2) = case.rows(), case.bound_rows()
        assert possible(np.vstack([a, a2]), np.append(b, b2)) == (found.joint != "missed"), vars(case)
        assert (found.verdict == "missed") == (found.joint == "missed")
        counts[found.verdict] += 1
        only_joint += found.verdict == "missed" and all(x.verdict != "missed" for x in found.bounds)
    assert min(counts.values()) > 150, counts
    assert only_joint > 60, only_joint


def test_the_range_of_every_bound_is_the_one_a_linear_programme_finds() -> None:
    """Reference library: HiGHS, least and most of t(b) − t(a) over the observations alone, 350 attempts."""
    rng = np.random.default_rng(2)
    for _ in range(350):
        case = Case(rng)
        found = case.judge()
        a, b = case.rows()
        for (i, j, lo, hi), bound in zip(case.ends(), found.bounds, strict=True):
            row = np.zeros(a.shape[1])
            row[j] += 1
            row[i] -= 1
            most, least = furthest(row, a, b), -furthest(-row, a, b)
            assert (bound.lo, bound.hi) == (pytest.approx(least, abs=1e-7), pytest.approx(most, abs=1e-7))
            names = {case.events[i], case.events[j]}
            unseen = names - {o.event for o in case.observations}
            if most < lo - 1e-6 or least > hi + 1e-6:
                assert bound.verdict == "missed"
            elif least >= lo - 1e-9 and most <= hi + 1e-9 and not unseen:
                assert bound.verdict == "hit"
            else:
                assert bound.verdict == "undecided"


def test_no_run_that_fits_the_observations_gainsays_a_verdict() -> None:
    """Reference library: HiGHS gives corners of what the observations leave open, and mixtures of them; 3,000 attempts.

    A bound called hit is kept by every one of these runs, one called missed by none; likewise the whole. The true run,
    from which the observations were made, is one of them.
    """
    rng = np.random.default_rng(3)
    witnesses = 0
    for _ in range(3000):
        case = Case(rng)
        found = case.judge()
        a, b = case.rows()
        runs = [case.truth]
        if rng.random() < 0.25:
            corners = []
            for _ in range(3):
                c = np.append(rng.normal(size=len(case.events)), 0.0)
                box = [(-50, 50)] * a.shape[1]
                corners.append(linprog(c, A_ub=a, b_ub=b, bounds=box, method="highs").x[:-1])
            runs += [rng.dirichlet(np.ones(3)) @ np.array(corners) for _ in range(20)] + corners
        for run in runs:
            witnesses += 1
            kept = [lo - 1e-6 <= run[j] - run[i] <= hi + 1e-6 for i, j, lo, hi in case.ends()]
            strictly = [lo + 1e-6 <= run[j] - run[i] <= hi - 1e-6 for i, j, lo, hi in case.ends()]
            for bound, ok, surely in zip(found.bounds, kept, strictly, strict=True):
                assert ok or bound.verdict != "hit"
                assert not surely or bound.verdict != "missed"
            assert all(kept) or found.verdict != "hit"
            assert not all(strictly) or found.verdict != "missed"
    assert witnesses > 15_000
