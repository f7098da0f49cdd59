"""The number of a car: its check digit, its model year, and how it is shown to others.

Source: 49 CFR 565.15 (weights, letter values, positions) as held in several stored copies; codes of the model year from
memory of the same clause.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from tickover.errors import InputError

LENGTH = 17
WEIGHTS = (8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2)
"""What each position counts; the ninth, the check digit itself, counts nothing."""

LETTERS: dict[str, int] = dict(
    zip("ABCDEFGHJKLMNPRSTUVWXYZ", (*range(1, 9), *range(1, 6), 7, 9, *range(2, 10)), strict=True)
)
"""What each letter counts; I, O and Q are not used."""

_NEVER = {"I": "1", "O": "0", "Q": "0"}
_CHECKS = "0123456789X"
_CODES = "ABCDEFGHJKLMNPRSTVWXY123456789"
"""Codes of the model year from 1980 on; after thirty years they begin again."""
_FIRST, _CYCLE = 1980, len(_CODES)
_NORTH_AMERICA = frozenset("12345")
_HIDDEN = "•"
_SHOWN = 4

Show = Literal["masked", "whole", "left out"]
"""How much of a number a print shows."""


@dataclass(frozen=True, slots=True)
class Vin:
    """A number that was read.

    Attributes:
        number: 17 capitals and digits.
        check: whether the ninth position is the right check digit; ``none`` where it can be none, or where the car need
            not carry one and it does not match.
        year: model year as 49 CFR 565.15 codes it; None where the code is none.
        other_year: the year thirty away that the same code means, where position 7 does not decide.
        warnings: what to look at again, in sentences.
    """

    number: str
    check: Literal["matches", "none"]
    year: int | None
    other_year: int | None
    warnings: tuple[str, ...]

    @property
    def masked(self) -> str:
        """The last four behind dots: enough to find the car in the yard, too little to look it up."""
        return masked(self.number)


def masked(number: str) -> str:
    """A number as it stands on a print that others may see: its last four, the rest as dots.

    Args:
        number: a whole number, or one that is masked already.
    Example: ``masked("11111111111111111")`` ends in four ones behind thirteen dots.
    """
    kept = number.strip()
    return _HIDDEN * max(len(kept) - _SHOWN, 0) + kept[-_SHOWN:] if len(kept) > _SHOWN else _HIDDEN * len(kept)


def check_digit(number: str) -> str:
    """The check digit that a number should carry at its ninth position.

    The values of all positions, weighted, are summed; the remainder by 11 is the digit, and 10 is written X.

    Args:
        number: 17 capitals and digits; what stands at position 9 does not matter.
    Returns: ``0`` to ``9`` or ``X``.
    Raises: InputError for another length, or a character that no number has.
    Source: 49 CFR 565.15, Table IV.
    Example: ``check_digit("11111111111111111")`` is ``"1"``.
    """
    _refuse(number, ninth=False)
    total = sum(weight * _value(c) for weight, c in zip(WEIGHTS, number, strict=True) if weight)
    return _CHECKS[total % 11]


def read_vin(text: str, *, as_it_stands: bool = False) -> Vin:
    """A number as it was typed or reported.

    Args:
        text: any case, spaces and hyphens between.
        as_it_stands: take a North American number whose check digit is wrong; a person has looked at the car again.
    Returns: the number, with what can be told of it.
    Raises: InputError if it is no such number, or if it begins as a North American one and its check digit is wrong.
    Valid for: model years from 1980; cars of at most 10,000 lb for the thirty years (position 7).
    Example: ``read_vin("1m8gdm9a xkp042788").check`` is ``"matches"``.
    """
    number = "".join(c for c in text.upper() if not c.isspace() and c not in "-‐‑–\u200b")
    _refuse(number)
    right = check_digit(number)
    warnings: list[str] = []
    here = number[0] in _NORTH_AMERICA
    if number[8] != right:
        carried = number[8] in _CHECKS
        if here and carried and not as_it_stands:
            raise InputError(
                f"{number} is mistyped: its ninth character is {number[8]}, and {right} would fit the others",
                way_out="Read it again from the car, character by character. If it stands there so, say so.",
            )
        if here:
            warnings.append(f"Its check digit is not right: {number[8]} stands where {right} would fit. Look again.")
        else:
            warnings.append(
                "It carries no check digit that fits. Outside North America it need not; compare it with the car."
            )
    year, other = _years(number)
    if year is None:
        warnings.append("Its tenth character is no code of a model year.")
    elif not here:
        warnings.append("Outside North America the tenth character need not tell the model year.")
    return Vin(number, "matches" if number[8] == right else "none", year, other, tuple(warnings))


def _years(number: str) -> tuple[int | None, int | None]:
    """The model year, and the other one that the code could mean.

    A letter at position 7 says 2010 or later, a digit before 2010, on light cars of North America (from memory).
    """
    if number[9] not in _CODES:
        return None, None
    early = _FIRST + _CODES.index(number[9])
    late = early + _CYCLE
    likely, other = (early, late) if number[6].isdigit() else (late, early)
    return likely, None if number[0] in _NORTH_AMERICA else other


def _refuse(number: str, *, ninth: bool = True) -> None:
    if len(number) != LENGTH:
        raise InputError(
            f"“{number}” has {len(number)} characters, and the number of a car has {LENGTH}",
            way_out="Cars from before 1981 have shorter ones: leave it out, and write it into a note.",
        )
    for place, c in enumerate(number, start=1):
        if c in _NEVER:
            raise InputError(
                f"“{number}” has {c} at place {place}, which is never used",
                way_out=f"Is it {_NEVER[c]}? Read it again.",
            )
        if not (c in LETTERS or c in "0123456789") and (ninth or place != 9):
            raise InputError(f"“{number}” has “{c}” at place {place}", way_out="Only A to Z and 0 to 9 are used.")


def _value(c: str) -> int:
    return LETTERS[c] if c in LETTERS else int(c)
