"""What the technician answered. Frozen; whatever is not one of the choices is refused with one clear message."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable, Mapping
from typing import Literal

from pydantic import model_validator

from tickover.arrival.questions import BY_NAME, NOT_KNOWN, Question
from tickover.errors import InputError
from tickover.results import Result

Danger = Literal["none", "fuel", "oil", "overheating", "power", "security"]
Complaint = Literal["high", "hangs", "hunts", "rough", "low", "stalls", "no start", "races", "none"]
Before = Literal["battery", "cleaned", "misfire", "unplugged", "nothing"]

NOT_READ = "not read"
_CODE = re.compile(r"[PBCU][0-3][0-9A-F]{3}")


class Answers(Result):
    """The answers to the questions of ``QUESTIONS``; what was left open is “not known”, or empty.

    Attributes:
        codes: stored codes, upper case; empty where they were read and there are none; None where they were not read.
        danger, complaint, before: as many as apply, in the order of the question; empty where not known.
        car: the user's own words.
        throttle, drive, …: one value each.
    Raises: InputError for a name or a value that is none, with what there is.
    Example: ``Answers(drive="petrol", complaint=("high",)).throttle`` is ``"not known"``.
    """

    danger: tuple[Danger, ...] = ()
    lamp: Literal["dark", "lit", "flashing", "not known"] = "not known"
    codes: tuple[str, ...] | None = None
    complaint: tuple[Complaint, ...] = ()
    drive: Literal["petrol", "carburettor", "gas", "diesel", "hybrid", "electric", "not known"] = "not known"
    before: tuple[Before, ...] = ()
    misfire: Literal["no", "yes", "not known"] = "not known"
    throttle: Literal["cable", "electronic", "not known"] = "not known"
    bore: Literal["clean", "dirty", "not known"] = "not known"
    screws: Literal["untouched", "turned", "forced", "loose", "not known"] = "not known"
    leak: Literal["no", "yes", "not known"] = "not known"
    battery: Literal["healthy", "weak", "charger", "not charging", "not known"] = "not known"
    switch: Literal["key", "button", "not known"] = "not known"
    gearbox: Literal["manual", "automatic", "not known"] = "not known"
    stop_start: Literal["no", "yes", "not known"] = "not known"
    car: str = ""

    @model_validator(mode="before")
    @classmethod
    def _clean(cls, given: object) -> dict[str, object]:
        if not isinstance(given, Mapping):
            raise InputError("answers are names with values", way_out="Give a mapping, name to value.")
        return {str(name): _value(_question(str(name)), value) for name, value in given.items()}


def answers_of(pairs: Iterable[str]) -> Answers:
    """Answers from ``name=value`` words, as a script gives them.

    Args:
        pairs: one answer each; several values are separated by commas. A name given twice adds to what may be several.
    Returns: the answers.
    Raises: InputError for a pair without “=”, an unknown name, a value that is none, or two answers where one is asked.
    Example: ``answers_of(["complaint=high,hangs"]).complaint`` is ``("high", "hangs")``.
    """
    given: dict[str, str] = {}
    for pair in pairs:
        name, equals, value = pair.partition("=")
        if not equals:
            raise InputError(f"“{pair}” is no answer", way_out="Write name=value, e.g. lamp=dark.")
        question = _question(name.strip())
        if question.name not in given:
            given[question.name] = value
        elif question.form in {"several", "codes"}:
            given[question.name] += f",{value}"
        else:
            raise InputError(f"“{question.name}” is answered twice", way_out="Leave one of them out.")
    return Answers.model_validate(given)


def parse_code(text: str) -> str:
    """One trouble code in its standard form.

    Args:
        text: as typed.
    Returns: letter and four digits, e.g. ``P0505``.
    Raises: InputError if it has not that form.
    Source: the form of SAE J2012 (from memory): P, B, C or U; 0 to 3; three hexadecimal digits.
    Example: ``parse_code(" p0505 ")`` is ``"P0505"``.
    """
    code = text.strip().upper()
    if not _CODE.fullmatch(code):
        raise InputError(
            f"“{text.strip()}” is no trouble code",
            way_out="A code is a letter P, B, C or U and four digits, as in P0505. None stored: codes=none.",
        )
    return code


def _question(name: str) -> Question:
    if name not in BY_NAME:
        close = difflib.get_close_matches(name, BY_NAME, n=2)
        hint = f"Did you mean {' or '.join(close)}?" if close else f"There are: {', '.join(BY_NAME)}."
        raise InputError(f"no question is called “{name}”", way_out=hint)
    return BY_NAME[name]


def _value(question: Question, value: object) -> object:
    if question.form == "text":
        if not isinstance(value, str):
            raise InputError(f"{value!r} is no text for “{question.name}”", way_out="Write it in words.")
        return "" if value.strip() == NOT_KNOWN else " ".join(value.split())
    if question.form == "codes":
        return _codes(value)
    if question.form == "several":
        return _some(question, value)
    if not isinstance(value, str):
        raise _none_of(question, value)
    return NOT_KNOWN if value.strip().lower() in {"", NOT_KNOWN} else _choice(question, value)


def _parts(question: Question, value: object) -> list[str]:
    if isinstance(value, str):
        return [part.strip() for part in value.split(",") if part.strip()]
    if isinstance(value, list | tuple | set | frozenset) and all(isinstance(part, str) for part in value):
        return [str(part) for part in value]
    raise _none_of(question, value)


def _some(question: Question, value: object) -> tuple[str, ...]:
    parts = [p for p in _parts(question, value) if p.lower() != NOT_KNOWN]
    chosen = {_choice(question, part) for part in parts}
    if question.alone in chosen and len(chosen) > 1:
        others = ", ".join(f"“{question.words_of(v)}”" for v in question.values if v in chosen and v != question.alone)
        raise InputError(
            f"{question.ask.rstrip('?:')}: “{question.words_of(question.alone)}” cannot stand beside {others}",
            way_out="Leave one of them out.",
        )
    return tuple(v for v in question.values if v in chosen)


def _codes(value: object) -> tuple[str, ...] | None:
    if value is None:
        return None
    question = BY_NAME["codes"]
    parts = _parts(question, value)
    words = {p.lower() for p in parts}
    if isinstance(value, str) and words <= {NOT_READ, NOT_KNOWN}:
        return None
    if words & {"none", NOT_READ, NOT_KNOWN}:
        if len(words) > 1:
            raise InputError(
                "codes cannot be none, or not read, beside a code", way_out="List the codes, or leave them out."
            )
        return () if words == {"none"} else None
    return tuple(dict.fromkeys(parse_code(part) for part in parts))


def _choice(question: Question, value: str) -> str:
    word = " ".join(value.lower().split())
    if word not in question.values:
        raise _none_of(question, value)
    return word


def _none_of(question: Question, value: object) -> InputError:
    near = difflib.get_close_matches(str(value).lower(), question.values, n=1)
    hint = f"Did you mean “{near[0]}”? " if near else ""
    shown = value.strip() if isinstance(value, str) else repr(value)
    return InputError(
        f"“{shown}” is no answer to “{question.name}”",
        way_out=f"{hint}There are: {', '.join((*question.values, NOT_KNOWN))}.",
    )
