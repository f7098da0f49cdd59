"""One attempt in real time: keys or a simulated person in, the coach's step function, screen and attempt file out."""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import IO

from rich.console import Console, RenderableType
from rich.live import Live

from tickover.attempts import ACTS, AttemptWriter, Header, Kind
from tickover.cli.coach_draw import screen
from tickover.cli.hands import CAR_ANSWERS, Hands, help_line
from tickover.cli.keys import Key, Keys
from tickover.coaching import (
    CoachState,
    Cue,
    Performer,
    Script,
    Seen,
    begin_act,
    due_act,
    gauge_news,
    look,
    open_attempt,
    step,
)
from tickover.engine import SimulatedCar
from tickover.errors import OutOfOrderError
from tickover.routines import CompiledEvent

FRAME = 0.05
"""A screen is drawn at most this often [s]."""
FINE = 0.02
"""Steps of a simulated person's time [s]."""
SETTLE = 1.0
"""How long the watch goes on after the last step [s]."""


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
                    for now in self._moments(last, (time.monotonic() - begun) * self.pace):
                        seen = self._seen(state, pressed, begun, now, now - last)
                        pressed = []
                        for item in seen:
                            writer.event(item.what, item.t_lo, item.t_hi, source=self._source(item))
                        state, cues = step(self.play, state, now, seen)
                        self._hear(cues)
                        last = now
                        if until is None and state.phase in {"missed", "done"}:
                            until = now + SETTLE
                    show(self._screen(state, last))
        finally:
            writer.event("end", last, last, source="clock")
        return state

    def _moments(self, last: float, now: float) -> list[float]:
        """Times to step to: one for keys; for a simulated person small ones, so that a fast pace stays as fine."""
        if self.performer is None or now - last <= FINE:
            return [max(now, last)]
        count = math.ceil((now - last) / FINE)
        return [last + (now - last) * (k + 1) / count for k in range(count)]

    def _screen(self, state: CoachState, now: float) -> RenderableType:
        view = look(self.play, state, now)
        return screen(self.play, state, view, try_number=self.number, said=self._said, keys=self._help())

    def _live(self) -> _Screen:
        return _Screen(self.console)

    def _help(self) -> str:
        if self.keys is None:
            return "a simulated person performs; Ctrl-C stops"
        return help_line(self.play.routine, simulated=self.car is not None)

    def _source(self, item: Seen) -> str:
        if item.what not in ACTS:
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
            act = due_act(self.play, state)
            kind = None if self.car is not None and key.char in CAR_ANSWERS else self._key(key.char, act)
            first = self.play.order[0].kind
            if kind is None:
                self._say(f"“{key.char.strip() or 'that key'}” means nothing here")
            elif state.origin is None and kind in ACTS and kind != first:
                self._say(f"“{kind}” is not asked for yet; it begins with {first}")
            if kind is not None:
                seen.append(Seen(what=kind, t_lo=key.t_lo - begun, t_hi=key.t_hi - begun))
                self._do(kind, act)
        if self.performer is not None and self.car is not None:
            done = self.performer.does(self.play, state, now, self.car)
            seen += [Seen(what=kind, t_lo=now - passed, t_hi=now) for kind in done]
        if self.car is not None:
            seen += gauge_news(self.play.routine, state.happened, state.holding, self.car, now)
        return seen

    def _key(self, char: str, act: CompiledEvent | None) -> Kind | None:
        return self._hands.kind_of(char, None if act is None else act.kind)

    def _do(self, kind: Kind, act: CompiledEvent | None) -> None:
        if self.car is None or kind not in ACTS:
            return
        try:
            begin_act(self.car, kind, None if act is None else self.play.routine.step(act.step))
        except OutOfOrderError as why:
            self._say(f"The simulated car: {why.what}")

    def _say(self, words: str) -> None:
        self._said = Cue(at=0.0, sound="so far", words=words)

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
