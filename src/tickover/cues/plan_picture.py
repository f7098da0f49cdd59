"""A routine as a picture: its windows as jaws, its aims as ◆, on one time axis."""

from __future__ import annotations

from collections.abc import Mapping

from tickover.attempts import Kind
from tickover.cues.when import on_road
from tickover.drawing.figures import short
from tickover.drawing.picture import Picture
from tickover.drawing.timeline import Act, Caption, Timeline, Track, timeline
from tickover.routines import CompiledEvent, CompiledRoutine
from tickover.timing import Aim

_TRACKS: tuple[tuple[str, str, str, dict[Kind, int]], ...] = (
    ("Key", "off", "on", {"ignition off": 0, "ignition accessory": 1, "ignition on": 1, "crank": 1}),
    ("Pedal", "floor", "up", {"press": 0, "release": 1}),
    ("Lamp", "dark", "lit", {"lamp lit": 1, "lamp flashing": 1, "lamp off": 0}),
    ("Engine", "still", "runs", {"running": 1, "stopped": 0}),
    ("Fan", "still", "on", {"fan on": 1, "fan off": 0}),
    ("Car", "stands", "drives", {"drive": 1, "coast": 1, "stand": 0}),
)
_AT_REST = {"Pedal": 1}
_OTHER = "Other"
_BEFORE, _AFTER = 1.0, 2.0
_APART_ON_ROAD = 3.0
"""A drive is drawn whole, its marks as near as they come [px]: its minutes are what the driver wants to see."""
LONG = 180.0
"""A routine longer than this has its axis in minutes and seconds, from the first act on [s]; own choice."""


def plan_picture(
    routine: CompiledRoutine, aims: Mapping[str, Aim], numbers: Mapping[str, int], *, room: float
) -> Picture:
    """Draw a routine on one time axis.

    Args:
        routine: compiled.
        aims: when each act is best done.
        numbers: step id to the number that the card gives it.
        room: width [px].
    Returns: the picture. An answer of the car stands in the middle of its window, and what waits for it after that.
    """
    road = on_road(routine)
    planned = plan_times(routine, aims)
    long = max(planned.values()) > LONG
    before = 0.0 if long else _BEFORE
    times = {name: t + before for name, t in planned.items()}
    end = max(times.values()) + max(_AFTER, 0.01 * max(times.values()) if road else 0.0)
    kinds = {e.kind for e in routine.events}
    shown = [t for t in _TRACKS if kinds & set(t[3])]
    others = [e for e in routine.events if not any(e.kind in t[3] for t in _TRACKS)]
    tracks, acts = [], []
    for index, (name, low, high, levels) in enumerate(shown):
        events = [e for e in routine.events if e.kind in levels]
        steps = tuple((times[e.name], levels[e.kind]) for e in events)
        track = Track(
            name,
            low,
            high,
            steps,
            start=_AT_REST.get(name, 0),
            flashing=_flashing(name, events, times),
            strong=name in {"Key", "Pedal"},
            tall=22.0,
        )
        tracks.append(track)
        acts += [_act(routine, e, index, levels[e.kind], times) for e in events if e.number == 1 and _drawn(e)]
    if others:
        tracks.append(Track(_OTHER, "", "", (), start=0, tall=12.0))
        acts += [_act(routine, e, len(shown), 0, times) for e in others]
    captions = _captions(routine, times, numbers)
    return timeline(
        Timeline(
            end,
            tuple(tracks),
            tuple(acts),
            captions,
            seconds="min:s" if long else "seconds",
            what=f"{routine.title}: windows and aims",
            clock=long,
            apart=_APART_ON_ROAD if road else 15.0,
        ),
        room=room,
    )


def plan_times(routine: CompiledRoutine, aims: Mapping[str, Aim]) -> dict[str, float]:
    """Each event's time [s from the first], each answer in the middle of its window."""
    answers = {w.event: w for w in routine.answers}
    origin = routine.events[0].name
    found = {origin: 0.0}

    def time(name: str) -> float:
        if name not in found:
            if name in answers:
                w = answers[name]
                found[name] = time(w.after) + (w.lo + w.hi) / 2
            else:
                found[name] = time(aims[name].after) + aims[name].delay
        return found[name]

    return {e.name: time(e.name) for e in routine.events}


def _drawn(event: CompiledEvent) -> bool:
    return event.of == 1 or event.kind == "press"


def _flashing(name: str, events: list[CompiledEvent], times: Mapping[str, float]) -> tuple[tuple[float, float], ...]:
    if name != "Lamp":
        return ()
    found = []
    for k, e in enumerate(events):
        if e.kind == "lamp flashing":
            until = times[events[k + 1].name] if k + 1 < len(events) else max(times.values()) + _AFTER
            if until > times[e.name]:
                found.append((times[e.name], until))
    return tuple(found)


def _act(routine: CompiledRoutine, event: CompiledEvent, track: int, level: int, times: Mapping[str, float]) -> Act:
    """An event with its window about where it is drawn."""
    at = times[event.name]
    answer = next((w for w in routine.answers if w.event == event.name), None)
    window: tuple[float | None, float | None] | None = None
    if answer is not None:
        since = times[answer.after]
        window = (since + answer.lo, since + answer.hi)
    else:
        bound = next((c for c in routine.constraints if c.b == event.name and c.rule == "bound"), None)
        # On the road an act is done when the time before it is: a jaw open to one side would say nothing more.
        if bound is not None and not (on_road(routine) and None in (bound.lo, bound.hi)):
            since = times[bound.a]
            window = (
                None if bound.lo is None else since + bound.lo,
                None if bound.hi is None else since + bound.hi,
            )
    return Act(event.step, track, level, at, at, window, "may come" if answer is not None else "aim")


def _captions(routine: CompiledRoutine, times: Mapping[str, float], numbers: Mapping[str, int]) -> tuple[Caption, ...]:
    found = []
    for step in routine.steps:
        first, last = times[step.events[0]], times[step.events[-1]]
        number = numbers[step.id]
        presses = len(step.events) > 1
        text = f"{number}: {short(len(step.events) // 2)} presses" if presses else str(number)
        found.append(Caption(first, last if presses else first, text, 1))
    return tuple(found)
