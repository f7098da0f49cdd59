"""Pictures of a reading and of a comparison."""

from __future__ import annotations

from tickover.drawing.line import Found, ruled_line
from tickover.drawing.marks import Fill
from tickover.drawing.picture import Picture
from tickover.drawing.record import Panel, Span, record
from tickover.drawing.trace import BeforeAfter, Reading, Series, before_after
from tickover.idle.reading import thinned_trace, total_trim
from tickover.idle.results import Comparison, IdleReading, IdleState, Stretch
from tickover.idle.stretches import stretches
from tickover.results import CannotTell, Measured, Quantity
from tickover.signals import Recording


def reading_figure(
    reading: IdleReading, *, normal: tuple[float, float] | None = None, room: float = 760.0
) -> Picture | None:
    """Engine speed and fuel trim over time, the stretches that were used shaded, the others explained.

    Args:
        reading: what was measured.
        normal: the car's normal idle [r/min].
        room: width [px].
    Returns: the picture; for an idle read by eye, which has no trace, the reading on its ruled line. None where neither
        can be drawn.
    """
    if not reading.trace.get("t"):
        return _on_a_line([(reading.source or "idle", reading.states[0].speed, "solid")], normal, room)
    return _over_time(reading.trace, reading.trim_trace, reading.stretches, normal, room)


def unused_figure(
    recording: Recording, *, normal: tuple[float, float] | None = None, room: float = 760.0
) -> Picture | None:
    """The same for a recording in which nothing counts as idle: why each of its pieces does not.

    Args:
        recording: what was recorded.
        normal: the car's normal idle [r/min].
        room: width [px].
    Returns: the picture; None where a piece counts, or the engine speed was not recorded.
    """
    pieces = stretches(recording)
    if not pieces or any(s.used for s in pieces):
        return None
    total = total_trim(recording)
    trims = {} if total is None else thinned_trace(total, "trim", 3)
    return _over_time(thinned_trace(recording["engine_speed"], "speed", 2), trims, pieces, normal, room)


def _over_time(
    speed: dict[str, list[float]],
    trim: dict[str, list[float]],
    pieces: tuple[Stretch, ...],
    normal: tuple[float, float] | None,
    room: float,
) -> Picture:
    panels = [Panel("engine speed, r/min", Series(speed["t"], speed["speed"]), normal, 190.0, 40.0)]
    if trim.get("t"):
        trims = Series(trim["t"], trim["trim"])
        panels.append(Panel("fuel trim, short and long together, %", trims, None, 90.0, 8.0))
    spans = [Span(s.start, s.stop, None if s.used else s.unused_because or "") for s in pieces]
    return record(panels, spans, room=room)


def comparison_figure(
    found: Comparison, before: IdleReading | CannotTell, after: IdleReading | CannotTell, *, room: float = 760.0
) -> Picture | None:
    """Before under after, on one time axis from the first second that counts.

    Args:
        found: the comparison.
        before, after: the two readings it was made from.
        room: width [px], at least 420.
    Returns: the picture; where neither side has a trace, both readings on one ruled line. None where neither can be
        drawn.
    """
    traces = [
        used_trace(reading, state) for reading, state in ((before, found.before_state), (after, found.after_state))
    ]
    if all(t is None for t in traces):
        return _on_a_line([("before", found.before, "before"), ("after", found.after, "solid")], found.normal, room)
    return before_after(
        BeforeAfter(traces[0], traces[1], _mark(found.before), _mark(found.after), found.normal, "idle speed, r/min"),
        room=room,
        height=260.0,
    )


def _on_a_line(
    sides: list[tuple[str, Measured, Fill]], normal: tuple[float, float] | None, room: float
) -> Picture | None:
    """Readings without a trace: jaws for normal, a mark and its bar for each."""
    marks = [Found(name, q.value, q.lo, q.hi, fill) for name, q, fill in sides if isinstance(q, Quantity)]
    if not marks:
        return None
    return ruled_line(marks, allowed=normal, unit="r/min", about="Idle speed", room=room)


def _mark(found: Measured) -> Reading:
    return Reading(found.value, found.lo, found.hi) if isinstance(found, Quantity) else Reading(None)


def used_trace(reading: IdleReading | CannotTell, state: IdleState | None) -> Series | None:
    """The trace inside the pieces of the state that was compared, pauses left out so that both lie side by side."""
    if isinstance(reading, CannotTell) or state is None:
        return None
    t, v = reading.trace["t"], reading.trace["speed"]
    times: list[float] = []
    values: list[float | None] = []
    gone = 0.0
    for start, stop in state.dwells:
        inside = [(a, b) for a, b in zip(t, v, strict=True) if start <= a < stop]
        if times and inside:
            times.append(gone)
            values.append(None)
        times += [gone + a - start for a, _ in inside]
        values += [b for _, b in inside]
        gone += stop - start
    return Series(times, values) if any(x is not None for x in values) else None
