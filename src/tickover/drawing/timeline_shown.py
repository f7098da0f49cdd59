"""What a timeline shows, as data, and the same in words for whoever does not see it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

from tickover.drawing.figures import plain, short
from tickover.drawing.tokens import Token

State = Literal["hit", "missed", "undecided", "aim", "may come"]


@dataclass(frozen=True)
class Track:
    """One thing that moves between two heights.

    Attributes:
        name: the word at its left.
        low, high: what the two heights are called.
        steps: instants and heights (0 low, 1 high), rising [s]; before the first it is at ``start``.
        start: the height at the beginning; ``None`` where it is not known: nothing is drawn until the first step.
        flashing: stretches in which it flashes [s], drawn as a square wave of no particular rate.
        tall: height of the track [px].
        strong: thick ink for what a person did, thin for what was only seen.
    """

    name: str
    low: str
    high: str
    steps: tuple[tuple[float, int], ...] = ()
    start: int | None = None
    flashing: tuple[tuple[float, float], ...] = ()
    tall: float = 28.0
    strong: bool = True


@dataclass(frozen=True, slots=True)
class Act:
    """One act on a track.

    Attributes:
        name: what it is called, for the sentence.
        track: index of its track.
        level: 0 low, 1 high.
        t_lo, t_hi: bracket of the instant [s]; ``None`` where it never came.
        window: when it should come [s], ``None`` on a side that is open; ``None`` where nothing was asked.
        state: how it was judged; on a plan ``aim``, or ``may come`` for what nobody aims at: dotted jaws, no ◆.
    """

    name: str
    track: int
    level: int
    t_lo: float | None
    t_hi: float | None
    window: tuple[float | None, float | None] | None
    state: State


@dataclass(frozen=True, slots=True)
class Caption:
    """Words over a stretch of the timeline, from ``t0`` to ``t1`` [s]; the heavier are placed first."""

    t0: float
    t1: float
    text: str
    weight: int = 0
    colour: Token = Token.INK


@dataclass(frozen=True)
class Timeline:
    """All that the picture shows: how long it lasted [s], tracks, acts, captions.

    ``clock``: times are told in minutes and seconds. ``apart``: how far neighbouring instants should stand apart before
    a wait is cut out [px].
    """

    duration: float
    tracks: tuple[Track, ...]
    acts: tuple[Act, ...] = ()
    captions: tuple[Caption, ...] = ()
    seconds: str = "seconds"
    what: str = "One attempt"
    clock: bool = False
    apart: float = 15.0


def clock_words(t: float) -> str:
    """An instant in minutes and seconds, like ``5:00``."""
    minutes, rest = divmod(round(t), 60)
    return f"{minutes}:{rest:02d}"


def sentence(shown: Timeline) -> str:
    """The picture in words: how long, each act, each flashing."""
    number = clock_words if shown.clock else _tenths
    length = clock_words(shown.duration) if shown.clock else short(round(shown.duration, 1))
    told = [f"{shown.what}, {length} {shown.seconds}."]
    for act in shown.acts:
        told.append(f"{act.name}: {_when(act, number)}, {act.state}.")
    for track in shown.tracks:
        told += [f"{track.name.capitalize()} flashing from {plain(a, 1)} to {plain(b, 1)}." for a, b in track.flashing]
    return " ".join(told)


def _tenths(t: float) -> str:
    return plain(t, 1)


def _when(act: Act, number: Callable[[float], str] = _tenths) -> str:
    if act.t_lo is None or act.t_hi is None:
        words = "did not come"
    elif act.t_hi - act.t_lo < 0.05:
        words = f"at {number((act.t_lo + act.t_hi) / 2)}"
    else:
        words = f"between {number(act.t_lo)} and {number(act.t_hi)}"
    lo, hi = act.window or (None, None)
    if lo is not None and hi is not None:
        return f"{words}, window {number(lo)} to {number(hi)}"
    if lo is not None:
        return f"{words}, not before {number(lo)}"
    if hi is not None:
        return f"{words}, not after {number(hi)}"
    return words
