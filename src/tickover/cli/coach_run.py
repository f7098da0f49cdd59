"""One attempt in real time: keys or a simulated person in, the coach's step function, screen and attempt file out."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import IO

from rich.console import Console, RenderableType
from rich.live import Live

from tickover.attempts import AttemptWriter, Header, Kind
from tickover.cli.coach_draw import screen
from tickover.cli.keys import Key, Keys
from tickover.coaching import CoachState, Cue, Performer, Script, Seen, look, open_attempt, step
from tickover.engine import SimulatedCar
from tickover.errors import InputError, OutOfOrderError

FRAME = 0.05
"""A screen is drawn at most this often [s]."""
SETTLE = 1.0
"""How long the watch goes on after the last step [s]."""

HELP = "i ignition   space pedal   s start   f lamp flashes   l lamp stays lit   q stop"
HELP_CAR = "i ignition   space pedal   s start   q stop      (the simulated car answers with its lamp)"


@dataclass
class Hands:
    """What the hands and the foot hold; a terminal reports no release, so a key toggles."""

    ignition_on: bool = False
    pedal_down: bool = False

    def kind_of(self, char: str) -> Kind | None:
        """The act a key means now, or None for a key without meaning."""
        if char == "i":
            self.ignition_on = not self.ignition_on
            return "ignition on" if self.ignition_on else "ignition off"
        if char == " ":
            self.pedal_down = not self.pedal_down
            return "press" if self.pedal_down else "release"
        if char == "s":
            return "crank"
        return {"f": "lamp flashing", "l": "lamp lit", "d": "lamp off"}.get(char)  # type: ignore[return-value]  # literals


@dataclass
class LiveAttempt:
    """Everything one attempt in the terminal needs.

    Attributes:
        play: the script.
        number: which try.
        console: where to draw.
        record: the attempt file, open.
        header: its first line.
        keys: the terminal's keys; None where a simulated person performs.
        car: the simulated car; None where the person sits in a real one.
        performer: the simulated person; None where keys are struck.
        lead_in: seconds to the first act.
        pace: simulated time runs this much faster than real time.
        bell: ring the terminal's bell at each pip and act.
    """

    play: Script
    number: int
    console: Console
    record: IO[str]
    header: Header
    keys: Keys | None
    car: SimulatedCar | None = None
    performer: Performer | None = None
    lead_in: float = 5.0
    pace: float = 1.0
    bell: bool = False
    _hands: Hands = field(default_factory=Hands)
    _said: Cue | None = None

    def run(self) -> CoachState:
        """Perform it to its end; Ctrl-C and q leave a readable file and raise KeyboardInterrupt."""
        writer = AttemptWriter(self.record, self.header)
        state = open_attempt(self.play, 0.0, self.lead_in)
        last = 0.0
        try:
            with self._live() as show:
                show(self._screen(state, 0.0))  # the first frame is slow; the lead-in begins after it
                begun = time.monotonic()
                until = None
                while until is None or last < until:
                    pressed = self._wait()
                    now = max((time.monotonic() - begun) * self.pace, last)
                    seen = self._seen(state, pressed, begun, now, now - last)
                    for item in seen:
                        writer.event(item.what, item.t_lo, item.t_hi, source=self._source(item))
                    state, cues = step(self.play, state, now, seen)
                    self._hear(cues)
                    show(self._screen(state, now))
                    if until is None and state.phase in {"missed", "done"}:
                        until = now + SETTLE
                    last = now
        finally:
            writer.event("end", last, last, source="clock")
        return state

    def _screen(self, state: CoachState, now: float) -> RenderableType:
        view = look(self.play, state, now)
        return screen(self.play, state, view, try_number=self.number, said=self._said, keys=self._help())

    def _live(self) -> _Screen:
        return _Screen(self.console)

    def _help(self) -> str:
        if self.keys is None:
            return "a simulated person performs; Ctrl-C stops"
        return HELP if self.car is None else HELP_CAR

    def _source(self, item: Seen) -> str:
        if item.what.startswith("lamp") or item.what in {"running", "stopped"}:
            return "keys" if self.car is None else "simulated car"
        return "keys" if self.performer is None else "simulated person"

    def _wait(self) -> list[Key]:
        if self.keys is not None:
            return self.keys.wait(FRAME)
        time.sleep(FRAME / max(self.pace, 1.0))
        return []

    def _seen(self, state: CoachState, pressed: Sequence[Key], begun: float, now: float, passed: float) -> list[Seen]:
        """Acts of this frame, done on the simulated car where there is one, and its answers."""
        seen: list[Seen] = []
        if self.car is not None:
            offset = now - passed - self.car.now
            seen += [Seen(what=kind, t_lo=t + offset, t_hi=t + offset) for kind, t in self.car.advance(passed)]
        for key in pressed:
            if key.char in {"q", "\x03"}:
                raise KeyboardInterrupt
            kind = self._hands.kind_of(key.char)
            if kind is not None and not (self.car is not None and kind.startswith("lamp")):
                seen.append(Seen(what=kind, t_lo=key.t_lo - begun, t_hi=key.t_hi - begun))
                self._do(kind)
        if self.performer is not None:
            for kind, _ in self.performer.acts_due(self.play, state, now):
                seen.append(Seen(what=kind, t_lo=now - passed, t_hi=now))
                self._do(kind)
        return seen

    def _do(self, kind: Kind) -> None:
        if self.car is None:
            return
        try:
            self.car.do(kind)
        except OutOfOrderError as why:
            raise InputError(
                f"the simulated car cannot do that: {why.what}", way_out="Begin the attempt again."
            ) from None

    def _hear(self, cues: Sequence[Cue]) -> None:
        for cue in cues:
            if cue.words:
                self._said = cue
                if not self.console.is_terminal:
                    self.console.print(f"{cue.at:7.2f} s  {cue.words}")
            if self.bell and cue.sound in {"pip", "act"}:
                self.console.bell()


class _Screen:
    """Draws in place on a terminal; says nothing where output is a pipe (words are printed as cues then)."""

    def __init__(self, console: Console) -> None:
        self._live = Live(console=console, auto_refresh=False, transient=False) if console.is_terminal else None

    def __enter__(self) -> Callable[[RenderableType], None]:
        if self._live is None:
            return lambda _: None
        live = self._live.__enter__()
        return lambda view: live.update(view, refresh=True)

    def __exit__(self, *exit_: object) -> None:
        if self._live is not None:
            self._live.__exit__(None, None, None)
