"""From a track to sound: the recipes as samples, and WAV files written block by block."""

from __future__ import annotations

import wave
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from tickover.cues.sounds import EDGE, RECIPES, WORDS_LEVEL, Note
from tickover.cues.track import Cue, Part
from tickover.errors import InputError

RATE = 48_000
"""Samples a second."""

BLOCK = 10.0
"""Sound that is worked on at a time [s]; an hour's file takes no more memory than a minute's."""

Samples = NDArray[np.float64]
Say = Callable[[str], Samples]

_FULL = 32767
_OCTAVE = (2 / 3, 1 / 3)


def tone(note: Note, length: float | None = None) -> Samples:
    """One note at a peak of 1 or just below.

    Args:
        note: what to sound.
        length: instead of its own [s].
    Returns: samples at ``RATE``, raised-cosine edges of 5 ms; empty where the note is shorter than its two edges.
    Source: phase of a glide by equal steps of pitch, the integral of f0·(f1/f0)^(t/T).
    """
    long = note.length if length is None else length
    n, edge = round(long * RATE), round(EDGE * RATE)
    if n < 2 * edge:
        return np.zeros(0)
    t = np.arange(n) / RATE
    if note.f0 == note.f1:
        cycles = note.f0 * t
    else:
        steep = np.log(note.f1 / note.f0) / long
        cycles = note.f0 * np.expm1(steep * t) / steep
    made = _wave(note, cycles)
    ramp = 0.5 - 0.5 * np.cos(np.pi * np.arange(edge) / edge)
    made[:edge] *= ramp
    made[-edge:] *= ramp[::-1]
    return made


def _wave(note: Note, cycles: Samples) -> Samples:
    turn = 2 * np.pi * cycles
    if note.shape == "triangle":
        return np.asarray(2 / np.pi * np.arcsin(np.sin(turn)))
    if note.shape == "octave":
        low, high = _OCTAVE
        whole = np.linspace(0, 2 * np.pi, 4801)
        most = np.abs(low * np.sin(whole) + high * np.sin(2 * whole)).max()
        return np.asarray((low * np.sin(turn) + high * np.sin(2 * turn)) / most)
    return np.asarray(np.sin(turn))


def sound(cue: Cue, say: Say | None = None) -> Samples:
    """One cue at its level.

    Args:
        cue: what to sound.
        say: words to samples at ``RATE``, for spoken words.
    Returns: samples; words where nobody says them are silence.
    """
    if cue.sound == "words":
        if say is None:
            return np.zeros(0)
        spoken = say(cue.words)
        most = float(np.abs(spoken).max()) if len(spoken) else 0.0
        return spoken * (10 ** (WORDS_LEVEL / 20) / most) if most > 0 else spoken
    recipe = RECIPES[cue.sound]
    made = np.zeros(round(cue.length * RATE))
    for note in recipe.notes:
        room = cue.length - note.start
        notes = tone(note, room if note.length == 0 else min(note.length, room))
        start = round(note.start * RATE)
        notes = notes[: max(0, len(made) - start)]
        made[start : start + len(notes)] += notes
    return made * recipe.peak


def blocks(part: Part, say: Say | None = None) -> Iterator[Samples]:
    """The part as sound, ``BLOCK`` seconds at a time.

    Args:
        part: of a track.
        say: as ``sound``.
    Returns: consecutive samples between −1 and 1; a cue begins at the sample nearest its onset.
    Raises: AssertionError if sounds that overlap would clip; the levels are chosen so that none do.
    """
    total, size = round(part.length * RATE), round(BLOCK * RATE)
    waiting = sorted(part.cues, key=lambda c: c.at)
    over = np.zeros(0)
    for start in range(0, total, size):
        room = min(size, total - start)
        mixed = np.zeros(max(room, len(over)))
        mixed[: len(over)] = over
        while waiting and round(waiting[0].at * RATE) < start + room:
            cue = waiting.pop(0)
            made, at = sound(cue, say), round(cue.at * RATE) - start
            if at + len(made) > len(mixed):
                mixed = np.concatenate([mixed, np.zeros(at + len(made) - len(mixed))])
            mixed[at : at + len(made)] += made
        block, over = mixed[:room], mixed[room:]
        assert not len(block) or np.abs(block).max() < 1, "the cues of this track would clip"
        yield block


def samples(part: Part, say: Say | None = None) -> Samples:
    """The whole part as sound; as ``blocks``, in one array of shape (n,)."""
    made = list(blocks(part, say))
    return np.concatenate(made) if made else np.zeros(0)


def write_wav(path: Path, part: Part, say: Say | None = None) -> None:
    """Write a part as a WAV file: 48 kHz, 16 bit, one channel.

    Args:
        path: the file; replaced where there is one.
        part: of a track.
        say: as ``sound``.
    Raises: InputError if it cannot be written.
    """
    try:
        with path.open("wb") as raw, wave.open(raw, "wb") as file:
            file.setnchannels(1)
            file.setsampwidth(2)
            file.setframerate(RATE)
            for block in blocks(part, say):
                file.writeframes(np.round(block * _FULL).astype("<i2").tobytes())
    except OSError as why:
        raise InputError(
            f"cannot be written: {why.strerror}", file=str(path), way_out="Name another folder with --out."
        ) from None
