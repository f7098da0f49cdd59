"""What an inspection would say of a car, by one rule, on one day."""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from tickover.readiness.cleared import recently_cleared
from tickover.readiness.names import is_continuous
from tickover.readiness.results import CarState, Fuel, Obstacle, Verdict, Word
from tickover.readiness.rulebook import Limit, Rule
from tickover.readiness.state import fuel_of
from tickover.signals.units import convert

FUELS: tuple[Fuel, ...] = ("petrol", "hybrid", "diesel")

FIRST: tuple[str, ...] = (
    "evaporative system",
    "secondary air",
    "catalyst",
    "NMHC catalyst",
    "NOx aftertreatment",
    "PM filter",
    "EGR or valve timing",
)
"""Monitors to see to first: those that want a cold start or a long drive. Common practice."""


@dataclass
class _Case:
    """What was found, while a rule is gone through."""

    against: list[str] = field(default_factory=list)
    unknown: list[str] = field(default_factory=list)
    provided: list[str] = field(default_factory=list)
    look: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    allowed: str = ""


def evaluate(
    rule: Rule,
    state: CarState,
    *,
    year: int | None = None,
    fuel: Fuel | None = None,
    on: datetime.date,
) -> Verdict:
    """Say what an inspection would say.

    Args:
        rule: of the programme.
        state: of the car.
        year: model year; None where not known.
        fuel: of the car; None to go by the layout of its bytes.
        on: the day of inspection.
    Returns: *would be ready*, *would be turned away* or *cannot tell*, with what stands between, in order, and always
        what to check with the programme.
    """
    case = _Case()
    if rule.kind != "none":
        _dates(rule, year, on, case)
        _lamp(rule, state, case)
        _permanent(rule, state, year, on, case)
        if rule.kind in ("count", "all complete"):
            _monitors(rule, state, year, fuel or fuel_of(state), case)
            _changes(rule, state, on, case)
        if rule.tailpipe is not None:
            _tailpipe(rule, state, case)
    word: Word = "would be turned away" if case.against else "cannot tell" if case.unknown else "would be ready"
    clearing = recently_cleared(state)
    return Verdict(
        rule=rule.id,
        title=rule.title,
        word=word,
        sentence=_sentence(rule, state, word, case),
        between=_between(case),
        open=counted(rule, state.open) if state.open is not None else None,
        allowed=case.allowed,
        clearing=clearing,
        check=f"Check with the programme. {rule.check_with}",
        rests_on=(*_basis(rule, on), *state.says),
        notes=(*case.notes, *_notes(rule)),
    )


def counted(rule: Rule, opened: Iterable[str]) -> tuple[str, ...]:
    """The open monitors that a rule counts, those to see to first in front."""
    kept = [name for name in opened if rule.counts_continuous or not is_continuous(name)]
    return tuple(sorted(kept, key=lambda name: FIRST.index(name) if name in FIRST else len(FIRST)))


def limits_for(rule: Rule, year: int | None, fuel: Fuel | None) -> list[Limit]:
    """The limits that may apply: one, or several where year or fuel is not known; empty where the rule has none."""
    if rule.kind == "all complete":
        return [Limit(model_years=(1980,), open_at_most=0, source=rule.source)]
    if year is None:
        return list(rule.limits)
    fuels = FUELS if fuel is None else (fuel,)
    found = [rule.limit_for(year, one) for one in fuels]
    return list(dict.fromkeys(limit for limit in found if limit is not None))


def _dates(rule: Rule, year: int | None, on: datetime.date, case: _Case) -> None:
    if rule.in_force_from is not None and on < rule.in_force_from:
        case.unknown.append(f"this rule is in force from {_day(rule.in_force_from)} only")
    if rule.in_force_until is not None and on > rule.in_force_until:
        case.unknown.append(f"this rule was in force until {_day(rule.in_force_until)}")
    if rule.first_model_year is not None and year is not None and year < rule.first_model_year:
        case.unknown.append(f"this rule speaks of model year {rule.first_model_year} and later, not of {year}")


def _lamp(rule: Rule, state: CarState, case: _Case) -> None:
    lit = state.lamp is True or state.lamp_seen == "on while running"
    if lit and rule.lamp.asked_for == "turned away":
        codes = f" ({', '.join(state.stored)})" if state.stored else ""
        case.against.append(f"The engine lamp is asked for{codes}: find the fault and repair it first.")
    elif state.lamp is None and not lit and rule.lamp.asked_for == "turned away":
        ask = "Type the answer to 01 01, or see whether the lamp goes out after the start."
        if rule.kind in ("lamp only", "lamp and tailpipe"):
            case.unknown.append("whether the engine lamp is asked for is not known")
            case.look.append(ask)
        else:
            case.provided.append("the engine lamp goes out after the start")
    if rule.lamp.must_light and state.lamp_seen == "stays dark":
        case.against.append("The engine lamp stays dark with the ignition on and the engine off: repair the lamp.")
    elif rule.lamp.must_light and state.lamp_seen == "not looked at":
        case.look.append("See that the engine lamp lights with the ignition on and the engine off.")
    has_codes = bool(state.stored) or bool(state.stored_count)
    if has_codes and not lit and rule.lamp.stored_code == "turned away":
        codes = ", ".join(state.stored or ()) or f"{state.stored_count} by the status"
        case.against.append(f"A code is stored ({codes}): find the fault and repair it first.")


