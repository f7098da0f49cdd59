"""Whether the memory was cleared not long ago, seen from the counters. It is explained, and nothing more."""

from __future__ import annotations

from tickover.readiness.results import CarState, Clearing
from tickover.readiness.state import WARM_UPS_FULL

FEW_WARM_UPS, FEW_KM, FEW_MINUTES = 3, 50.0, 60.0
"""Below these since the last clear, it was not long ago. Source: own choice."""

MANY_CYCLES = 60
"""From so many ignition cycles on, the car itself is not new. Source: own choice."""

WHY_NOT_ERASE: tuple[str, ...] = (
    "Erasing codes before an inspection does not help to pass: it sets every monitor open again, and open monitors are "
    "what turns a car away.",
    "A permanent code stays: only the car takes it back, once its monitor has run and passed.",
    "The counters of warm-ups, distance and minutes start from nothing, and the station reads them.",
    "It throws away the freeze frame and the test results that say what is wrong.",
    "Hiding a live fault from an inspection is not a repair. Tickover reads; it erases nothing and writes nothing.",
    "Clearing is a step of a finished repair: note lamp, codes and readiness first, then drive until the monitors are "
    "complete. `tickover ready forecast` says about when.",
)
"""The answer to "shall I erase?", line by line."""


def recently_cleared(state: CarState) -> Clearing:
    """Recognise a memory that was cleared not long ago.

    Args:
        state: of the car.
    Returns: *recently cleared* if every counter that is known is low, *not recently cleared* if none is, else cannot
        tell; with what each counter says.
    Source: own choice of thresholds; that a clear sets these three back and leaves the in-use counters alone is SAE
        J1979 and 13 CCR 1968.2, from memory.
    """
    rows = [
        ("warm-up", "warm-ups", state.warm_ups, FEW_WARM_UPS),
        ("km", "km", state.km, FEW_KM),
        ("minute", "minutes", state.minutes, FEW_MINUTES),
    ]
    known = [(one, many, value, least) for one, many, value, least in rows if value is not None]
    low = [value < least for _, _, value, least in known]
    reasons = [_reason(one, many, value, least) for one, many, value, least in known]
    cycles = state.counters.get("IGNCNTR")
    if not known:
        return Clearing(
            word="cannot tell",
            reasons=(),
            sentence="Whether the memory was cleared not long ago cannot be told: type the answers to 30, 31 and 4E.",
        )
    if all(low):
        sentence = "The memory was cleared not long ago: open monitors are what a clear leaves behind."
        if cycles is not None and cycles >= MANY_CYCLES:
            reasons.append(f"{cycles} ignition cycles on the in-use counters, which a clear leaves alone: no new car")
        elif cycles is not None:
            reasons.append(f"only {cycles} ignition cycles on the in-use counters as well")
            sentence = "The memory is young: cleared not long ago, or the car or its controller is new."
        return Clearing(word="recently cleared", reasons=tuple(reasons), sentence=sentence)
    if not any(low):
        return Clearing(
            word="not recently cleared",
            reasons=tuple(reasons),
            sentence="The memory was not cleared lately: what is open has stayed open in use.",
        )
    return Clearing(
        word="cannot tell",
        reasons=tuple(reasons),
        sentence="Whether the memory was cleared not long ago cannot be told: its counters disagree.",
    )


def _reason(one: str, many: str, value: float, least: float) -> str:
    or_more = " or more" if one == "warm-up" and value >= WARM_UPS_FULL else ""
    unit = one if value == 1 else many
    side = "fewer than" if value < least else "not fewer than"
    return f"{value:g}{or_more} {unit} since the last clear, {side} {least:g} (our threshold)"
