"""What was seen of a car, each piece with its spread and how it was got. Every piece may be missing."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field, field_validator, model_validator

from tickover.cause.acts import TESTS
from tickover.results import Result

Point = Literal["idle", "idle with load", "2500", "cruise", "hard load"]
"""Where the engine is held while somebody reads: as ``engine.POINTS``."""
VoltsWhen = Literal["rest", "key on", "cranking", "running"]
"""Battery volts: rested for hours; after a minute of ignition on; while the starter turns; engine running."""
Metering = Literal["air", "pressure"]
How = Literal["typed", "by eye", "log", "job", "reader"]
History = Literal["battery", "cleaned", "misfire", "unplugged", "nothing"]
"""What happened before, in the words of arrival: battery flat or off, throttle cleaned, misfire cured, controller or
throttle unplugged, nothing of the kind."""
Complaint = Literal["high", "hangs", "hunts", "rough", "low", "stalls", "none"]


class Value(Result):
    """A number somebody read.

    Attributes:
        value: in the unit of its place.
        spread: one standard deviation of the reading [same unit]; the default of its kind where None.
        how: how it was got.
        at_limit: it stands at the controller's limit, so the truth is this or beyond.
    """

    value: float
    spread: float | None = Field(default=None, gt=0)
    how: How = "typed"
    at_limit: bool = False


def _as_value(given: Any) -> Any:  # noqa: ANN401 — whatever the caller gave; pydantic judges it
    return {"value": float(given)} if isinstance(given, int | float) and not isinstance(given, bool) else given


Read = Annotated[Value, BeforeValidator(_as_value)]
"""A ``Value``; a bare number is taken as one that was typed."""


class Car(Result):
    """What is known of the car; what is not known stays open and widens the answer.

    Attributes:
        metering: "air" by an air meter, "pressure" by manifold pressure; None for not known.
        displacement_l: all cylinders [l].
        cylinders: their number.
        normal: the car's normal warm idle [r/min], lowest and highest.
        idle_air_normal: commanded idle air of this car when it was well, warm, loads off [%].
        outside_kpa: air pressure where the car stands [kPa]; 101.3 at the sea, about 1.2 less every 100 m up.
    """

    metering: Metering | None = None
    displacement_l: float | None = Field(default=None, ge=0.6, le=6.0)
    cylinders: int | None = Field(default=None, ge=2, le=12)
    normal: tuple[float, float] | None = None
    idle_air_normal: float | None = Field(default=None, gt=0, le=100)
    outside_kpa: float | None = Field(default=None, ge=60, le=108)

    @field_validator("normal")
    @classmethod
    def _normal_in_order(cls, given: tuple[float, float] | None) -> tuple[float, float] | None:
        if given is not None and not 300 <= given[0] <= given[1] <= 1500:
            raise ValueError(
                f"a normal idle lies between 300 and 1500 r/min, lowest first: {given[0]:g} to {given[1]:g}"
            )
        return given


class Evidence(Result):
    """All that was seen of one car in one state, warm unless said. Everything may be missing.

    Attributes:
        trims: short and long trim together, bank 1 [%], by point; + adds fuel.
        trims_bank2: the same of bank 2.
        air_flow: what the air meter reports [g/s], by point.
        manifold: manifold pressure, absolute [kPa], by point.
        vacuum: gauge vacuum at warm idle [kPa below outside].
        idle_speed: warm, loads off [r/min].
        idle_air: commanded idle air, warm, loads off [%].
        misfires: missed firings per 1,000 revolutions, all cylinders together.
        roughness: standard deviation of the warm idle's speed [r/min].
        volts: battery or module volts, by when.
        coolant: where the reading settles when warm [°C].
        coolant_behaviour: of the coolant reading: normal, slow to warm, or jumping.
        codes: stored codes; an empty tuple where they were read and there are none; None where not read.
        history: what happened before; None where nobody asked.
        complaint: what it does, warm; None where not told.
        verdict: of the comparison before against after a relearn.
        attempts: correct attempts at a relearn that changed nothing.
        ethanol: share in the fuel by volume [%].
        tests: outcome of each test done, by its name; names and outcomes as in ``TESTS``.
        long_trim_zero: whether the long trim stands at exactly 0 everywhere, engine warm, loop closed.
        since_clear: minutes of running since the memory or codes were cleared [min].
    """

    trims: Mapping[Point, Read] = Field(default_factory=dict)
    trims_bank2: Mapping[Point, Read] = Field(default_factory=dict)
    air_flow: Mapping[Point, Read] = Field(default_factory=dict)
    manifold: Mapping[Point, Read] = Field(default_factory=dict)
    vacuum: Read | None = None
    idle_speed: Read | None = None
    idle_air: Read | None = None
    misfires: Read | None = None
    roughness: Read | None = None
    volts: Mapping[VoltsWhen, Read] = Field(default_factory=dict)
    coolant: Read | None = None
    coolant_behaviour: Literal["normal", "slow to warm", "jumps"] | None = None
    codes: tuple[str, ...] | None = None
    history: tuple[History, ...] | None = None
    complaint: tuple[Complaint, ...] | None = None
    verdict: Literal["settled", "better", "no change", "worse", "cannot tell"] | None = None
    attempts: int = Field(default=0, ge=0, le=10)
    ethanol: Read | None = None
    tests: Mapping[str, str] = Field(default_factory=dict)
    long_trim_zero: bool | None = None
    since_clear: float | None = Field(default=None, ge=0)

    @field_validator("codes")
    @classmethod
    def _codes_upper(cls, given: tuple[str, ...] | None) -> tuple[str, ...] | None:
        return None if given is None else tuple(c.strip().upper() for c in given)

    @field_validator("tests")
    @classmethod
    def _tests_known(cls, given: Mapping[str, str]) -> Mapping[str, str]:
        for name, outcome in given.items():
            if name not in TESTS:
                raise ValueError(f"no test is called {name!r}; there are {', '.join(TESTS)}")
            if outcome not in TESTS[name].outcomes:
                raise ValueError(
                    f"the outcome of {name!r} is one of {', '.join(TESTS[name].outcomes)}, not {outcome!r}"
                )
        return given

    @model_validator(mode="after")
    def _plausible(self) -> Evidence:
        for at, low, high, given in (
            ("trim", -60.0, 60.0, [*self.trims.values(), *self.trims_bank2.values()]),
            ("air flow", 0.1, 400.0, list(self.air_flow.values())),
            ("manifold pressure", 5.0, 110.0, list(self.manifold.values())),
            ("vacuum", 0.0, 95.0, [self.vacuum] if self.vacuum else []),
            ("idle speed", 200.0, 3500.0, [self.idle_speed] if self.idle_speed else []),
            ("idle air", 0.0, 100.0, [self.idle_air] if self.idle_air else []),
            ("misfires", 0.0, 4000.0, [self.misfires] if self.misfires else []),
            ("roughness", 0.0, 500.0, [self.roughness] if self.roughness else []),
            ("volts", 4.0, 18.0, list(self.volts.values())),
            ("coolant", -40.0, 140.0, [self.coolant] if self.coolant else []),
            ("ethanol", 0.0, 100.0, [self.ethanol] if self.ethanol else []),
        ):
            for one in given:
                if not low <= one.value <= high:
                    raise ValueError(f"{at} {one.value:g} lies outside {low:g} to {high:g}")
        return self
