"""How well every cause explains the evidence: Gaussian in the numbers, tables for the rest.

Numbers are weighed together: what moves several of them in a healthy car (friction, fuel, displacement) is not counted
twice. Some cars are taken to scatter two or five times as far. "Something else" may leave every reading as it was, look
like any cause on the list, or move numbers in ways of its own, so that nothing is ever certain.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from tickover.cause.bank import LITRES_SPREAD, STRATA, TARGET, USUAL_LITRES, Bank, bank
from tickover.cause.channels import INDEX, MOVED, OWN, PART, moved_by_else
from tickover.cause.evidence import Car, Evidence
from tickover.cause.hypotheses import ELSE, HYPOTHESES, rates_of
from tickover.cause.numbers import Numbers, numbers_of
from tickover.cause.tables import Word, words_of
from tickover.results import CannotTell

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

SEA_KPA = 99.0
"""Outside pressure where nobody said: most people live below 400 m [kPa]. Own choice."""
NORMAL_SPREAD, OUTSIDE_SPREAD, BLEND_SPREAD = 50.0, 3.0, 6.0
"""Of an idle target [r/min], outside pressure [kPa] and blend [%] that nobody said. Own choice."""
IDLE_AIR_SPREAD = 0.5
"""Of the logarithm of what cars call normal idle air. Own choice: shares mean different things on different cars."""
WIDTHS: tuple[tuple[float, float], ...] = ((0.88, 1.0), (0.1, 2.0), (0.02, 5.0))
"""Shares of cars, and how many times as far their numbers scatter. Own choice: one wrong reading in a set of sound ones
must not make "something else" certain."""
SILENT, MIMIC = 0.3, 0.4
"""Of something else: how much leaves every reading as a sound car has it (a worn mount, a tight engine, an exhaust
partly blocked), so that "nothing wrong" is never quite sure; and how much looks like a cause on the list. The rest
moves numbers in ways of its own: half of that the trims in a pattern, half each number for itself. Own choice."""
LIKENED = {"dead coil": 2.0, "fuel error": 1.5, "leak": 1.5}
"""So many times as often as other causes these are looked like [1]: lack of compression feels like a dead coil, an odd
λ sensor reads like a fuel error, an open purge or recirculation valve acts like a leak. Own choice."""
LOOKS = 0.85
"""How far something else that looks like a cause also speaks like it, in words [1]. Own choice."""
WORD_WEIGHT = 0.65
"""Weight of every word: tables are judgement, and words depend on each other [1]. Own choice."""
_KNOWN_LITRES = 0.03


@dataclass(frozen=True)
class Cells:
    """What every cause predicts for this car, cell by cell: a Gaussian each.

    Attributes:
        cause, size: of each cell, shape (cells,).
        stratum: which displacement, shape (cells,).
        means: shape (cells, channels).
        factors: one standard deviation of each factor by stratum, shape (strata, factors, channels).
        alone: variance that each channel has for itself, without reading it, shape (cells, channels).
        healthy: index of the healthy cell of each cell's own stratum, shape (cells,).
    """

    cause: Ints
    size: Floats
    stratum: Ints
    means: Floats
    factors: Floats
    alone: Floats
    healthy: Ints

    def covariance(self, index: Ints, spreads: Floats) -> Floats:
        """Of some channels as read, shape (cells, d, d)."""
        f = self.factors[:, :, index]
        shared: Floats = (np.swapaxes(f, 1, 2) @ f)[self.stratum]
        d = np.arange(len(index))
        shared[:, d, d] += self.alone[:, index] + spreads**2
        return shared


@dataclass(frozen=True)
class Ways:
    """Ways in which a cause may have made the evidence: a cell each, and, for something else, the cells it mimics.

    Attributes:
        cell: index into ``Cells``, shape (n,).
        cause: index of the cause, shape (n,).
        mimics: index of the cause that something else looks like; −1 where it does not, shape (n,).
        prior: log chance before evidence, shape (n,).
    """

    cell: Ints
    cause: Ints
    mimics: Ints
    prior: Floats

    def of_causes(self, chances: Floats) -> Floats:
        """A table over causes, shape (causes, …), as chances for each way, shape (n, …)."""
        plain = chances[self.cause]
        where = (self.mimics >= 0).reshape(-1, *(1,) * (chances.ndim - 1))
        return np.asarray(np.where(where, LOOKS * chances[self.mimics] + (1 - LOOKS) * plain, plain))


@dataclass(frozen=True)
class Weighed:
    """The posterior, before it is put in words.

    Attributes:
        cells, ways: what was weighed.
        numbers, words: the evidence.
        fit: log likelihood of the numbers, shape (cells,).
        without: the same without each number in turn, shape (d, cells).
        told: log likelihood of each word, shape (words, n).
        total: log of prior × likelihood, shape (n,).
        p: posterior of each way, sums to 1, shape (n,).
        left: what was not used.
        inverse: of the covariance of the numbers, shape (cells, d, d).
        residual: shape (cells, d).
    """

    cells: Cells
    ways: Ways
    numbers: Numbers
    words: tuple[Word, ...]
    fit: Floats
    without: Floats
    told: Floats
    total: Floats
    p: Floats
    left: tuple[CannotTell, ...]
    inverse: Floats
    residual: Floats

    @property
    def causes(self) -> Floats:
        """Posterior of each cause, shape (causes,)."""
        return np.bincount(self.ways.cause, weights=self.p, minlength=len(HYPOTHESES)).astype(np.float64)

    def by_cause(self, total: Floats) -> Floats:
        """Logs of sums over the ways of each cause, shape (causes,); −∞ for one without a way."""
        out = np.full(len(HYPOTHESES), -np.inf)
        np.logaddexp.at(out, self.ways.cause, total)
        return out


def weigh(
    evidence: Evidence, car: Car, *, base_rates: Mapping[str, float] | None = None, wider: float = 1.0
) -> Weighed:
    """Weigh every cause against the evidence.

    Args:
        evidence: all that was seen.
        car: what is known of it.
        base_rates: how common each cause is; ours where None.
        wider: factor on every spread of the predictions, to see what hangs on them [1].
    Returns: see ``Weighed``
    Raises: ValueError for unknown causes or rates that make no sense.
    """
    metering = car.metering or ("air" if evidence.air_flow else None)
    kinds = ("air", "pressure") if metering is None else (metering,)
    numbers, left = numbers_of(evidence, car, metering)
    words, more = words_of(evidence)
    cells, ways = _gather(tuple(kinds), car, base_rates)
    if wider != 1.0:
        cells = replace(cells, factors=cells.factors * wider, alone=cells.alone * wider**2)
    residual = _residual(numbers, cells)
    inverse, fit, without = _gauss(cells, numbers, residual)
    told = np.array([_told(w.log_likelihood, ways) for w in words]).reshape(len(words), len(ways.cell))
    total = ways.prior + fit[ways.cell] + told.sum(axis=0)
    p = np.exp(total - total.max())
    return Weighed(
        cells,
        ways,
        numbers,
        tuple(words),
        fit,
        without,
        told,
        total,
        np.asarray(p / p.sum()),
        (*left, *more),
        inverse,
        residual,
    )


def _told(log_likelihood: Floats, ways: Ways) -> Floats:
    """A word's likelihood by way; something else that mimics a cause speaks mostly as that cause does."""
    plain = log_likelihood[ways.cause]
    mimic = LOOKS * log_likelihood[ways.mimics] + (1 - LOOKS) * plain
    return np.asarray(WORD_WEIGHT * np.where(ways.mimics >= 0, mimic, plain))