def _permanent(rule: Rule, state: CarState, year: int | None, on: datetime.date, case: _Case) -> None:
    part = rule.permanent_codes
    if part is None or on < part.in_force_from or (year is not None and year < part.first_model_year):
        return
    km = convert(part.unless_miles, "mi", "km")
    condition = f"{part.unless_warm_ups} warm-ups and {part.unless_miles:g} miles ({km:.0f} km) since the last clear"
    warm = None if state.warm_ups is None else state.warm_ups >= part.unless_warm_ups
    far = None if state.km is None else state.km >= km
    if warm and far:
        if state.permanent:
            case.notes.append(f"{', '.join(state.permanent)} permanent, disregarded: {condition} are both reached.")
        return
    if state.permanent is None:
        case.provided.append("no permanent code is stored (service 0A)")
        return
    if not state.permanent:
        return
    codes = ", ".join(state.permanent)
    if warm is False or far is False:
        have = (
            f"{'?' if state.warm_ups is None else state.warm_ups} and {'?' if state.km is None else f'{state.km:g}'} km"
        )
        case.against.append(
            f"{codes} is a permanent code: drive until its monitor has passed, or until {condition} are both reached; "
            f"so far {have}."
        )
    else:
        missing = [n for n, v in (("30 (warm-ups)", state.warm_ups), ("31 (distance)", state.km)) if v is None]
        case.unknown.append(f"{codes} is a permanent code, disregarded only after {condition}")
        case.look.append(f"Type the answer to {' and '.join(missing)}.")
    if year is None:
        case.notes.append(f"Permanent codes count from model year {part.first_model_year} on.")


def _monitors(rule: Rule, state: CarState, year: int | None, fuel: Fuel | None, case: _Case) -> None:
    limits = limits_for(rule, year, fuel)
    if rule.first_model_year is not None and year is not None and year < rule.first_model_year:
        return
    if not limits:
        case.unknown.append(f"the rule has no count for model year {year}{f', {fuel}' if fuel else ''}")
        return
    outcomes = [_by_limit(limit, rule, state) for limit in limits]
    case.allowed = " or ".join(dict.fromkeys(limit.words for limit in limits))
    if len({o.kind for o in outcomes}) > 1:
        missing = "the model year is" if year is None else "the fuel is"
        case.unknown.append(f"{missing} not told, and the count depends on it")
        case.look.append(f"Say {'the model year' if year is None else 'which fuel the engine burns'}.")
        return
    case.against += outcomes[0].against
    case.unknown += outcomes[0].unknown
    case.look += outcomes[0].look


@dataclass
class _Outcome:
    against: list[str] = field(default_factory=list)
    unknown: list[str] = field(default_factory=list)
    look: list[str] = field(default_factory=list)

    @property
    def kind(self) -> str:
        return "against" if self.against else "unknown" if self.unknown else "fine"


def _by_limit(limit: Limit, rule: Rule, state: CarState) -> _Outcome:
    if state.open is not None:
        return _named(limit, counted(rule, state.open))
    if state.open_count is None:
        look = "Type the answer to 01 01, or say how many were open."
        return _Outcome(unknown=["which monitors are open is not known"], look=[look])
    count = state.open_count
    if count == 0:
        return _Outcome()
    if count > limit.open_at_most:
        allowed = "none may be" if limit.open_at_most == 0 else f"at most {limit.open_at_most} may be"
        rest = f"all but the {' and '.join(limit.only)}" if limit.only else f"{count - limit.open_at_most} of them"
        return _Outcome(against=[f"{_monitors_are(count)} open, {allowed}: complete {rest}."])
    if limit.only:
        only = " and ".join(limit.only)
        return _Outcome(
            unknown=[f"which of them matters: {limit.words}, and a count does not say which it is"],
            look=[f"Find out which {'one is' if count == 1 else 'ones are'} open, by the bytes of 01 01 or from the "
                  f"station's slip; only the {only} may be."],
        )  # fmt: skip
    return _Outcome()


