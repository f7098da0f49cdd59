"""Sequential tests against figures from memory that computation agrees with, and against other quadrature."""

import numpy as np
import pytest
from scipy import integrate, stats

from tickover.stats.sequential import (
    binomial_lines,
    cusum,
    cusum_run_length,
    ewma_cycles,
    fixed_sample,
    sprt_bounds,
    sprt_expected,
    weight_of_latest,
)

SHIFTS = (0, 0.25, 0.5, 0.75, 1, 1.5, 2, 2.5, 3, 4)
TABLE = {
    4: (168, 74.2, 26.6, 13.3, 8.38, 4.75, 3.34, 2.62, 2.19, 1.71),
    5: (465, 139, 38.0, 17.0, 10.4, 5.75, 4.01, 3.11, 2.57, 2.01),
}


@pytest.mark.parametrize("limit", [4, 5])
def test_cusum_run_lengths_of_the_printed_table(limit):
    """From memory: Montgomery, Introduction to Statistical Quality Control, run lengths of the tabular cumulative sum
    with k = 1/2; they agree with an integral equation within their printed digits."""
    for shift, printed in zip(SHIFTS, TABLE[limit], strict=True):
        digits = 10.0 ** -len(str(printed).partition(".")[2]) if "." in str(printed) else 1.0
        assert cusum_run_length(0.5, limit, shift) == pytest.approx(printed, abs=0.51 * digits + 1e-9)


def test_slack_and_limit_pairs_with_a_run_length_near_370():
    """From memory: Montgomery, values of k and h that give a two-sided run length of 370; the computed ones beside."""
    for slack, limit, length in (
        (0.25, 8.01, 370.3),
        (0.5, 4.77, 368.6),
        (0.75, 3.34, 370.6),
        (1.0, 2.52, 372.8),
        (1.25, 1.99, 373.5),
        (1.5, 1.61, 376.3),
    ):
        assert cusum_run_length(slack, limit) == pytest.approx(length, abs=0.06)


def test_siegmunds_approximation_stays_near():
    """From memory: Siegmund (1985), with b = h + 1.166: 169.05 and 469.11 two-sided, 8.343 and 10.336 one-sided with a
    shift of one spread; an approximation, within 1 % of the integral equation."""
    for limit, two_sided, shifted in ((4, 169.05, 8.343), (5, 469.11, 10.336)):
        assert cusum_run_length(0.5, limit) == pytest.approx(two_sided, rel=0.01)
        assert cusum_run_length(0.5, limit, 1.0, two_sided=False) == pytest.approx(shifted, rel=0.006)


DATA = (
    9.45, 7.99, 9.29, 11.66, 12.16, 10.18, 8.04, 11.46, 9.20, 10.34, 9.03, 11.47, 10.51, 9.40, 10.08,
    9.37, 10.62, 10.31, 8.52, 10.84, 10.90, 9.33, 12.29, 11.50, 10.60, 11.08, 10.38, 11.62, 11.31, 10.52,
)  # fmt: skip


def test_the_worked_example_of_thirty_values():
    """From memory: Montgomery's 30 values with mean 10, K 0.5, H 5: the sum passes at value 29 with 5.28, having
    stood above 0 for 7 values, and the new mean is estimated as 11.25. A naive N+ counted from the last 0 gives 8."""
    found = cusum(DATA, 10.0, 0.5, 5.0)
    assert found.at == 29
    assert found.upward
    np.testing.assert_allclose(found.high[[3, 25, 27, 28, 29]], [1.16, 3.47, 4.47, 5.28, 5.30], atol=1e-9)
    assert found.since_high[28] == 7
    assert found.since_high[29] == 8
    assert 10 + found.shift == pytest.approx(11.25, abs=0.005)


def test_run_length_by_another_quadrature():
    """Reference library: scipy's adaptive quadrature checks the solution of Page's equation at its own start."""
    slack, limit = 0.5, 4.0
    length = cusum_run_length(slack, limit, two_sided=False)

    def of(start):
        z = np.linspace(0, limit, 400)
        values = np.interp(z, *_solution(slack, limit))
        density = stats.norm.pdf(z + slack - start)
        return 1 + length * stats.norm.cdf(slack - start) + integrate.simpson(values * density, x=z)

    assert of(0.0) == pytest.approx(length, rel=1e-4)
    assert length == pytest.approx(335.37, abs=0.01)
    assert cusum_run_length(0.5, 5.0, two_sided=False) == pytest.approx(930.89, abs=0.01)


def _solution(slack, limit):
    """Page's equation by plain iteration on an even grid, sharing nothing with the code under test."""
    z = np.linspace(0, limit, 401)
    weight = np.full(401, z[1])
    weight[[0, -1]] /= 2
    kernel = stats.norm.pdf(z[None, :] + slack - z[:, None]) * weight
    kernel[:, 0] += stats.norm.cdf(slack - z)
    values = np.ones(401)
    for _ in range(4000):
        values = 1 + kernel @ values
    return z, values


def test_bounds_and_sample_numbers_of_the_sequential_test():
    """From memory: Wald, Sequential Analysis (1947), bounds and expected sample numbers by his approximation."""
    for alpha, beta, upper, lower in (
        (0.05, 0.05, 2.9444, -2.9444),
        (0.05, 0.10, 2.8904, -2.2513),
        (0.01, 0.01, 4.5951, -4.5951),
        (0.001, 0.01, 6.8977, -4.6042),
    ):
        bounds = sprt_bounds(alpha, beta)
        assert bounds.upper == pytest.approx(upper, abs=6e-5)
        assert bounds.lower == pytest.approx(lower, abs=6e-5)
    for shift, alpha, beta, null, back, fixed in (
        (1.0, 0.05, 0.05, 5.300, 5.300, 10.82),
        (1.0, 0.01, 0.01, 9.006, 9.006, 21.65),
        (0.5, 0.05, 0.05, 21.20, 21.20, 43.29),
        (1.0, 0.05, 0.10, 3.988, 4.752, 8.56),
    ):
        found = sprt_expected(-(shift**2) / 2, shift**2 / 2, alpha, beta)
        assert found == pytest.approx((null, back), rel=2e-4)
        assert fixed_sample(shift, alpha, beta) == pytest.approx(fixed, abs=0.006)


def test_lines_of_a_sequential_test_of_a_share():
    """From memory: Wald's form for shares 0.1 against 0.3 at 0.02 and 0.03; computed 0.1862, −2.5826, 2.8754."""
    found = binomial_lines(0.1, 0.3, 0.02, 0.03)
    assert (found.slope, found.low, found.high) == pytest.approx((0.1862, -2.5826, 2.8754), abs=6e-5)


def test_the_misfire_counter_of_two_makers():
    """From memory: two makers' service pages, new = 0.1 · current + 0.9 · previous, once a driving cycle: 0 with 100
    100 a cycle 10, 19, 27.1, 34.39, 40.951; the latest ten cycles weigh 0.6513."""
    value, seen = 0.0, []
    for _ in range(5):
        value = 0.1 * 100 + 0.9 * value
        seen.append(value)
    assert seen == pytest.approx([10, 19, 27.1, 34.39, 40.951])
    assert weight_of_latest(10) == pytest.approx(0.6513, abs=5e-5)
    assert ewma_cycles(40.951, 19.0, rounds=False) == int(np.ceil(np.log(19 / 40.951) / np.log(0.9)))
