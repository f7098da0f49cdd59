"""Readings and comparisons in words. Numbers are rounded here and nowhere else, so every door says the same."""

from __future__ import annotations

import math
from dataclasses import dataclass

from tickover.idle.cold import cold_words
from tickover.idle.hunting import either
from tickover.idle.results import Comparison, Hunting, IdleReading, IdleState, Release
from tickover.results import CannotTell, Measured, Quantity

MINUS = "−"


def number(value: float, places: int = 0) -> str:
    """A number as people read it: true minus, no minus zero. ``number(-1.86, 1)`` is ``"−1.9"``."""
    text = f"{value:.{places}f}"
    if float(text) == 0:
        text = f"{0:.{places}f}"
    return text.replace("-", MINUS)


def signed(value: float, places: int = 0) -> str:
    """As ``number``, a plus before what is positive."""
    text = number(value, places)
    return text if text.startswith(MINUS) or float(text) == 0 else f"+{text}"


def against_normal(q: Quantity, normal: tuple[float, float]) -> str:
    """Where a measured idle lies against the normal one [r/min]; the whole interval must be on one side to say so.

    Example: 989 ± 6 against 700 to 800 is ``"above its normal 700 to 800, by 183 to 195"``.
    """
    lo, hi = normal
    band = f"its normal {lo:g} to {hi:g}"
    if q.lo is None or q.hi is None:
        return f"cannot tell against {band}"
    if lo <= q.lo and q.hi <= hi:
        return f"inside {band}"
    if q.lo > hi:
        return f"above {band}, by {number(q.lo - hi)} to {number(q.hi - hi)}"
    if q.hi < lo:
        return f"below {band}, by {number(lo - q.hi)} to {number(lo - q.lo)}"
    return f"cannot tell: the interval crosses an end of {band}"


def plus_minus(q: Quantity, places: int = 0) -> str:
    """``842 ± 14``; the larger side where they differ; ``at least`` or ``at most`` where one is open."""
    if q.lo is None or q.hi is None:
        side = "at least" if q.hi is None else "at most"
        bound = q.lo if q.hi is None else q.hi
        return number(q.value, places) if bound is None else f"{side} {number(bound, places)}"
    half = max(q.hi - q.value, q.value - q.lo)
    if half < 1e-9 * max(1.0, abs(q.value)):
        return number(q.value, places)
    places = deserved(half, places)
    return f"{number(q.value, places)} ± {number(max(half, 10.0**-places), places)}"


def deserved(half: float, places: int) -> int:
    """Decimals that a half width deserves where its quantity is usually written with ``places``.

    Never more than the range is good for, never so few that it would read ± 0.
    Example: ``deserved(33.4, 1)`` is 0 and ``deserved(0.004, 2)`` is 3.
    """
    if half >= 10:
        return 0
    if half >= 0.95 * 10.0**-places:
        return places if half < 1 else min(places, 1)
    return min(-math.floor(math.log10(half)), places + 3)


def measured(m: Measured, places: int = 0) -> str:
    """A measured value with its unit, or ``cannot tell``; without a range where every measurement was the same."""
    if isinstance(m, CannotTell):
        return "cannot tell"
    same = m.lo == m.hi and m.lo is not None
    return f"{plus_minus(m, places)} {m.unit}{', all alike' if same else ''}"


def speed_words(before: Quantity, after: Quantity, difference: Quantity) -> str:
    """The change in a sentence: “It idled at 842, it now idles at 702 r/min (140 ± 17 slower).”.

    Where the range holds none, no way is named: “no difference seen (0 ± 9 r/min)”.
    """
    size, lo, hi = difference, difference.lo, difference.hi
    speeds = f"It idled at {number(before.value)}, it now idles at {number(after.value)} r/min"
    if lo is not None and hi is not None and lo <= 0 <= hi:
        return f"{speeds}: no difference seen ({plus_minus(size)} r/min)."
    way = "slower" if difference.value < 0 else "faster"
    if difference.value < 0 and lo is not None and hi is not None:
        size = difference.model_copy(update={"value": -difference.value, "lo": -hi, "hi": -lo})
    return f"{speeds} ({plus_minus(size)} {way})."


def conditions(state: IdleState) -> str:
    """What a state's figure holds for: load, length, coolant."""
    parts: list[str] = [] if state.name == "one load state" else [state.name]
    parts.append(f"{state.seconds:.0f} s")
    if state.coolant is not None:
        parts.append(f"coolant {_degrees(*state.coolant)}")
    return ", ".join(parts)


