"""Spectrum of unevenly sampled values, on their true times."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tickover.errors import SignalError

Floats = NDArray[np.float64]


class Periodogram:
    """Lomb–Scargle periodogram with a floating mean, for one set of instants and any number of series on them.

    Args:
        t: instants, shape (n,), any order [s].
        frequency: where the power is wanted, shape (f,), positive [Hz].
    Raises: SignalError if there are fewer than four instants, or anything is not finite or not positive.
    Valid for: any spacing. At even spacing a frequency and its mirror images beyond half the rate have the same power.
    Source: Zechmeister & Kürster, The generalised Lomb–Scargle periodogram, Astronomy & Astrophysics 496 (2009),
        equations 4 to 16 (from memory); held against an independent library in the tests.
    """

    def __init__(self, t: ArrayLike, frequency: ArrayLike) -> None:
        times, f = np.asarray(t, dtype=np.float64), np.asarray(frequency, dtype=np.float64)
        if times.ndim != 1 or len(times) < 4 or not np.all(np.isfinite(times)):
            raise SignalError("a periodogram needs four finite instants or more")
        if f.ndim != 1 or not len(f) or not np.all(np.isfinite(f)) or np.any(f <= 0):
            raise SignalError("frequencies must be positive and finite")
        angle = 2 * np.pi * np.outer(f, times - times.mean())
        self._cos, self._sin = np.cos(angle), np.sin(angle)
        self._cos -= self._cos.mean(axis=1, keepdims=True)
        self._sin -= self._sin.mean(axis=1, keepdims=True)
        self._cc = np.einsum("fn,fn->f", self._cos, self._cos)
        self._ss = np.einsum("fn,fn->f", self._sin, self._sin)
        self._cs = np.einsum("fn,fn->f", self._cos, self._sin)
        self._det = self._cc * self._ss - self._cs**2

    def power(self, x: ArrayLike) -> Floats:
        """Share of the variance about the mean that one sine of each frequency takes away.

        Args:
            x: values, shape (n,) or (n, series).
        Returns: 0 to 1, shape (f,) or (f, series); 0 for a constant series.
        Raises: SignalError if a value is not finite or there are not n.
        Example: a pure sine has power 1 at its frequency.
        """
        values = np.asarray(x, dtype=np.float64)
        if values.shape[:1] != self._cos.shape[1:] or not np.all(np.isfinite(values)):
            raise SignalError("values must be finite and as many as the instants")
        one = values.ndim == 1
        y = values.reshape(len(values), -1)
        y = y - y.mean(axis=0)
        total = np.einsum("nd,nd->d", y, y)
        yc, ys = self._cos @ y, self._sin @ y
        cc, ss, cs, det = (a[:, None] for a in (self._cc, self._ss, self._cs, self._det))
        # At half the rate of even sampling sine and cosine are one: there only the greater one is fitted.
        whole = det > 1e-9 * np.maximum(cc, ss) ** 2
        with np.errstate(divide="ignore", invalid="ignore"):
            both = (ss * yc**2 + cc * ys**2 - 2 * cs * yc * ys) / det
            single = np.where(cc >= ss, yc**2 / cc, ys**2 / ss)
            share = np.where(whole, both, np.where(np.maximum(cc, ss) > 1e-9, single, 0.0)) / total
        share = np.where(total > 0, np.clip(share, 0.0, 1.0), 0.0)
        return np.asarray(share[:, 0] if one else share)


def lomb_scargle(t: ArrayLike, x: ArrayLike, frequency: ArrayLike) -> Floats:
    """Share of the variance that a sine of each frequency takes away: ``Periodogram(t, frequency).power(x)``.

    Raises: SignalError as ``Periodogram``.
    """
    return Periodogram(t, frequency).power(x)
