"""A picture: shapes, words at places, and one sentence that says the same to someone who does not see it.

Words are kept beside the shapes, not inside them, so that a page can set them in its own type and a printed sheet in
its own, at the size that was asked for. Nothing scales text.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

from tickover.drawing.svg import Node, Paint, clean, el
from tickover.drawing.tokens import PALETTES, STACKS, Role, Theme, Token
from tickover.drawing.words import width

Anchor = Literal["start", "middle", "end"]
_ASCENT, _DESCENT = 0.76, 0.24


@dataclass(frozen=True, slots=True)
class Box:
    """A rectangle [px]: left, top, right, bottom."""

    x0: float
    y0: float
    x1: float
    y1: float

    def meets(self, other: Box) -> bool:
        """Whether two share more than an edge."""
        return self.x0 < other.x1 and other.x0 < self.x1 and self.y0 < other.y1 and other.y0 < self.y1

    def holds(self, x: float, y: float) -> bool:
        """Whether a point lies inside."""
        return self.x0 <= x <= self.x1 and self.y0 <= y <= self.y1


@dataclass(frozen=True, slots=True)
class Label:
    """Words at a place.

    Attributes:
        x, y: the anchor and the baseline [px].
        text: the words, never markup.
        anchor: which end of the words stands at ``x``.
        role: which stack of type.
        size: type size [px].
        bold: whether bold.
        colour: token of the words.
    """

    x: float
    y: float
    text: str
    anchor: Anchor = "start"
    role: Role = "form"
    size: float = 14.0
    bold: bool = False
    colour: Token = Token.SOFT

    @property
    def box(self) -> Box:
        """The room the words take, by the upper estimate of their width."""
        room = width(self.text, self.role, self.size, bold=self.bold)
        left = self.x - {"start": 0.0, "middle": room / 2, "end": room}[self.anchor]
        return Box(left, self.y - _ASCENT * self.size, left + room, self.y + _DESCENT * self.size)


@dataclass(frozen=True)
class Picture:
    """Shapes and words on a sheet of ``width`` by ``height`` px.

    Attributes:
        width, height: size [px at 96 to the inch].
        shapes: drawn in order.
        labels: set on top.
        sentence: the same figures in words, for those who do not see the picture.
    """

    width: float
    height: float
    shapes: tuple[Node, ...]
    labels: tuple[Label, ...]
    sentence: str

    def svg(self, theme: Theme | Literal["css"] = "print", *, words: bool = True) -> str:
        """The picture as one SVG element.

        Args:
            theme: whose colours; ``css`` writes custom properties (``var(--ink)``) for a page that has them.
            words: whether the labels are written too; a page or a sheet that sets them itself says no.
        Returns: SVG with ``role="img"`` and the sentence as ``aria-label``.
        """
        inner = [*self.shapes, *(_text(label) for label in self.labels)] if words else [*self.shapes]
        root = el(
            "svg",
            *inner,
            xmlns="http://www.w3.org/2000/svg",
            width=self.width,
            height=self.height,
            role="img",
            aria_label=self.sentence,
        )
        return root.render(_paint(theme))

    def set_words(self, theme: Theme = "print") -> list[dict[str, Any]]:
        """The labels as plain values for a typesetter: place [px], words, type and colour."""
        return [
            {
                "x": label.x,
                "y": label.y,
                "text": clean(label.text),
                "anchor": label.anchor,
                "role": label.role,
                "size": label.size,
                "bold": label.bold,
                "colour": PALETTES[theme][label.colour],
            }
            for label in self.labels
        ]

    def faults(self) -> list[str]:
        """Labels that leave the picture or run into each other; empty for a picture that is fit to be shown."""
        boxes = [label.box for label in self.labels]
        found = [
            f"“{label.text}” leaves the picture"
            for label, box in zip(self.labels, boxes, strict=True)
            if box.x0 < -0.01 or box.y0 < -0.01 or box.x1 > self.width + 0.01 or box.y1 > self.height + 0.01
        ]
        for i, box in enumerate(boxes):
            found += [
                f"“{self.labels[i].text}” meets “{self.labels[j].text}”"
                for j in range(i + 1, len(boxes))
                if box.meets(boxes[j])
            ]
        return found


def _paint(theme: Theme | Literal["css"]) -> Paint:
    if theme == "css":
        return lambda token: f"var(--{token})"
    palette = PALETTES[theme]
    return lambda token: palette[token]


def _text(label: Label) -> Node:
    family = ",".join(f'"{f}"' if " " in f else f for f in STACKS[label.role])
    return el(
        "text",
        label.text,
        x=label.x,
        y=label.y,
        fill=label.colour,
        font_family=family,
        font_stretch="condensed" if label.role == "form" else None,
        font_size=label.size,
        font_weight="700" if label.bold else None,
        text_anchor=None if label.anchor == "start" else label.anchor,
        style="font-variant-numeric:tabular-nums",
    )
