"""What Cause shows: the next test with its outcomes, what still fits, what is counted in already, and the form."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from typing import Any

from pydantic import ValidationError

from tickover.cause import TESTS, Car, Causes, Evidence, Group, NextTest, Value
from tickover.cause.from_job import car_from_job, evidence_from_job
from tickover.drawing.figures import short
from tickover.jobs import Entry
from tickover.results import CannotTell
from tickover.visit.rules import correct_without_effect, known, since_repair
from tickover.web.cause_form import FIELDS, FIRST, MORE, TABLES, Ask, Field
from tickover.web.reading import work_in
from tickover.web.views import Seen

SHOWN_FROM = 0.02
"""Groups below this are named in one line [1]."""
EVIDENCE_SHOWN = 6
WIDEST = 4.0
"""Evidence this strong or stronger fills its half of the row [bit]; own choice, a factor of 16."""
CHANNELS = {"speed": "idle_speed", "idle air": "idle_air", "map": "manifold", "flow": "air_flow", "trim": "trims"}
"""Names of what is measured next, where the form calls it otherwise."""


def last_answer(entries: Sequence[Entry]) -> Entry | None:
    """The newest answer, as long as no repair has overtaken it: a repaired car is another car."""
    return next((e for e in reversed(since_repair(entries)) if e.stage == "cause" and e.kind == "causes"), None)


def told_before(entries: Sequence[Entry], key: str) -> Evidence:
    """What came in for the newest answer: “typed”, or “logged”; empty where nothing did, or it cannot be read."""
    last = last_answer(entries)
    try:
        return Evidence.model_validate(last.inputs.get(key) or {}) if last is not None else Evidence()
    except ValidationError:
        return Evidence()


def car_before(entries: Sequence[Entry]) -> Car:
    """What was typed of the car for the newest answer."""
    last = last_answer(entries)
    try:
        return Car.model_validate(last.inputs.get("typed_car") or {}) if last is not None else Car()
    except ValidationError:
        return Car()


def names_told(told: Evidence | Car) -> dict[str, Any]:
    """What was told, by the names of the form's fields."""
    found: dict[str, Any] = {}
    for name, value in told:
        if isinstance(value, Mapping):
            kind = "test" if name == "tests" else name
            found |= {f"{kind}.{place}": one for place, one in value.items()}
        elif value is not None and not (name == "attempts" and value == 0):
            found[name] = value
    return found


def panel(seen: Seen) -> dict[str, Any]:
    """What fills the stage's template."""
    entries = sorted((e for s in seen.view.stages for e in s.entries), key=lambda e: e.seq)
    newest = next((e for e in reversed(entries) if e.stage == "cause" and e.kind == "causes"), None)
    counted = _counted(entries, correct_without_effect(entries, known(seen.library).preparing))
    taken = {name for name, *_ in counted}
    groups = {title: _asked(asks, taken, known=False) for title, asks in MORE.items()}
    every = (*FIRST, *(ask for asks in MORE.values() for ask in asks))
    return {
        "work": work_in(seen, "cause"),
        "found": _shown(newest) if newest is not None else None,
        "counted": [row for row in counted if row[0] in FIELDS],
        "first": _asked(FIRST, taken, known=False),
        "more": {title: asks for title, asks in groups.items() if asks},
        "otherwise": _asked(every, taken, known=True),
    }


def _counted(entries: Sequence[Entry], attempts: int) -> list[tuple[str, str, str, str]]:
    """What is counted in without being asked: field, words, value, and where from; the strongest source of each."""
    last = last_answer(entries)
    log = str(last.inputs.get("logged_from") or "a log") if last is not None else ""
    rows: dict[str, tuple[str, str, str, str]] = {}
    for source, told in (
        ("the job", (evidence_from_job(entries, attempts), car_from_job(entries))),
        (log, (told_before(entries, "logged"),)),
        ("typed", (told_before(entries, "typed"), car_before(entries))),
    ):
        for one in told:
            for name, value in names_told(one).items():
                rows[name] = (name, _words(name), _value(name, value), source)
    return list(rows.values())


def _words(name: str) -> str:
    field = FIELDS.get(name)
    if field is None:
        return name
    table = TABLES.get(name.partition(".")[0])
    if table is not None:
        return f"{table.words}, {field.words}"
    return field.words


