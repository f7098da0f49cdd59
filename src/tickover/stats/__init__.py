"""Statistics that the rooms share, thin over numpy and scipy: effective samples, block bootstrap."""

from tickover.stats.bootstrap import MeanAndSpread, mean_and_spread
from tickover.stats.effective import Effective, autocorrelation, effective_samples

__all__ = ["Effective", "MeanAndSpread", "autocorrelation", "effective_samples", "mean_and_spread"]
