"""The law for "at most k open" after so many ignition cycles, exact and by simulation.

Each monitor completes in a cycle with its own chance; all chances of a car move together with how it will be driven
(one shared term on the logit scale). Given that term monitors are independent, so how many are open follows a
Poisson-binomial law; it is mixed over the term, and each chance over what is not known of it, by quadrature.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import expit, logit, roots_jacobi

from tickover.readiness.pace import Pace

Floats = NDArray[np.float64]

SHARED = 0.4
"""Standard deviation of the shared term, logit scale: coming weeks against the counted past. Own choice, by panel."""

TERM_NODES, CHANCE_NODES = 49, 56
_REACH = 6.0
"""The shared term is taken from −6 to 6; a bell curve has nothing worth counting outside."""

_EDGE = 1e-12


@dataclass(frozen=True)
class Law:
    """The law of readiness of one car.

    Attributes:
        paces: of the monitors that are open and count.
        may_stay: names of those that may stay open; empty: any of them.
        at_most: how many may stay open.
        driven: ignition cycles since the last clear in which they stayed open.
        finished: paces of monitors that were completed in those cycles.
        shared: standard deviation of the shared term.
    """

    paces: tuple[Pace, ...]
    at_most: int
    may_stay: frozenset[str] = frozenset()
    driven: float = 0.0
    finished: tuple[Pace, ...] = ()
    shared: float = SHARED

    def chance(self, cycles: ArrayLike) -> Floats:
        """The chance of being ready after so many further ignition cycles, exact save for the quadrature.

        Args:
            cycles: shape (n,), not negative; not whole numbers are taken as the power they are.
        Returns: shape (n,), rising, 0 to 1.
        Valid for: up to 1,200 cycles to 1e-4, held against a far finer rule by a test.
        """
        n = np.atleast_1d(np.asarray(cycles, dtype=np.float64))
        if self._ready_anyway:
            return np.ones(n.size)
        terms, weights = _normal_nodes()
        weights = weights * self._seen(terms)
        opened = self._open_given(terms, n)
        return np.asarray(np.clip(weights @ self._few(opened) / weights.sum(), 0.0, 1.0), dtype=np.float64)

    def surprise(self) -> float:
        """The chance, before looking, that all of the open ones stay open for the cycles driven; 1 for none driven."""
        if not self.driven or not self.paces:
            return 1.0
        terms, weights = _normal_nodes()
        return float(weights @ self._stayed(terms).prod(axis=0))

    def band(self, cycles: ArrayLike, rng: np.random.Generator, *, level: float = 0.9, draws: int = 600) -> Floats:
        """Where the chance would lie if rates and driving were known.

        Args:
            cycles: shape (n,).
            rng: for the draws.
            level: of the band.
            draws: how many.
        Returns: shape (2, n): lower and upper.
        """
        n = np.atleast_1d(np.asarray(cycles, dtype=np.float64))
        if self._ready_anyway:
            return np.ones((2, n.size))
        per_cycle = self._draw(rng, draws)
        opened = np.exp(n[None, None, :] * np.log1p(-per_cycle)[:, :, None])
        tails = [(1 - level) / 2, (1 + level) / 2]
        return np.asarray(np.quantile(self._few(opened), tails, axis=0), dtype=np.float64)

    def simulate(self, cycles: ArrayLike, rng: np.random.Generator, *, runs: int = 20_000) -> Floats:
        """The chance by Monte Carlo: cycle after cycle, each car drawn anew.

        Args:
            cycles: shape (n,); whole numbers.
            rng: for the draws.
            runs: cars drawn.
        Returns: shape (n,): share of the cars that are ready.
        """
        n = np.atleast_1d(np.asarray(cycles, dtype=np.float64))
        if self._ready_anyway:
            return np.ones(n.size)
        took = rng.geometric(np.maximum(self._draw(rng, runs), _EDGE))
        still = took[:, :, None] > n[None, None, :]
        must = self._must
        few = still[:, ~must].sum(axis=1) <= self.at_most
        return np.asarray((few & ~still[:, must].any(axis=1)).mean(axis=0), dtype=np.float64)

    @property
    def _ready_anyway(self) -> bool:
        """Whether nothing that is open has to be complete: then it is certain, to the last digit."""
        return len(self.paces) <= self.at_most and not self._must.any()

    @property
    def _must(self) -> NDArray[np.bool_]:
        """Which have to be complete."""
        free = [not self.may_stay or p.monitor in self.may_stay for p in self.paces]
        return ~np.asarray(free, dtype=np.bool_) if self.at_most else np.ones(len(free), dtype=np.bool_)

    @cached_property
    def _rules(self) -> list[tuple[Floats, Floats]]:
        return [chance_nodes(p, self.shared) for p in self.paces]

    @cached_property
    def _finished_rules(self) -> list[tuple[Floats, Floats]]:
        return [chance_nodes(p, self.shared) for p in self.finished]

    def _stayed(self, terms: Floats) -> Floats:
        """Chance of each open monitor to have stayed open so far, shape (monitors, terms)."""
        return _mixed(self._rules, terms, self.shared, np.array([self.driven]))[:, :, 0]

    def _seen(self, terms: Floats) -> Floats:
        """How well each value of the term fits what was seen since the last clear, shape (terms,)."""
        if not self.driven:
            return np.ones(terms.size)
        fits = self._stayed(terms).prod(axis=0)
        done = _mixed(self._finished_rules, terms, self.shared, np.array([self.driven]))[:, :, 0]
        return np.maximum(np.asarray(fits * (1 - done).prod(axis=0), dtype=np.float64), 1e-300)

    def _open_given(self, terms: Floats, n: Floats) -> Floats:
        """Chance of each to be open after ``n`` more cycles, given the term; shape (terms, monitors, n)."""
        later = _mixed(self._rules, terms, self.shared, n + self.driven)
        before = self._stayed(terms)[:, :, None] if self.paces else 1.0
        return np.asarray(np.moveaxis(later / np.maximum(before, 1e-300), 0, 1), dtype=np.float64)

    def _few(self, opened: Floats) -> Floats:
        """Chance that few enough are open, from the chance of each; shape (…, monitors, n) to (…, n)."""
        must = self._must
        done = np.prod(1 - opened[:, must], axis=1)
        law = open_count_law(np.moveaxis(opened[:, ~must], 1, 0))
        return np.asarray(done * law[: self.at_most + 1].sum(axis=0), dtype=np.float64)

    def _draw(self, rng: np.random.Generator, draws: int) -> Floats:
        """Chances per cycle of cars that fit what was seen, shape (draws, monitors)."""
        grid = np.linspace(-_REACH, _REACH, 3 * TERM_NODES + 1)
        density = np.exp(-(grid**2) / 2) * self._seen(grid)
        step = grid[1] - grid[0]
        term = rng.choice(grid, size=draws, p=density / density.sum()) + rng.uniform(-step / 2, step / 2, draws)
        found = np.empty((draws, len(self.paces)))
        for column, (places, weights) in enumerate(self._rules):
            chances = expit(places[None, :] + self.shared * term[:, None])
            fit = weights[None, :] * np.exp(self.driven * np.log1p(-chances))
            total = np.cumsum(fit, axis=1)
            pick = (rng.random((draws, 1)) * total[:, -1:] > total).sum(axis=1)
            found[:, column] = chances[np.arange(draws), np.minimum(pick, len(places) - 1)]
        return np.clip(found, 0.0, 1 - _EDGE)


def open_count_law(opened: Floats) -> Floats:
    """The Poisson-binomial law: how many are open, from the chance of each.

    Args:
        opened: shape (monitors, …), each 0 to 1.
    Returns: shape (monitors + 1, …): the chance of 0, 1, … open; sums to 1.
    Source: convolution, one monitor at a time.
    Example: ``open_count_law(np.array([0.5, 0.5]))`` is 0.25, 0.5, 0.25.
    """
    law = np.zeros((len(opened) + 1, *opened.shape[1:]))
    law[0] = 1.0
    for k, chance in enumerate(opened):
        law[1 : k + 2] = law[1 : k + 2] * (1 - chance) + law[: k + 1] * chance
        law[0] *= 1 - chance
    return law


def chance_nodes(pace: Pace, shared: float) -> tuple[Floats, Floats]:
    """Nodes and weights that average over what is not known of one monitor's chance.

    Args:
        pace: beta distribution of the chance per cycle, averaged over driving.
        shared: standard deviation of the shared term.
    Returns: places on the logit scale at a shared term of nought, and weights that sum to 1.
    Source: Gauss–Jacobi quadrature; the beta density is its weight.
    """
    nodes, weights = roots_jacobi(CHANCE_NODES, pace.b - 1, pace.a - 1)
    chances = np.clip((1 + np.asarray(nodes)) / 2, _EDGE, 1 - 1e-9)
    return _centred(chances, shared), np.asarray(weights / np.sum(weights), dtype=np.float64)


def _centred(chances: Floats, shared: float) -> Floats:
    """Logits whose chance, averaged over the shared term, is the one counted: the past held good and bad weeks too."""
    table = np.linspace(-32.0, 32.0, 1281)
    terms, weights = _normal_nodes()
    averaged = expit(table[:, None] + shared * terms[None, :]) @ weights
    return np.asarray(np.interp(logit(chances), logit(averaged), table), dtype=np.float64)


def _mixed(rules: Sequence[tuple[Floats, Floats]], terms: Floats, shared: float, n: Floats) -> Floats:
    """Chance of staying open for ``n`` cycles, given the term; shape (monitors, terms, n)."""
    found = np.empty((len(rules), terms.size, n.size))
    for row, (places, weights) in enumerate(rules):
        stays = np.log1p(-np.minimum(expit(places[None, :] + shared * terms[:, None]), 1 - _EDGE))
        found[row] = np.einsum("k,tkn->tn", weights, np.exp(stays[:, :, None] * n[None, None, :]))
    return found


def _normal_nodes() -> tuple[Floats, Floats]:
    """Even steps over a bell curve: the trapezoid rule, which is all but exact there and bears weights of any shape."""
    nodes = np.linspace(-_REACH, _REACH, TERM_NODES)
    density = np.exp(-(nodes**2) / 2)
    return nodes, density / density.sum()