def _value(name: str, value: Any) -> str:  # noqa: ANN401 — a field of evidence or of a car
    field = FIELDS.get(name)
    said = dict(field.options) if field is not None else {}
    unit = f" {field.unit}" if field is not None and field.unit else ""
    if isinstance(value, Value):
        spread = f" ± {short(float(f'{value.spread:.2g}'))}" if value.spread is not None else ""
        return f"{short(round(value.value, 2))}{spread}{unit}{', at its limit' if value.at_limit else ''}"
    if name == "normal":
        return f"{value[0]:g} to {value[1]:g}{unit}"
    if isinstance(value, tuple):
        return ", ".join(said.get(str(one), str(one)) for one in value) or "none"
    if isinstance(value, int | float):
        return f"{short(value)}{unit}"
    return said.get(str(value), str(value))


def _asked(asks: Iterable[Ask], taken: set[str], *, known: bool) -> list[Ask]:
    """The fields that are known already, or those that are not."""
    out: list[Ask] = []
    for ask in asks:
        if isinstance(ask, Field):
            if (ask.name in taken) == known:
                out.append(ask)
        elif fields := tuple(f for f in ask.fields if (f.name in taken) == known):
            out.append(replace(ask, fields=fields))
    return out


def _shown(entry: Entry) -> dict[str, Any] | None:
    try:
        found = Causes.model_validate({k: v for k, v in entry.data.items()})
    except ValidationError:
        return None
    shown = [g for g in found.groups if g.probability >= SHOWN_FROM or g.causes[0].family == "else"]
    return {
        "causes": found,
        "test": _test(found.next_test),
        "others": [_test(t) for t in found.tests],
        "groups": [_group(g) for g in shown],
        "hardly": [c.says for g in found.groups if g not in shown for c in g.causes],
        "hole": _hole(found),
    }


def _test(test: NextTest | CannotTell) -> dict[str, Any]:
    """A test with what it would decide, and how its outcome is told: buttons, or the field for its figure."""
    if isinstance(test, CannotTell):
        return {"none": f"{test.reason} {test.way_out}".strip()}
    decides: dict[str, list[str]] = {}
    for one in test.outcomes:
        decides.setdefault(one.decides, []).append(one.outcome)
    act = TESTS.get(test.name)
    return {
        "none": "",
        "name": test.name,
        "act": test.act,
        "often": test.often,
        "why": test.why,
        "minutes": f"{test.minutes:.0f}",
        "needs": test.needs,
        "cautions": test.cautions,
        "decides": [("; ".join(outcomes), what) for what, outcomes in decides.items()],
        "outcomes": tuple(act.outcomes.items()) if act is not None else (),
        "ask": None if act is not None else asked_by(test.name),
    }


def asked_by(channel: str) -> Ask | None:
    """The field that takes what a test reads; None where the form has none."""
    if channel == "both banks":
        both = tuple(
            replace(FIELDS[f"{table}.idle"], words=words)
            for table, words in (("trims", "bank 1"), ("trims_bank2", "bank 2"))
        )
        return replace(TABLES["trims"], words=f"{TABLES['trims'].words}, idle", fields=both)
    kind, _, place = channel.partition(" ")
    name = CHANNELS.get(channel) or (f"{CHANNELS.get(kind, kind)}.{place}" if place else channel)
    field = FIELDS.get(name)
    table = TABLES.get(name.partition(".")[0])
    return replace(table, fields=(field,)) if table is not None and field is not None else field


def _group(group: Group) -> dict[str, Any]:
    """A row: places on the axis in per cent, and its evidence from a centre line."""
    at = 100 * group.probability
    # the word stands over the mark, but never over the ends of the axis
    return {
        "causes": [c.says for c in group.causes],
        "row": group.says,
        "tied": group.tied_because,
        "likely": group.likely,
        "at": round(at, 2),
        "lo": round(100 * group.lo, 2),
        "wide": round(100 * (group.hi - group.lo), 2),
        "word": round(min(max(at, 12.0), 88.0), 2),
        "says": f"{group.says}: {group.likely}, {at:.0f} %, between {100 * group.lo:.0f} and {100 * group.hi:.0f}",
        "evidence": [
            {
                "says": s.evidence,
                "speaks": s.speaks,
                "why": s.why,
                "for": s.bits > 0,
                "wide": round(50 * min(abs(s.bits) / WIDEST, 1.0), 2),
            }
            for s in group.evidence[:EVIDENCE_SHOWN]
        ],
    }


def _hole(found: Causes) -> str:
    hole = found.hole
    if isinstance(hole, CannotTell):
        return ""
    if hole.lo is not None and hole.hi is not None:
        return f"If it is a leak: {hole.lo:.1f} to {hole.hi:.1f} mm as a round hole."
    if hole.lo is not None:
        return f"If it is a leak: at least {hole.lo:.1f} mm as a round hole."
    return f"If it is a leak: at most {hole.hi:.1f} mm as a round hole." if hole.hi is not None else ""


__all__ = ["asked_by", "car_before", "last_answer", "names_told", "panel", "told_before"]
