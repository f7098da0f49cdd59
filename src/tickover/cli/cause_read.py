"""What ``tickover cause`` was given, turned into evidence and a car; each fault of the words with its way out."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from typing import Any, get_args

import click
from pydantic import ValidationError

from tickover.cause import TESTS, Car, Evidence, Value
from tickover.cause.evidence import Complaint, History, Point, VoltsWhen
from tickover.drawing.figures import short
from tickover.signals.units import convert

POINTS: tuple[str, ...] = get_args(Point)
SHORT: Mapping[str, str] = {"load": "idle with load", "hard": "hard load", "2,500": "2500"}
"""Shorter names of points."""
TYPED: Mapping[str, str] = {full: short for short, full in SHORT.items() if short.isalpha()}
"""Names of points to what is shortest to type."""
RANGES: Mapping[str, tuple[float, float, str]] = {
    "--trim": (-60.0, 60.0, "%"),
    "--trim2": (-60.0, 60.0, "%"),
    "--air": (0.1, 400.0, "g/s"),
    "--map": (5.0, 110.0, "kPa"),
    "--vacuum": (0.0, 95.0, "kPa"),
    "--speed": (200.0, 3500.0, "r/min"),
    "--idle-air": (0.0, 100.0, "%"),
    "--misfires": (0.0, 4000.0, "per 1,000 revolutions"),
    "--roughness": (0.0, 500.0, "r/min"),
    "--volts": (4.0, 18.0, "V"),
    "--coolant": (-40.0, 140.0, "°C"),
    "--ethanol": (0.0, 100.0, "%"),
}
"""What each option may be, as ``Evidence`` takes it, with its unit; here so that the option can be named."""
_NUMBER = re.compile(r"^\s*(?P<value>[+-]?\d+(?:[.,]\d+)?)\s*(?:(?:±|\+-|\+/-)\s*(?P<spread>\d+(?:[.,]\d+)?))?\s*$")
VACUUM_UNITS: Mapping[str, str] = {u.lower(): u for u in ("inHg", "kPa", "mbar", "hPa", "mmHg")}
"""Units of a gauge, as they are typed and as they are written."""


class Litres(click.FloatRange):
    """A displacement; one that was typed in cubic centimetres is told in litres."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:  # noqa: ANN401 — as click has it
        """As ``click.FloatRange``.

        Raises: click.BadParameter.
        """
        found = float(click.FLOAT.convert(value, param, ctx))
        lo, hi = float(self.min or 0), float(self.max or 0)
        if not lo <= found <= hi:
            hint = f"; in litres that is {short(found / 1000)}" if lo <= found / 1000 <= hi else ""
            self.fail(f"{short(found)} lies outside {short(lo)} to {short(hi)} l{hint}", param, ctx)
        return found


def number(text: str, option: str, where: str = "") -> Value:
    """``18``, ``+18``, ``18±2``; a number that ends in ``!`` stands at its limit.

    Args:
        text: what was typed.
        option: the option it was typed for, whose range it must keep.
        where: what within the option, such as a point.
    Raises: click.BadParameter for anything else.
    """
    at_limit = text.strip().endswith("!")
    found = _NUMBER.match(text.strip().removesuffix("!"))
    if found is None:
        raise click.BadParameter(f"“{text}” is no number; write it like 18, or 18±2", param_hint=option)
    value, spread = (None if g is None else float(g.replace(",", ".")) for g in found.group("value", "spread"))
    if spread == 0:
        raise click.BadParameter(
            f"“{text}” has a spread of 0; leave it out where you do not know it", param_hint=option
        )
    within(value or 0.0, option, where)
    return Value(value=value or 0.0, spread=spread, at_limit=at_limit)


def within(value: float, option: str, where: str = "", unit: str = "") -> None:
    """Refuse what the option cannot be.

    Args:
        value: in the option's own unit, or in ``unit``.
        option, where: as ``number``.
        unit: the one that was typed, where it may be one of several.
    Raises: click.BadParameter that names option, value and range, all in the unit that was typed.
    """
    if option not in RANGES:
        return
    lo, hi, own = RANGES[option]
    if unit:
        lo, hi = convert(lo, own, unit), convert(hi, own, unit)
    if not lo <= value <= hi:
        of = f"{where}: " if where else ""
        raise click.BadParameter(
            f"{of}{short(value)} lies outside {short(round(lo, 1))} to {short(round(hi, 1))} {unit or own}",
            param_hint=option,
        )


def pairs(given: Iterable[str], option: str, names: Iterable[str], short: Mapping[str, str] = SHORT) -> dict[str, str]:
    """``name=value`` words by name.

    Raises: click.BadParameter for an unknown name, one without a value, or one given twice.
    """
    known, found = tuple(names), {}
    for one in given:
        name, equals, value = one.partition("=")
        name = short.get(name.strip().lower(), name.strip().lower())
        if not equals or not value.strip():
            raise click.BadParameter(f"“{one}” wants a name and a value, like {known[0]}=…", param_hint=option)
        if name not in known:
            listed = ", ".join(TYPED.get(n, n) for n in known)
            raise click.BadParameter(f"“{name}” is none of {listed}", param_hint=option)
        if name in found:
            raise click.BadParameter(f"“{name}” is given twice; leave one out", param_hint=option)
        found[name] = value.strip()
    return found


def numbers(
    given: Iterable[str], option: str, names: Iterable[str], short: Mapping[str, str] = SHORT
) -> dict[str, Value]:
    """``name=number`` words by name."""
    return {
        name: number(value, option, TYPED.get(name, name)) for name, value in pairs(given, option, names, short).items()
    }


