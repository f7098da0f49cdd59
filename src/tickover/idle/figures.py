"""Pictures of a reading and of a comparison."""

from __future__ import annotations

from tickover.drawing.picture import Picture
from tickover.drawing.record import Panel, Span, record
from tickover.drawing.trace import BeforeAfter, Reading, Series, before_after
from tickover.idle.results import Comparison, IdleReading, IdleState
from tickover.results import CannotTell, Measured, Quantity


def reading_figure(
    reading: IdleReading, *, normal: tuple[float, float] | None = None, room: float = 760.0
) -> Picture | None:
    """Engine speed and fuel trim over time, the stretches that were used shaded, the others explained.

    Args:
        reading: what was measured.
        normal: the car's normal idle [r/min].
        room: width [px].
    Returns: the picture; None for an idle read by eye.
    """
    if not reading.trace.get("t"):
        return None
    panels = [Panel("engine speed, r/min", Series(reading.trace["t"], reading.trace["speed"]), normal, 190.0, 40.0)]
    if reading.trim_trace.get("t"):
        trims = Series(reading.trim_trace["t"], reading.trim_trace["trim"])
        panels.append(Panel("fuel trim, short and long together, %", trims, None, 90.0, 8.0))
    spans = [Span(s.start, s.stop, None if s.used else s.unused_because or "") for s in reading.stretches]
    return record(panels, spans, room=room)


def comparison_figure(
    found: Comparison, before: IdleReading | CannotTell, after: IdleReading | CannotTell, *, room: float = 760.0
) -> Picture | None:
    """Before under after, on one time axis from the first second that counts.

    Args:
        found: the comparison.
        before, after: the two readings it was made from.
        room: width [px], at least 420.
    Returns: the picture; None where neither side has a trace.
    """
    traces = [
        used_trace(reading, state) for reading, state in ((before, found.before_state), (after, found.after_state))
    ]
    if all(t is None for t in traces):
        return None
    return before_after(
        BeforeAfter(traces[0], traces[1], _mark(found.before), _mark(found.after), found.normal, "idle speed, r/min"),
        room=room,
        height=260.0,
    )


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
