"""What an answer of the car says, decoded: the shapes."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from tickover.results import Result

Ignition = Literal["spark", "compression"]
CodeKind = Literal["confirmed", "pending", "permanent"]
ResultState = Literal["inside its limits", "outside its limits", "not run"]


class Monitor(Result):
    """One monitor of one controller.

    Attributes:
        name: as in ``monitors.SPARK``, ``monitors.COMPRESSION`` or ``monitors.CONTINUOUS``.
        complete: whether it has finished: since the last clear (parameter 01) or in this driving cycle (41).
        continuous: whether it runs all the time.
    """

    name: str
    complete: bool
    continuous: bool = False


class MonitorStatus(Result):
    """Parameter 01 (since the last clear) or 41 (this driving cycle) of service 01.

    Attributes:
        pid: 0x01 or 0x41.
        lamp: whether this controller asks for the engine lamp; None in 41.
        stored: confirmed emission codes in this controller; None in 41.
        ignition: which layout the bytes have.
        monitors: those it supports (01) or that can still run in this cycle (41); others are not there.
    """

    kind: Literal["monitor status"] = "monitor status"
    pid: Literal[0x01, 0x41]
    lamp: bool | None
    stored: int | None
    ignition: Ignition
    monitors: tuple[Monitor, ...]

    @property
    def open(self) -> tuple[Monitor, ...]:
        """Those that are supported and not complete."""
        return tuple(m for m in self.monitors if not m.complete)


class Value(Result):
    """One figure of service 01.

    Attributes:
        pid: its parameter.
        name: the standard name where the vocabulary has one, else ours.
        value: in ``unit``; None where the controller says that it is not used.
        unit: as the vocabulary writes it; ``code`` where a number stands for words.
        words: what a code means.
    """

    pid: int
    name: str
    value: float | None
    unit: str
    words: str = ""


class Values(Result):
    """Figures of one answer of service 01."""

    kind: Literal["values"] = "values"
    values: tuple[Value, ...]

    def get(self, name: str) -> float | None:
        """The figure of that name, or None."""
        return next((v.value for v in self.values if v.name == name), None)


class Codes(Result):
    """Trouble codes of services 03, 07 and 0A."""

    kind: Literal["codes"] = "codes"
    of: CodeKind
    codes: tuple[str, ...]


class MonitorResult(Result):
    """One result of service 06.

    Attributes:
        mid, tid, uas: its monitor, test and scaling, as sent.
        monitor, test: their names; a maker's own test has none.
        raw: value, lower and upper limit as sent, signed where the scaling is.
        value, lo, hi: the same in ``unit``; None where the scaling is not known.
        unit: of them.
        state: all three zero means not run since the last clear.
    """

    mid: int
    tid: int
    uas: int
    monitor: str
    test: str
    raw: tuple[int, int, int]
    value: float | None
    lo: float | None
    hi: float | None
    unit: str
    state: ResultState


class MonitorResults(Result):
    """Results of one answer of service 06."""

    kind: Literal["monitor results"] = "monitor results"
    results: tuple[MonitorResult, ...]


class InUse(Result):
    """In-use counters of service 09, information types 08 and 0B.

    Attributes:
        ignition: which layout.
        counters: by the standard's short name, in the order sent.
    """

    kind: Literal["in-use counters"] = "in-use counters"
    ignition: Ignition
    counters: dict[str, int]


class Identity(Result):
    """What the car calls itself: service 09, information types 02, 04, 06 and 0A."""

    kind: Literal["identity"] = "identity"
    of: Literal["VIN", "calibration", "calibration check", "controller name"]
    texts: tuple[str, ...]
    notes: tuple[str, ...] = ()


class Supported(Result):
    """Which numbers of a service this controller answers."""

    kind: Literal["supported"] = "supported"
    service: int
    numbers: tuple[int, ...]


class Refusal(Result):
    """The controller said no."""

    kind: Literal["refusal"] = "refusal"
    service: int
    code: int
    words: str


Answer = Annotated[
    MonitorStatus | Values | Codes | MonitorResults | InUse | Identity | Supported | Refusal,
    Field(discriminator="kind"),
]


class Decoded(Result):
    """One answer with where it came from.

    Attributes:
        ecu: the controller's address as typed; empty where none was.
        line: where it was typed, from 1.
        t: when [s], where the text said so.
        answer: what it says.
    """

    ecu: str = ""
    line: int | None = None
    t: float | None = None
    answer: Answer