def _named(limit: Limit, opened: Sequence[str]) -> _Outcome:
    barred = [name for name in opened if limit.only and name not in limit.only]
    found = _Outcome()
    if limit.open_at_most == 0 or barred:
        must = list(opened) if limit.open_at_most == 0 else barred
        found.against += [f"The {name} monitor is open and must be complete: drive for it." for name in must]
    free = [name for name in opened if name not in barred]
    over = len(free) - limit.open_at_most
    if over > 0 and limit.open_at_most > 0:
        found.against.append(
            f"{_monitors_are(len(free))} open, at most {limit.open_at_most} may be: complete {over} of "
            f"{_listed(free)}, whichever comes first."
        )
    return found


def _monitors_are(count: int) -> str:
    return f"{count} monitor{' is' if count == 1 else 's are'}"


def _listed(names: Sequence[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def _changes(rule: Rule, state: CarState, on: datetime.date, case: _Case) -> None:
    count = len(counted(rule, state.open)) if state.open is not None else state.open_count
    for change in rule.changes:
        if on < change.from_:
            case.notes.append(f"To come: {change.says} Basis: {change.basis}.")
            continue
        case.notes.append(f"{change.says} Basis: {change.basis}.")
        if count is not None and count > change.open_at_most and not case.against and not case.unknown:
            case.unknown.append(
                f"by the table it would be ready with {count} open, but a change said to be in force since "
                f"{_day(change.from_)} would ask for {'all' if change.open_at_most == 0 else 'more'} "
                f"(basis: {change.basis})"
            )
            case.look.append("Ask the programme whether this car is phased in; complete what is open to be sure.")


def _tailpipe(rule: Rule, state: CarState, case: _Case) -> None:
    part = rule.tailpipe
    if part is None:
        return
    rows = (
        ("λ at fast idle", state.lambda_fast, part.lambda_fast_idle, ""),
        ("CO at natural idle", state.co_natural, _up_to(part.co_natural_idle), " %"),
        ("CO at fast idle", state.co_fast, _up_to(part.co_fast_idle), " %"),
    )
    for what, value, limits, unit in rows:
        if limits is None:
            case.unknown.append(f"the limit of {what} is not in this rule")
            case.look.append(f"Write the programme's limit of {what} into your own copy of the rule file.")
        elif value is None:
            case.unknown.append(f"{what} was not measured")
            case.look.append(f"Measure {what}, engine warm: {limits[0]:g} to {limits[1]:g}{unit} passes.")
        elif not limits[0] <= value <= limits[1]:
            case.against.append(
                f"{what} is {value:g}{unit}, allowed is {limits[0]:g} to {limits[1]:g}{unit}: find out why."
            )


def _up_to(most: float | None) -> tuple[float, float] | None:
    return None if most is None else (0.0, most)


def _between(case: _Case) -> tuple[Obstacle, ...]:
    found = [Obstacle(what=text) for text in case.against]
    looks = [f"See that {text}." for text in case.provided] + case.look
    return (*found, *(Obstacle(what=text, certain=False) for text in dict.fromkeys(looks)))


def _sentence(rule: Rule, state: CarState, word: Word, case: _Case) -> str:
    if rule.kind == "none":
        return "Nothing is asked for, so it would be ready."
    if word == "would be turned away":
        first = case.against[0].rstrip(".").split(":")[0]
        more = len(case.against) - 1
        rest = f", and {more} thing{'s' if more > 1 else ''} more" if more else ""
        return f"It would be turned away: {_lowered(first)}{rest}."
    if word == "cannot tell":
        return f"Cannot tell: {'; '.join(case.unknown)}."
    opened = counted(rule, state.open) if state.open is not None else ()
    with_open = ""
    if rule.kind in ("count", "all complete"):
        with_open = (
            f" with the {_listed(opened)} open, which is allowed" if opened else " with nothing open that counts"
        )
        if state.open is None and state.open_count:
            with_open = f" with {state.open_count} open, which is allowed"
    provided = f", provided {' and '.join(case.provided)}" if case.provided else ""
    return f"It would be ready{with_open}{provided}."


def _lowered(text: str) -> str:
    """The first letter small, unless it begins a code, λ or CO."""
    return text[0].lower() + text[1:] if text[1:2].islower() or text[1:2] == " " else text


def _basis(rule: Rule, on: datetime.date) -> tuple[str, ...]:
    return (f"{rule.title}: {rule.source} ({tag_words(rule.tag)})", f"as the rule stands on {_day(on)}")


def _notes(rule: Rule) -> tuple[str, ...]:
    return tuple(
        note.says + (f" ({note.source}{f', {tag_words(note.tag)}' if note.tag else ''})" if note.source else "")
        for note in rule.notes
    )


_TAGS = {"M": "from memory", "V": "read in a copy", "TP": "trade practice", "D": "own choice"}


def _day(day: datetime.date) -> str:
    return f"{day.day} {day:%B %Y}"


def tag_words(tag: str) -> str:
    """How well a source is known, in words; a tag of the user's own stands as it is."""
    return _TAGS.get(tag, tag)
