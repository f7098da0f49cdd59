"""What the commands share that make something of a routine to take to the car: card, sound files, phone page."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, TypeVar

import click

from tickover.cli.routine import folder_option, switch_option
from tickover.errors import InputError
from tickover.results import Result

_F = TypeVar("_F", bound=Callable[..., Any])


class MadeFile(Result):
    """The file that was written: where, and how large [bytes]."""

    file: str
    size: int


def made_options(out: str, as_json: str = "Print the result as JSON.") -> Callable[[_F], _F]:
    """ROUTINE, ``--out``, ``--switch``, ``--folder`` and ``--json``.

    Args:
        out, as_json: what the help says of ``--out`` and ``--json``.
    """

    def wrap(command: _F) -> _F:
        for option in (
            click.option("--json", "as_json", is_flag=True, help=as_json),
            folder_option,
            switch_option,
            click.option("--out", type=click.Path(path_type=Path), help=out),
            click.argument("routine"),
        ):
            command = option(command)
        return command

    return wrap


@contextmanager
def written_to(path: Path, way_out: str = "Name a file with --out.") -> Iterator[None]:
    """What goes wrong while a file is written, as one message.

    Raises: InputError that names the file.
    """
    try:
        yield
    except OSError as why:
        raise InputError(f"cannot be written: {why.strerror}", file=str(path), way_out=way_out) from None
