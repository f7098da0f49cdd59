"""The fields of Cause: everything that the reasoning takes, in groups, and how what was typed is read."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal, get_args

from starlette.datastructures import FormData

from tickover.arrival.questions import BY_NAME
from tickover.cause import TESTS, Value
from tickover.cause.evidence import Complaint, History, Point, VoltsWhen
from tickover.errors import InputError
from tickover.signals.units import convert
from tickover.web import forms

POINTS: tuple[Point, ...] = get_args(Point)
VOLTS: tuple[VoltsWhen, ...] = get_args(VoltsWhen)
SAID = {
    "idle": "idle",
    "idle with load": "idle, loads on",
    "2500": "2,500 r/min",
    "cruise": "cruise",
    "hard load": "hard load",
}
PRESSURES = ("kPa", "mbar", "inHg", "mmHg")
Options = tuple[tuple[str, str], ...]
_CODE = re.compile(r"[PCBU][0-3][0-9A-F]{3}")


@dataclass(frozen=True)
class Field:
    """One field of the form.

    Attributes:
        name: in the form; of a table ``field.place``.
        words: what it asks.
        form: a figure, text, one of some options, several of them, or two figures.
        options: value and words.
        hint: how to write it.
        units: that a figure may be typed in, the reasoning's own first; empty where there is one.
        unit: the reasoning's own.
        car: whether it is of the car, not of what was seen.
    """

    name: str
    words: str
    form: Literal["figure", "text", "one", "several", "range"] = "figure"
    options: Options = ()
    units: tuple[str, ...] = ()
    unit: str = ""
    car: bool = False
    hint: str = ""


@dataclass(frozen=True)
class Table:
    """Figures of one kind at several points or moments; one choice of unit for all of them."""

    name: str
    words: str
    unit: str
    units: tuple[str, ...]
    fields: tuple[Field, ...]


Ask = Field | Table


def _table(name: str, words: str, unit: str, units: tuple[str, ...] = (), places: Mapping[str, str] = SAID) -> Table:
    return Table(name, words, unit, units, tuple(Field(f"{name}.{p}", said, unit=unit) for p, said in places.items()))


def _plain(*values: str) -> Options:
    return tuple((v, v) for v in values)


def _test(name: str) -> Field:
    return Field(f"test.{name}", TESTS[name].act, "one", tuple(TESTS[name].outcomes.items()))


def _words(question: str, known: tuple[str, ...]) -> Options:
    return tuple((o.value, o.words) for o in BY_NAME[question].options if o.value in known)


TRIMS = _table("trims", "Trims, short and long together", "%")
_NEAR = tuple(f for f in TRIMS.fields if f.name in {"trims.idle", "trims.2500"})
_FAR = tuple(f for f in TRIMS.fields if f not in _NEAR)
METERING = Field("metering", "What meters the air", "one", (("air", "an air meter"), ("pressure", "manifold pressure")),
                 car=True)  # fmt: skip
CODES = Field("codes", "Codes", "text", hint="Such as P0171, P0300; or none.")
VACUUM = Field("vacuum", "Vacuum, warm idle", units=("inHg", "kPa", "mbar", "mmHg"), unit="kPa")
FIRST: tuple[Ask, ...] = (
    Table(
        "trims", TRIMS.words, TRIMS.unit, (), tuple(f for f in TRIMS.fields if f.name in {"trims.idle", "trims.2500"})
    ),
    CODES,
    VACUUM,
    METERING,
)
"""Asked at once: the five that tell most for the least work. Own choice."""
MORE: dict[str, tuple[Ask, ...]] = {
    "Trims elsewhere, and bank 2": (
        Table("trims", TRIMS.words, TRIMS.unit, (), _FAR),
        _table("trims_bank2", "Trims of bank 2", "%"),
    ),
    "The idle itself": (
        Field("idle_speed", "Idle speed, loads off", unit="r/min"),
        Field("roughness", "Roughness: standard deviation of the speed", unit="r/min"),
        Field("idle_air", "Commanded idle air", unit="%"),
        Field("idle_air_normal", "What is normal for it", unit="%", car=True),
        Field("misfires", "Misfires in 1,000 turns"),
    ),
    "Air meter and pressures": (
        _table("air_flow", "Air meter", "g/s", ("g/s", "kg/h", "lb/min")),
        _table("manifold", "Manifold pressure, absolute", "kPa", PRESSURES),
        Field("outside_kpa", "Air pressure outside", units=PRESSURES, unit="kPa", car=True),
    ),
    "Volts, coolant, fuel": (
        _table("volts", "Battery", "V", places={w: w for w in VOLTS}),
        Field("coolant", "Coolant, settled", units=("°C", "°F"), unit="°C"),
        Field("coolant_behaviour", "The coolant reading", "one", _plain("normal", "slow to warm", "jumps")),
        Field("ethanol", "Ethanol in the fuel", unit="%"),
        Field("since_clear", "Running since it was cleared", unit="min"),
    ),
    "Tests that were done": tuple(_test(name) for name in TESTS),
    "The car, and what happened before": (
        Field("displacement_l", "Engine", unit="l", car=True),
        Field("cylinders", "Cylinders", car=True),
        Field("normal", "Its normal idle", "range", unit="r/min", car=True),
        Field("history", "What happened before", "several", _words("before", get_args(History))),
        Field("complaint", "What it does, warm", "several", _words("complaint", get_args(Complaint))),
        Field("verdict", "Idle after against before", "one", _plain("settled", "better", "no change", "worse")),
        Field("attempts", "Correct relearns that changed nothing"),
    ),
}  # fmt: skip
"""The rest, folded, by the heading it stands under."""
FIELDS: dict[str, Field] = {
    f.name: f
    for ask in (*FIRST, *(one for group in MORE.values() for one in group))
    for f in (ask.fields if isinstance(ask, Table) else (ask,))
}
"""Every field by its name."""
TABLES = {t.name: t for group in MORE.values() for t in group if isinstance(t, Table)} | {"trims": TRIMS}
_READ = {"idle_speed", "roughness", "idle_air", "misfires", "ethanol", "coolant"}


def value_of(text: str, field: Field, unit: str = "") -> Value:
    """``18``, ``18±2``; a figure that ends in ``!`` stands at the controller's limit.

    Args:
        text: what was typed.
        field: that it was typed for.
        unit: that it was typed in; the reasoning's own where empty.
    Raises: InputError.
    """
    body, _, spread = text.removesuffix("!").partition("±")
    told = forms.number(spread, f"{field.words}, spread") if spread.strip() else None
    if told is not None and told <= 0:
        raise InputError(f"{field.words}: a spread is more than 0", way_out="Write it like 18±2, or 18.")
    value = forms.number(body.strip(), field.words)
    if unit and unit != field.unit:
        scale = convert(1.0, unit, field.unit) - convert(0.0, unit, field.unit)
        value, told = convert(value, unit, field.unit), told * scale if told is not None else None
    return Value(value=value, spread=told, at_limit=text.endswith("!"))


def evidence_in(form: FormData) -> dict[str, Any]:
    """The form's evidence.

    Raises: InputError naming the field.
    """
    told: dict[str, Any] = {"tests": {t: o for t in TESTS if (o := forms.text_of(form, f"test.{t}"))}}
    for name, field in FIELDS.items():
        text = forms.text_of(form, name)
        table, dot, place = name.partition(".")
        if text and dot and table in TABLES:
            told.setdefault(table, {})[place] = value_of(text, _placed(field, table), _unit(form, table))
        elif text and name in _READ:
            told[name] = value_of(text, field, _unit(form, name))
    if text := forms.text_of(form, "vacuum"):
        read = value_of(text.lstrip("-−"), VACUUM, _unit(form, "vacuum"))
        told["vacuum"] = read.model_copy(update={"how": "by eye"})
    if text := forms.text_of(form, "codes"):
        told["codes"] = _codes_in(text)
    return told | _plain_in(form)


def _plain_in(form: FormData) -> dict[str, Any]:
    """What needs no unit."""
    told: dict[str, Any] = {}
    for name in ("since_clear", "attempts"):
        if (figure := forms.figure_of(form, name, FIELDS[name].words)) is not None:
            told[name] = figure
    for name in ("coolant_behaviour", "verdict"):
        if text := forms.text_of(form, name):
            told[name] = text
    for name in ("history", "complaint"):
        if chosen := forms.texts_of(form, name):
            told[name] = tuple(chosen)
    return told


def car_in(form: FormData) -> dict[str, Any]:
    """What the form tells of the car.

    Raises: InputError naming the field.
    """
    told: dict[str, Any] = {"metering": forms.text_of(form, "metering") or None}
    for name in ("displacement_l", "cylinders", "idle_air_normal"):
        told[name] = forms.figure_of(form, name, FIELDS[name].words)
    if text := forms.text_of(form, "outside_kpa"):
        field = FIELDS["outside_kpa"]
        told["outside_kpa"] = value_of(text, field, _unit(form, "outside_kpa")).value
    lo, hi = (forms.figure_of(form, f"normal_{end}", f"Normal idle, {end}") for end in ("lo", "hi"))
    told["normal"] = forms.normal_of(lo, hi)
    return told


def _placed(field: Field, table: str) -> Field:
    words = f"{TABLES[table].words}, {field.words}"
    return Field(field.name, words, unit=field.unit)


def _unit(form: FormData, name: str) -> str:
    """The unit that was chosen for a field or a table; empty where there is no choice.

    Raises: InputError for one that is not offered.
    """
    offered = TABLES[name].units if name in TABLES else FIELDS[name].units
    chosen = forms.text_of(form, f"{name}_unit")
    if not offered or not chosen:
        return ""
    if chosen not in offered:
        raise InputError(
            f"“{chosen[:20]}” is no unit that is offered here", way_out=f"There are: {', '.join(offered)}."
        )
    return chosen


def _codes_in(text: str) -> tuple[str, ...]:
    words = [w.upper() for w in text.replace(";", ",").replace(" ", ",").split(",") if w.strip()]
    if words == ["NONE"]:
        return ()
    for word in words:
        if not _CODE.fullmatch(word):
            raise InputError(f"“{word[:20]}” is no trouble code", way_out="Write codes like P0171, or none.")
    return tuple(words)
