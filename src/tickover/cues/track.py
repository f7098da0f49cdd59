"""A whole routine as sounds at their moments: what to play when, so that nobody needs to look.

Pure: a compiled routine and its aims go in, a schedule comes out; ``render`` turns it into sound. An act that waits
for the car's answer has no place on a clock that started before. So a routine with answers becomes several parts: each
begins at zero with an answer, and the part before looks out for it and repeats so until it comes.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Mapping

from pydantic import Field

from tickover.cues.part import Awaited, Job, make_part
from tickover.cues.sounds import ANSWER_WORDS, RECIPES, Sound
from tickover.errors import InputError
from tickover.results import Result
from tickover.routines import CompiledEvent, CompiledRoutine
from tickover.timing import Aim

LONGEST = 3600.0
"""Longest part that becomes a sound file [s]; own choice: beyond it nobody listens for ticks."""

_SLACK = 1e-6
_MOST_COMBINED = 8


class Cue(Result):
    """One sound.

    Attributes:
        at: its onset from the beginning of the part [s]; for an act this is the moment itself.
        sound: which.
        length: how long it lasts [s]; an act's sound is cut short where the next one comes sooner.
        words: what it says in words; what is spoken where ``sound`` is ``words``.
        event: the planned event it is about.
    """

    at: float
    sound: Sound
    length: float
    words: str = ""
    event: str = ""


class Part(Result):
    """One file of a track.

    Attributes:
        number: from 1, in the order of the routine.
        begins: the event at ``zero``: the routine's first, or an answer of the car.
        when: when to play it, in words.
        zero: where that event stands [s from the beginning of the part].
        length: of the whole part [s].
        cues: in order of their onsets.
        then: answer to the number of the part that is played when it comes.
    """

    number: int
    begins: str
    when: str
    zero: float
    length: float
    cues: tuple[Cue, ...]
    then: dict[str, int] = Field(default_factory=dict)


class Track(Result):
    """A routine as sound.

    Attributes:
        v: version of this shape.
        routine, digest: what it was made from.
        spoken: whether words are spoken.
        parts: one, and one more for each answer of the car that something waits for.
        notes: what the listener must know, in sentences.
        legend: each sound that is used, and what it means.
    """

    v: int = 1
    routine: str
    digest: str
    spoken: bool
    parts: tuple[Part, ...]
    notes: tuple[str, ...] = ()
    legend: dict[str, str] = Field(default_factory=dict)


def cue_track(
    routine: CompiledRoutine, *, aims: Mapping[str, Aim], speak: Callable[[str], float] | None = None
) -> Track:
    """The sounds of a routine with their onsets.

    Args:
        routine: compiled for the car's switch.
        aims: when each act is best done, from ``aims_for`` with the sound file as help.
        speak: how long words take when spoken [s]; ``None``: tones only.
    Returns: the track. Every act has its sound at its aim, three pips before it as far as there is room after the act
        before, and words that end 0.4 s before the first pip where they fit.
    Raises: InputError if a part would be longer than an hour; KeyError if an act has no aim.
    Source: sounds and count-in are the look's own choice.
    """
    places = _places(routine, aims)
    roots = _roots(routine, places)
    numbers = {name: k for k, name in enumerate(roots, 1)}
    events = {e.name: e for e in routine.events}
    parts = []
    for root, number in numbers.items():
        job = Job(
            routine=routine,
            root=events[root],
            acts=sorted(
                ((t, events[e]) for e, (r, t) in places.items() if r == root and not events[e].answer),
                key=lambda pair: pair[0],
            ),
            awaited=_awaited(routine, places, root, numbers),
            speak=speak,
        )
        zero, length, cues = make_part(job)
        if length > LONGEST:
            raise InputError(
                f"part {number} of “{routine.id}” would last {length / 60:.0f} min, too long for a sound file",
                way_out=f"Use `tickover coach {routine.id}`.",
            )
        parts.append(
            Part(
                number=number,
                begins=root,
                when=_when(events[root], number),
                zero=zero,
                length=length,
                cues=tuple(Cue(**c) for c in cues),
                then={w.event.name: w.part for w in job.awaited if w.part is not None},
            )
        )
    used = {c.sound for p in parts for c in p.cues}
    return Track(
        routine=routine.id,
        digest=routine.digest,
        spoken=speak is not None,
        parts=tuple(parts),
        notes=_notes(routine, places, roots),
        legend={s: r.meaning for s, r in RECIPES.items() if s in used},
    )


def _when(event: CompiledEvent, number: int) -> str:
    if number == 1:
        return "to begin"
    return f"the moment {ANSWER_WORDS[event.kind]}"


Places = dict[str, tuple[str, float]]


def _places(routine: CompiledRoutine, aims: Mapping[str, Aim]) -> Places:
    """Each event to where it stands: on which root, the origin or an answer, and how long after it [s]."""
    origin = routine.events[0].name
    found: Places = {e.name: (e.name, 0.0) for e in routine.events if e.answer or e.name == origin}

    def place(name: str) -> tuple[str, float]:
        if name not in found:
            aim = aims[name]
            root, before = place(aim.after)
            found[name] = (root, before + aim.delay)
        return found[name]

    return {e.name: place(e.name) for e in routine.events}


def _roots(routine: CompiledRoutine, places: Places) -> list[str]:
    """The origin, and each answer that an act or another answer waits for, in the routine's order."""
    given = {e.name for e in routine.events if e.answer}
    waited = {root for name, (root, _) in places.items() if name not in given}
    waited |= {places[w.after][0] for w in routine.answers}
    return [e.name for e in routine.events if e.name in waited]


