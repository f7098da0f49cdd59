"""A picture as a file: SVG, or PNG set by the typesetter with the project's own type."""

from __future__ import annotations

import json

from tickover.drawing import paper
from tickover.drawing.picture import Picture
from tickover.drawing.tokens import PALETTES, Theme, Token

_EDGE = 16.0
_PAGE = """#set page(width: {width}pt, height: {height}pt, margin: {edge}pt, fill: rgb("{card}"))
#image("picture.svg", width: {inner}pt, alt: json("words.json"))
"""


def svg_file(picture: Picture, theme: Theme = "day") -> bytes:
    """The picture as an SVG file that stands by itself."""
    return ('<?xml version="1.0" encoding="UTF-8"?>\n' + picture.svg(theme) + "\n").encode()


def png_file(picture: Picture, theme: Theme = "day", *, ppi: float = 144) -> bytes:
    """The picture as a PNG.

    Args:
        picture: any.
        theme: whose colours.
        ppi: pixels to the inch; 96 gives a pixel for each of the picture's.
    Raises: PaperError if it cannot be set.
    """
    scale = 0.75  # a point is 4/3 px
    source = _PAGE.format(
        width=(picture.width + 2 * _EDGE) * scale,
        height=(picture.height + 2 * _EDGE) * scale,
        edge=_EDGE * scale,
        inner=picture.width * scale,
        card=PALETTES[theme][Token.CARD],
    )
    files = {"picture.svg": picture.svg(theme).encode(), "words.json": json.dumps(picture.sentence).encode()}
    return paper.png(source, files, ppi)[0]
