"""The ``drive`` command: check a recorded drive, plan the confirmation drive."""

from __future__ import annotations

import click
from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from tickover.cli.lazy import LazyGroup

COMMANDS = {
    "check": ("tickover.cli.drive_check:check_command", "Which stretch of a log met which condition, and by what."),
    "plan": ("tickover.cli.drive_plan:plan_command", "The shortest confirmation drive, as text and as a routine."),
}
"""Command name to where it lives and its one line in the help."""


@click.group("drive", cls=LazyGroup, later=COMMANDS)
def drive_group() -> None:
    """Plan the confirmation drive, or check a recorded one.

    The driver only listens: a passenger works log and coach, legal limits and traffic come first.
    """


def say_list(console: Console, rows: list[tuple[str, str]], *, wide: int = 22) -> None:
    """Rows of a few words and a sentence; the words are said once where they repeat."""
    table = Table.grid(padding=(0, 2))
    table.add_column(width=wide, overflow="fold")
    table.add_column(overflow="fold")
    last = ""
    for what, text in rows:
        table.add_row(Text(what if what != last else "", style="dim"), Text(text))
        last = what
    if table.row_count:
        console.print(Padding(table, (0, 3)))


def names_of(text: str | None) -> tuple[str, ...]:
    """Names separated by commas.

    Example: ``names_of("evap, catalyst")`` is ``("evap", "catalyst")``.
    """
    return tuple(dict.fromkeys(word.strip() for word in (text or "").split(",") if word.strip()))
