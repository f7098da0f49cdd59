"""One tree of errors. Every leaf carries the values that failed and the way out.

::

    TickoverError                     something the user can act on; exit code 2
    ├── InputError                    a file or an argument cannot be used as given
    │   ├── RoutineFileError          all faults of one routine file, together
    │   ├── LogFileError              a log that cannot be read as one
    │   ├── AttemptFileError          an attempt file with a broken line
    │   └── ReplyError                a car's answer that cannot be decoded
    ├── SignalError                   a quantity that is not what its name promises
    │   ├── UnknownSignalError        a name outside the vocabulary
    │   ├── UnitError                 a unit that does not measure this quantity
    │   └── SignalRangeError          a value outside the range of validity
    ├── TimingError                   the temporal mathematics refuses
    │   ├── ContradictionError        bounds that no run can keep, with the shortest cycle
    │   ├── NotControllableError      the car's answers can defeat any performer, with the reason
    │   └── OutOfOrderError           an event that the step function cannot take now
    ├── SwitchError                   a step that this car's ignition switch cannot do
    ├── PaperError                    a page that cannot be set
    ├── JobError                      the job record cannot do this; nothing was changed
    │   ├── UnknownJobError           no job of that number
    │   ├── UnknownAttemptError       no attempt of that mark is running
    │   ├── UnknownEntryError         no entry of that number in the job
    │   ├── StoreError                the store itself: missing, foreign, damaged, unreachable
    │   │   ├── LockedStoreError      somebody else is writing, for too long
    │   │   ├── ReadOnlyStoreError    the store may only be read
    │   │   ├── FullStoreError        no room left on the disk
    │   │   └── NewerStoreError       written by a newer program
    │   ├── AttachmentError           an attachment that is unknown, too large or damaged
    │   ├── ArchiveError              an exported job that cannot be trusted
    │   └── PartedJobError            two copies of a job that each went their own way
    └── MissingExtraError             an optional library is not installed
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any


class TickoverError(Exception):
    """Something went wrong that the user can act on.

    Args:
        what: one sentence, no full stop needed, naming the values that failed.
        way_out: what to do about it; empty where there is nothing to do.
    """

    exit_code = 2

    def __init__(self, what: str, *, way_out: str = "") -> None:
        super().__init__(what)
        self.what = what
        self.way_out = way_out

    def __str__(self) -> str:
        return f"{self.what}. {self.way_out}" if self.way_out else self.what

    def as_dict(self) -> dict[str, Any]:
        """The one JSON shape of an error, shared by ``--json`` and the pages."""
        values = {k: v for k, v in vars(self).items() if k not in {"what", "way_out"} and not k.startswith("_")}
        return {"error": type(self).__name__, "what": self.what, "way_out": self.way_out, "values": values}


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing wrong in a file: where, what, and the way out."""

    line: int | None
    what: str
    way_out: str = ""
    step: str | None = None

    def __str__(self) -> str:
        where = f"line {self.line}: " if self.line is not None else ""
        step = f"step “{self.step}”: " if self.step else ""
        return f"{where}{step}{self.what}" + (f". {self.way_out}" if self.way_out else "")


class InputError(TickoverError):
    """A file or an argument that cannot be used as given.

    Args:
        what: what is wrong.
        file: the file's name, where there is one.
        line: the line, counted from 1, where it is known.
        way_out: what to do about it.
    """

    def __init__(self, what: str, *, file: str | None = None, line: int | None = None, way_out: str = "") -> None:
        super().__init__(what, way_out=way_out)
        self.file = file
        self.line = line

    def __str__(self) -> str:
        where = ", ".join(p for p in (self.file, f"line {self.line}" if self.line is not None else None) if p)
        return f"{where}: {super().__str__()}" if where else super().__str__()


class RoutineFileError(InputError):
    """All the faults of one routine file, reported together."""

    def __init__(self, file: str, faults: Sequence[Fault]) -> None:
        super().__init__(f"{len(faults)} fault{'s' if len(faults) != 1 else ''} in this routine", file=file)
        self.faults = tuple(faults)

    def __str__(self) -> str:
        return "\n".join([super().__str__(), *(f"  {fault}" for fault in self.faults)])

    def as_dict(self) -> dict[str, Any]:
        """As the parent's, with each fault as an object."""
        shape = super().as_dict()
        shape["values"]["faults"] = [
            {"line": f.line, "step": f.step, "what": f.what, "way_out": f.way_out} for f in self.faults
        ]
        return shape


class LogFileError(InputError):
    """A log that cannot be read as one."""


class AttemptFileError(InputError):
    """An attempt file with a broken header or line."""


class ReplyError(InputError):
    """A car's answer that cannot be decoded.

    Args:
        what: what is wrong.
        line: the line it was typed on, counted from 1.
        byte: the byte of the answer at which it goes wrong, counted from 1.
    """

    def __init__(
        self, what: str, *, file: str | None = None, line: int | None = None, byte: int | None = None, way_out: str = ""
    ) -> None:
        super().__init__(what, file=file, line=line, way_out=way_out)
        self.byte = byte


class SignalError(TickoverError):
    """A quantity that is not what its name promises."""


class UnknownSignalError(SignalError):
    """A name that is not in the vocabulary."""

    def __init__(self, name: str, near: Sequence[str] = ()) -> None:
        hint = f"Did you mean {', '.join(near)}?" if near else "`tickover.signals.VOCABULARY` lists the names."
        super().__init__(f"no signal is called “{name}”", way_out=hint)
        self.name = name
        self.near = tuple(near)


