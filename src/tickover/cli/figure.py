"""Writing a picture where the user wants it."""

from __future__ import annotations

from pathlib import Path

from tickover.drawing.picture import Picture
from tickover.errors import InputError


def write_figure(picture: Picture, figure: Path) -> None:
    """Write a picture, as PNG or SVG by the file's ending.

    Raises: InputError if the file cannot be written.
    """
    from tickover.drawing.still import png_file, svg_file  # the typesetter takes its time, and few ask for a picture

    made = png_file(picture) if figure.suffix.lower() == ".png" else svg_file(picture)
    try:
        figure.write_bytes(made)
    except OSError as why:
        raise InputError(
            f"cannot be written: {why.strerror}",
            file=str(figure),
            way_out="Name a folder that is there, and that you may write to.",
        ) from None
