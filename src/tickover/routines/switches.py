"""What the hand does at a key and at a push button, and what cannot be done there.

Source: common practice, no published source (FACTS: push button): with the foot off the brake a press gives
accessory, the next gives on, the next off; with the foot on the brake a press cranks; from on there is no way back to
accessory but through off.
"""

from __future__ import annotations

from collections.abc import Sequence

from tickover.attempts import Kind
from tickover.errors import SwitchError
from tickover.routines.compiled import CompiledNeed, Switch
from tickover.routines.physics import start_of
from tickover.routines.unroll import Turn

PRESS_TIME = 0.5
"""A push button is pressed again no sooner than this [s]; own choice: a press and a let-up with the button seen lit."""

KEY_WORDS: dict[Kind, str] = {
    "ignition off": "Turn the key to off.",
    "ignition accessory": "Turn the key to accessory.",
    "ignition on": "Turn the key to on; do not crank.",
    "crank": "Turn the key to start; let it go when the engine fires.",
}

FOB = CompiledNeed(
    need="Fob inside the car, all doors shut",
    why="An opened door or a missing fob switches a push button's ignition off, or lets it time out.",
)


def needs_of(switch: Switch) -> tuple[CompiledNeed, ...]:
    """What the sort of switch needs by itself."""
    return (FOB,) if switch == "button" else ()


def hands_of(turns: Sequence[Turn], switch: Switch) -> dict[str, str]:
    """How the hand does each step of the ignition.

    Args:
        turns: the routine, cycles written out.
        switch: key or button.
    Returns: step id to one sentence; steps that are not the ignition's are left out.
    Raises: SwitchError naming the first step that this switch cannot do.
    """
    if switch == "key":
        return {turn.id: KEY_WORDS[turn.step.kind] for turn in turns if turn.step.kind in KEY_WORDS}
    start = start_of(turns[0].step.kind)
    button = _Button(start.ignition)
    return {turn.id: words for turn in turns if (words := button.take(turn))}


class _Button:
    """A push button, press by press."""

    def __init__(self, state: str) -> None:
        self.state = state
        self.brake = "up"

    def take(self, turn: Turn) -> str:
        """Do one step; returns how the hand does it."""
        kind = turn.step.kind
        if kind in {"brake press", "brake release"}:
            self.brake = "down" if kind == "brake press" else "up"
        if kind == "crank":
            self.state = "on"
            self._time(turn, 1)
            return "Foot on the brake; press the button once."
        if not kind.startswith("ignition "):
            return ""
        wanted = kind.removeprefix("ignition ")
        presses = self._presses(turn, wanted)
        self.state = wanted
        self._time(turn, presses)
        count = "once" if presses == 1 else "twice"
        if wanted == "off":
            return f"Press the button {count}, each time for a moment only, foot off the brake."
        note = " Accessory may time out by itself." if wanted == "accessory" else ""
        return f"Foot off the brake; press the button {count}.{note}"

    def _presses(self, turn: Turn, wanted: str) -> int:
        if wanted != "off" and self.brake == "down":
            raise SwitchError(turn.step.id, "button", "the foot is on the brake, so a press would start the engine")
        if wanted == "accessory" and self.state == "on":
            raise SwitchError(turn.step.id, "button", "from on there is no way back to accessory but through off")
        if wanted == "off" and self.state == "accessory":
            return 2  # accessory, on, off
        return 2 if wanted == "on" and self.state == "off" else 1

    def _time(self, turn: Turn, presses: int) -> None:
        least = (presses - 1) * PRESS_TIME
        if turn.bound is not None and turn.bound.hi < least:
            raise SwitchError(
                turn.step.id,
                "button",
                f"it takes {presses} presses, {least:g} s at least, and {turn.bound.hi:g} s are allowed",
            )
