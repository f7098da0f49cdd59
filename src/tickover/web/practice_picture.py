"""The odds from attempt to attempt as one picture: ◆ with its bar, one row an attempt."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

from pydantic import Field, model_validator

from tickover.drawing.marks import bar, diamond
from tickover.drawing.picture import Label, Picture
from tickover.drawing.svg import Node, segment
from tickover.drawing.tokens import Token
from tickover.results import Result
from tickover.routines.words import percent, percent_range

_WIDE = 320.0
_LEFT, _RIGHT = 62.0, 90.0
_ROW = 34.0
_TOP, _FOOT = 10.0, 30.0
_SIZE = 16.0
_SHOWN = 8
"""Rows in the picture: the first and the newest seven."""


By = Literal["tones", "heart"]
WAYS: dict[By, str] = {"tones": "with the tones", "heart": "by heart"}


class OddsAt(Result):
    """The odds as they stood after an attempt.

    Attributes:
        attempt: which, from 1.
        by: how the acts are timed: with the coach's tones, or by heart.
        taps: how many taps they rest on.
        p: chance of a clean run; lo, hi: its range, nine times in ten.
    """

    attempt: int = Field(ge=1, le=1000)
    by: By
    taps: int = Field(ge=0, le=100000)
    p: float = Field(ge=0, le=1)
    lo: float = Field(ge=0, le=1)
    hi: float = Field(ge=0, le=1)

    @model_validator(mode="after")
    def _ordered(self) -> OddsAt:
        if self.lo > self.hi:
            raise ValueError("the range is upside down")
        return self


def odds_rise(odds: Sequence[OddsAt]) -> Picture:
    """Draw how the odds moved.

    Args:
        odds: after each attempt, timed one way, at least one; of many the first and the newest are drawn.
    Returns: the picture, 320 px wide, one axis below for all rows.
    """
    rows = list(odds) if len(odds) <= _SHOWN else [odds[0], *odds[-_SHOWN + 1 :]]
    height = _TOP + _ROW * len(rows) + _FOOT
    foot = _TOP + _ROW * len(rows)

    def x(p: float) -> float:
        return _LEFT + p * (_WIDE - _LEFT - _RIGHT)

    shapes: list[Node] = [segment(x(0), foot, x(1), foot, Token.LINE, 1)]
    labels = [
        Label(x(p), foot + 20, text, "middle", size=_SIZE, colour=Token.SOFT)
        for p, text in ((0.0, "0"), (0.5, "50"), (1.0, "100 %"))
    ]
    for n, one in enumerate(rows):
        y = _TOP + _ROW * (n + 0.5)
        newest = n == len(rows) - 1
        shapes += bar(x(one.lo), x(one.hi), y, Token.FILL if newest else Token.LINE)
        shapes += diamond(x(one.p), y, 8, "solid" if newest else "before")
        labels.append(Label(0, y + 5, f"try {one.attempt}", size=_SIZE, bold=newest, colour=Token.INK))
        words = percent(one.p)
        labels.append(Label(_WIDE, y + 5, words, "end", size=_SIZE, bold=newest, colour=Token.INK))
    said = "; ".join(f"try {o.attempt}: {percent(o.p)}, {percent_range(o.lo, o.hi)}" for o in rows)
    return Picture(_WIDE, height, tuple(shapes), tuple(labels), f"Odds of a clean run {WAYS[odds[-1].by]}. {said}.")