def _degrees(lo: float, hi: float) -> str:
    return f"{number(lo)} °C" if lo == hi else f"{number(lo)} to {number(hi)} °C"


def swing_words(swing: Measured) -> str:
    """The size of the swing with its range: a spread is never symmetric."""
    if isinstance(swing, CannotTell):
        return "cannot tell"
    text = f"by {number(swing.value)} {swing.unit} about its mean"
    if swing.lo is None or swing.hi is None:
        return text
    return f"{text} ({number(swing.lo)} to {number(swing.hi)})"


def rows(reading: IdleReading, state: IdleState) -> tuple[tuple[str, str], ...]:
    """The list under a state's figure: what, and how much."""
    out = []
    if state is reading.states[0]:
        out.append(("swings", swing_words(reading.swing)))
    elif state.spread is not None:
        out.append(("spread", f"{number(state.spread)} r/min"))
    out.append(("fuel trim", measured(state.trim, 1)))
    for what, value, places in (
        ("manifold pressure", state.manifold_pressure, 1),
        ("air flow", state.air_flow, 2),
        ("throttle", state.throttle, 1),
    ):
        if isinstance(value, Quantity):
            out.append((what, measured(value, places)))
    worth = state.speed.n_eff if isinstance(state.speed, Quantity) else None
    if worth is not None:
        out.append(("worth", f"{state.refreshes} measurements, about {worth:.0f} of them independent"))
    return tuple(out)


def sentence(reading: IdleReading) -> str:
    """The answer in one sentence."""
    parts = []
    for state in reading.states:
        load = "" if state.name == "one load state" else f" with {state.name}"
        parts.append(f"{measured(state.speed)}{load}")
    return f"It idles at {', '.join(parts)}."


def cannot_tell(no: CannotTell) -> str:
    """A refusal in one line, with its way out."""
    text = no.reason[:1].lower() + no.reason[1:] + "."
    return f"{text} {no.way_out}".strip()


@dataclass(frozen=True, slots=True)
class RuledLine:
    """Places on a ruled line of characters.

    Attributes:
        rule: the line with jaws, bar and mark.
        scale: the figures under it.
        says: the same in a sentence, for those who cannot see it.
    """

    rule: str
    scale: str
    says: str


