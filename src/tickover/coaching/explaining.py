"""An explanation in words: which bounds a miss broke, the nearest attempt that passes, what would have settled it."""

from __future__ import annotations

import math
from collections.abc import Sequence

from tickover.coaching.match import Matched
from tickover.coaching.words import event_words
from tickover.routines import CompiledRoutine
from tickover.timing import Answer, Bound, Counter, Judgement, Person
from tickover.timing.explain import Change, Decider, Miss, Record, explain_miss, wait_bound, would_decide
from tickover.timing.network import ends_of

SMALL = 0.005
"""Changes below this are not told apart [s]."""


class Namer:
    """Names that somebody who reads the routine knows, for its events and bounds.

    Args:
        routine: compiled.
    """

    def __init__(self, routine: CompiledRoutine) -> None:
        self._words = {e.name: event_words(e) for e in routine.events}
        rounds = {e.name: routine.step(e.step).round for e in routine.events}
        last = {e.name: routine.step(e.step).rounds for e in routine.events}
        for name, n in rounds.items():
            if last[name] > 1:
                self._words[name] += f" in round {n}"
        self._number = {e.name: (e.step, e.number, e.kind) for e in routine.events}

    def event(self, name: str) -> str:
        """Such as “press 3 of 5”."""
        return self._words[name]

    def in_words(self, text: str) -> str:
        """A text in which events stand in quotes by their names, with their words instead."""
        for name, words in self._words.items():
            text = text.replace(f"“{name}”", f"“{words}”")
        return text

    def bound(self, bound: Bound) -> str:
        """Such as “press 2 of 5, 0.12 to 0.9 s after let up 1 of 5”."""
        a, b = ends_of(bound)
        counted = ""
        if isinstance(bound, Counter):
            counted = f" of time counted while {bound.condition.replace('_', ' ')}"
        span = f"{_span(bound.lo, bound.hi)}{counted}"
        one, other = self._number[a], self._number[b]
        if one[:2] == other[:2] and (one[2], other[2]) == ("press", "release"):
            return f"{self.event(a)}, held {span}"
        if isinstance(bound, Answer):
            return f"the car's answer “{self.event(b)}”, {span} after {self.event(a)}"
        return f"{self.event(b)}, {span} after {self.event(a)}"

    def between(self, bound: Bound) -> str:
        """A bound without its seconds, such as “let up after press” or “press 2 of 5, held”."""
        a, b = ends_of(bound)
        one, other = self._number[a], self._number[b]
        if one[:2] == other[:2] and (one[2], other[2]) == ("press", "release"):
            return f"{self.event(a)}, held"
        counted = f", counted time while {bound.condition.replace('_', ' ')}" if isinstance(bound, Counter) else ""
        return f"{self.event(b)} after {self.event(a)}{counted}"


def _span(lo: float, hi: float) -> str:
    if math.isinf(hi):
        return f"at least {lo:g} s" if lo > 0 else "not before, but any time"
    return f"within {hi:g} s" if lo <= 0 else f"{lo:g} to {hi:g} s"


def record_of(routine: CompiledRoutine, laid: Matched, clocks: dict[str, tuple[float, float]]) -> Record:
    """What was seen of an attempt, as the judge takes it."""
    return Record(routine.plan(), laid.observations, clocks, laid.horizon, laid.counted)


class MissWords:
    """What to say of a missed attempt.

    Args:
        routine, record, found: the attempt and its judgement.
        person: who performed it, where that is known.
        cued: whether each act had its tone.

    Attributes:
        broken: the irreducible set of bounds, in words.
        nearest: the changes that would have made it pass, in words, the greatest first.
        advice: one sentence.
    """

    def __init__(
        self, routine: CompiledRoutine, record: Record, found: Judgement, person: Person | None, *, cued: bool = False
    ) -> None:
        self._cued = cued
        self._names = Namer(routine)
        self._record = record
        miss = explain_miss(record, person, found)
        self.broken = tuple(self._names.bound(b) for b in miss.broken)
        changes = [c for c in miss.changes if abs(c.by) >= SMALL] or miss.changes[:1]
        self.nearest = tuple(self._change(c) for c in changes)
        self.advice = self._advise(miss, changes)

    def _change(self, c: Change) -> str:
        name, after = self._names.event(c.act), self._names.event(c.after)
        return f"{name} {_by(c.by)} {'later' if c.by > 0 else 'earlier'} after {after}"

    def _advise(self, miss: Miss, changes: Sequence[Change]) -> str:
        if not miss.possible:
            return "As the car answered, no timing of yours could have passed: begin again, and look at its answers."
        if not changes:
            return self._advise_no_change(miss)
        c = changes[0]
        more = f", and {_others(len(changes) - 1)} with it" if len(changes) > 1 else ""
        cue = ""
        if c.uncertain:
            unaided, led = "Have it cued: timed unaided it is missed often.", "Let its tone lead, not your own count."
            cue = f" {led if self._cued else unaided}"
        return f"One thing to change: {self._change(c)} would have passed{more}{self._aim(c)}.{cue}"

    def _aim(self, c: Change) -> str:
        bound = wait_bound(self._record.plan, c.act, c.after)
        if bound is None:
            return ""
        return f"; aim at {(bound.lo + bound.hi) / 2:.3g} s, it was {c.was:.2f} s"

    def _advise_no_change(self, miss: Miss) -> str:
        bound = miss.broken[0]
        what = self._names.bound(bound)
        if isinstance(bound, Answer):
            return f"The car answered outside its window ({what}): look at its service information, then begin again."
        if isinstance(bound, Counter):
            return f"One thing to change: let the counted time come to {_span(bound.lo, bound.hi)} ({what})."
        lo, hi = bound.lo, bound.hi
        target = f"aim at {(lo + hi) / 2:.3g} s" if math.isfinite(lo) and math.isfinite(hi) else "let it come"
        return f"One thing to change, {what}: {target}."


def _by(seconds: float) -> str:
    return f"{abs(seconds):.2f} s" if abs(seconds) >= SMALL else "a hair"


def _others(n: int) -> str:
    return "one more act" if n == 1 else f"{n} more acts"


def deciding_words(routine: CompiledRoutine, record: Record, found: Judgement) -> str:
    """Which observation would have settled an undecided attempt, as one sentence."""
    decider = would_decide(record, found)
    if decider is None:
        return (
            "No finer look at one event settles it: what was seen disagrees, or the clocks do. "
            "Record all of it on one clock."
        )
    return _decider_words(Namer(routine), decider)


def _decider_words(names: Namer, decider: Decider) -> str:
    events = [names.event(e) for e in decider.events]
    if decider.unseen:
        parts = [f"{_listed(events)} {'was' if len(events) == 1 else 'were'} not seen"] if events else []
        parts += [f"when “{c}” held was not recorded" for c in decider.conditions]
        return f"{'; '.join(parts).capitalize()}: record until the routine is over, or film it."
    surely = "would have settled it" if decider.share == 1 else "would most likely have settled it"
    rate = f"film it, or poll at {min(1000, 0.5 / decider.within):.0f} Hz or more"
    return f"{_listed(events).capitalize()}, known to within ±{decider.within:g} s, {surely}: {rate}."


def _listed(words: Sequence[str]) -> str:
    if len(words) > 3:
        return f"{', '.join(words[:3])} and {len(words) - 3} more"
    return " and ".join([", ".join(words[:-1]), words[-1]] if len(words) > 1 else words)
