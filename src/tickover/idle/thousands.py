"""Engine speed that was written down in thousands: 0.72 for 720 r/min.

The range alone makes it likely; only where the column's header says so as well it is certain, and only then is it
turned back. Otherwise nothing can be told, and what to write into the header is said.
"""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np

from tickover.results import CannotTell
from tickover.signals import Recording, Series, convert

UNIT = "1000 r/min"
MOST, IDLES = 12.0, (0.25, 3.0)
"""No car engine turns faster [1000 r/min]; and between these its middle speed lies, in anything that holds an idle.
Read as turns a second, the second would be 180 r/min, at which none runs. Own choice."""
_LEAST = 20
_TURNS = 0.05
"""Above this it turns [1000 r/min]."""
_SAID = re.compile(
    r"""[x×*·/]\s*(1[.,\s]?000|10\^?3|10³)(?!\d)   # rpm x1000, 1/min·1000
      | (?<![\d.,])1[.,\s]?000\s*(r/min|rpm|1/min)  # 1000 rpm
      | \bk\s?(rpm|r/min|1/min)\b                   # krpm
      | \bthousands?\b""",
    re.IGNORECASE | re.VERBOSE,
)


def says_thousands(header: str) -> bool:
    """Whether a column's header says that its numbers are thousands.

    Example: ``rpm (x1000)``, ``1/min·1000`` and ``krpm`` do; ``rpm`` does not.
    """
    return _SAID.search(header) is not None


def in_thousands(speed: Series) -> float | None:
    """The middle speed while it turns, where it can only be thousands of r/min [1000 r/min]; None where it cannot be.

    Args:
        speed: engine speed, as it was read.
    """
    turning = speed.value[np.isfinite(speed.value) & (speed.value > _TURNS)]
    if len(turning) < _LEAST or float(turning.max()) > MOST:
        return None
    middle = float(np.median(turning))
    return middle if IDLES[0] <= middle <= IDLES[1] else None


def in_own_unit(recording: Recording, header: str) -> Recording | None:
    """The recording with its engine speed in r/min, where header and range both say that it was in thousands.

    Args:
        recording: as it was read.
        header: of the column that engine speed was read from.
    Returns: None where it is not certain, and nothing was changed.
    """
    speed = recording.get("engine_speed")
    if speed is None or not says_thousands(header) or in_thousands(speed) is None:
        return None
    right = Series(speed.t_lo, speed.t_hi, convert(speed.value, UNIT, "r/min"))
    return replace(recording, series={**recording.series, "engine_speed": right})


def doubted(recording: Recording) -> CannotTell | None:
    """Why nothing is measured where the engine speed looks like thousands and nobody said so."""
    speed = recording.get("engine_speed")
    middle = in_thousands(speed) if speed is not None else None
    if middle is None:
        return None
    return CannotTell(
        reason=f"the engine speed stands at {middle:.2g} while the engine turns, which no engine runs at in r/min; it "
        "looks like thousands of r/min, and the header does not say so",
        way_out="If it is so, multiply the column by 1,000; `tickover idle` also takes a column called “rpm (x1000)”.",
    )
