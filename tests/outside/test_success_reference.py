"""The beta-binomial, event rates and pooling against another library."""

import numpy as np
import pytest
from scipy import stats

from tickover.stats.pooling import CONCENTRATION, pool
from tickover.stats.success import beta_binomial_log, event_rate


def test_beta_binomial_equals_scipy():
    """Reference library: scipy.stats.betabinom.logpmf."""
    for n in (0, 1, 7, 60, 900):
        k = np.arange(n + 1)
        for a, b in ((0.3, 4.0), (1.0, 1.0), (2.5, 2.0), (80.0, 11.0)):
            assert beta_binomial_log(k, n, a, b) == pytest.approx(
                stats.betabinom.logpmf(k, n, a, b), abs=2e-9, rel=1e-9
            )
    # a binomial of the same mean is not the same
    assert abs(beta_binomial_log(0, 7, 2.0, 2.0) - stats.binom.logpmf(0, 7, 0.5)) > 2


def test_a_uniform_chance_makes_every_count_as_likely():
    """From memory: with a uniform chance, each of the counts 0 to n has probability 1/(n + 1)."""
    assert np.exp(beta_binomial_log(np.arange(13), 12, 1, 1)) == pytest.approx(np.full(13, 1 / 13), rel=1e-12)


def test_event_rate_equals_scipys_poisson_interval():
    """Reference library: the Poisson tail sums of scipy.stats.poisson at the ends of the interval are 5 % each."""
    for k in (1, 3, 20):
        found = event_rate(k, 50.0, "1/d")
        assert stats.poisson.sf(k - 1, found.lo * 50) == pytest.approx(0.05, abs=1e-9)
        assert stats.poisson.cdf(k, found.hi * 50) == pytest.approx(0.05, abs=1e-9)


def test_pooling_equals_sampling_of_the_same_model():
    """Reference library: importance sampling of the model with numpy's generator and scipy.stats.betabinom."""
    rng = np.random.default_rng(5)
    k, n = [5, 3, 0, 9], [6, 10, 1, 12]
    m, kappa = rng.beta(2, 2, 200_000), np.exp(rng.uniform(*np.log(CONCENTRATION), 200_000))
    log = sum(stats.betabinom.logpmf(kk, nn, m * kappa, (1 - m) * kappa) for kk, nn in zip(k, n, strict=True))
    weight = np.exp(log - log.max())
    weight /= weight.sum()
    found = pool(k, n)
    for kk, nn, chance in zip(k, n, found.groups, strict=True):
        draws = rng.beta(m * kappa + kk, (1 - m) * kappa + nn - kk)
        assert chance.rate.value == pytest.approx(float(weight @ draws), abs=0.005)
        order = np.argsort(draws)
        below = np.cumsum(weight[order])
        for q, end in ((0.05, chance.rate.lo), (0.95, chance.rate.hi)):
            assert end == pytest.approx(float(np.interp(q, below, draws[order])), abs=0.01)
