"""The sheet's pictures: before and after, and one attempt on its time axis."""

from __future__ import annotations

from tickover.drawing import line, trace
from tickover.drawing.figures import plain
from tickover.drawing.marks import Fill
from tickover.drawing.picture import Picture
from tickover.drawing.timeline import Act, Caption, Timeline, Track, timeline
from tickover.drawing.tokens import Token
from tickover.handover.sheet import ActDone, Sheet, Try
from tickover.results import Measured, Quantity

_PEDAL = {"press": 0, "release": 1}
_KEY = {"ignition off": 0, "ignition accessory": 0, "ignition on": 1}
_BEYOND = 0.25
"""How far the axis goes on behind the last edge [s], so that its jaw stands free of the end; own choice."""
_ENGINE = ("crank", "running", "stopped")
_LAMP = ("lamp lit", "lamp flashing", "lamp off")
_WORDS = {
    "ignition off": "key off",
    "ignition accessory": "key to accessory",
    "ignition on": "key on",
    "crank": "start",
    "running": "engine runs",
    "stopped": "engine stops",
    "press": "pedal down",
    "release": "pedal up",
    "lamp lit": "lamp lit",
    "lamp flashing": "lamp flashing",
    "lamp off": "lamp dark",
    "end": "end",
}


def idle_picture(sheet: Sheet, *, height: float, room: float) -> Picture | None:
    """Before against after: the traces where there are any, else both readings on a ruled line.

    Args:
        sheet: the sheet.
        height: of the traces [px].
        room: width [px].
    Returns: the picture, or ``None`` where nothing was measured.
    """
    traces = [trace.Series(t.t, t.speed) if t is not None else None for t in (sheet.before_trace, sheet.after_trace)]
    if any(s is not None and s.known() for s in traces):
        shown = trace.BeforeAfter(
            before=traces[0],
            after=traces[1],
            was=_reading(sheet.before),
            now=_reading(sheet.after),
            normal=sheet.normal,
        )
        return trace.before_after(shown, room=room, height=height)
    found: list[line.Found] = []
    if sheet.before is not None:
        found.append(_found("before", sheet.before, "before"))
    if sheet.after is not None:
        found.append(_found("after", sheet.after, "solid"))
    if all(one.value is None for one in found):
        return None
    return line.ruled_line(found, allowed=sheet.normal, about="Idle speed", room=room)


def _found(name: str, reading: Measured, fill: Fill) -> line.Found:
    if isinstance(reading, Quantity):
        return line.Found(name, reading.value, reading.lo, reading.hi, fill)
    return line.Found(name, None)


def _reading(reading: Measured | None) -> trace.Reading | None:
    if reading is None:
        return None
    if isinstance(reading, Quantity):
        return trace.Reading(reading.value, reading.lo, reading.hi)
    return trace.Reading(None)


def last_try(sheet: Sheet) -> Try | None:
    """The last attempt whose acts were recorded."""
    return next((t for t in reversed(sheet.tries) if t.acts), None)


def try_picture(attempt: Try, *, room: float) -> Picture:
    """One attempt on its time axis.

    Args:
        attempt: with at least one act.
        room: width [px].
    """
    tracks, where = _tracks(attempt)
    acts = tuple(
        Act(act.label or _WORDS[act.kind], *where[act.kind], act.t_lo, act.t_hi, act.window, act.verdict)
        for act in attempt.acts
        if act.kind in where
    )
    return timeline(
        Timeline(
            duration=_duration(attempt),
            tracks=tracks,
            acts=acts,
            captions=tuple(_captions(attempt)),
            what=attempt.title,
        ),
        room=room,
    )


def _duration(attempt: Try) -> float:
    known = [t for a in attempt.acts for t in (a.t_lo, a.t_hi, *(a.window or ())) if t is not None]
    known += [a.t for a in attempt.answers]
    return max(attempt.duration, 1.0, max(known, default=0.0) + _BEYOND)


def _middle(act: ActDone) -> float | None:
    if act.t_lo is None or act.t_hi is None:
        return None
    return (act.t_lo + act.t_hi) / 2


