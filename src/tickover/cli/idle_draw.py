"""Figure and page files of ``tickover idle``."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import click

from tickover.drawing.still import png_file, svg_file
from tickover.idle.figures import comparison_figure, reading_figure, unused_figure
from tickover.idle.page import page
from tickover.idle.results import Comparison, IdleReading
from tickover.results import CannotTell
from tickover.signals import Recording


@dataclass(frozen=True)
class Drawn:
    """What there is to draw."""

    reading: IdleReading | CannotTell
    recording: Recording | None
    comparison: Comparison | None
    before: IdleReading | CannotTell | None
    normal: tuple[float, float] | None


def check_names(figure: Path | None, page_file: Path | None) -> None:
    """Refuse a file name that does not say what is wanted, before any work is done.

    Raises: click.BadParameter.
    """
    if figure is not None and figure.suffix.lower() not in (".svg", ".png"):
        raise click.BadParameter(f"“{figure}” ends neither in .svg nor in .png", param_hint="--figure")
    if page_file is not None and page_file.suffix.lower() not in (".html", ".htm"):
        raise click.BadParameter(f"“{page_file}” does not end in .html", param_hint="--page")


def write(drawn: Drawn, figure: Path | None, page_file: Path | None) -> list[Path]:
    """Write what was asked for.

    Returns: the files that were written.
    Raises: click.UsageError if there is nothing to draw or a file cannot be written.
    """
    written = []
    if figure is not None:
        _save(figure, _figure(drawn, png=figure.suffix.lower() == ".png"))
        written.append(figure)
    if page_file is not None:
        made = page(
            drawn.reading, drawn.recording, normal=drawn.normal, comparison=drawn.comparison, before=drawn.before
        )
        _save(page_file, made.encode())
        written.append(page_file)
    return written


def _figure(drawn: Drawn, *, png: bool) -> bytes:
    picture = None
    if drawn.comparison is not None and drawn.before is not None:
        picture = comparison_figure(drawn.comparison, drawn.before, drawn.reading)
    elif isinstance(drawn.reading, IdleReading):
        picture = reading_figure(drawn.reading, normal=drawn.normal)
    elif drawn.recording is not None:
        picture = unused_figure(drawn.recording, normal=drawn.normal)
    if picture is None:
        why = drawn.reading.reason if isinstance(drawn.reading, CannotTell) else "there is no trace of it"
        raise click.UsageError(f"There is nothing to draw: {why}. Leave --figure out to read why.")
    return png_file(picture) if png else svg_file(picture)


def _save(path: Path, content: bytes) -> None:
    try:
        path.write_bytes(content)
    except OSError as why:
        raise click.UsageError(
            f"{path} cannot be written: {why.strerror or why}. Name a folder you may write to."
        ) from None
