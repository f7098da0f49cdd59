"""Odds of chains with spans against quadrature and a multivariate normal."""

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import multivariate_normal, norm

from tickover.timing import Aim, Constraint, Person, Plan, odds, odds_by_sampling, span_odds

MEANS, SDS, WINDOWS, SPAN = [5.0, 3.0], [0.5, 0.3], [(4.0, 6.0), (2.5, 3.5)], (7.0, 9.0)


def test_the_reference_case_of_a_span_over_two_windows() -> None:
    """Reference library: scipy.integrate.quad, the density of the first times the chance left to the second.

    The product of the windows' chances, which is what a naive reading gives, is 0.863268.
    """
    exact, _ = quad(
        lambda x: norm.pdf(x, 5, 0.5) * (norm.cdf(min(3.5, 9 - x), 3, 0.3) - norm.cdf(max(2.5, 7 - x), 3, 0.3)),
        4,
        6,
        points=[4.5, 5.5],
        epsabs=1e-12,
    )
    assert exact == pytest.approx(0.828777, abs=1e-6)
    ours = span_odds(MEANS, SDS, WINDOWS, SPAN)
    assert ours == pytest.approx(exact, abs=1e-6)
    ends = zip(MEANS, SDS, WINDOWS, strict=True)
    naive = np.prod([norm.cdf(hi, m, s) - norm.cdf(lo, m, s) for m, s, (lo, hi) in ends])
    assert naive == pytest.approx(0.863268, abs=1e-6)
    assert abs(ours - naive) > 0.03


def test_the_reference_case_as_a_plan() -> None:
    """Reference library: as above, by way of a plan, aims and a person, and by drawing attempts."""
    plan = Plan(
        ("o", "a", "b"), (Constraint("o", "a", 4, 6), Constraint("a", "b", 2.5, 3.5), Constraint("o", "b", 7, 9))
    )
    aims = {"a": Aim("a", "o", 5.0, 5.0), "b": Aim("b", "a", 3.0, 8.0)}
    person = Person(cv=0.1, motor_sd=0.0)
    assert odds(plan, person, aims).p == pytest.approx(0.828777, abs=2e-5)
    p, se = odds_by_sampling(plan, person, aims, np.random.default_rng(0), 400_000)
    assert p == pytest.approx(0.828777, abs=3 * se)


def test_spans_without_windows_equal_a_multivariate_normal() -> None:
    """Reference library: scipy.stats.multivariate_normal on the running sums (method of Genz), 20 chains of 3 to 5."""
    rng = np.random.default_rng(5)
    for _ in range(20):
        n = int(rng.integers(3, 6))
        means, sds = rng.uniform(1, 4, n), rng.uniform(0.1, 0.6, n)
        lo, hi = means - sds * rng.uniform(0.5, 2, n), means + sds * rng.uniform(0.5, 2, n)
        total, spread = means.sum(), np.sqrt((sds**2).sum())
        span = (total - spread * rng.uniform(0.3, 1.5), total + spread * rng.uniform(0.3, 1.5))
        # n − 1 intervals and the sum; the last interval is left free, so that the covariance is regular.
        to = np.vstack([np.eye(n)[:-1], np.ones(n)])
        reference = multivariate_normal(to @ means, to @ np.diag(sds**2) @ to.T, seed=1, maxpts=200_000, abseps=1e-7)
        exact = reference.cdf(np.append(hi[:-1], span[1]), lower_limit=np.append(lo[:-1], span[0]))
        windows = [*zip(lo[:-1], hi[:-1], strict=True), (-np.inf, np.inf)]
        assert span_odds(list(means), list(sds), windows, span) == pytest.approx(exact, abs=2e-4)
