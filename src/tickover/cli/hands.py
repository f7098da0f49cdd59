"""Which key of the terminal strikes what. A terminal reports no release, so a key toggles between two acts."""

from __future__ import annotations

from dataclasses import dataclass, field

from tickover.attempts import Kind
from tickover.routines import CompiledRoutine

PAIRS: dict[str, tuple[Kind, Kind]] = {
    "i": ("ignition on", "ignition off"),
    " ": ("press", "release"),
    "b": ("brake press", "brake release"),
    "g": ("gear drive", "gear neutral"),
    "o": ("load on", "load off"),
    "h": ("hold speed", "let idle"),
    "m": ("drive", "coast"),
    "u": ("running", "stopped"),
    "n": ("fan on", "fan off"),
    "c": ("time counts", "time stands"),
}
"""Keys that toggle: the first strike, the next."""

SINGLE: dict[str, Kind] = {
    "s": "crank",
    "a": "ignition accessory",
    "x": "stand",
    "f": "lamp flashing",
    "l": "lamp lit",
    "d": "lamp off",
}
"""Keys that always mean the same."""

LABELS: dict[str, str] = {
    "i": "i ignition",
    " ": "space pedal",
    "a": "a accessory",
    "s": "s start",
    "b": "b brake",
    "g": "g gear",
    "o": "o load",
    "h": "h hold speed, let idle",
    "m": "m drive, coast",
    "x": "x stand",
    "f": "f lamp flashes",
    "l": "l lamp stays lit",
    "d": "d lamp dark",
    "u": "u engine runs, stands",
    "n": "n fan on, off",
    "c": "c time counts, stands",
}
CAR_ANSWERS = frozenset("fldun")
"""Keys for what the car answers; a simulated one answers by itself."""


@dataclass
class Hands:
    """What hands and feet hold at the moment."""

    held: set[str] = field(default_factory=set)

    def kind_of(self, char: str, due: Kind | None = None) -> Kind | None:
        """What a key means now.

        Args:
            char: the key.
            due: the act that is due; where it is one of the key's two, it is the one that is meant.
        Returns: the kind; None for a key without meaning.
        """
        if char in SINGLE:
            self._put(char)
            return SINGLE[char]
        if char not in PAIRS:
            return None
        first, second = PAIRS[char]
        kind = due if due is not None and due in (first, second) else second if char in self.held else first
        if kind == first:
            self.held.add(char)
        else:
            self.held.discard(char)
        return kind

    def _put(self, char: str) -> None:
        """A start leaves the ignition on; a stand ends the drive."""
        if char == "s":
            self.held.add("i")
        elif char == "x":
            self.held.discard("m")


def help_line(routine: CompiledRoutine, *, simulated: bool) -> str:
    """The keys that this routine needs, in one line.

    Args:
        routine: compiled.
        simulated: whether the simulated car answers by itself.
    Example: ``i ignition   space pedal   s start   q stop``.
    """
    kinds = {e.kind for e in routine.events}
    names = {c.name for c in routine.conditions}
    if names & {"fan on", "fan off"}:
        kinds.add("fan on")
    if any(c.signal is not None for c in routine.conditions):
        kinds.add("time counts")
    wanted = [key for key in LABELS if kinds & set(PAIRS.get(key, (SINGLE.get(key),)))]
    shown = [LABELS[key] for key in wanted if not (simulated and key in CAR_ANSWERS | {"c"})]
    return "   ".join([*shown, "q stop"])
