"""Shapes of what an idle measurement answers."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from tickover.results import CannotTell, Measured, Result

StateName = Literal["loads off", "loads on", "one load state"]
Verdict = Literal["settled", "better", "no change", "worse", "cannot tell"]

_NOT_RECORDED = CannotTell(reason="not recorded")
_NOT_LOOKED = CannotTell(reason="whether it hunts: not looked for")


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


class Hunting(Result):
    """Whether the speed swings regularly.

    Attributes:
        found: whether a regular swing stands out from wander, and moves the speed by 25 r/min or more.
        size: √2 · sd of the speed [r/min]; the amplitude of a sine of that spread.
        frequency: how fast [Hz]; cannot tell where several frequencies explain the log as well.
        candidates: those frequencies [Hz], rising; empty where nothing was found.
        seen_from: a regular swing of this size would have been seen [r/min]; None where it is not known.
        unseen: frequencies at which a swing keeps step with even polling and stays unseen [Hz].
    """

    kind: Literal["hunting"] = "hunting"
    found: bool
    size: Measured
    frequency: Measured
    candidates: tuple[float, ...] = ()
    seen_from: float | None = None
    unseen: tuple[float, ...] = ()


class Release(Result):
    """What the speed did after the pedal was let up while the car stood.

    Attributes:
        at: when [s].
        peak: highest speed about then [r/min].
        settles: time until the speed stays within 60 r/min of idle [s]; open above where it never does.
        above: time for which it stayed more than 200 r/min above idle [s].
        hanging: whether that was 3 s or longer.
    """

    at: float
    peak: float
    settles: Measured
    above: Measured
    hanging: Literal["yes", "no", "cannot tell"]


class Dip(Result):
    """A near-stall: when [s], and the lowest speed seen [r/min]."""

    at: float
    lowest: float


class ColdIdle(Result):
    """The idle before it is warm, near one coolant temperature [°C]: mean speed [r/min]."""

    coolant: float
    speed: Measured


class Expected(Result):
    """A measured quantity against what an engine of this size should show.

    Attributes:
        what: which.
        measured: what was found.
        lo, hi: what is to be expected, in the same unit.
        agrees: whether the two may be the same.
        says: that in a sentence.
    """

    what: str
    measured: Measured
    lo: float
    hi: float
    agrees: bool
    says: str


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
        hunting: whether the speed swings regularly, in the first state.
        releases: what it did after each let-up of the pedal.
        dips: near-stalls.
        cold: the idle by coolant before it was warm.
        expected: air against displacement, where that was given.
        trim_trace: ``t`` [s] and ``trim`` [%], short and long together, thinned.
        by_eye: whether a person read it off a tachometer.
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
    hunting: Annotated[Hunting | CannotTell, Field(discriminator="kind")] = _NOT_LOOKED
    releases: tuple[Release, ...] = ()
    dips: tuple[Dip, ...] = ()
    cold: tuple[ColdIdle, ...] = ()
    expected: tuple[Expected, ...] = ()
    trim_trace: dict[str, list[float]] = Field(default_factory=dict)
    by_eye: bool = False

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
        before_state, after_state: all the numbers of the two states that were compared.
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
    before_state: IdleState | None = None
    after_state: IdleState | None = None