def vacuum(text: str) -> Value:
    """A gauge reading with its unit, in kPa: ``18inHg``, ``600 mbar``.

    Raises: click.BadParameter for a missing or unknown unit.
    """
    found = re.match(r"^\s*-?(\d+(?:[.,]\d+)?)\s*([A-Za-z]+)\s*$", text)
    unit = found[2].lower() if found else ""
    if found is None or unit not in VACUUM_UNITS:
        raise click.BadParameter(
            f"“{text}” wants a number with its unit: inHg, kPa, mbar, hPa or mmHg, like 18inHg", param_hint="--vacuum"
        )
    told, name = float(found[1].replace(",", ".")), VACUUM_UNITS[unit]
    within(told, "--vacuum", unit=name)
    return Value(value=convert(told, name, "kPa"), how="by eye")


def words(given: Iterable[str], option: str, known: Iterable[str]) -> tuple[str, ...] | None:
    """Words from a list, several with commas; None where none was given."""
    told = [w.strip().lower() for text in given for w in text.split(",") if w.strip()]
    allowed = tuple(known)
    for word in told:
        if word not in allowed:
            raise click.BadParameter(f"“{word}” is none of {', '.join(allowed)}", param_hint=option)
    for none in ("none", "nothing"):
        if none in told and len(set(told)) > 1:
            raise click.BadParameter(f"“{none}” stands beside other answers; leave one out", param_hint=option)
    return tuple(dict.fromkeys(told)) or None


def codes(text: str | None) -> tuple[str, ...] | None:
    """Stored codes; ``none`` for none stored."""
    if text is None:
        return None
    told = tuple(c.strip().upper() for c in text.split(",") if c.strip())
    if told == ("NONE",):
        return ()
    if "NONE" in told:
        raise click.BadParameter("“none” stands beside codes; leave one out", param_hint="--codes")
    for code in told:
        if not re.fullmatch(r"[PCBU][0-3][0-9A-F]{3}", code):
            raise click.BadParameter(f"“{code}” is no trouble code; write it like P0171, or none", param_hint="--codes")
    return told


def typed_evidence(given: Mapping[str, Any]) -> tuple[Evidence, float | None]:
    """Evidence that was typed, and the normal idle air where it came along.

    Args:
        given: the options of ``tickover cause`` by their names.
    Raises: click.BadParameter for what cannot be.
    """
    air, air_normal = _idle_air(given["idle_air"])
    tests = pairs(given["test"], "--test", TESTS, {})
    for name, outcome in tests.items():
        if outcome not in TESTS[name].outcomes:
            raise click.BadParameter(
                f"“{name}” comes out as {', '.join(TESTS[name].outcomes)}, not “{outcome}”", param_hint="--test"
            )
    fields: dict[str, Any] = {
        "trims": numbers(given["trim"], "--trim", POINTS),
        "trims_bank2": numbers(given["trim2"], "--trim2", POINTS),
        "air_flow": numbers(given["air"], "--air", POINTS),
        "manifold": numbers(given["map_"], "--map", POINTS),
        "volts": numbers(given["volts"], "--volts", get_args(VoltsWhen), {}),
        "tests": tests,
        "codes": codes(given["codes"]),
        "history": words(given["did"], "--did", get_args(History)),
        "complaint": words(given["complaint"], "--complaint", get_args(Complaint)),
        "coolant_behaviour": given["coolant_is"],
        "verdict": given["verdict"],
        "attempts": given["attempts"],
        "since_clear": given["since_clear"],
        "idle_air": air,
    }
    for name in ("speed", "misfires", "roughness", "coolant", "ethanol"):
        if given[name] is not None:
            fields["idle_speed" if name == "speed" else name] = number(given[name], f"--{name}")
    if given["vacuum"] is not None:
        fields["vacuum"] = vacuum(given["vacuum"])
    try:
        return Evidence(**{k: v for k, v in fields.items() if v is not None and v != {}}), air_normal
    except ValidationError as why:
        raise click.UsageError(_plain(why)) from None


def _idle_air(text: str | None) -> tuple[Value | None, float | None]:
    """``28`` or ``28:40``: the commanded idle air, and what is normal for the car."""
    if text is None:
        return None, None
    now, colon, normal = text.partition(":")
    if colon and not (now.strip() and normal.strip()):
        raise click.BadParameter(
            f"“{text}” wants the figure now, and what is normal behind the colon, like 28:40", param_hint="--idle-air"
        )
    usual = number(normal, "--idle-air", "the normal behind the colon").value if colon else None
    if usual == 0:
        raise click.BadParameter("the normal behind the colon is above 0 %", param_hint="--idle-air")
    return number(now, "--idle-air"), usual


def typed_car(given: Mapping[str, Any], air_normal: float | None, known: Car) -> Car:
    """The car as typed, over what a job knows.

    Raises: click.UsageError for what cannot be.
    """
    told = {
        "metering": given["metering"],
        "displacement_l": given["displacement"],
        "cylinders": given["cylinders"],
        "normal": given["normal"],
        "idle_air_normal": air_normal,
        "outside_kpa": given["outside"],
    }
    try:
        return Car.model_validate({**known.model_dump(), **{k: v for k, v in told.items() if v is not None}})
    except ValidationError as why:
        raise click.UsageError(_plain(why)) from None


def _plain(why: ValidationError) -> str:
    """The first fault of a model, in one line."""
    first = why.errors()[0]
    where = " ".join(str(p) for p in first["loc"] if p not in ("function-before",))
    text = str(first["msg"]).removeprefix("Value error, ")
    return f"--{where.replace('_', '-')}: {text}" if where else text