def _residual(numbers: Numbers, cells: Cells) -> Floats:
    """Read minus predicted; 0 where the reading stands at a limit and the prediction lies beyond."""
    means = cells.means[:, numbers.index]
    residual = numbers.values - means
    beyond = (numbers.limits != 0) & (residual * numbers.limits < 0)
    return np.asarray(np.where(beyond, 0.0, residual))


def _gauss(cells: Cells, numbers: Numbers, residual: Floats) -> tuple[Floats, Floats, Floats]:
    """Inverse, log likelihood, and log likelihood without each number: a mixture of widths.

    Cars scatter wider, readings do not: so a reading that is not worth anything changes nothing.
    """
    n, d = residual.shape
    if d == 0:
        return np.zeros((n, 0, 0)), np.zeros(n), np.zeros((0, n))
    made = cells.covariance(numbers.index, np.zeros(d))
    read = np.diag(numbers.spreads**2)
    inverses, fits, others = [], [], []
    for share, width in WIDTHS:
        covariance = made * width**2 + read
        inverse = np.linalg.inv(covariance)
        pulled = np.einsum("nij,nj->ni", inverse, residual)
        square = np.einsum("ni,ni->n", residual, pulled)
        precision = np.einsum("nii->ni", inverse)
        determinant = np.linalg.slogdet(covariance)[1]
        fit = np.log(share) - (square + determinant + d * np.log(2 * np.pi)) / 2
        own = -(pulled**2 / precision - np.log(precision) + np.log(2 * np.pi)) / 2
        inverses.append(inverse)
        fits.append(fit)
        others.append(fit - own.T)
    return (
        np.asarray(inverses[0], dtype=np.float64),
        np.logaddexp.reduce(fits),
        np.logaddexp.reduce(others),
    )


