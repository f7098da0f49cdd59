"""Where two sources tell the same thing of a car and disagree: which one counts, and that they do."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

import numpy as np

from tickover.cause.channels import CHANNELS, INDEX, scaled, spread_on_scale
from tickover.cause.evidence import Evidence, Value

APART = 2.5
"""Two readings of the same thing disagree where they lie so many of their spreads apart or more [1]. Own choice."""
_TABLES = {"trims": "trim", "air_flow": "flow", "manifold": "map", "volts": "volts"}
_BY_HAND = {"typed", "by eye"}
"""Who types a figure anew means the new one."""
_SINGLE = {"idle_speed": "speed", "idle_air": "idle air"}


def disagreements(sources: Sequence[tuple[str, Evidence]]) -> tuple[str, ...]:
    """What two sources tell differently, each as a sentence.

    Args:
        sources: name, such as “typed”, and what it tells; what comes later counts, as in ``together``.
    """
    counts: dict[str, tuple[str, Value]] = {}
    found: list[str] = []
    for source, evidence in sources:
        for channel, value in _numbers(evidence):
            before = counts.get(channel)
            again = before is not None and {before[1].how, value.how} <= _BY_HAND
            if before is not None and not again and _apart(channel, before[1], value):
                found.append(_says(channel, before, (source, value)))
            counts[channel] = (source, value)
    return tuple(found)


def _numbers(evidence: Evidence) -> Iterator[tuple[str, Value]]:
    for field, given in evidence:
        if isinstance(given, Mapping) and field in _TABLES:
            yield from ((f"{_TABLES[field]} {place}", value) for place, value in given.items())
        elif isinstance(given, Mapping) and field == "trims_bank2":
            yield from ((f"bank 2 trim {place}", value) for place, value in given.items())
        elif isinstance(given, Value):
            yield _SINGLE.get(field, field), given


def _apart(channel: str, one: Value, other: Value) -> bool:
    known = CHANNELS[INDEX[channel.removeprefix("bank 2 ")]]
    at = [float(scaled(known, v.value)) for v in (one, other)]
    spreads = [known.read if v.spread is None else spread_on_scale(known, v.value, v.spread) for v in (one, other)]
    return abs(at[0] - at[1]) > APART * float(np.hypot(spreads[0], spreads[1]))


def _says(channel: str, before: tuple[str, Value], after: tuple[str, Value]) -> str:
    known = CHANNELS[INDEX[channel.removeprefix("bank 2 ")]]
    sign = "+" if "trim" in channel else ""
    unit = f" {known.unit}" if known.unit else ""
    told = " and ".join(f"{value.value:{sign}.4g}{unit} ({source})" for source, value in (before, after))
    bank = "bank 2, " if channel.startswith("bank 2") else ""
    return f"{bank}{known.says}: {told} disagree; “{after[0]}” is counted in. Take one back, or read it again."