def _tracks(attempt: Try) -> tuple[tuple[Track, ...], dict[str, tuple[int, int]]]:
    """The tracks that this attempt needs, and on which track and level each kind of act stands."""
    kinds = {a.kind for a in attempt.acts}
    seen = kinds | {a.kind for a in attempt.answers}
    tracks: list[Track] = []
    where: dict[str, tuple[int, int]] = {}
    if kinds & {*_KEY, *_ENGINE} or not kinds & {*_PEDAL, *_LAMP}:
        steps = _steps(attempt, _KEY)
        first = steps[0][1] if steps else 0
        low = "not on" if "ignition accessory" in kinds else "off"
        where |= {kind: (len(tracks), level) for kind, level in _KEY.items()}
        where |= {kind: (len(tracks), 1) for kind in (*_ENGINE, "end")}
        tracks.append(Track("key", low, "on", steps, 1 - first, tall=22))
    if kinds & set(_PEDAL):
        steps = _steps(attempt, _PEDAL)
        where |= {kind: (len(tracks), level) for kind, level in _PEDAL.items()}
        tracks.append(Track("pedal", "floor", "up", steps, 1 - steps[0][1] if steps else 1, tall=31))
    if seen & set(_LAMP):
        where |= {kind: (len(tracks), 1) for kind in _LAMP}
        tracks.append(_lamp(attempt))
    return tuple(tracks), where


def _steps(attempt: Try, levels: dict[str, int]) -> tuple[tuple[float, int], ...]:
    moved = [(_middle(a), levels[a.kind]) for a in attempt.acts if a.kind in levels]
    return tuple(sorted((t, level) for t, level in moved if t is not None))


def _lamp(attempt: Try) -> Track:
    acts = [(_middle(a), a.kind) for a in attempt.acts if a.kind in _LAMP]
    told = {(t, kind) for t, kind in acts if t is not None}
    told |= {(a.t, a.kind) for a in attempt.answers if a.kind in _LAMP}
    events = sorted(told)
    steps: list[tuple[float, int]] = []
    flashing: list[tuple[float, float]] = []
    for i, (t, kind) in enumerate(events):
        steps.append((t, 1 if kind == "lamp lit" else 0))
        if kind == "lamp flashing":
            flashing.append((t, events[i + 1][0] if i + 1 < len(events) else _duration(attempt)))
    return Track("lamp", "dark", "lit", tuple(steps), None, tuple(flashing), tall=20, strong=False)


def _captions(attempt: Try) -> list[Caption]:
    """A word for each act, one for all of a repeat, and a heavier one for each that was not a hit."""
    groups: dict[str, list[ActDone]] = {}
    for act in attempt.acts:
        groups.setdefault(act.step, []).append(act)
    found: list[Caption] = []
    for acts in groups.values():
        times = [t for t in map(_middle, acts) if t is not None]
        presses = sum(a.kind == "press" for a in acts)
        if presses > 1 and times:
            found.append(Caption(min(times), max(times), f"pedal down and up, {presses} times"))
        else:
            found += [
                Caption(t, t, _WORDS[a.kind]) for a in acts if (t := _middle(a)) is not None and a.verdict == "hit"
            ]
        for act in acts:
            # What came after a miss was never judged: an act without a time is worth a word only as the miss.
            if act.verdict == "missed" or (act.verdict == "undecided" and act.t_lo is not None):
                at = _middle(act)
                at = at if at is not None else next((w for w in act.window or () if w is not None), 0.0)
                colour = Token.WARN if act.verdict == "missed" else Token.INK
                found.append(Caption(at, at, f"{act.label or _WORDS[act.kind]}: {miss_words(act)}", 2, colour))
    return found


def miss_words(act: ActDone) -> str:
    """By how much an act was early or late, as a range where its instant is one."""
    if act.t_lo is None or act.t_hi is None:
        return "did not come"
    if act.verdict == "undecided":
        return "too close to tell"
    lo, hi = act.window or (None, None)
    if hi is not None and act.t_lo > hi:
        return f"{_range(act.t_lo - hi, act.t_hi - hi)} late"
    if lo is not None and act.t_hi < lo:
        return f"{_range(lo - act.t_hi, lo - act.t_lo)} early"
    return "missed"


def _range(lo: float, hi: float) -> str:
    places = 1 if hi >= 0.1 else 2
    a, b = plain(lo, places), plain(hi, places)
    return f"{b} seconds" if a == b else f"{a} to {b} seconds"
