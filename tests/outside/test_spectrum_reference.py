"""Spectrum, bootstrap and slope against other libraries and worked figures."""

import numpy as np
import pytest
import statsmodels.api as sm
from astropy.timeseries import LombScargle
from scipy.signal import lfilter

from tickover.stats import lomb_scargle, mean_and_spread, theil_sen


def test_periodogram_equals_astropy_on_uneven_times():
    """Reference library: astropy.timeseries.LombScargle, fit_mean=True, normalization='standard', slow method."""
    rng = np.random.default_rng(2)
    f = np.linspace(0.05, 2.0, 300)
    for n in (12, 80, 400):
        t = np.cumsum(rng.exponential(0.7, n))
        x = 700 + 40 * np.sin(2 * np.pi * 0.62 * t) + rng.normal(size=n) * 15
        reference = LombScargle(t, x, fit_mean=True).power(f, method="slow", normalization="standard")
        assert lomb_scargle(t, x, f) == pytest.approx(reference, abs=1e-9)
    # few samples at low frequency: a periodogram without a floating mean, the classical one, is not the same
    t = np.sort(rng.uniform(0, 12, 14))
    x = 700 + 40 * np.cos(2 * np.pi * 0.06 * t)
    classical = LombScargle(t, x, fit_mean=False).power(f, method="slow", normalization="standard")
    assert np.abs(lomb_scargle(t, x, f) - classical).max() > 0.05


def test_even_sampling_at_a_fourier_frequency_is_the_fft():
    """From memory: at a Fourier frequency of even sampling the power is |FFT|²/N; 16.000 for N = 64 and A = 1."""
    n, dt, f = 64, 0.1, 0.9375
    t = np.arange(n) * dt
    x = np.sin(2 * np.pi * f * t + 0.3)
    share = lomb_scargle(t, x, [f])[0]
    power = share * np.sum((x - x.mean()) ** 2) / 2  # Scargle's units
    assert power == pytest.approx(16.000, abs=5e-4)
    assert power == pytest.approx(np.abs(np.fft.rfft(x)[6]) ** 2 / n, abs=1e-9)


def first_order(r, n, seed):
    noise = np.random.default_rng(seed).normal(size=n + 500) * np.sqrt(1 - r * r)
    return lfilter([1.0], [1.0, -r], noise)[500:]


@pytest.mark.parametrize(("r", "inflation"), [(0.3, 1.857), (0.6, 4.0), (0.9, 19.0)])
def test_bootstrap_width_against_the_closed_inflation(r, inflation):
    """From memory: the variance of the mean of a first-order process is (1 + r)/(1 − r) times that of white noise."""
    n = 6000
    widths = []
    for seed in range(8):
        found = mean_and_spread(first_order(r, n, seed), np.random.default_rng(seed), draws=400)
        widths.append((found.hi - found.lo) / 2)
    closed = 1.96 * np.sqrt(inflation / n)
    # an interval may be a little wide for few blocks, never narrow; rows as independent are √inflation too narrow
    assert 0.97 * closed < np.mean(widths) < 1.18 * closed
    assert closed / np.sqrt(inflation) < 0.8 * np.mean(widths)


def test_bootstrap_width_against_statsmodels():
    """Reference library: statsmodels OLS of a constant with HAC (Bartlett) errors, lags long enough for the memory."""
    ratios = []
    for seed in range(8):
        x = first_order(0.8, 4000, seed)
        hac = sm.OLS(x, np.ones(len(x))).fit(cov_type="HAC", cov_kwds={"maxlags": 60})
        found = mean_and_spread(x, np.random.default_rng(seed), draws=400)
        ratios.append((found.hi - found.lo) / 2 / (1.96 * hac.bse[0]))
    assert np.mean(ratios) == pytest.approx(1.08, abs=0.10)
    plain = sm.OLS(x, np.ones(len(x))).fit()
    assert plain.bse[0] < 0.5 * hac.bse[0]  # without the memory


def test_theil_sen_on_sens_own_data():
    """From memory: Sen 1968, seven pairs: slope 4, interval 26/7 to 35/8 at about 0.93; least squares gives 4.02."""
    x, y = [1, 2, 3, 4, 10, 12, 18], [9, 15, 19, 20, 45, 55, 78]
    found = theil_sen(x, y, level=0.93)
    assert found.slope == 4.0
    assert (found.lo, found.hi) == pytest.approx((26 / 7, 35 / 8), abs=1e-12)
    assert np.polyfit(x, y, 1)[0] == pytest.approx(4.0214, abs=1e-4)
