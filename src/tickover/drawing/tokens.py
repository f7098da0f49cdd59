"""The colours, type, sizes and line weights of everything that is shown or printed, named once.

Contrast is WCAG 2 contrast against the sheet (``card``) and the job-card stub (``stub``) of the same theme. Text needs
4.5, a drawn mark 3. Shape, fill and word carry every meaning first; colour comes last.
"""

from __future__ import annotations

from enum import StrEnum
from typing import Literal, get_args

Theme = Literal["day", "night", "print"]

THEMES: tuple[Theme, ...] = get_args(Theme)


class Token(StrEnum):
    """What a colour is for."""

    DESK = "desk"
    """Around the sheet."""
    CARD = "card"
    """The sheet itself."""
    STUB = "stub"
    """The job-card stub."""
    INK = "ink"
    """Text, jaws, rules that matter."""
    SOFT = "soft"
    """Form labels and axis words."""
    LINE = "line"
    """Ticks, dashed frames, the trace before."""
    RULE = "rule"
    """Hairlines that carry no meaning."""
    DO = "do"
    """The thing to do; words and trace of after."""
    FILL = "fill"
    """Marks that were met."""
    WASH = "wash"
    """Inside of jaws, the normal band."""
    WARN = "warn"
    """Words of a miss."""
    BAD = "bad"
    """Marks of a miss."""
    AMBER = "amber"
    """Caution stripes, never without ink."""
    ON = "on"
    """Text on ``do`` and ``fill``."""


_DAY = {
    Token.DESK: "#E4DDCB",
    Token.CARD: "#FDFAF2",
    Token.STUB: "#EFE4C6",
    Token.INK: "#16202B",
    Token.SOFT: "#48505A",
    Token.LINE: "#6E6A5E",
    Token.RULE: "#C9BFA6",
    Token.DO: "#005B94",
    Token.FILL: "#0072B2",
    Token.WASH: "#D6E6F2",
    Token.WARN: "#A03C00",
    Token.BAD: "#D55E00",
    Token.AMBER: "#E69F00",
    Token.ON: "#FDFAF2",
}

PALETTES: dict[Theme, dict[Token, str]] = {
    "day": _DAY,
    "night": {
        Token.DESK: "#0F1215",
        Token.CARD: "#191D21",
        Token.STUB: "#24241F",
        Token.INK: "#F3ECDB",
        Token.SOFT: "#BDB6A6",
        Token.LINE: "#8E897D",
        Token.RULE: "#3B3F42",
        Token.DO: "#6FC0F0",
        Token.FILL: "#56B4E9",
        Token.WASH: "#1C3546",
        Token.WARN: "#FF9A5C",
        Token.BAD: "#E8782F",
        Token.AMBER: "#F0B429",
        Token.ON: "#0F1215",
    },
    "print": {**_DAY, Token.DESK: "#FFFFFF", Token.CARD: "#FFFFFF"},
}
"""Every token in every theme, as ``#RRGGBB``."""

TEXT_TOKENS = (Token.INK, Token.SOFT, Token.DO, Token.WARN)
"""Tokens that words are set in: at least 4.5 on the sheet and on the stub."""

MARK_TOKENS = (*TEXT_TOKENS, Token.LINE, Token.FILL, Token.BAD)
"""Tokens that marks with a meaning are drawn in: at least 3."""

Role = Literal["slab", "text", "form"]

STACKS: dict[Role, tuple[str, ...]] = {
    "slab": (
        "Rockwell",
        "Rockwell Nova",
        "Roboto Slab",
        "DejaVu Serif Condensed",
        "DejaVu Serif",
        "Noto Serif",
        "serif",
    ),
    "text": ("Avenir Next", "Segoe UI", "Roboto", "Noto Sans", "Liberation Sans", "Arial", "sans-serif"),
    "form": (
        "Avenir Next Condensed",
        "Roboto Condensed",
        "Liberation Sans Narrow",
        "Arial Narrow",
        "Roboto",
        "Segoe UI",
        "sans-serif",
    ),
}
"""Type on a screen, system fonts only: headings and figures; text; labels and axes."""

HAIRLINE, EDGE, OPENING, JAWS, NOW = 1.0, 2.0, 3.0, 4.0, 5.0
"""Line weights [px]: no meaning, edge of a control, opens a verdict, jaws, the now line."""

PRINT_SIZES = {"foot": 13.5, "form": 14.0, "text": 14.5, "heading": 16.0, "lead": 17.0, "figure": 19.0, "title": 40.0}
"""Sizes on paper [px at 96 to the inch]; nothing is smaller than ``foot``."""

SMALLEST_PRINT = min(PRINT_SIZES.values())


def luminance(colour: str) -> float:
    """Relative luminance of an sRGB colour, 0 for black to 1 for white.

    Args:
        colour: ``#RRGGBB``.
    Source: WCAG 2.2, definition of relative luminance.
    Example: ``luminance("#FFFFFF")`` is 1.
    """
    channels = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    """Contrast ratio of two colours, 1 to 21, whichever is the lighter.

    Args:
        one, other: ``#RRGGBB``.
    Source: WCAG 2.2, definition of contrast ratio.
    Example: ``contrast("#000000", "#FFFFFF")`` is 21.
    """
    lighter, darker = sorted((luminance(one), luminance(other)), reverse=True)
    return (lighter + 0.05) / (darker + 0.05)


def css_variables() -> str:
    """The tokens as CSS custom properties: day on ``:root``, night by choice or by the system, white in print."""
    day, night = (
        "".join(f"--{token}:{colour};" for token, colour in PALETTES[theme].items()) for theme in ("day", "night")
    )
    paper = "".join(f"--{t}:{c};" for t, c in PALETTES["print"].items() if c != PALETTES["day"][t])
    return (
        f":root{{color-scheme:light;{day}}}\n"
        f":root[data-light=night]{{color-scheme:dark;{night}}}\n"
        f"@media (prefers-color-scheme:dark){{:root:not([data-light=day]){{color-scheme:dark;{night}}}}}\n"
        "@media print{:root,:root[data-light=night],:root:not([data-light=day])"
        f"{{color-scheme:light;{day}{paper}}}}}\n"
    )