@lru_cache(maxsize=64)
def _gathered(kinds: tuple[str, ...], car: Car) -> Cells:
    """Cells of the banks that may apply, fitted to what is known of the car."""
    parts = [_fitted(bank(kind), car) for kind in kinds]
    strata = np.cumsum([0, *(len(p.factors) for p in parts)])
    cells = np.cumsum([0, *(len(p.cause) for p in parts)])
    return Cells(
        cause=np.concatenate([p.cause for p in parts]),
        size=np.concatenate([p.size for p in parts]),
        stratum=np.concatenate([p.stratum + s for p, s in zip(parts, strata, strict=False)]),
        means=np.concatenate([p.means for p in parts]),
        factors=np.concatenate([p.factors for p in parts]),
        alone=np.concatenate([p.alone for p in parts]),
        healthy=np.concatenate([p.healthy + c for p, c in zip(parts, cells, strict=False)]),
    )


def _gather(kinds: tuple[str, ...], car: Car, base_rates: Mapping[str, float] | None) -> tuple[Cells, Ways]:
    """Cells, and the ways with their chances before evidence."""
    cells = _gathered(kinds, car)
    given = None if base_rates is None else tuple(sorted(base_rates.items()))
    return cells, _ways(kinds, car, given)


@lru_cache(maxsize=64)
def _ways(kinds: tuple[str, ...], car: Car, base_rates: tuple[tuple[str, float], ...] | None) -> Ways:
    cells, strata = _gathered(kinds, car), _litres(car)
    other, sound = (next(k for k, h in enumerate(HYPOTHESES) if h.name == name) for name in (ELSE, "healthy"))
    moves = len(moved_by_else()[0])
    own = np.full(moves, (1 - MIMIC - SILENT) / 2)
    own /= np.where(np.arange(moves) < len(MOVED), len(MOVED), moves - len(MOVED))
    parts: list[tuple[Floats, ...]] = []
    at = 0
    for kind in kinds:
        one = bank(kind)
        rates = rates_of(None if base_rates is None else dict(base_rates), kind)
        n = len(one.cause)
        listed = np.array([HYPOTHESES[c].family in ("fault", "stale") for c in one.cause])
        known = listed | (one.cause == sound)
        shares = np.where(listed, rates[one.cause] * one.weight * _likened()[one.cause], 0.0)
        with np.errstate(divide="ignore"):
            weight = np.log(one.weight * rates[one.cause] / len(kinds))
            looks = np.log(MIMIC * shares / max(shares.sum(), 1e-300))
            base = np.log(rates[other] / len(kinds))
        for k, share in enumerate(strata):
            cell = at + k * (n + moves) + np.arange(n + moves)
            here = float(np.log(share))
            for where, cause, mimics, prior in (
                (cell[:n][known], one.cause[known], -1, weight[known]),
                (cell[[one.healthy]], other, sound, base + np.log([SILENT])),
                (cell[:n][listed], other, one.cause[listed], base + looks[listed]),
                (cell[n:], other, -1, base + np.log(own)),
            ):
                parts.append(tuple(np.broadcast_arrays(where, cause, mimics, prior + here)))
        at += (n + moves) * len(strata)
    cell, cause, mimics, prior = (np.concatenate(c) for c in zip(*parts, strict=True))
    assert len(cells.cause) == at
    live = np.isfinite(prior)
    return Ways(cell[live].astype(np.intp), cause[live].astype(np.intp), mimics[live].astype(np.intp), prior[live])


