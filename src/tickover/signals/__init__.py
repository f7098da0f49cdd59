"""The common currency: names of quantities with units and plausible ranges, recordings, conversions."""

from tickover.signals.recording import Recording, Series
from tickover.signals.units import DisplayUnits, convert
from tickover.signals.vocabulary import VOCABULARY, Signal, signal

__all__ = ["VOCABULARY", "DisplayUnits", "Recording", "Series", "Signal", "convert", "signal"]
