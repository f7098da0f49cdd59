"""The numbers among the evidence, each on its channel's scale with the spread of its reading."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tickover.cause.channels import CHANNELS, INDEX, Channel, scaled, spread_on_scale
from tickover.cause.evidence import Car, Evidence, Value
from tickover.results import CannotTell

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

LIMIT = 23.5
"""A trim of so much may stand at its limit, which cars set from 20 to 50: this or beyond [%]. Own choice."""
BY_EYE = 1.5
"""A number read by eye scatters so many times as much. Own choice."""


@dataclass(frozen=True)
class Numbers:
    """The numbers of the evidence, on their channels' scales.

    Attributes:
        index: channels, shape (d,).
        values, spreads: of each, shape (d,).
        limits: 1 or −1 for one that stands at its upper or lower limit, else 0, shape (d,).
        says: each in words, short.
        got: each with its spread and how it was got.
    """

    index: Ints
    values: Floats
    spreads: Floats
    limits: Floats
    says: tuple[str, ...]
    got: tuple[str, ...]

    def has(self, channel: str) -> bool:
        """Whether that channel was read."""
        return bool(np.any(self.index == INDEX[channel]))


def numbers_of(evidence: Evidence, car: Car, metering: str | None) -> tuple[Numbers, list[CannotTell]]:
    """The numbers, and which of them cannot be used.

    Args:
        evidence: all that was seen.
        car: what is known of it.
        metering: as far as known.
    """
    left: list[CannotTell] = []
    rows = [_row(CHANNELS[INDEX[name]], value, car) for name, value in _named(evidence, metering, left)]
    return (
        Numbers(
            index=np.array([r[0] for r in rows], dtype=np.intp),
            values=np.array([r[1] for r in rows], dtype=np.float64),
            spreads=np.array([r[2] for r in rows], dtype=np.float64),
            limits=np.array([r[3] for r in rows], dtype=np.float64),
            says=tuple(r[4] for r in rows),
            got=tuple(r[5] for r in rows),
        ),
        left,
    )


def _named(evidence: Evidence, metering: str | None, left: list[CannotTell]) -> Iterator[tuple[str, Value]]:
    for point, value in evidence.trims.items():
        second = evidence.trims_bank2.get(point)
        yield f"trim {point}", value if second is None else _mean(value, second)
    for point, value in evidence.trims_bank2.items():
        if point not in evidence.trims:
            yield f"trim {point}", value
    for point, value in evidence.air_flow.items():
        if metering == "air":
            yield f"flow {point}", value
        else:
            left.append(
                CannotTell(
                    reason=f"The air flow at {point} is reckoned, not measured, where pressure meters the air.",
                    way_out="Read the manifold pressure.",
                )
            )
    for point, value in evidence.manifold.items():
        yield f"map {point}", value
    for name, one in (
        ("vacuum", evidence.vacuum),
        ("speed", evidence.idle_speed),
        ("idle air", evidence.idle_air),
        ("misfires", evidence.misfires),
        ("roughness", evidence.roughness),
        ("coolant", evidence.coolant),
        ("ethanol", evidence.ethanol),
    ):
        if one is not None:
            yield name, one
    for when, value in evidence.volts.items():
        yield f"volts {when}", value


def _mean(one: Value, two: Value) -> Value:
    spread = None if one.spread is None or two.spread is None else float(np.hypot(one.spread, two.spread) / 2)
    return one.model_copy(
        update={"value": (one.value + two.value) / 2, "spread": spread, "at_limit": one.at_limit and two.at_limit}
    )


def _row(channel: Channel, given: Value, car: Car) -> tuple[int, float, float, float, str, str]:
    """One number: channel, value and spread on its scale, limit, words."""
    value = float(scaled(channel, given.value))
    spread = channel.read if given.spread is None else spread_on_scale(channel, given.value, given.spread)
    spread *= BY_EYE if given.how == "by eye" and given.spread is None else 1.0
    limit = 0.0
    if channel.name.startswith("trim") and (given.at_limit or abs(given.value) >= LIMIT):
        limit = float(np.sign(given.value))
    if channel.name == "idle air" and car.idle_air_normal is not None:
        value -= float(np.log(car.idle_air_normal))
    sign = "+" if channel.name.startswith("trim") else ""
    digits = 1 if channel.name.startswith(("volts", "flow")) else 0
    unit = f" {channel.unit}" if channel.unit else ""
    beyond = " or beyond" if limit else ""
    says = f"{channel.says} {given.value:{sign}.{digits}f}{unit}{beyond}"
    of_value = {"log": given.value, "log1p": 1 + given.value}.get(channel.scale, 1.0) * spread
    how = {"typed": "typed in", "log": "from the log", "job": "from the job"}.get(given.how, given.how)
    ours = "" if given.spread is not None else ", our default"
    return INDEX[channel.name], value, spread, limit, says, f"{says} (± {of_value:.2g}{unit}{ours}; {how})"
