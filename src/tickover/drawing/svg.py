"""A small SVG builder: typed, and unable to let a word become markup.

Colours are tokens and become colours only when a picture is written, so one drawing serves day, night, paper and a page
with custom properties.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass

from tickover.drawing.tokens import Token

Value = str | float | Token | None
Paint = Callable[[Token], str]

_NAME = re.compile(r"[A-Za-z][A-Za-z0-9-]*\Z")
_ILLEGAL = re.compile("[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
_ENTITIES = str.maketrans({"&": "&amp;", "<": "&lt;", ">": "&gt;", '"': "&quot;", "'": "&#39;"})


def clean(text: str) -> str:
    """The text with every character that neither XML nor a printed page can carry replaced by ``�``."""
    return _ILLEGAL.sub("�", text)


def escape(text: str) -> str:
    """Text made safe inside an element and inside a quoted attribute."""
    return clean(text).translate(_ENTITIES)


def number(value: float) -> str:
    """A coordinate, two decimals at most, never with an exponent.

    Raises: ValueError if it is not finite.
    """
    if not math.isfinite(value):
        raise ValueError(f"a coordinate must be finite, not {value}")
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


@dataclass(frozen=True, slots=True)
class Node:
    """One element. Build it with ``el``."""

    tag: str
    attributes: tuple[tuple[str, Value], ...]
    children: tuple[Node | str, ...]

    def render(self, paint: Paint) -> str:
        """The element as XML.

        Args:
            paint: turns a token into a colour.
        """
        written = "".join(f' {name}="{_value(value, paint)}"' for name, value in self.attributes if value is not None)
        if not self.children:
            return f"<{self.tag}{written}/>"
        inner = "".join(c.render(paint) if isinstance(c, Node) else escape(c) for c in self.children)
        return f"<{self.tag}{written}>{inner}</{self.tag}>"


def _value(value: Value, paint: Paint) -> str:
    if isinstance(value, Token):
        return escape(paint(value))
    if isinstance(value, str):
        return escape(value)
    return number(value) if value is not None else ""


def el(tag: str, *children: Node | str, **attributes: Value) -> Node:
    """An element.

    Args:
        tag: its name.
        children: elements, and text, which is escaped.
        attributes: ``stroke_width=4`` becomes ``stroke-width="4"``; ``None`` leaves one out.
    Raises: ValueError if a name is not one.
    """
    named = tuple((name.rstrip("_").replace("_", "-"), value) for name, value in attributes.items())
    for name in (tag, *(n for n, _ in named)):
        if not _NAME.match(name):
            raise ValueError(f"“{name}” is not a name in SVG")
    return Node(tag, named, children)


def stroke(d: str, colour: Token, width: float, *, dash: str | None = None, join: str = "miter") -> Node:
    """An open path that is only stroked."""
    return el("path", d=d, fill="none", stroke=colour, stroke_width=width, stroke_dasharray=dash, stroke_linejoin=join)


def segment(
    x0: float, y0: float, x1: float, y1: float, colour: Token, width: float, *, dash: str | None = None
) -> Node:
    """One straight line."""
    return stroke(f"M{number(x0)} {number(y0)}L{number(x1)} {number(y1)}", colour, width, dash=dash)


def rect(x: float, y: float, width: float, height: float, colour: Token) -> Node:
    """A filled rectangle."""
    return el("rect", x=x, y=y, width=width, height=height, fill=colour)


def points(places: Iterable[tuple[float, float]]) -> str:
    """A path through places, in order."""
    return "M" + "L".join(f"{number(x)} {number(y)}" for x, y in places)


def hatch(corners: Iterable[tuple[float, float]], gap: float, colour: Token, width: float) -> Node | None:
    """Rising strokes at 45° inside a convex outline, clipped to it.

    Args:
        corners: the outline, in order [px].
        gap: distance between strokes [px].
        colour, width: of the strokes.
    Returns: one path, or ``None`` where no stroke fits.
    """
    outline = list(corners)
    levels = [x + y for x, y in outline]
    path = ""
    level = math.floor(min(levels) / gap + 1) * gap
    while level < max(levels):
        cuts: list[tuple[float, float]] = []
        for (xa, ya), (xb, yb) in zip(outline, [*outline[1:], outline[0]], strict=True):
            before, after = xa + ya - level, xb + yb - level
            if (before < 0) != (after < 0):
                share = before / (before - after)
                cuts.append((xa + share * (xb - xa), ya + share * (yb - ya)))
        if len(cuts) == 2:
            path += points(cuts)
        level += gap
    return stroke(path, colour, width) if path else None
