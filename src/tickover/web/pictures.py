"""Our pictures on a page: shapes as inline SVG, words as HTML over it, so that no text is ever scaled."""

from __future__ import annotations

from markupsafe import Markup, escape

from tickover.drawing.marks import Judgement, Verdict, sign
from tickover.drawing.picture import Label, Picture

_ASCENT = 0.93
"""From the top of a line of height 1.15 to its baseline, in sizes of the type; measured in a browser on our stacks."""


def drawn(picture: Picture) -> Markup:
    """A picture for a page that has the tokens as custom properties; its sentence is the SVG's label."""
    words = Markup("").join(_word(label, picture.width) for label in picture.labels)
    place = f"width:{picture.width:g}px;height:{picture.height:g}px"
    return Markup('<div class="pic" style="{}">{}{}</div>').format(
        place, Markup(picture.svg("css", words=False)), words
    )


def _word(label: Label, room: float) -> Markup:
    style = (
        f"left:{100 * label.x / room:.3f}%;top:{label.y - _ASCENT * label.size:.1f}px;"
        f"font-size:{label.size:g}px;color:var(--{label.colour})"
    )
    dress = f"{label.role} {label.anchor}{' strong' if label.bold else ''}"
    return Markup('<span aria-hidden="true" class="{}" style="{}">{}</span>').format(dress, style, escape(label.text))


def mark(state: Judgement | Verdict) -> Markup:
    """The sign of a need or a verdict. The word stands beside it on every page, so it is hidden from a reader aloud."""
    picture = sign(state)
    return Markup('<span class="sign" aria-hidden="true">{}</span>').format(
        Markup(picture.svg("css", words=False).replace(' role="img"', ""))
    )
