"""One part of a track: acts first, then the count-in, look-outs, holds and ticks, and words where there is room."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from itertools import pairwise
from typing import TypedDict

from tickover.cues.sounds import ACT_SOUNDS, ACT_WORDS, ANSWER_WORDS, RECIPES, Sound
from tickover.routines import CompiledEvent, CompiledRoutine

LEAD_IN = 5.0
"""From the beginning of the first part to the first act, at least [s]; time to put the hand on the key. Own choice."""

PIPS = 3
SINGLE = 0.8
"""Spacing of the count-in to a single step or after a wait [s]."""
SLOWEST, FASTEST = 1.0, 0.4
"""The count-in to a repeat is at its own period, held between these [s]."""
UPBEAT_FROM = 0.8
"""Least period of a repeat with an upbeat half-way [s]."""
SLOW_PRESS = 3.0
"""An interval of a repeat from here up is counted in like a single step [s]; own choice: longer than its count-in."""

WORDS_BEFORE_PIP = 0.4
"""Words end this long before the first pip [s]."""
_APART = 0.05
_TOGETHER = 0.06
_CLEAR = 0.15
_GRACE = 0.5
_AFTER = 0.8
_TAIL = 1.0
_LOOK_AGAIN = (3.0, 15.0)


class CueValues(TypedDict, total=False):
    """The values of a cue."""

    at: float
    sound: Sound
    length: float
    words: str
    event: str


@dataclass(frozen=True, slots=True)
class Awaited:
    """An answer that may come while a part plays.

    Attributes:
        event: the answer.
        since: from when on it is waited for [s from the part's zero].
        lo, hi: its window [s from the part's zero].
        part: the part that is played when it comes; ``None`` where nothing waits for it.
    """

    event: CompiledEvent
    since: float
    lo: float
    hi: float
    part: int | None


@dataclass(frozen=True)
class Job:
    """What a part is made of: where it begins, its acts with their times [s from zero], and answers awaited."""

    routine: CompiledRoutine
    root: CompiledEvent
    acts: list[tuple[float, CompiledEvent]]
    awaited: list[Awaited]
    speak: Callable[[str], float] | None


@dataclass
class _Sheet:
    """Cues laid down so far, and where the foreground is taken."""

    cues: list[CueValues] = field(default_factory=list)
    taken: list[tuple[float, float]] = field(default_factory=list)

    def put(self, at: float, sound: Sound, *, length: float | None = None, words: str = "", event: str = "") -> None:
        long = RECIPES[sound].length if length is None else length
        self.cues.append(CueValues(at=at, sound=sound, length=long, words=words, event=event))
        if sound not in {"hold", "tick"}:
            self.taken.append((at, at + long))

    def free(self, a: float, b: float) -> bool:
        return all(b <= start or a >= end for start, end in self.taken)

    @property
    def end(self) -> float:
        return max((end for _, end in self.taken), default=0.0)


def make_part(job: Job) -> tuple[float, float, list[CueValues]]:
    """Lay out one part.

    Args:
        job: what it is made of.
    Returns: where its zero stands [s], its length [s], and its cues in order, timed from its beginning.
    """
    sheet = _Sheet()
    acts = _lay_acts(job, sheet)
    firsts = _count_in(job, sheet, acts)
    _upbeats(sheet, acts)
    last = _end(job, sheet, acts)
    _look_out(job, sheet)
    _background(job, sheet, acts, firsts, last)
    if job.speak is not None:
        _speak_acts(job, sheet, acts, firsts)
    early = min((c["at"] for c in sheet.cues), default=0.0)
    zero = max(LEAD_IN, 0.5 - early) if not job.root.answer else 0.0
    cues = sorted(sheet.cues, key=lambda c: (c["at"], c["sound"]))
    end = max((c["at"] + c["length"] for c in cues), default=0.0)
    return zero, zero + end + _TAIL, [_shift(c, zero) for c in cues]


def _shift(cue: CueValues, zero: float) -> CueValues:
    moved = cue.copy()
    moved["at"] = round(cue["at"] + zero, 6)
    moved["length"] = round(cue["length"], 6)
    return moved


@dataclass(frozen=True, slots=True)
class _Act:
    """An act laid down: when, what, the end of its sound, and whether it is inside a repeat that carries itself."""

    at: float
    event: CompiledEvent
    end: float
    inside: bool


def _lay_acts(job: Job, sheet: _Sheet) -> list[_Act]:
    """The sound of each act at its moment; two that come together share the sound of the first."""
    kept: list[tuple[float, CompiledEvent, str]] = []
    for at, event in job.acts:
        words = act_words(job.routine, event)
        if kept and at - kept[-1][0] < _TOGETHER:
            t, first, said = kept[-1]
            kept[-1] = (t, first, f"{said} and {words[:1].lower()}{words[1:]}")
        else:
            kept.append((at, event, words))
    found = []
    for k, (at, event, words) in enumerate(kept):
        sound = ACT_SOUNDS.get(event.kind, "other act")
        length = RECIPES[sound].length
        if k + 1 < len(kept):
            length = min(length, kept[k + 1][0] - at - 0.01)
        before = kept[k - 1] if k else None
        carried = before is not None and before[1].step == event.step and at - before[0] < SLOW_PRESS
        sheet.put(at, sound, length=length, words=words, event=event.name)
        found.append(_Act(at, event, at + length, carried and event.of > 1))
    return found


def act_words(routine: CompiledRoutine, event: CompiledEvent) -> str:
    """The word of an act: “Press 2 of 5”, “Key on”, “Compressor on”."""
    step = routine.step(event.step)
    if step.load:
        return f"{step.load[:1].upper()}{step.load[1:]} {event.kind.removeprefix('load ')}"
    word = ACT_WORDS.get(event.kind, step.title)
    return f"{word} {event.number} of {event.of}" if event.of > 1 else word


def _count_in(job: Job, sheet: _Sheet, acts: list[_Act]) -> dict[str, float]:
    """Pips before each act outside a repeat, as far as there is room; each act to its first pip [s]."""
    firsts = {}
    for k, act in enumerate(acts):
        if act.inside:
            continue
        gap = SINGLE
        if act.event.of > 1 and act.event.kind == "press":
            after = [a.at for a in acts[k + 1 :] if a.event.step == act.event.step and a.event.kind == "press"]
            if after and after[0] - act.at < SLOW_PRESS:
                gap = min(SLOWEST, max(FASTEST, after[0] - act.at))
        clear = acts[k - 1].end + _APART if k else _APART if job.root.answer else float("-inf")
        times = [act.at - n * gap for n in range(PIPS, 0, -1) if act.at - n * gap >= clear]
        for at in times:
            sheet.put(at, "pip", event=act.event.name)
        firsts[act.event.name] = times[0] if times else act.at
    return firsts


def _upbeats(sheet: _Sheet, acts: list[_Act]) -> None:
    """Half-way between two presses of a repeat, unless the let-up sounds there."""
    presses = [a for a in acts if a.event.kind == "press" and a.event.of > 1]
    for one, other in pairwise(presses):
        period = other.at - one.at
        if one.event.step != other.event.step or not other.inside or period < UPBEAT_FROM:
            continue
        middle = one.at + period / 2
        if sheet.free(middle - 0.1, middle + 0.1):
            sheet.put(middle, "upbeat", event=other.event.name)


def _end(job: Job, sheet: _Sheet, acts: list[_Act]) -> float:
    """*Done* after the last step; *stop* where the answer that something waits for has not come. Its onset [s]."""
    closes = max((w.hi for w in job.awaited), default=0.0)
    last = max(acts[-1].end if acts else 0.0, 0.0)
    waited = [w for w in job.awaited if w.part is not None]
    if not waited:
        at = max(last + _AFTER, closes + _GRACE if job.awaited else 0.0)
        sheet.put(at, "done", words="All steps done")
        _after_words(job, sheet, at + RECIPES["done"].length + 0.2, "All steps done.")
        return at
    at = max(last + _AFTER, max(w.hi for w in waited) + _GRACE)
    slowest = max(waited, key=lambda w: w.hi)
    none = job.routine.step(slowest.event.step).if_none or "Stop. The car did not answer."
    sheet.put(at, "stop", words=none, event=slowest.event.name)
    _after_words(job, sheet, at + RECIPES["stop"].length + 0.2, none)
    return at


def _after_words(job: Job, sheet: _Sheet, at: float, words: str) -> None:
    if job.speak is not None:
        sheet.put(at, "words", length=job.speak(words), words=words)


def _look_out(job: Job, sheet: _Sheet) -> None:
    """The look-out from just before an answer may come until it no longer may, again and again."""
    sound = RECIPES["look out"].length
    for w in job.awaited:
        prompt = f"Watch until {ANSWER_WORDS[w.event.kind]}"
        every = min(_LOOK_AGAIN[1], max(_LOOK_AGAIN[0], (w.hi - w.lo) / 6))
        at = max(w.since + 0.7, w.lo - 1.0)
        while at <= max(w.hi, w.since + 0.7):
            while not sheet.free(at - _CLEAR, at + sound + _CLEAR):
                at += 0.1
            sheet.put(at, "look out", words=prompt, event=w.event.name)
            if job.speak is not None:
                _fit(sheet, at + sound + 0.15, job.speak(prompt), prompt, w.event.name)
            at += every


def _fit(sheet: _Sheet, at: float, length: float, words: str, event: str) -> None:
    """Words from ``at`` on, where nothing else sounds until 0.4 s after they end."""
    if sheet.free(at, at + length + WORDS_BEFORE_PIP):
        sheet.put(at, "words", length=length, words=words, event=event)


def _background(job: Job, sheet: _Sheet, acts: list[_Act], firsts: dict[str, float], last: float) -> None:
    """Between acts: the hold while the pedal is down, else a tick each second; both end at the first pip."""
    down = _down_before(job)
    began, clear = 0.0, _APART
    gaps: list[tuple[float, float, float, bool]] = []
    for act in acts:
        if act is not acts[0] or job.root.answer:
            gaps.append((began, clear, firsts.get(act.event.name, act.at - _APART), down))
        began, clear = act.at, act.end + _APART
        down = {"press": True, "release": False}.get(act.event.kind, down)
    gaps.append((began, clear, last, down))
    for start, a, b, held in gaps:
        if held and b - a >= 0.5:
            sheet.put(a, "hold", length=b - a, words="Hold")
        elif not held:
            for at in _seconds(start, b - 0.3):
                if sheet.free(at - 0.03, at + 0.03):
                    sheet.put(at, "tick")


def _seconds(start: float, end: float) -> Iterator[float]:
    k = 1
    while start + k <= end:
        yield start + k
        k += 1


def _down_before(job: Job) -> bool:
    """Whether the pedal is held when the part begins."""
    down = False
    for event in job.routine.events:
        if event.name == job.root.name:
            break
        down = {"press": True, "release": False}.get(event.kind, down)
    return down


def _speak_acts(job: Job, sheet: _Sheet, acts: list[_Act], firsts: dict[str, float]) -> None:
    """Before each count-in the act in words, with its caution where there is room; nothing inside a repeat."""
    assert job.speak is not None
    for k, act in enumerate(acts):
        if act.inside:
            continue
        end = firsts[act.event.name] - WORDS_BEFORE_PIP
        floor = acts[k - 1].end + 0.2 if k else 0.1 if job.root.answer else float("-inf")
        for words in _sayings(job.routine, act.event):
            length = job.speak(words)
            if end - length >= floor and sheet.free(end - length, end + 1e-9):
                sheet.put(end - length, "words", length=length, words=words, event=act.event.name)
                break


def _sayings(routine: CompiledRoutine, event: CompiledEvent) -> list[str]:
    """What may be said before an act, the fullest first; a let-up has its tone, and only the file's own words."""
    step = routine.step(event.step)
    short = step.say or ("" if event.kind == "release" else f"{_spoken_title(routine, event)}.")
    full = " ".join(part for part in (step.caution, short) if part)
    return [w for w in dict.fromkeys((full, short)) if w]


def _spoken_title(routine: CompiledRoutine, event: CompiledEvent) -> str:
    step = routine.step(event.step)
    return step.title if event.of > 1 and event.number == 1 else act_words(routine, event)
