"""How many drives a sequential test still needs on average, one side or two, from where it stands."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from itertools import product

import numpy as np
from numpy.typing import NDArray

from tickover.stats.sequential import Bounds

Floats = NDArray[np.float64]

_STEP, _REACH, _KERNEL = 0.2, 32.0, 6.0
"""Grid of the walk, how far it reaches, and of a drive's step [standard deviations]."""
_MOST = 40
"""Drives that are looked ahead; almost every test has ended by then."""


@lru_cache(maxsize=512)
def drives_to_come(
    shift: float, sides: tuple[int, ...], bounds: Bounds, mean: float, walk: float = 0.0, seen: int = 0,
    done: tuple[bool, ...] | None = None,
) -> float:  # fmt: skip
    """Drives until the test decides, on average.

    Args:
        shift: that is tested for, over the spread [1], above 0.
        sides: +1, −1 or both; it stays well once every side has said so, and comes back once one has.
        bounds: where each side stops.
        mean: where the readings truly lie, over the spread [1]; 0 where it stays well.
        walk: sum of the readings so far, over the spread [1].
        seen: how many they are.
        done: which sides have said “well” already; none where not given.
    Returns: number of drives, at least 1 while it is not decided [1]
    Source: the walk's density on a grid, drive by drive; exact up to the grid, the excess over the bounds included.
    """
    grid = np.arange(-_REACH, _REACH + _STEP / 2, _STEP)
    offset = np.arange(-_KERNEL, _KERNEL + _STEP / 2, _STEP)
    kernel = np.exp(-((offset - mean) ** 2) / 2)
    kernel /= kernel.sum()
    start = np.zeros_like(grid)
    start[int(np.argmin(abs(grid - walk)))] = 1.0
    alive = {done or (False,) * len(sides): start}
    total = 0.0
    for k in range(seen + 1, seen + _MOST + 1):
        mass = sum(float(p.sum()) for p in alive.values())
        if mass < 1e-3:
            break
        total += mass
        ratio = [shift * side * grid - k * shift**2 / 2 for side in sides]
        alive = _after_a_drive(alive, kernel, ratio, bounds)
    return max(1.0, total)


def _after_a_drive(
    alive: dict[tuple[bool, ...], Floats], kernel: Floats, ratio: Sequence[Floats], bounds: Bounds
) -> dict[tuple[bool, ...], Floats]:
    """What is still undecided after one more drive, by which sides have said “well”."""
    new: dict[tuple[bool, ...], Floats] = {}
    for flags, density in alive.items():
        moved = np.convolve(density, kernel, mode="same")
        back = np.zeros(len(moved), dtype=bool)
        well = []
        for over, said in zip(ratio, flags, strict=True):
            back |= ~np.bool_(said) & (over >= bounds.upper)
            well.append(np.full(len(moved), True) if said else over <= bounds.lower)
        for now in product((False, True), repeat=len(flags)):
            if all(now):
                continue
            here = ~back & np.logical_and.reduce([w == n for w, n in zip(well, now, strict=True)])
            if here.any():
                new[now] = new.get(now, np.zeros(len(moved))) + moved * here
    return new