class UnitError(SignalError):
    """A unit that is unknown, or does not measure this quantity."""

    def __init__(self, unit: str, wanted: str) -> None:
        super().__init__(f"“{unit}” cannot be turned into “{wanted}”", way_out="Name a unit of the same quantity.")
        self.unit = unit
        self.wanted = wanted


class SignalRangeError(SignalError):
    """A value outside the range in which a function is valid."""

    def __init__(self, name: str, value: float, lo: float, hi: float, index: int | None = None) -> None:
        at = f" at index {index}" if index is not None else ""
        super().__init__(f"{name} {value:g}{at} is outside {lo:g} to {hi:g}")
        self.name = name
        self.value = value
        self.lo = lo
        self.hi = hi
        self.index = index


class TimingError(TickoverError):
    """The temporal mathematics refuses."""


class ContradictionError(TimingError):
    """Bounds that no run can keep together.

    Args:
        cycle: labels of the bounds on the shortest contradicting cycle, in order.
        short_by: by how much they contradict each other [s].
    """

    def __init__(self, cycle: Sequence[str], short_by: float) -> None:
        super().__init__(
            f"these bounds cannot all be kept, they miss each other by {short_by:g} s: {'; '.join(cycle)}",
            way_out="Widen one of them.",
        )
        self.cycle = tuple(cycle)
        self.short_by = short_by


class NotControllableError(TimingError):
    """The car's answers can defeat any performer."""

    def __init__(self, reason: str, labels: Sequence[str] = ()) -> None:
        super().__init__(reason, way_out="Count the step from the answer itself, or widen its bound.")
        self.labels = tuple(labels)


class OutOfOrderError(TimingError):
    """An event that the step function cannot take now."""

    def __init__(self, event: str, why: str) -> None:
        super().__init__(f"“{event}” cannot happen now: {why}")
        self.event = event


class SwitchError(TickoverError):
    """A step that this car's ignition switch cannot do."""

    def __init__(self, step: str, switch: str, why: str) -> None:
        super().__init__(f"step “{step}” cannot be done on a {switch} switch: {why}")
        self.step = step
        self.switch = switch
        self.why = why


class PaperError(TickoverError):
    """A page that cannot be set.

    Args:
        what: why not.
        hints: what the typesetter advises.
    """

    def __init__(self, what: str, *, hints: Sequence[str] = (), way_out: str = "") -> None:
        super().__init__(f"this page cannot be set: {what}", way_out=way_out or " ".join(hints))
        self.hints = tuple(hints)


class MissingExtraError(TickoverError):
    """An optional library is not installed."""

    def __init__(self, library: str, extra: str, purpose: str) -> None:
        super().__init__(f"{purpose} needs {library}", way_out=f"pip install 'tickover[{extra}]'")
        self.library = library
        self.extra = extra


class JobError(TickoverError):
    """The job record cannot do this; what it holds is unchanged."""


class UnknownJobError(JobError):
    """There is no job of that number."""

    def __init__(self, job: int, store: str, *, last: int = 0) -> None:
        there = "it holds none yet" if not last else "it holds job 1" if last == 1 else f"it holds jobs 1 to {last}"
        super().__init__(
            f"there is no job {job} in {store}; {there}",
            way_out="`tickover job list` lists them." if last else "Begin one with `tickover job new`.",
        )
        self.job = job
        self.store = store


class UnknownAttemptError(JobError):
    """There is no live attempt of that name."""

    def __init__(self, attempt: str) -> None:
        super().__init__(f"there is no attempt “{attempt}”", way_out="Open the coach from the job's own page.")
        self.attempt = attempt


class UnknownEntryError(JobError):
    """There is no entry of that number in the job."""

    def __init__(self, job: int, entry: int, last: int) -> None:
        super().__init__(
            f"job {job} has no entry {entry}; its entries are 1 to {last}", way_out=f"`tickover job show {job}`"
        )
        self.job = job
        self.entry = entry


class StoreError(JobError):
    """The store itself cannot be used.

    Args:
        what: why not.
        store: the file or address.
        way_out: what to do about it.
    """

    def __init__(self, what: str, *, store: str, way_out: str = "") -> None:
        super().__init__(f"{store}: {what}", way_out=way_out)
        self.store = store


class LockedStoreError(StoreError):
    """Somebody else is writing, for longer than we wait."""


class ReadOnlyStoreError(StoreError):
    """The store may only be read."""


class FullStoreError(StoreError):
    """No room is left on the disk."""


class NewerStoreError(StoreError):
    """A newer program wrote this store."""


class AttachmentError(JobError):
    """An attachment that is unknown, too large or damaged; carries its digest and its name."""

    def __init__(self, what: str, *, digest: str = "", name: str = "", way_out: str = "") -> None:
        super().__init__(what, way_out=way_out)
        self.digest = digest
        self.name = name


class ArchiveError(JobError):
    """An exported job that cannot be trusted; nothing of it was stored."""

    def __init__(self, what: str, *, file: str, way_out: str = "Ask for the file again.") -> None:
        super().__init__(f"{file}: {what}", way_out=way_out)
        self.file = file


class PartedJobError(JobError):
    """Two copies of one job that each went their own way."""

    def __init__(self, job: int, entry: int) -> None:
        super().__init__(
            f"job {job} is here already, and from entry {entry} on the two copies differ",
            way_out="Keep the file; add what is missing here by hand.",
        )
        self.job = job
        self.entry = entry
