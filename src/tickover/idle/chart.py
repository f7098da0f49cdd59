"""What the zooming chart draws: panels, pieces of time, the whole span; plain JSON values."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tickover.idle.figures import used_trace
from tickover.idle.reading import total_trim
from tickover.idle.results import Comparison, IdleReading, Stretch
from tickover.results import CannotTell
from tickover.signals import Recording, Series

Floats = NDArray[np.float64]
Normal = tuple[float, float] | None
MOST = 8000  # points of one signal in a chart; extremes are kept

_SPEED, _TRIM = "engine speed, r/min", "fuel trim, short and long together, %"


def letters(pieces: Sequence[Stretch]) -> dict[str, str]:
    """A letter for each reason why pieces do not count, in order of their first."""
    why = dict.fromkeys(s.unused_because or "" for s in pieces if not s.used)
    return {reason: "abcdefghijklmnopqrstuvwxyz"[i % 26] for i, reason in enumerate(why)}


def record_chart(pieces: Sequence[Stretch], recording: Recording, normal: Normal) -> dict[str, Any]:
    """A recording in as many points as a page may carry.

    Args:
        pieces: which of it counts.
        recording: what was recorded.
        normal: the car's normal idle [r/min].
    """
    speed, trim = recording.get("engine_speed"), total_trim(recording)
    start, stop = recording.span
    return _chart(_points(speed), _points(trim), pieces, normal, (start, stop))


def reading_chart(reading: IdleReading, normal: Normal) -> dict[str, Any] | None:
    """A reading as it was kept, with its thinned traces.

    Args:
        reading: what was measured.
        normal: the car's normal idle [r/min].
    Returns: what the chart draws; None for an idle read by eye, which has no trace.
    """
    trace, trims = reading.trace, reading.trim_trace
    if not trace.get("t"):
        return None
    ends = [*trace["t"], *(s.start for s in reading.stretches), *(s.stop for s in reading.stretches)]
    speed, trim = _thin(trace["t"], trace["speed"]), _stored(trims, "trim")
    return _chart(speed, trim, reading.stretches, normal, (min(ends), max(ends)))


def _stored(trace: Mapping[str, list[float]], name: str) -> dict[str, Any] | None:
    return _thin(trace["t"], trace[name]) if trace.get("t") else None


def _points(series: Series | None) -> dict[str, Any] | None:
    return None if series is None or not len(series) else _thin(series.t_hi, series.value)


def _chart(
    speed: dict[str, Any] | None,
    trim: dict[str, Any] | None,
    pieces: Sequence[Stretch],
    normal: Normal,
    span: tuple[float, float],
) -> dict[str, Any]:
    shown = [(_SPEED, speed, normal, 240, 20.0), (_TRIM, trim, None, 120, 4.0)]
    panels = []
    for what, points, band, height, least in shown:
        if points is not None:
            told = what + (f"; dotted: normal {band[0]:g} to {band[1]:g}" if band else "")
            drawn = {**points, "colour": "ink", "weight": 1.4}
            panels.append({"what": told, "height": height, "least": least, "normal": band, "series": [drawn]})
    names = letters(pieces)
    spans = [
        {"start": round(s.start, 2), "stop": round(s.stop, 2)}
        | ({} if s.used else {"why": s.unused_because or "", "letter": names[s.unused_because or ""]})
        for s in pieces
    ]
    return {"panels": panels, "spans": spans, "start": math.floor(span[0]), "stop": math.ceil(span[1])}


def _thin(times: ArrayLike, values: ArrayLike) -> dict[str, Any]:
    """At most ``MOST`` points, lowest and highest of each piece of time kept; ``gap``: silence that breaks the line."""
    t: Floats = np.asarray(times, dtype=np.float64)
    v: Floats = np.asarray(values, dtype=np.float64)
    good = np.isfinite(v)
    t, v = t[good], v[good]
    gap = max(5 * float(np.median(np.diff(t))), 1.0) if len(t) > 1 else 1.0
    if len(t) > MOST:
        keep: list[int] = []
        for part in np.array_split(np.arange(len(t)), MOST // 2):
            keep += sorted({int(part[np.argmin(v[part])]), int(part[np.argmax(v[part])])})
        gap = max(gap, 5 * float(np.median(np.diff(t[keep]))))
        t, v = t[keep], v[keep]
    return {"t": [round(float(x), 2) for x in t], "v": [round(float(x), 2) for x in v], "gap": round(gap, 2)}


def overlay_chart(
    comparison: Comparison, before: IdleReading | CannotTell, after: IdleReading | CannotTell
) -> dict[str, Any] | None:
    """Before under after, each from the first second that counts.

    Args:
        comparison: how they compare.
        before, after: the two readings it was made from.
    Returns: what the chart draws; None where neither has a trace.
    """
    from_state = ((before, comparison.before_state, "line", 1.2), (after, comparison.after_state, "do", 3.2))
    series: list[dict[str, Any]] = []
    for reading, state, colour, weight in from_state:
        used = used_trace(reading, state)
        if used is not None:
            t, v = list(used.t), list(used.values)
            gap = max(5 * float(np.median(np.diff(t))), 1.0) if len(t) > 1 else 1.0
            series.append({"t": [round(x, 2) for x in t], "v": v, "gap": gap, "colour": colour, "weight": weight})
    if not series:
        return None
    band = comparison.normal
    told = "idle speed, r/min" + (f"; dotted: normal {band[0]:g} to {band[1]:g}" if band else "")
    panel = {"what": told, "height": 280, "least": 20.0, "normal": band, "series": series}
    return {"panels": [panel], "spans": [], "start": 0, "stop": max(s["t"][-1] for s in series) or 1}
