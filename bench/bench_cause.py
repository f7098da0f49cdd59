"""An answer about causes against a second's patience, and the posterior against importance sampling in plain NumPy."""

from __future__ import annotations

import numpy as np
from bench.common import Row, median_time
from numpy.typing import NDArray

from tickover.cause import Car, Evidence, diagnose
from tickover.cause.hypotheses import HYPOTHESES
from tickover.cause.weighing import WIDTHS, Weighed, weigh

Floats = NDArray[np.float64]

PATIENCE = 1.0
"""Longest that an answer may take once the engine's predictions are there [s]."""
FASTER = 5.0
DRAWS = 200_000
AGREE = 4.0
"""Standard errors of the sampling that the two may differ by; 15 causes at once."""
EVIDENCE = Evidence(trims={"idle": 12, "2500": 6}, idle_speed=790, codes=("P0171",), tests={"listen": "quiet"})
CAR = Car(metering="air", displacement_l=2.0)


def rows() -> list[Row]:
    """One whole answer, and one posterior as a ratio of times for the same shares."""
    unknown = Evidence(**{**EVIDENCE.model_dump(), "misfires": 2, "volts": {"rest": 12.4, "running": 14.0}})
    seconds = median_time(lambda: diagnose(unknown, Car()))
    return [
        Row(
            "an answer about causes, metering and litres unknown", seconds, None, "", PATIENCE, "s", seconds <= PATIENCE
        ),
        _against_sampling(),
    ]


def _against_sampling() -> Row:
    w = weigh(EVIDENCE, CAR)
    ours = median_time(lambda: weigh(EVIDENCE, CAR))
    rng = np.random.default_rng(3)
    theirs = median_time(lambda: sampled(w, rng), repeats=3, number=1)
    share, error = sampled(w, rng)
    same = bool(np.all(np.abs(share - w.causes) <= AGREE * error + 1e-4))
    what = "a posterior of causes: same shares" if same else "a posterior of causes: shares DIFFER"
    peer = f"sampling {theirs:.3g} s, ours {ours * 1e3:.3g} ms"
    return Row(what, theirs / ours, 1.0, peer, FASTER, "× faster", same and theirs / ours >= FASTER)


def sampled(w: Weighed, rng: np.random.Generator) -> tuple[Floats, Floats]:
    """The posterior of each cause by drawing cars and weighing each by how well it makes the readings.

    Args:
        w: what was weighed; its predictions and chances are used, its likelihoods of the numbers are not.
        rng: of the draws.
    Returns: share and standard error of each cause, shape (causes,) each
    """
    ways, numbers, cells = w.ways, w.numbers, w.cells
    prior = np.exp(ways.prior - ways.prior.max())
    way = rng.choice(len(prior), DRAWS, p=prior / prior.sum())
    cell = ways.cell[way]
    width = rng.choice([x for _, x in WIDTHS], DRAWS, p=[s for s, _ in WIDTHS])[:, None]
    factors = cells.factors[cells.stratum[cell]][:, :, numbers.index]
    shared = np.einsum("nf,nfd->nd", rng.standard_normal(factors.shape[:2]), factors)
    own = rng.standard_normal((DRAWS, len(numbers.index))) * np.sqrt(cells.alone[cell][:, numbers.index])
    off = (numbers.values - cells.means[cell][:, numbers.index] - width * (shared + own)) / numbers.spreads
    weight = np.exp(-(off**2).sum(axis=1) / 2 + w.told.sum(axis=0)[way])
    total = weight.sum()
    share = np.bincount(ways.cause[way], weights=weight, minlength=len(HYPOTHESES)) / total
    inside = ways.cause[way][:, None] == np.arange(len(HYPOTHESES))
    error = np.sqrt(((weight[:, None] / total * (inside - share)) ** 2).sum(axis=0))
    return np.asarray(share), np.asarray(error)


if __name__ == "__main__":
    for row in rows():
        print(f"{row.what}: {row.ours:,.3g} {row.unit} ({row.peer_name}), limit {row.limit:g}, "
              f"{'kept' if row.ok else 'MISSED'}")  # fmt: skip
