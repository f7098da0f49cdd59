"""One attempt at a routine: a header, then one line an event, written and read line by line.

The file is JSON lines. The first line is the header; each later line is one event. Events are flushed as they happen,
so a file that was cut off (power, Ctrl-C) is still an attempt: a torn last line is accepted and reported, any other
broken line is an error that names it.

Every event brackets the instant at which it happened, ``t_lo ≤ t ≤ t_hi``, on a named clock; the header says by how
much each clock may be ahead of the attempt's own time (``offset``: attempt time = clock time + offset).
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import IO, Annotated, Literal, TypeVar

from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

from tickover.errors import AttemptFileError

ATTEMPT_VERSION = 1

KINDS: dict[str, str] = {
    "ignition off": "ignition switched off",
    "ignition accessory": "ignition at accessory",
    "ignition on": "ignition on, engine off",
    "crank": "starter engaged",
    "running": "engine runs by itself",
    "stopped": "engine stopped turning",
    "press": "pedal reached 90 % of its travel on the way down",
    "release": "pedal came below 10 % of its travel on the way up",
    "lamp lit": "engine lamp became steadily lit",
    "lamp flashing": "engine lamp began to flash",
    "lamp off": "engine lamp went dark",
    "brake press": "foot on the brake",
    "brake release": "foot off the brake",
    "gear drive": "a drive gear was selected",
    "gear neutral": "P or N was selected",
    "load on": "a load went on",
    "load off": "a load went off",
    "fan on": "radiator fan began to turn",
    "fan off": "radiator fan stood still again",
    "hold speed": "engine speed came into the range in which it is held by the pedal",
    "let idle": "the pedal was let go, the engine falls back to idle",
    "drive": "the car drives: pulls or keeps its speed",
    "coast": "pedal let go in gear while the car rolls",
    "stand": "the car came to a stand",
    "time counts": "what time counts under began to hold, as somebody saw",
    "time stands": "what time counts under ceased to hold, as somebody saw",
    "end": "the watch ended; nothing later was recorded",
}
"""Kinds of event an attempt may hold, and what instant each one marks."""

Kind = Literal[
    "ignition off",
    "ignition accessory",
    "ignition on",
    "crank",
    "running",
    "stopped",
    "press",
    "release",
    "lamp lit",
    "lamp flashing",
    "lamp off",
    "brake press",
    "brake release",
    "gear drive",
    "gear neutral",
    "load on",
    "load off",
    "fan on",
    "fan off",
    "hold speed",
    "let idle",
    "drive",
    "coast",
    "stand",
    "time counts",
    "time stands",
    "end",
]

ACTS: frozenset[Kind] = frozenset(
    {
        "ignition off",
        "ignition accessory",
        "ignition on",
        "crank",
        "press",
        "release",
        "brake press",
        "brake release",
        "gear drive",
        "gear neutral",
        "load on",
        "load off",
        "hold speed",
        "let idle",
        "drive",
        "coast",
        "stand",
    }
)
"""Kinds that a person makes; the rest are the car's, or the recorder's."""


class _Line(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


_L = TypeVar("_L", bound=_Line)


class ClockOffset(_Line):
    """How far a clock may stand from the attempt's own time [s]; 0, 0 is the attempt's own clock."""

    lo: float = 0.0
    hi: float = 0.0

    @model_validator(mode="after")
    def _ordered(self) -> ClockOffset:
        if self.lo > self.hi:
            raise ValueError("offset is upside down")
        return self


class Header(_Line):
    """First line of an attempt file.

    Attributes:
        routine: the routine's id.
        routine_hash: digest of its compiled form; a judge refuses another routine of the same name.
        clocks: every clock used below, with its offset interval [s].
        simulated: true where car or person were simulated.
        begun: wall-clock start, ISO 8601, where the recorder knows it.
        by: who performed it, free text.
        watched: conditions of counted time whose changes were all recorded; what is not named is known only where the
            attempt tells of it.
        cued: whether a coach gave each act its tone; None where nobody said.
    """

    v: Literal[1] = 1
    record: Literal["attempt"] = "attempt"
    routine: str
    routine_hash: str
    clocks: dict[str, ClockOffset] = Field(default_factory=lambda: {"main": ClockOffset()})
    simulated: bool = False
    begun: str | None = None
    by: str | None = None
    watched: tuple[str, ...] = ()
    cued: bool | None = None


class Event(_Line):
    """One event: what happened, and the interval in which it happened [s on ``clock``]."""

    v: Literal[1] = 1
    seq: Annotated[int, Field(ge=0)]
    kind: Kind
    t_lo: float
    t_hi: float
    clock: str = "main"
    source: str = "taps"

    @model_validator(mode="after")
    def _ordered(self) -> Event:
        if self.t_lo > self.t_hi:
            raise ValueError("t_lo is after t_hi")
        return self


class Attempt(_Line):
    """A whole attempt, in memory.

    Attributes:
        header: the first line.
        events: the events, ``seq`` rising.
        torn: the cut-off last line, where there was one.
    """

    header: Header
    events: tuple[Event, ...] = ()
    torn: str | None = None


class AttemptWriter:
    """Writes an attempt to an open text stream, one flushed line an event.

    Args:
        stream: text stream, opened by the caller, who closes it.
        header: written at once.
    """

    def __init__(self, stream: IO[str], header: Header) -> None:
        self._stream = stream
        self._clocks = header.clocks
        self._next = 0
        self._write(header.model_dump_json())

    def event(self, kind: Kind, t_lo: float, t_hi: float, *, clock: str = "main", source: str = "taps") -> Event:
        """Append one event and flush it.

        Args:
            kind: one of ``KINDS``.
            t_lo, t_hi: bracket of the instant, on ``clock`` [s].
            clock: a clock named in the header.
            source: who or what saw it.
        Returns: the event as written.
        Raises: KeyError if the header does not name the clock.
        """
        if clock not in self._clocks:
            raise KeyError(clock)
        event = Event(seq=self._next, kind=kind, t_lo=t_lo, t_hi=t_hi, clock=clock, source=source)
        self._next += 1
        self._write(event.model_dump_json())
        return event

    def _write(self, line: str) -> None:
        self._stream.write(line + "\n")
        self._stream.flush()


def write_attempt(path: Path, attempt: Attempt) -> None:
    """Write a whole attempt to ``path``."""
    with path.open("w", encoding="utf-8") as stream:
        lines: list[_Line] = [attempt.header, *attempt.events]
        stream.writelines(line.model_dump_json() + "\n" for line in lines)


def read_attempt(path: Path) -> Attempt:
    """Read an attempt file.

    Args:
        path: JSON lines as written by ``AttemptWriter``, UTF-8.
    Returns: the attempt; ``torn`` holds a last line that was cut off.
    Raises: AttemptFileError naming file, line and way out: no such file, not UTF-8, no header, a broken line that is
        not the last, an unknown clock, numbers not rising.
    """
    try:
        text = path.read_text(encoding="utf-8")
    except OSError as why:
        way = "Name an attempt file, as `tickover coach` leaves them."
        raise AttemptFileError(f"cannot be read: {why.strerror}", file=str(path), way_out=way) from None
    except UnicodeDecodeError:
        raise AttemptFileError("is not text in UTF-8", file=str(path), way_out="Name an attempt file.") from None
    return parse_attempt(text, file=str(path))


def parse_attempt(text: str, *, file: str = "attempt") -> Attempt:
    """As ``read_attempt``, from text already in memory."""
    lines = text.splitlines()
    ended = text.endswith("\n")
    if not lines:
        raise AttemptFileError("is empty", file=file, way_out="An attempt file begins with its header line.")
    header = _parse(lines[0], file, 1, Header)
    events: list[Event] = []
    torn: str | None = None
    for number, line in enumerate(lines[1:], start=2):
        if not line.strip():
            continue
        try:
            event = _parse(line, file, number, Event)
        except AttemptFileError:
            if number == len(lines) and not ended:
                torn = line
                break
            raise
        if event.clock not in header.clocks:
            raise AttemptFileError(
                f"clock “{event.clock}” is not in the header", file=file, line=number, way_out="Name it in line 1."
            )
        if events and event.seq <= events[-1].seq:
            raise AttemptFileError(f"event {event.seq} comes after {events[-1].seq}", file=file, line=number)
        events.append(event)
    return Attempt(header=header, events=tuple(events), torn=torn)


def _parse(line: str, file: str, number: int, model: type[_L]) -> _L:
    try:
        return model.model_validate(json.loads(line))
    except json.JSONDecodeError as why:
        way = (
            "Name an attempt file, as `tickover coach` leaves them." if number == 1 else "Mend the line, or cut it out."
        )
        raise AttemptFileError(f"is not JSON: {why.msg}", file=file, line=number, way_out=way) from None
    except ValidationError as why:
        first = why.errors()[0]
        where = ".".join(str(p) for p in first["loc"]) or "the line"
        what = f"{where}: {first['msg']}"
        if where == "kind":
            what = f"kind: “{first['input']}” is no kind of event"
        way = "docs/reference/attempts.md lists what a line may hold."
        raise AttemptFileError(what, file=file, line=number, way_out=way) from None
