"""A car as it was typed, at whichever door: impossible values are refused, strange names are said."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from difflib import get_close_matches
from types import MappingProxyType
from typing import Any, NamedTuple

from tickover.errors import InputError
from tickover.signals.vin import read_vin

YEARS = (1900, 2100)
"""Model years that a car can have; own choice, wide on purpose."""
LITRES = (0.05, 20.0)
"""Displacement of an engine in a road car [l]; as the idle takes it. Own choice."""
CYLINDERS = (1, 16)
"""Own choice."""
FUELS = (
    "petrol",
    "diesel",
    "gas",
    "lpg",
    "cng",
    "ethanol",
    "e85",
    "flex",
    "hybrid",
    "electric",
    "hydrogen",
    "not known",
)
THROTTLES = ("cable", "electronic", "not known")
OTHERS = ("complaint", "engine", "gearbox", "job", "km", "metering", "mileage", "model", "note", "plate", "shop", "vin")
"""Names whose values are free words."""


class CarChecked(NamedTuple):
    """A car that can be kept.

    Attributes:
        car: its values; numbers are numbers.
        personal: values kept outside the chain; the car's number in capitals without spaces.
        warnings: what to look at again, in sentences.
    """

    car: dict[str, Any]
    personal: dict[str, str]
    warnings: tuple[str, ...]


def check_car(
    car: Mapping[str, Any],
    personal: Mapping[str, str] | None = None,
    *,
    as_it_stands: bool = False,
    labels: Mapping[str, str] = MappingProxyType({}),
) -> CarChecked:
    """The car as it was typed, checked.

    Args:
        car: names and values.
        personal: what is kept outside the chain; only ``vin`` is read.
        as_it_stands: take the car's number though its check digit is wrong.
        labels: what a form calls a value, by its name; messages say it instead of ``name=value``.
    Raises: InputError for a value that no car has.
    """
    kept, warnings = dict(car), []
    for name, value in car.items():
        if name in _CHECKS:
            kept[name] = None if value in (None, "") else _CHECKS[name](value, labels.get(name, ""))
        elif name not in OTHERS:
            warnings.append(_strange(name))
    apart = dict(personal or {})
    for held in (kept, apart):
        if str(held.get("vin") or "").strip():
            found = read_vin(str(held["vin"]), as_it_stands=as_it_stands)
            held["vin"] = found.number
            warnings += [f"The car’s number: {w}" for w in found.warnings]
    if kept.get("vin"):
        warnings.append("The car’s number is in the chain and cannot be erased; --personal vin=… keeps it apart.")
    return CarChecked({n: v for n, v in kept.items() if v is not None}, apart, tuple(warnings))


def _strange(name: str) -> str:
    near = get_close_matches(name.lower(), (*_CHECKS, *OTHERS), n=1, cutoff=0.6)
    hint = f" Did you mean {near[0]}?" if near else ""
    return f"Nothing here reads “{name}”; it is kept as it is.{hint}"


def _told(name: str, value: object, label: str) -> str:
    return f"{label}: {str(value)[:40]}" if label else f"{name}={value}"


def _like(name: str, example: str, label: str) -> str:
    return f"Write it like {example if label else f'{name}={example}'}"


def _number(name: str, value: object, label: str, between: tuple[float, float], example: str) -> float:
    """A number between two, from a number or from text as people write it, with a comma or a point."""
    try:
        told = float(str(value).strip().replace(",", ".")) if not isinstance(value, bool) else math.nan
    except ValueError:
        told = math.nan
    if not between[0] <= told <= between[1]:
        raise InputError(
            f"{_told(name, value, label)} cannot be: a number from {between[0]:g} to {between[1]:g} is wanted",
            way_out=f"{_like(name, example, label)}, or leave it out.",
        )
    return told


def _whole(name: str, value: object, label: str, between: tuple[float, float], example: str) -> int:
    told = _number(name, value, label, between, example)
    if told != int(told):
        raise InputError(f"{_told(name, value, label)} is no whole number", way_out=f"{_like(name, example, label)}.")
    return int(told)


def _one_of(name: str, value: object, label: str, words: tuple[str, ...]) -> str:
    told = " ".join(str(value).lower().split())
    if told in words:
        return told
    near = get_close_matches(told, words, n=1)
    hint = f"Did you mean {near[0]}?" if near else f"One of: {', '.join(words)}."
    raise InputError(f"{_told(name, value, label)} is none that is known", way_out=hint)


_CHECKS: dict[str, Callable[[object, str], Any]] = {
    "year": lambda v, label: _whole("year", v, label, YEARS, "2009"),
    "fuel": lambda v, label: _one_of("fuel", v, label, FUELS),
    "displacement_l": lambda v, label: _number("displacement_l", v, label, LITRES, "2.0"),
    "cylinders": lambda v, label: _whole("cylinders", v, label, CYLINDERS, "4"),
    "throttle": lambda v, label: _one_of("throttle", v, label, THROTTLES),
}
"""Names whose values are judged."""
