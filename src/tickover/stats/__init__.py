"""Statistics that the rooms share: effective samples, block bootstrap, spectrum on true times, robust slope."""

from tickover.stats.bootstrap import MeanAndSpread, mean_and_spread
from tickover.stats.effective import Effective, autocorrelation, effective_samples
from tickover.stats.lines import Candidate, Line, strongest_line
from tickover.stats.robust import Slope, theil_sen
from tickover.stats.spectrum import Periodogram, lomb_scargle

__all__ = [
    "Candidate",
    "Effective",
    "Line",
    "MeanAndSpread",
    "Periodogram",
    "Slope",
    "autocorrelation",
    "effective_samples",
    "lomb_scargle",
    "mean_and_spread",
    "strongest_line",
    "theil_sen",
]
