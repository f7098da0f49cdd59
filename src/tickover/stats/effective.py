"""How many independent samples a correlated series is worth.

Two estimates are made and the smaller one is stated: the sum of the autocorrelation, and the variance of block means.
A first-order estimate, (1 − r)/(1 + r) of the lag-one correlation, is too kind to an idle: see
``docs/why/effective-samples.md``.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tickover.errors import SignalError

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Effective:
    """What a correlated series is worth.

    Attributes:
        n: samples there are.
        by_sum: effective samples by the summed autocorrelation.
        by_blocks: effective samples by the variance of block means; None where too few blocks fit.
        stated: the smaller of the two, between 1 and n.
        block: block length that outlasts the correlation [samples].
    """

    n: int
    by_sum: float
    by_blocks: float | None
    stated: float
    block: int


def _checked(values: ArrayLike, groups: ArrayLike | None) -> tuple[Floats, list[Floats]]:
    x = np.asarray(values, dtype=np.float64)
    if x.ndim != 1 or not len(x) or not np.all(np.isfinite(x)):
        raise SignalError("a series must be one-dimensional, not empty and finite")
    if groups is None:
        return x, [x]
    labels = np.asarray(groups)
    if labels.shape != x.shape:
        raise SignalError("groups must be as long as the series")
    cuts = np.flatnonzero(labels[1:] != labels[:-1]) + 1
    return x, np.split(x, cuts)


def autocorrelation(values: ArrayLike, lags: int, groups: ArrayLike | None = None) -> Floats:
    """Autocorrelation about the common mean.

    Args:
        values: samples in their order, shape (n,).
        lags: highest lag wanted, below n.
        groups: label of the unbroken stretch each sample belongs to, shape (n,), equal labels side by side; products
            are only taken inside a stretch. One stretch where None.
    Returns: r at lags 0..lags, shape (lags + 1,): mean product over the pairs there are, divided by the variance; 0
        where a lag has no pair, and at every lag above 0 of a constant series.
    Raises: SignalError if the series is empty, not finite, or lags reach beyond it.
    Source: the adjusted estimator of any textbook, e.g. Box & Jenkins, Time Series Analysis, 1976 (from memory).
    """
    x, parts = _checked(values, groups)
    if not 0 <= lags < len(x):
        raise SignalError(f"{lags} lags need more than {len(x)} samples")
    mean = x.mean()
    variance = float(np.mean((x - mean) ** 2))
    out = np.zeros(lags + 1)
    out[0] = 1.0
    if variance <= (1e-12 * max(1.0, abs(float(mean)))) ** 2:
        return out
    products = np.zeros(lags + 1)
    pairs = np.zeros(lags + 1)
    for part in parts:
        d = part - mean
        m = min(len(d), lags + 1)
        spectrum = np.fft.rfft(d, 1 << (2 * len(d) - 1).bit_length())
        products[:m] += np.fft.irfft(spectrum * spectrum.conj())[:m]
        pairs[:m] += len(d) - np.arange(m)
    has = pairs > 0
    out[has] = products[has] / pairs[has] / variance
    out[0] = 1.0
    return out


def effective_samples(values: ArrayLike, groups: ArrayLike | None = None) -> Effective:
    """Effective number of independent samples for the mean of a series.

    Args:
        values: samples in their order, shape (n,).
        groups: as in ``autocorrelation``.
    Returns: both estimates and the smaller one. A constant series is worth one sample: nothing in it shows that its
        samples are independent.
    Raises: SignalError as ``autocorrelation``.
    Valid for: n of about 20 or more; below, the estimate is kind, and callers ask for a least number.
    Source: sum up to the first lag that is not positive, after the initial positive sequence of Geyer, Practical Markov
        Chain Monte Carlo, Statistical Science 7 (1992), and overlapping batch means of Meketon & Schmeiser, 1984 (both
        from memory). Block length max(4 τ, √n): own choice.
    Example: for a first-order process with r = 0.6 the inflation n / stated tends to (1 + r)/(1 − r) = 4.
    """
    x, parts = _checked(values, groups)
    n = len(x)
    if n < 4 or float(np.ptp(x)) == 0.0:
        return Effective(n, 1.0, None, 1.0, max(1, n))
    r = autocorrelation(x, max(1, n // 3), groups)
    above = np.flatnonzero(r[1:] <= 0)
    stop = int(above[0]) + 1 if len(above) else len(r)
    tau = 1.0 + 2.0 * float(r[1:stop].sum())
    by_sum = n / tau
    block = int(min(max(math.ceil(4 * tau), math.ceil(math.sqrt(n))), max(1, n // 4)))
    by_blocks = _by_block_means(x, parts, block)
    stated = min(by_sum, by_blocks) if by_blocks is not None else by_sum
    return Effective(n, by_sum, by_blocks, float(min(max(stated, 1.0), n)), block)


def _by_block_means(x: Floats, parts: list[Floats], block: int) -> float | None:
    """Effective samples by overlapping block means inside each stretch; None where fewer than four blocks fit."""
    fit = sum(len(p) // block for p in parts)
    if fit < 4:
        return None
    mean = float(x.mean())
    squares = 0.0
    count = 0
    for part in parts:
        if len(part) < block:
            continue
        total = np.concatenate([[0.0], np.cumsum(part - mean)])
        means = (total[block:] - total[:-block]) / block
        squares += float(np.sum(means**2))
        count += len(means)
    n = len(x)
    variance_of_mean_of_block = squares / count * n / (n - block)
    if variance_of_mean_of_block <= 0:
        return None
    return n * float(x.var(ddof=1)) / (block * variance_of_mean_of_block)
