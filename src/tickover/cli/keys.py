"""Single keys from a real terminal, stamped when they are read. The only file that puts a terminal into raw mode."""

from __future__ import annotations

import contextlib
import os
import select
import sys
import termios
import time
import tty
from collections.abc import Iterator
from dataclasses import dataclass

from tickover.errors import InputError

LATENCY = 0.04
"""A key is read at most this long after the finger moved [s]: keyboard scan, system and terminal; own choice."""

NEEDED = "the coach reads single keys and needs a terminal"
WITHOUT = "Run it in a terminal, or let a simulated person do it: --car simulated --person cv=0.08."


@dataclass(frozen=True, slots=True)
class Key:
    """One key and the bracket of the instant it was struck [s, monotonic]."""

    char: str
    t_lo: float
    t_hi: float


class Keys:
    """Keys of a terminal in raw mode; Ctrl-C still interrupts."""

    def __init__(self, descriptor: int) -> None:
        self._descriptor = descriptor
        self._last = time.monotonic()

    def wait(self, seconds: float) -> list[Key]:
        """Keys struck within ``seconds`` from now; returns at the first ones."""
        waiting, _, _ = select.select([self._descriptor], [], [], 0.0)
        if waiting:  # struck while we were busy: some time since the last look
            since = self._last
        else:
            waiting, _, _ = select.select([self._descriptor], [], [], max(seconds, 0.0))
            since = time.monotonic()
        read_at = time.monotonic()
        keys: list[Key] = []
        if waiting:
            typed = os.read(self._descriptor, 64).decode(errors="replace")
            if not typed:
                raise InputError("the terminal was closed")
            keys = [Key(char, since - LATENCY, read_at) for char in typed]
        self._last = read_at
        return keys


@contextlib.contextmanager
def raw_terminal(what: str = NEEDED, way_out: str = WITHOUT) -> Iterator[Keys]:
    """Read single keys until the block ends; the terminal is put back whatever happens.

    Args:
        what, way_out: what to say where there is no terminal.
    Raises: InputError where standard input is not a terminal.
    """
    if not sys.stdin.isatty():
        raise InputError(what, way_out=way_out)
    descriptor = sys.stdin.fileno()
    before = termios.tcgetattr(descriptor)
    try:
        tty.setcbreak(descriptor)
        yield Keys(descriptor)
    finally:
        termios.tcsetattr(descriptor, termios.TCSADRAIN, before)
