"""Shapes of what an idle measurement answers."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from tickover.results import CannotTell, Measured, Result

StateName = Literal["loads off", "loads on", "one load state"]
Verdict = Literal["settled", "better", "no change", "worse", "cannot tell"]

_NOT_RECORDED = CannotTell(reason="not recorded")


class Stretch(Result):
    """A piece of the recording, used or not. The pieces follow each other without a gap.

    Attributes:
        start, stop: from when to when [s on the recording's clock].
        starts_because, ends_because: what changed at its ends.
        used: whether it counts as idle.
        unused_because: why not, where it does not.
    """

    start: float
    stop: float
    starts_because: str
    ends_because: str
    used: bool
    unused_because: str | None = None


class IdleState(Result):
    """The idle under one load.

    Attributes:
        name: which load: ``loads on`` where throttle or manifold pressure stand higher.
        seconds: time in it that counts [s].
        refreshes: measurements of engine speed in that time.
        speed: mean over time [r/min], 95 %.
        spread: standard deviation over time, 10 s after each change of load left out [r/min].
        trim: short and long trim together, bank 1 [%].
        coolant: lowest and highest [°C]; None where not recorded.
        manifold_pressure: mean [kPa].
        air_flow: mean [g/s].
        throttle: mean [%].
        dwells: the pieces of time that count [s].
    """

    name: StateName
    seconds: float
    refreshes: int
    speed: Measured
    spread: float | None
    trim: Measured
    coolant: tuple[float, float] | None
    manifold_pressure: Measured = _NOT_RECORDED
    air_flow: Measured = _NOT_RECORDED
    throttle: Measured = _NOT_RECORDED
    dwells: tuple[tuple[float, float], ...] = ()


class IdleReading(Result):
    """A measured idle.

    Attributes:
        states: one for each load state, loads off first; never empty.
        stretches: the whole recording, piece by piece.
        refusals: what cannot be told, and why.
        swing: how far the speed swings about its mean in the first state, √2 · sd [r/min].
        settled_from: when the first used stretch begins [s].
        rests_on: what the reading rests on, in sentences.
        trace: ``t`` [s] and ``speed`` [r/min], thinned for pictures.
        simulated: whether the car was invented.
        source: file or device.
    """

    kind: Literal["idle"] = "idle"
    states: tuple[IdleState, ...] = Field(min_length=1)
    stretches: tuple[Stretch, ...]
    refusals: tuple[CannotTell, ...] = ()
    swing: Measured
    settled_from: float
    rests_on: tuple[str, ...] = ()
    trace: dict[str, list[float]]
    simulated: bool = False
    source: str = ""

    def state(self, name: str) -> IdleState | None:
        """The state of that name, or None."""
        return next((s for s in self.states if s.name == name), None)


class Comparison(Result):
    """One idle against another.

    Attributes:
        verdict: settled, better, no change, worse or cannot tell.
        sentence: the verdict in one sentence that a customer can read.
        difference: after − before [r/min], 95 %.
        before, after: the two speeds [r/min].
        state: the load state in which they were compared.
        normal: the normal idle of this car, where it is known [r/min].
        rests_on: what the verdict rests on.
    """

    kind: Literal["comparison"] = "comparison"
    verdict: Verdict
    sentence: str
    difference: Measured
    before: Measured
    after: Measured
    state: str = ""
    normal: tuple[float, float] | None = None
    rests_on: tuple[str, ...] = ()