def _awaited(routine: CompiledRoutine, places: Places, root: str, numbers: Mapping[str, int]) -> list[Awaited]:
    """Answers that may come while a part plays, with their windows from its zero, open or not when it began."""
    events = {e.name: e for e in routine.events}
    found = []
    for w in routine.answers:
        at_root, at = places[w.after]
        if at_root == root:
            found.append(Awaited(events[w.event], at, at + w.lo, at + w.hi, numbers.get(w.event)))
    own = next((w for w in routine.answers if w.event == root), None)
    if own is None:
        return found
    before = _awaited(routine, places, places[own.after][0], numbers)
    mine = next(w for w in before if w.event.name == root)
    order = [e.name for e in routine.events]
    for other in before:
        later = other.hi > mine.lo and order.index(other.event.name) > order.index(root)
        if other is not mine and later:
            lo, hi = max(0.0, other.lo - mine.hi), other.hi - mine.lo
            found.append(Awaited(other.event, 0.0, lo, hi, other.part))
    return found


def _notes(routine: CompiledRoutine, places: Places, roots: list[str]) -> tuple[str, ...]:
    """What a track cannot do by itself, in sentences."""
    notes = []
    if len(roots) > 1:
        notes.append(
            "The car answers in its own time: when it does, play the part that names the answer. It begins at once."
        )
    windows = {w.event: w for w in routine.answers}
    for answer in roots[1:]:
        w = windows[answer]
        parent, at = places[w.after]
        late = [e for e, (r, t) in places.items() if r == parent and e not in windows and t > at + w.lo + _SLACK]
        if late:
            notes.append(
                f"Part {roots.index(parent) + 1} goes on while part {roots.index(answer) + 1} plays: "
                "play the second one on another phone."
            )
    for k in routine.counters:
        notes.append(
            f"Time counts only while this holds: {k.condition}. Pause the player while it does not, then go on."
        )
    broken = _not_for_every_answer(routine, places)
    if broken:
        notes.append(f"No fixed delay suits every answer of the car ({broken}): let the coach aim again instead.")
    return tuple(notes)


def _not_for_every_answer(routine: CompiledRoutine, places: Places) -> str:
    """A bound that the track would break at one end of the answers' windows; empty where none."""
    answers = routine.answers
    ends = [(w.lo, w.hi) for w in answers]
    few = len(answers) <= _MOST_COMBINED
    combined = itertools.product(*ends) if few else iter([[lo for lo, _ in ends], [hi for _, hi in ends]])
    names = [e.name for e in routine.events]
    for took in combined:
        came = {w.event: (w.after, t) for w, t in zip(answers, took, strict=True)}
        times = {name: _time(name, places, came, names[0]) for name in names}
        for c in routine.constraints:
            gone = times[c.b] - times[c.a]
            if (c.lo is not None and gone < c.lo - _SLACK) or (c.hi is not None and gone > c.hi + _SLACK):
                return c.label
    return ""


def _time(name: str, places: Places, came: Mapping[str, tuple[str, float]], origin: str) -> float:
    """When an event happens on the routine's own clock, for given answers [s]."""
    root, after = places[name]
    if root == origin:
        return after
    before, took = came[root]
    return after + took + _time(before, places, came, origin)
