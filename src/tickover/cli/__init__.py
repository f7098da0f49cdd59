"""The command line. A door: it holds no arithmetic. Commands are loaded only when they are called.

Exit codes: 0 answered (also "cannot tell"), 2 the input cannot be used as given, 130 stopped by Ctrl-C.
"""

from __future__ import annotations

import importlib
import json
import sys
from typing import Any

import click

from tickover import __version__
from tickover.errors import TickoverError

COMMANDS: dict[str, tuple[str, str]] = {
    "demo": ("tickover.cli.demo:demo_command", "The whole job on the simulated car, with its hand-over sheet."),
    "routine": ("tickover.cli.routine:routine_group", "The library of routines, and your own routine files."),
    "coach": ("tickover.cli.coach:coach_command", "Run a routine in the terminal, judged live."),
    "judge": ("tickover.cli.judge:judge_command", "Judge a recorded attempt."),
    "idle": ("tickover.cli.idle:idle_command", "Measure an idle from a log, or compare two."),
}
"""Command name to where it lives and its one line in the help."""


class LazyGroup(click.Group):
    """A group that imports a command's module only when that command runs, so that ``--help`` stays fast."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Names in the order of the job, not of the alphabet."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import and return one command."""
        if cmd_name not in COMMANDS:
            return None
        module, _, name = COMMANDS[cmd_name][0].partition(":")
        command = getattr(importlib.import_module(module), name)
        assert isinstance(command, click.Command)
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the list of commands without importing any of them."""
        with formatter.section("Commands"):
            formatter.write_dl([(name, line) for name, (_, line) in COMMANDS.items()])


@click.group(cls=LazyGroup, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="tickover")
def tickover() -> None:
    """Restore a car's learned idle, prove it, and hand the car over with a record.

    Start with `tickover demo`: the whole job on a simulated car.
    """


def main(args: list[str] | None = None) -> None:
    """Run the command line; errors the user can act on become one clear message and exit code 2."""
    words = sys.argv[1:] if args is None else args
    try:
        code: Any = tickover.main(args=words, standalone_mode=False)
    except TickoverError as error:
        say_error(error, as_json="--json" in words)
        code = error.exit_code
    except click.exceptions.Abort:
        click.echo("Stopped.", err=True)
        code = 130
    except click.ClickException as error:
        error.show()
        code = error.exit_code
    sys.exit(code if isinstance(code, int) else 0)


def say_error(error: TickoverError, *, as_json: bool) -> None:
    """Print an error: for people to standard error, for programs as the one JSON shape to standard output."""
    if as_json:
        click.echo(json.dumps(error.as_dict(), ensure_ascii=False, default=str))
    click.echo(str(error), err=True)
