"""Small tables that a person writes by hand: commas, semicolons or tabs; points or commas for decimals."""

from __future__ import annotations

import csv
from collections.abc import Iterator
from pathlib import Path

from tickover.errors import InputError

SEPARATORS = (";", "\t", ",")
"""In this order: who writes 0,5;0,51 parts by the semicolon."""


def text_of(path: Path, way_out: str) -> str:
    """The text of a small file.

    Args:
        path: which.
        way_out: what to name instead.
    Raises: InputError that names the file once, where it is not there, cannot be read, or is no text.
    """
    try:
        return path.read_text(encoding="utf-8-sig")
    except FileNotFoundError:
        raise InputError("there is no such file", file=str(path), way_out=way_out) from None
    except OSError as why:
        raise InputError(f"cannot be read: {why.strerror}", file=str(path), way_out=way_out) from None
    except UnicodeDecodeError:
        raise InputError("is not text in UTF-8", file=str(path), way_out=way_out) from None


def rows_of(text: str) -> Iterator[tuple[int, list[str]]]:
    """The rows of a table, without empty lines and lines that begin with ``#``.

    Args:
        text: the whole file. The first row says what parts the cells.
    Returns: line numbers from 1, and the cells, without the blanks round them.
    """
    separator = ""
    for number, line in enumerate(text.splitlines(), start=1):
        if not line.strip() or line.lstrip().startswith("#"):
            continue
        separator = separator or next((s for s in SEPARATORS if s in line), ",")
        cells = [c.strip() for c in next(csv.reader([line], delimiter=separator), [])]
        if any(cells):
            yield number, cells


def number_in(cell: str) -> float:
    """A number, with a point or a comma for its decimals.

    Raises: ValueError for anything else.
    """
    return float(cell.replace(",", ".").replace("−", "-"))
