"""What the fuel alone asks for: trims that a known blend explains are no fault of the engine."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tickover.cause.bank import ETHANOL
from tickover.cause.channels import INDEX
from tickover.cause.evidence import Evidence
from tickover.cause.hypotheses import HYPOTHESES
from tickover.cause.weighing import Weighed
from tickover.results import CannotTell

Floats = NDArray[np.float64]

SPOKEN_FROM = 15.0
"""A blend of more ethanol than so much is spoken of [%]: below it is within what pumps sell as ordinary. Own choice."""
WITHIN, SHARE = 6.0, 0.28
"""Trims are explained by a blend where each lies as near to what it asks for as the first [%], and the second of that
[1]. Own choice: what sound cars differ by, and what the predictions may be off by."""


@dataclass(frozen=True)
class Asked:
    """What a known blend asks for.

    Attributes:
        ethanol: in the fuel [%].
        more: fuel that it alone asks for, over ordinary petrol [%].
        off: how far the trims lie beyond what that explains [%]: 0 where they are explained, below 0 where they add
            less; None where none was read.
    """

    ethanol: float
    more: float
    off: float | None

    @property
    def explained(self) -> bool:
        """Whether it explains the trims that were read."""
        return self.off == 0

    @property
    def says(self) -> str:
        """In one sentence."""
        start = f"Fuel with {self.ethanol:.0f} % ethanol alone asks for about {self.more:.0f} % more fuel"
        if self.off is None:
            return f"{start}; ask whether the car is made for it."
        if self.explained:
            return f"{start}, and that explains the trims."
        if self.off < 0:
            return (
                f"{start}, and the trims add less: the car is made for it and knows it, or the blend is another; ask."
            )
        return f"{start}, and the trims add more than that explains."

    @property
    def act(self) -> CannotTell:
        """What to do where the blend explains the trims."""
        return CannotTell(
            reason="The fuel explains the trims; ask whether this car is made for it.",
            way_out="Act: if it is, nothing. If not, put the right fuel in, drive until the trims have learned, "
            "and read them again.",
        )


def asked_by_fuel(w: Weighed, evidence: Evidence) -> Asked | None:
    """What the fuel that is in alone asks for, by the engine's own equations; None for an ordinary or unknown one.

    Args:
        w: what was weighed.
        evidence: with the ethanol that was told or read.
    """
    if evidence.ethanol is None or evidence.ethanol.value <= SPOKEN_FROM:
        return None
    blend = float(evidence.ethanol.value)
    more = float(np.interp(blend, *_blends(w)))
    read = [v.value for table in (evidence.trims, evidence.trims_bank2) for v in table.values()]
    if not read:
        return Asked(blend, more, None)
    beyond = [float(np.sign(v - more)) * max(abs(v - more) - WITHIN - SHARE * more, 0.0) for v in read]
    return Asked(blend, more, max(beyond, key=abs))


def _blends(w: Weighed) -> tuple[Floats, Floats]:
    """Ethanol [%], and what it asks for at idle [%], over the cells that stand for a blend."""
    cells, fuel = w.cells, next(k for k, h in enumerate(HYPOTHESES) if h.name == "fuel error")
    here = np.flatnonzero((cells.cause == fuel) & (cells.size > 100) & (cells.stratum == cells.stratum[0]))
    trim = INDEX["trim 2500"]
    more = cells.means[here, trim] - cells.means[cells.healthy[here], trim]
    order = np.argsort(cells.size[here])
    return np.append(ETHANOL, cells.size[here][order] - 100), np.append(0.0, more[order])
