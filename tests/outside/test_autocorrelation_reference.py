"""Autocorrelation against an independent library, and the inflation of the first-order process."""

import numpy as np
import pytest
from scipy.signal import lfilter
from statsmodels.tsa.stattools import acf

from tickover.stats import autocorrelation, effective_samples


def test_autocorrelation_equals_statsmodels():
    """Reference library: statsmodels.tsa.stattools.acf, adjusted for the number of pairs."""
    x = np.random.default_rng(1).normal(size=300).cumsum()
    ours = autocorrelation(x, 80)
    assert ours == pytest.approx(acf(x, nlags=80, adjusted=True, fft=False), abs=1e-10)
    # dividing by n at every lag, the naive choice, is 36 % too small at lag 80
    assert np.abs(ours - acf(x, nlags=80, fft=False)).max() > 0.02


def test_inflation_of_a_first_order_process():
    """From memory: variance of the mean of a first-order process is inflated by (1 + r)/(1 − r); 4 at r = 0.6."""
    by_sum, by_blocks = [], []
    for seed in range(12):  # one block estimate scatters by about 5 % itself
        x = lfilter([1.0], [1.0, -0.6], np.random.default_rng(seed).normal(size=50_500))[500:]
        worth = effective_samples(x)
        assert worth.by_blocks is not None
        by_sum.append(worth.n / worth.by_sum)
        by_blocks.append(worth.n / worth.by_blocks)
    assert np.mean(by_sum) == pytest.approx(4.0, rel=0.05)
    assert np.mean(by_blocks) == pytest.approx(4.0, rel=0.05)
