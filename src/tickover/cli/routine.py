"""The ``routine`` command: the library, and a user's own routine files."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any, TypeVar

import click
from pydantic import BaseModel
from rich.console import Console
from rich.padding import Padding
from rich.rule import Rule
from rich.text import Text

from tickover.cli.lazy import LazyGroup
from tickover.results import envelope
from tickover.routines import Switch, load_library, load_routine
from tickover.routines.check import check_file, library_of, show
from tickover.routines.report import Checked
from tickover.routines.words import Line, Style, check_lines, library_lines, show_lines

_F = TypeVar("_F", bound=Callable[..., Any])

STYLES: dict[Style, str] = {
    "title": "bold",
    "lead": "bold",
    "head": "underline",
    "text": "",
    "window": "blue",
    "soft": "dim",
    "caution": "bold",
    "rule": "dim",
    "bad": "bold",
}

LATER = {
    "odds": ("tickover.cli.routine_odds:odds_command", "Odds of a clean run, the weak step, and what cues gain."),
    "card": ("tickover.cli.routine_card:card_command", "Print one page to read on the steering wheel."),
    "cue": ("tickover.cli.routine_cue:cue_command", "Write the routine as sound, to be done with eyes on the car."),
    "phone": ("tickover.cli.routine_phone:phone_command", "Write one HTML file that coaches from a phone, offline."),
}
"""Commands that bring libraries of their own, most to make something to take to the car."""

json_option = click.option("--json", "as_json", is_flag=True, help="Print the result as JSON.")
switch_option = click.option(
    "--switch",
    type=click.Choice(["key", "button"]),
    default="key",
    show_default=True,
    help="The car's ignition switch.",
)


def folder_option(command: _F) -> _F:
    """The user's own folder of routines, as an option or in the environment."""
    return click.option(
        "--folder",
        type=click.Path(path_type=Path),
        envvar="TICKOVER_ROUTINES",
        show_envvar=True,
        help="Your own folder of routine files; they come before the built-in ones of the same id.",
    )(command)


@click.group("routine", cls=LazyGroup, later=LATER)
def routine_group() -> None:
    """The library of routines, and your own routine files."""


@routine_group.command("list")
@folder_option
@json_option
def list_command(folder: Path | None, as_json: bool) -> None:
    """List the routines, the least disturbing first."""
    library = library_of(load_library(folder))
    if as_json:
        print_json("routine list", library, {"folder": str(folder) if folder else None})
        return
    print_lines(library_lines(library))


@routine_group.command("show")
@click.argument("routine")
@switch_option
@folder_option
@json_option
def show_command(routine: str, switch: Switch, folder: Path | None, as_json: bool) -> None:
    """Show a routine in full: needs, steps with their windows, cautions, basis."""
    shown = show(load_routine(routine, folder), switch)
    if as_json:
        print_json("routine show", shown, {"routine": routine, "switch": switch}, (shown.routine.basis.words,))
        return
    print_lines(show_lines(shown))


@routine_group.command("check")
@click.argument("files", nargs=-1, required=True, type=click.Path(path_type=Path))
@json_option
@click.pass_context
def check_command(context: click.Context, files: tuple[Path, ...], as_json: bool) -> None:
    """Check routine files: every fault at once, each with its line and the way out."""
    checked = Checked(files=tuple(check_file(file) for file in files))
    if as_json:
        print_json("routine check", checked, {"files": [str(f) for f in files]})
    else:
        for check in checked.files:
            print_lines(check_lines(check))
    if not all(check.ok for check in checked.files):
        context.exit(2)


def _console() -> Console:
    return Console(highlight=False, soft_wrap=False)


def print_lines(lines: Iterable[Line]) -> None:
    """Print lines in the terminal's own style."""
    console = _console()
    for line in lines:
        if line.style == "rule":
            console.print(Rule(style="dim"))
        else:
            console.print(Padding(Text(line.text, style=STYLES[line.style]), (0, 0, 0, line.indent), expand=False))


def print_json(what: str, result: BaseModel, inputs: dict[str, Any], rests_on: tuple[str, ...] = ()) -> None:
    """Print a result in its envelope."""
    click.echo(envelope(what, result, inputs=inputs, rests_on=rests_on).model_dump_json(indent=2))
