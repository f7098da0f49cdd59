"""The sounds of a routine: what each is made of. One table for the tone track and whoever plays it.

All lie between 500 and 1,600 Hz: above the engine, within a phone's speaker, under where old ears fade. Pitch goes
where the foot or the key goes.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, get_args

from tickover.attempts import Kind

Sound = Literal[
    "pip",
    "upbeat",
    "press",
    "let up",
    "key on",
    "key off",
    "start",
    "other act",
    "look out",
    "hold",
    "tick",
    "stop",
    "done",
    "words",
]

SOUNDS: tuple[Sound, ...] = get_args(Sound)

EDGE = 0.005
"""Length of the raised-cosine edge at both ends of each note [s]."""

Shape = Literal["sine", "triangle", "octave"]


@dataclass(frozen=True, slots=True)
class Note:
    """One note of a sound.

    Attributes:
        start: from the onset of the sound [s].
        length: with both edges [s]; 0 for one that lasts as long as its cue says.
        f0, f1: pitch at its beginning and at its end [Hz]; between them it glides by equal steps of pitch.
        shape: ``octave`` is a sine with its octave at half its size.
    """

    start: float
    length: float
    f0: float
    f1: float
    shape: Shape = "sine"


@dataclass(frozen=True, slots=True)
class Recipe:
    """What a sound is made of, its peak level [dBFS], and what it means, in words."""

    notes: tuple[Note, ...]
    level: float
    meaning: str

    @property
    def length(self) -> float:
        """From the onset to the end of the last note [s]; 0 for one that lasts as long as its cue says."""
        return max(n.start + n.length for n in self.notes)

    @property
    def peak(self) -> float:
        """Peak as a share of full scale."""
        return float(10 ** (self.level / 20))


def _row(length: float, every: float, *pitches: float, shape: Shape = "sine") -> tuple[Note, ...]:
    """Notes of one length, their onsets ``every`` seconds apart."""
    return tuple(Note(k * every, length, f, f, shape) for k, f in enumerate(pitches))


RECIPES: dict[Sound, Recipe] = {
    "pip": Recipe(_row(0.06, 0, 784), -12, "count-in: three, then the act"),
    "upbeat": Recipe(_row(0.04, 0, 784), -18, "half-way between two presses"),
    "press": Recipe((Note(0, 0.14, 784, 1175),), -6, "press: the tone rises"),
    "let up": Recipe((Note(0, 0.14, 784, 523),), -6, "let up: the tone falls"),
    "key on": Recipe(_row(0.08, 0.08, 587, 880), -6, "ignition on: low, high"),
    "key off": Recipe(_row(0.08, 0.08, 880, 587), -6, "ignition off: high, low"),
    "start": Recipe(_row(0.08, 0.08, 587, 740, 880), -6, "start the engine: three notes, rising"),
    "other act": Recipe(_row(0.16, 0, 988), -6, "another act (brake, gear, load): one level note"),
    "look out": Recipe(_row(0.07, 0.14, 1397, 1397), -12, "look out for the car’s answer: two short, very high"),
    "hold": Recipe((Note(0, 0, 523, 523, "octave"),), -26, "hold: a soft low tone for as long as it lasts"),
    "tick": Recipe(_row(0.015, 0, 1046), -24, "wait: a soft tick each second"),
    "stop": Recipe(_row(0.09, 0.12, 523, 523, shape="triangle"), -6, "stop now: two low knocks"),
    "done": Recipe(_row(0.2, 0.2, 587, 880), -9, "all steps done: two long notes, rising"),
}
"""Every sound but spoken words.

Source: own choice: pitches, lengths and levels are one design for file, terminal and phone. “look out” is the highest
of all and “other act” the only single note of its pitch.
"""

WORDS_LEVEL = -9.0
"""Peak of spoken words [dBFS]."""

ACT_SOUNDS: dict[Kind, Sound] = {
    "ignition off": "key off",
    "ignition accessory": "key on",
    "ignition on": "key on",
    "crank": "start",
    "press": "press",
    "release": "let up",
}
"""The sound of an act; every other act is ``other act``, and the words say which."""

ACT_WORDS: dict[Kind, str] = {
    "ignition off": "Key off",
    "ignition accessory": "Key to accessory",
    "ignition on": "Key on",
    "crank": "Start the engine",
    "press": "Press",
    "release": "Let up",
    "brake press": "Brake",
    "brake release": "Off the brake",
    "gear drive": "Into drive",
    "gear neutral": "Out of gear",
    "load on": "Load on",
    "load off": "Load off",
}
"""The word of an act."""

ANSWER_WORDS: dict[Kind, str] = {
    "running": "the engine runs",
    "stopped": "the engine stands still",
    "lamp lit": "the lamp stays lit",
    "lamp flashing": "the lamp begins to flash",
    "lamp off": "the lamp goes dark",
    "fan on": "the fan starts",
    "fan off": "the fan stops",
}
"""The car's answer, as in “watch until …”."""
