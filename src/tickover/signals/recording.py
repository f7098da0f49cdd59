"""A recording: per signal, a series of values whose instant of measurement is bracketed.

A logger holds a value until it asks again, so a row's time says when the value was written down, not when it was
measured. Each sample therefore carries ``t_lo ≤ t ≤ t_hi``: after the previous refresh, up to this row. Held samples,
poll jitter and channel latency are then facts, not guesses. A wide table is only a view.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tickover.errors import SignalError
from tickover.signals.vocabulary import signal

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Series:
    """Samples of one signal.

    Args:
        t_lo, t_hi: bracket of each sample's instant, shape (n,) [s]; both never fall.
        value: the samples, shape (n,), in the vocabulary's unit.
    Raises: SignalError if the shapes differ, a bracket is upside down or time runs backwards.
    """

    t_lo: Floats
    t_hi: Floats
    value: Floats

    def __post_init__(self) -> None:
        if not self.t_lo.shape == self.t_hi.shape == self.value.shape or self.value.ndim != 1:
            raise SignalError("t_lo, t_hi and value must be one-dimensional and equally long")
        if np.any(self.t_lo > self.t_hi):
            raise SignalError("a sample ends before it begins (t_lo > t_hi)")
        if np.any(np.diff(self.t_lo) < 0) or np.any(np.diff(self.t_hi) < 0):
            raise SignalError("time runs backwards in a series")

    @classmethod
    def of(cls, t_lo: ArrayLike, t_hi: ArrayLike, value: ArrayLike) -> Series:
        """From anything array-like."""
        return cls(*(np.asarray(a, dtype=np.float64) for a in (t_lo, t_hi, value)))

    @classmethod
    def at(cls, t: ArrayLike, value: ArrayLike) -> Series:
        """Samples whose instants are known exactly."""
        return cls.of(t, t, value)

    def __len__(self) -> int:
        return len(self.value)

    @property
    def mid(self) -> Floats:
        """Middle of each bracket [s]."""
        return (self.t_lo + self.t_hi) / 2

    def between(self, start: float, stop: float) -> Series:
        """Samples whose whole bracket lies in start..stop [s]."""
        keep = (self.t_lo >= start) & (self.t_hi <= stop)
        return Series(self.t_lo[keep], self.t_hi[keep], self.value[keep])

    def hold(self, t: ArrayLike) -> Floats:
        """The latest value known by each time.

        Args:
            t: times [s], any order.
        Returns: same shape; NaN before the first sample was written down.
        """
        index = np.searchsorted(self.t_hi, np.asarray(t, dtype=np.float64), side="right") - 1
        if not len(self.value):
            return np.full(index.shape, np.nan)
        return np.where(index >= 0, self.value[np.maximum(index, 0)], np.nan)


@dataclass(frozen=True, eq=False)
class Recording:
    """Series by standard name, with where they came from.

    Args:
        series: standard name to series.
        source: file or device.
        simulated: true where the car was invented.
        notes: what the reader has to say about it, in sentences.
    Raises: UnknownSignalError for a name outside the vocabulary.
    """

    series: Mapping[str, Series]
    source: str = ""
    simulated: bool = False
    notes: Sequence[str] = field(default_factory=tuple)

    def __post_init__(self) -> None:
        for name in self.series:
            signal(name)

    def __getitem__(self, name: str) -> Series:
        return self.series[name]

    def __contains__(self, name: object) -> bool:
        return name in self.series

    def __iter__(self) -> Iterator[str]:
        return iter(self.series)

    def get(self, name: str) -> Series | None:
        """The series of that name, or None."""
        return self.series.get(name)

    @property
    def span(self) -> tuple[float, float]:
        """First t_lo and last t_hi over all series [s]; (0, 0) when empty."""
        filled = [s for s in self.series.values() if len(s)]
        if not filled:
            return 0.0, 0.0
        return min(float(s.t_lo[0]) for s in filled), max(float(s.t_hi[-1]) for s in filled)

    def wide(self, names: Sequence[str] | None = None) -> dict[str, Floats]:
        """A table: one row for every instant at which any of the series was written down.

        Args:
            names: columns wanted; all where None.
        Returns: ``{"t": (n,), name: (n,) …}``; values held from their last refresh, NaN before the first.
        """
        wanted = list(self.series if names is None else names)
        times = [self.series[name].t_hi for name in wanted if len(self.series[name])]
        t = np.unique(np.concatenate(times)) if times else np.empty(0)
        return {"t": t} | {name: self.series[name].hold(t) for name in wanted}
