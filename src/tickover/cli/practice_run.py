"""A practice in the terminal: says what to produce, counts in, takes key taps, shows how the range narrows."""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Sequence
from typing import Protocol

from rich.console import Console

from tickover.cli.keys import Key
from tickover.coaching.practice import FIND_BEAT, Task, enough
from tickover.timing.learn import FEWEST, Model, Tap, learn

BEAT_AHEAD = 2.0
"""From the word to the first beat [s]."""
LATEST = 3.0
"""A second tap is waited for as long as this many intervals, and 3 s more. Own choice."""
LOOK_EVERY = 6
"""The range is worked out after so many intervals. Own choice."""


class Hands(Protocol):
    """Where keys come from."""

    def wait(self, seconds: float) -> list[Key]:
        """Keys struck within ``seconds`` from now."""


class _StopError(Exception):
    """The person pressed q; what was tapped is kept. Not an error: it never leaves this file."""


class Session:
    """One practice.

    Args:
        keys: where keys come from.
        console: where to write.
        todo: what to produce, beats first.
        model: how the person says that they time; None where they do not say.
        clock: seconds that rise, the clock of the keys.
    """

    def __init__(
        self,
        keys: Hands,
        console: Console,
        todo: Sequence[Task],
        model: Model | None = None,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._keys = keys
        self._console = console
        self._todo = todo
        self._model = model
        self._clock = clock
        self._taps: list[Tap] = []

    def run(self) -> list[Tap]:
        """Practise to the end, until there are enough taps, or until q."""
        say = self._console.print
        try:
            beats = [t for t in self._todo if t.cued]
            if beats:
                say("\n[bold]Along a beat.[/] Tap space with each beat; the first four are to find it. Any key begins.")
                self._next()
                self._beat(beats)
            own = [t for t in self._todo if not t.cued]
            if own:
                say("\n[bold]Intervals.[/] Tap space twice, so far apart as it says. No clock, no watch. q stops.")
            for n, task in enumerate(own, start=1):
                self._interval(task, n, len(own))
                if n % LOOK_EVERY == 0 and n < len(own) and self._look(n):
                    break
        except _StopError:
            say("Stopped.")
        return self._taps

    def _next(self, seconds: float = math.inf) -> Key | None:
        """The next key, or None where none came in time."""
        until = self._clock() + seconds
        while (left := until - self._clock()) > 0:
            struck = self._keys.wait(min(left, 1.0))
            if struck:
                if struck[0].char in {"q", "\x03"}:
                    raise _StopError
                return struck[0]
        return None

    def _beat(self, beats: Sequence[Task]) -> None:
        start = self._clock() + BEAT_AHEAD - beats[0].seconds
        self._console.print("[dim]ready …[/]")
        for beat in beats:
            at = start + beat.seconds
            early = self._until(at)
            self._console.bell()
            self._console.print(f"beat {beat.seconds:g}")
            sounded = self._clock()
            key = early if early is not None else self._next(0.4)
            if key is not None and beat.seconds > FIND_BEAT:
                # A bell that was rung late is followed late by those who react, not by those who keep the beat.
                self._taps.append(
                    Tap(beat.seconds, _middle(key) - start, cued=True, off=math.hypot(_off(key), (sounded - at) / 2))
                )

    def _until(self, at: float) -> Key | None:
        """Wait until a beat; a tap in the last half before it belongs to it."""
        early = None
        while (left := at - self._clock()) > 0:
            for key in self._keys.wait(left):
                if key.char in {"q", "\x03"}:
                    raise _StopError
                if _middle(key) > at - 0.5:
                    early = key
        return early

    def _interval(self, task: Task, n: int, of: int) -> None:
        say = self._console.print
        say(f"\n{n} of {of}: [bold]{task.seconds:g} s[/]   tap …", end=" ")
        begun = self._next()
        if begun is None:
            return
        say("and …", end=" ")
        ended = self._next(LATEST * task.seconds + 3.0)
        if ended is None:
            say("no second tap; left out")
            return
        made = _middle(ended) - _middle(begun)
        if made <= 0.03:
            say("both taps at once; left out")
            return
        self._taps.append(Tap(task.seconds, made, off=math.hypot(_off(begun), _off(ended))))
        say(f"{made:.2f} s")

    def _look(self, n: int) -> bool:
        """Say how the range narrows; true where there are enough taps."""
        if sum(not t.cued for t in self._taps) < FEWEST:
            return False
        learned = learn(self._taps, model=self._model)
        q = learned.spread(learned.targets[-1])
        lo, hi = (1000 * (q.lo or 0.0), 1000 * (q.hi or q.value))
        done, why = enough(learned)
        self._console.print(f"[dim]after {n}: spread at {learned.targets[-1]:g} s {lo:.0f} to {hi:.0f} ms. {why}[/]")
        return done


def _middle(key: Key) -> float:
    return (key.t_lo + key.t_hi) / 2


def _off(key: Key) -> float:
    """Standard uncertainty of an instant that lies anywhere in its bracket [s]."""
    return (key.t_hi - key.t_lo) / math.sqrt(12)
