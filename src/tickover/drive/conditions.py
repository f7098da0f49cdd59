"""Conditions as data: what must hold on a drive, for how long, and which monitor waits for it.

The built-in file is overlaid, entry by entry, by a file of the user's own: the car's service information wins.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path as File
from typing import Any, Literal, get_args

from tickover.errors import InputError, RoutineFileError, UnknownSignalError
from tickover.readiness.names import is_continuous, monitor_called
from tickover.routines.grammar import Key
from tickover.routines.positions import Path, Positions, read_toml
from tickover.routines.reading import Faults, Table, near
from tickover.signals import signal

ConditionKind = Literal["total", "stretch", "start", "reach"]
Act = Literal["stand", "hold", "coast", "warm up"]
BasisWords = Literal["from memory", "trade practice", "service information", "published", "own choice", "plan"]
Engine = Literal["any", "spark", "diesel"]

BUILT_IN = File(__file__).parent / "conditions.toml"

DERIVED: dict[str, tuple[str, str, str]] = {
    "pedal_travel": ("%", "pedal", "pedal above its rest, the rest learned from the log"),
    "coolant_rise": ("°C", "rise of the coolant", "coolant above its value at the start"),
    "coolant_above_outside": ("°C", "coolant above outside air", "coolant at the start above the outside air"),
    "outside": ("°C", "outside air", "outside air; the intake air at the start where the log holds no other"),
    "soaked": ("h", "hours stood", "hours the engine stood before the start"),
}
"""Quantities that are worked out: unit, label, meaning."""

_KINDS: tuple[ConditionKind, ...] = get_args(ConditionKind)
_ACTS: tuple[Act, ...] = get_args(Act)
_BASES = tuple(b for b in get_args(BasisWords) if b != "plan")

_LIMIT = (
    Key("of", "text", "A quantity from the list of signals, or one that is worked out.", True),
    Key("at_least", "number", "Lowest value."),
    Key("at_most", "number", "Highest value."),
    Key("between", "pair", "Lowest and highest value."),
    Key("grain", "number", "What the reading is rounded to: half of it is given."),
    Key("assume", "text", "What is assumed where the log does not hold the quantity."),
)
_PLAN = (
    Key("act", "choice", "What the driver does for it.", True, _ACTS),
    Key("warm", "flag", "Whether it needs a warm engine."),
    Key("cold", "flag", "Whether it belongs right after a cold start."),
    Key("from", "number", "Speed to come down from [km/h]."),
)
_CONDITION = (
    Key("id", "name", "Its name.", True),
    Key("title", "text", "Its name for people."),
    Key("kind", "choice", "How time counts.", False, _KINDS),
    Key("seconds", "number", "How long, for a total and a stretch."),
    Key("times", "whole", "How many stretches."),
    Key("limits", "tables", "What must hold together."),
    Key("diesel", "tables", "What must hold instead on a diesel."),
    Key("basis", "choice", "What it rests on.", False, _BASES),
    Key("source", "text", "Where it is written."),
    Key("plan", "table", "How it is driven."),
)
_MONITOR = (
    Key("id", "name", "Its name.", True),
    Key("title", "text", "Its name for people."),
    Key("conditions", "names", "What it waits for, all of them."),
    Key("called", "texts", "What the decoder of readiness calls it."),
    Key("engine", "choice", "Engines that have it.", False, get_args(Engine)),
    Key("cold", "flag", "Whether the drive begins with a cold start."),
)
_HEAD = (
    Key("condition", "tables", "Conditions."),
    Key("monitor", "tables", "Monitors."),
    Key("holds", "table", "How long a reading is held [s]."),
)


@dataclass(frozen=True, slots=True)
class Limit:
    """One quantity within limits.

    Attributes:
        of: standard name, or one of ``DERIVED``.
        lo, hi: limits in its unit; infinite on an open side.
        assume: what is assumed where the quantity is not there; empty: then nobody can tell.
        grain: what a reading is rounded to; half of it is given, since a whole degree read may stand for half more.
    """

    of: str
    lo: float = -math.inf
    hi: float = math.inf
    assume: str = ""
    grain: float = 0.0

    @property
    def least(self) -> float:
        """Lowest reading that does."""
        return self.lo - self.grain / 2

    @property
    def most(self) -> float:
        """Highest reading that does."""
        return self.hi + self.grain / 2

    @property
    def unit(self) -> str:
        """Unit of the quantity."""
        return DERIVED[self.of][0] if self.of in DERIVED else signal(self.of).unit

    @property
    def label(self) -> str:
        """The quantity for people."""
        return "speed" if self.of == "vehicle_speed" else label_of(self.of)


def label_of(name: str) -> str:
    """A quantity for people, worked out or measured."""
    return DERIVED[name][1] if name in DERIVED else signal(name).label


@dataclass(frozen=True, slots=True)
class Driving:
    """How a condition is driven: the act, whether warm or right after a cold start, speed to come down from [km/h]."""

    act: Act
    warm: bool = False
    cold: bool = False
    start_speed: float = 0.0


@dataclass(frozen=True, slots=True)
class Condition:
    """One condition on a drive.

    Attributes:
        id, title: its names.
        kind: ``total`` seconds in all; ``stretch`` seconds in one piece, ``times`` of them; ``start`` at the engine's
            start; ``reach`` at any moment.
        limits: what must hold together.
        diesel: the same for a diesel where it differs.
        seconds, times: how long [s] and how often.
        basis, source: what it rests on.
        plan: how it is driven; None where it comes by itself or cannot be driven for.
    """

    id: str
    title: str
    kind: ConditionKind
    limits: tuple[Limit, ...]
    diesel: tuple[Limit, ...] = ()
    seconds: float = 0.0
    times: int = 1
    basis: BasisWords = "own choice"
    source: str = ""
    plan: Driving | None = None

    @property
    def basis_words(self) -> str:
        """What it rests on, for people."""
        if self.basis == "trade practice":
            return "Trade practice, no published source."
        if self.basis == "plan":
            return f"As the plan “{self.source}” asks."
        return f"{self.basis.capitalize()}: {self.source}." if self.source else f"{self.basis.capitalize()}."

    def limit(self, of: str) -> Limit | None:
        """The limit on one quantity, or None."""
        return next((one for one in self.limits if one.of == of), None)


@dataclass(frozen=True, slots=True)
class Monitor:
    """One monitor, or another thing that counts drives: the conditions it waits for."""

    id: str
    title: str
    conditions: tuple[str, ...]
    engine: Engine = "any"
    cold: bool = False
    called: tuple[str, ...] = ()


@dataclass(frozen=True)
class Conditions:
    """Everything a conditions file says; ``holds`` is how long a reading stands [s] by signal."""

    conditions: Mapping[str, Condition]
    monitors: Mapping[str, Monitor]
    holds: Mapping[str, float] = field(default_factory=dict)

    def monitor(self, name: str) -> Monitor:
        """A monitor by its id, or by what people and the decoder of readiness call it.

        Args:
            name: like ``evap`` or ``EVAP`` or ``evaporative system``.
        Raises: InputError with near ones; for a known monitor without a stretch it says so.
        """
        if name in self.monitors:
            return self.monitors[name]
        try:
            called = monitor_called(name)
        except InputError:
            raise InputError(f"no monitor is called “{name}”", way_out=near(name, self.monitors)) from None
        for monitor in self.monitors.values():
            if called in monitor.called:
                return monitor
        if is_continuous(called):
            raise InputError(f"the monitor “{called}” runs all the time", way_out="It needs no drive of its own.")
        raise InputError(
            f"no stretch is known for the monitor “{called}” on this engine",
            way_out="Take it from the car's service information, with --conditions.",
        )

    def for_engine(self, *, diesel: bool) -> Conditions:
        """The part that a spark engine or a diesel has, with its own limits."""
        kind = "diesel" if diesel else "spark"
        monitors = {m.id: m for m in self.monitors.values() if m.engine in ("any", kind)}
        wanted = {c for m in monitors.values() for c in m.conditions}
        found = {i: c for i, c in self.conditions.items() if i in wanted}
        if diesel:
            found = {i: replace(c, limits=c.diesel or c.limits) for i, c in found.items()}
        return Conditions(found, monitors, self.holds)


def load_conditions(file: File | None = None) -> Conditions:
    """The built-in conditions, overlaid by a file of the user's own.

    Args:
        file: TOML; an entry whose id is known changes only the keys it writes, another one is added.
    Returns: all of them.
    Raises: InputError with every fault of the file, each with its line and way out.
    """
    raw, _ = _read(BUILT_IN)
    sources = [raw]
    name = str(BUILT_IN)
    faults: Faults | None = None
    if file is not None:
        own, positions = _read(file)
        name = str(file)
        faults = Faults(positions)
        _own_faults(own, faults)
        _stop(faults, name)
        sources.append(own)
    merged = {key: _merged([s.get(key, []) for s in sources]) for key in ("condition", "monitor")}
    check = Faults(Positions({})) if faults is None else faults
    lines = {str(e.get("id")): ("condition", n) for n, e in enumerate(sources[-1].get("condition", []))}
    conditions = {e["id"]: _condition(e, check, lines.get(e["id"], ())) for e in merged["condition"]}
    monitors = {e["id"]: _monitor(e, conditions, check) for e in merged["monitor"]}
    holds = {k: float(v) for s in sources for k, v in s.get("holds", {}).items()}
    _stop(check, name)
    return Conditions({i: c for i, c in conditions.items() if c is not None}, monitors, holds)


def _read(file: File) -> tuple[dict[str, Any], Positions]:
    try:
        return read_toml(file.read_text(encoding="utf-8"), str(file))
    except OSError as why:
        raise InputError(f"cannot be read: {why.strerror}", file=str(file), way_out="Name a TOML file.") from None
    except UnicodeDecodeError:
        raise InputError("is not text in UTF-8", file=str(file), way_out="Name a TOML file.") from None
    except RoutineFileError as why:
        raise InputError("; ".join(f.what for f in why.faults), file=str(file), line=why.faults[0].line,
                         way_out=why.faults[0].way_out) from None  # fmt: skip


def _stop(faults: Faults, name: str) -> None:
    found = faults.sorted()
    if found:
        plural = "s" if len(found) > 1 else ""
        what = "\n".join([f"{len(found)} fault{plural} in these conditions", *(f"  {f}" for f in found)])
        raise InputError(what, file=name)


def _merged(lists: Sequence[Sequence[Mapping[str, Any]]]) -> list[dict[str, Any]]:
    found: dict[str, dict[str, Any]] = {}
    for entries in lists:
        for entry in entries:
            found[str(entry["id"])] = {**found.get(str(entry["id"]), {}), **entry}
    return list(found.values())


def _own_faults(raw: Mapping[str, Any], faults: Faults) -> None:
    """Note what is not shaped as the grammar asks."""
    head = Table(raw, (), _HEAD, faults)
    for path, entry in head.tables("condition"):
        table = Table(entry, path, _CONDITION, faults, str(entry.get("id", "")))
        for key in ("limits", "diesel"):
            for place, one in table.tables(key):
                _limit(Table(one, place, _LIMIT, faults, table.step))
        for name in ("title", "source", "kind", "basis"):
            table.text(name)
        seconds = table.number("seconds")
        if seconds is not None and not 0 < seconds <= 86_400:
            table.fault("seconds", f"`seconds` is {seconds:g}", "It lies above 0 and within a day.")
        table.whole("times", 1, 50)
        plan = table.table("plan", _PLAN)
        if plan is not None:
            plan.text("act")
    for path, entry in head.tables("monitor"):
        table = Table(entry, path, _MONITOR, faults, str(entry.get("id", "")))
        table.texts("conditions")
        table.texts("called")
        table.text("engine")
    holds = raw.get("holds", {})
    for name, value in holds.items() if isinstance(holds, dict) else ():
        _known(str(name), faults, ("holds", name))
        if isinstance(value, bool) or not isinstance(value, int | float) or not 0 < value < math.inf:
            faults.add(("holds", name), f"`{name}` is {value!r}", "It is a number of seconds above 0.")


def _known(name: str, faults: Faults, path: Path) -> bool:
    if name in DERIVED:
        return True
    try:
        signal(name)
    except UnknownSignalError as why:
        faults.add(path, why.what, why.way_out)
        return False
    return True


def _limit(table: Table) -> Limit | None:
    of = table.text("of")
    if of is None or not _known(of, table.faults, (*table.path, "of")):
        return None
    ways = [w for w in ("at_least", "at_most", "between") if table.has(w)]
    if len(ways) != 1:
        what = "states no limit" if not ways else f"states its limit in {len(ways)} ways"
        table.fault(ways[-1] if ways else "of", f"the limit on {of} {what}", "Write one of at_least, at_most, between.")
        return None
    grain = max(0.0, table.number("grain") or 0.0)
    pair = table.pair("between") if ways[0] == "between" else None
    one = table.number(ways[0]) if pair is None and ways[0] != "between" else None
    lo, hi = pair if pair is not None else (one, None) if ways[0] == "at_least" else (None, one)
    if lo is None and hi is None:
        return None
    return Limit(of, -math.inf if lo is None else lo, math.inf if hi is None else hi, table.word("assume"), grain)


def _condition(raw: Mapping[str, Any], faults: Faults, path: Path) -> Condition | None:
    """One entry, all keys together; a user's entry may lack what only a new one needs."""
    table = Table(raw, path, _CONDITION, faults, str(raw["id"]))
    kind = next((k for k in _KINDS if k == raw.get("kind")), None)
    limits, diesel = (
        tuple(one for p, entry in table.tables(key) if (one := _limit(Table(entry, p, _LIMIT, faults, table.step))))
        for key in ("limits", "diesel")
    )
    if kind is None or not limits:
        missing = "kind" if kind is None else "limits"
        faults.add(path, f"`{missing}` is missing", "A condition of your own says kind and limits.", table.step)
        return None
    seconds = float(raw.get("seconds", 0.0))
    if kind in ("total", "stretch") and seconds <= 0:
        faults.add(path, "`seconds` is missing", "Say how long it must hold.", table.step)
        return None
    plan = raw.get("plan")
    driving = (
        Driving(plan["act"], bool(plan.get("warm")), bool(plan.get("cold")), float(plan.get("from", 0)))
        if plan
        else None
    )
    return Condition(
        id=raw["id"],
        title=raw.get("title", raw["id"]),
        kind=kind,
        limits=limits,
        diesel=diesel,
        seconds=seconds,
        times=int(raw.get("times", 1)),
        basis=raw.get("basis", "service information"),
        source=raw.get("source", ""),
        plan=driving,
    )


def _monitor(raw: Mapping[str, Any], conditions: Mapping[str, Any], faults: Faults) -> Monitor:
    names = tuple(raw.get("conditions", ()))
    for name in names:
        if name not in conditions:
            faults.at(None, f"no condition is called “{name}”", near(name, conditions), str(raw["id"]))
    if not names:
        faults.at(None, "`conditions` is missing", "Name what the monitor waits for.", str(raw["id"]))
    return Monitor(raw["id"], raw.get("title", raw["id"]), names, raw.get("engine", "any"), bool(raw.get("cold")),
                   tuple(raw.get("called", ())))  # fmt: skip