def ruled_line(q: Quantity, normal: tuple[float, float] | None, width: int = 60) -> RuledLine:
    """Jaws for what is normal, ◆ for what was found, a bar for how far to trust it.

    Args:
        q: what was found.
        normal: what is normal, same unit; no jaws where it is not known.
        width: characters.
    Returns: the line, its scale of round figures, and a sentence.
    """
    lo, hi = q.lo if q.lo is not None else q.value, q.hi if q.hi is not None else q.value
    least = min([lo, q.value, *(normal or ())])
    most = max([hi, q.value, *(normal or ())])
    step = _round_step(max(most - least, 4.0) / 2)
    first, last = _floor(least - step / 4, step), _floor(most + step / 4, step) + step

    def place(value: float) -> int:
        return min(width - 1, max(0, round((value - first) / (last - first) * (width - 1))))

    line = ["─"] * width
    scale = [" "] * (width + 8)
    ticks = [first + i * step for i in range(round((last - first) / step) + 1)]
    for tick in ticks:
        line[place(tick)] = "┴"
        text = number(tick)
        begin = min(max(0, place(tick) - len(text) // 2), width - len(text))
        scale[begin : begin + len(text)] = text
    for i in range(place(lo), place(hi) + 1):
        line[i] = "━"
    if normal is not None:
        left, right = _jaws(place(normal[0]), place(normal[1]), place(q.value), normal, q.value)
        line[left], line[right] = "[", "]"
    line[place(q.value)] = "◆"
    says = f"{measured(q)}" + (f", normal {normal[0]:g} to {normal[1]:g}" if normal is not None else "")
    return RuledLine("".join(line), "".join(scale).rstrip(), says)


def _jaws(left: int, right: int, mark: int, normal: tuple[float, float], value: float) -> tuple[int, int]:
    """Cells of the jaws, moved by one where the mark would hide them or they would hide each other."""
    if value < normal[0]:
        left = max(left, mark + 1)
        return left, max(right, left + 1)
    if value > normal[1]:
        right = min(right, mark - 1)
        return min(left, right - 1), right
    return min(left, mark - 1), max(right, mark + 1)


def _round_step(wanted: float) -> float:
    """The round figure 1, 2 or 5 times a power of ten at or above ``wanted``."""
    power = 1.0
    while power * 10 <= wanted:
        power *= 10
    return next(power * k for k in (1, 2, 5, 10) if power * k >= wanted)


def _floor(value: float, step: float) -> float:
    return step * (value // step)


def difference_words(found: Comparison) -> str:
    """The difference and its interval: ``−140 ± 17 r/min``."""
    d = found.difference
    if isinstance(d, CannotTell):
        return "cannot tell"
    sign = "+" if d.value > 0 else ""
    return f"{sign}{plus_minus(d)} {d.unit}"


def hunting_words(found: Hunting | CannotTell) -> str:
    """Whether it hunts, how far and how fast."""
    if isinstance(found, CannotTell):
        return "cannot tell"
    if not found.found:
        text = "none"
        if found.seen_from is not None:
            text += f" found; a regular swing of {number(found.seen_from)} r/min or more would have shown"
        if found.unseen:
            text += f", unless near {either(list(found.unseen))} Hz, where it keeps step with the log"
        return text
    size = f"by {number(found.size.value)} r/min about its mean" if isinstance(found.size, Quantity) else ""
    if isinstance(found.frequency, CannotTell):
        return f"yes, {size}; {either(list(found.candidates))} Hz: cannot tell at this rate"
    return f"yes, {size}, at {plus_minus(found.frequency, 2)} Hz"


def release_words(one: Release) -> str:
    """What it did after one let-up of the pedal."""
    if isinstance(one.settles, CannotTell):
        settles = f"when it settles {one.settles.reason}"
    else:
        settles = span_words(one.settles, "within 60 r/min of idle")
    hangs = {
        "yes": "Hanging: it stayed more than 200 r/min above for 3 s or longer (trade practice).",
        "no": "Not hanging.",
        "cannot tell": "Whether it hung for 3 s cannot be told at this rate.",
    }[one.hanging]
    return f"at {number(one.at)} s from {number(one.peak)} r/min: {settles}. {hangs}"


def span_words(found: Measured, what: str) -> str:
    """A time until something: ``1.2 s (0.8 to 1.6) until within …``; an open end is said."""
    if isinstance(found, CannotTell):
        return "cannot tell"
    if found.hi is None or found.lo is None:
        return f"not {what} in the {number(found.value, 1)} s that were recorded"
    return f"{number(found.value, 1)} s ({number(found.lo, 1)} to {number(found.hi, 1)}) until {what}"


def more(reading: IdleReading) -> tuple[tuple[str, str], ...]:
    """What else was found: hunting, let-ups of the pedal, near-stalls, the cold idle, air against displacement."""
    out = []
    if isinstance(reading.hunting, Hunting):
        out.append(("hunting", hunting_words(reading.hunting)))
    out += [("pedal let up", release_words(one)) for one in reading.releases]
    out += [("near-stall", f"{number(d.lowest)} r/min at {number(d.at)} s") for d in reading.dips]
    if reading.cold:
        out.append(("cold", cold_words(reading.cold)))
    out += [("expected", f"{e.what} {measured(e.measured, 1)}. {e.says}") for e in reading.expected]
    return tuple(out)


def numbers(found: Comparison) -> tuple[tuple[str, str, str], ...]:
    """The numbers behind a comparison: what, before, after."""
    b, a = found.before_state, found.after_state
    if b is None or a is None:
        return ()

    def both(what: str, one: str, other: str) -> tuple[str, str, str]:
        return what, one, other

    def spread(state: IdleState) -> str:
        return "not known" if state.spread is None else f"{number(state.spread)} r/min"

    def worth(state: IdleState) -> str:
        n = state.speed.n_eff if isinstance(state.speed, Quantity) else None
        return f"{state.refreshes}" + ("" if n is None else f", worth {number(n)}")

    def coolant(state: IdleState) -> str:
        if state.coolant is None:
            return "not known"
        return _degrees(*state.coolant)

    out = [
        both("engine speed", measured(b.speed), measured(a.speed)),
        both("spread", spread(b), spread(a)),
        both("fuel trim", measured(b.trim, 1), measured(a.trim, 1)),
        both("loads", b.name, a.name),
        both("coolant", coolant(b), coolant(a)),
        both("seconds", number(b.seconds), number(a.seconds)),
        both("measurements", worth(b), worth(a)),
    ]
    pressures = (b.manifold_pressure, a.manifold_pressure)
    if any(isinstance(p, Quantity) for p in pressures):
        out.insert(3, both("manifold pressure", measured(pressures[0], 1), measured(pressures[1], 1)))
    return tuple(out)