def _likened() -> Floats:
    """How much more often each cause is the one that something else looks like, shape (causes,)."""
    return np.array([LIKENED.get(h.name, 1.0) for h in HYPOTHESES])


def _litres(car: Car) -> Floats:
    """Chance of each stratum; one that is exact where the displacement is known."""
    if car.displacement_l is not None:
        return np.ones(1)
    off = np.log(STRATA / USUAL_LITRES) / LITRES_SPREAD
    share = np.exp(-(off**2) / 2)
    return np.asarray(share / share.sum())


def _at_litres(stack: Floats, car: Car) -> Floats:
    """A stack by stratum at the car's displacement, shape (1, …); the whole stack where it is not known."""
    if car.displacement_l is None:
        return stack
    place = np.interp(np.log(car.displacement_l), np.log(STRATA), np.arange(len(STRATA)))
    low = min(int(place), len(STRATA) - 2)
    share = place - low
    return np.asarray(((1 - share) * stack[low] + share * stack[low + 1])[None])


def _fitted(one: Bank, car: Car) -> Cells:
    """A bank for this car: displacement, target and outside pressure put in; one broad cell more per stratum."""
    means, unsure, slopes = (_at_litres(s, car) for s in (one.means.copy(), one.unsure, one.slopes))
    strata, n, channels = means.shape
    name = {f: k for k, f in enumerate(one.factors)}
    spread = np.ones(len(one.factors))
    spread[name["ethanol"]] = BLEND_SPREAD
    spread[name["litres"]] = (
        _KNOWN_LITRES if car.displacement_l is not None else np.log(STRATA[1] / STRATA[0]) / 12**0.5
    )
    target, spread[name["target"]] = TARGET, NORMAL_SPREAD
    if car.normal is not None:
        target, spread[name["target"]] = sum(car.normal) / 2, max((car.normal[1] - car.normal[0]) / 4, 8.0)
    means = means + (slopes[:, name["target"]] * (target - TARGET))[:, None]
    means[:, :, INDEX["vacuum"]] += (SEA_KPA if car.outside_kpa is None else car.outside_kpa) - 101.325
    factors = slopes * spread[None, :, None]
    outside = np.zeros((strata, 1, channels))
    outside[:, :, INDEX["vacuum"]] = OUTSIDE_SPREAD if car.outside_kpa is None else 0.4
    factors = np.concatenate([factors, outside], axis=1)
    well = means[:, [one.healthy]]
    alone = OWN**2 + (PART * (means - well)) ** 2 + unsure**2
    air = INDEX["idle air"]
    if car.idle_air_normal is None:
        alone[:, :, air] += IDLE_AIR_SPREAD**2
    else:
        means[:, :, air] -= well[:, :, air]
    shifts, wide = moved_by_else()
    means = np.concatenate([means, means[:, [one.healthy]] + shifts], axis=1).reshape(-1, channels)
    alone = np.concatenate([alone, alone[:, [one.healthy]] + wide**2], axis=1).reshape(-1, channels)
    moves = len(shifts)
    other = next(k for k, h in enumerate(HYPOTHESES) if h.name == ELSE)
    total = n + moves
    stratum = np.repeat(np.arange(strata), total)
    return Cells(
        cause=np.tile(np.append(one.cause, np.full(moves, other)), strata),
        size=np.tile(np.append(one.size, np.zeros(moves)), strata),
        stratum=stratum.astype(np.intp),
        means=means,
        factors=factors,
        alone=alone,
        healthy=(stratum * total + one.healthy).astype(np.intp),
    )
