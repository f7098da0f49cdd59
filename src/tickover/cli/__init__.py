"""The command line. A door: it holds no arithmetic. Commands are loaded only when they are called.

Exit codes: 0 answered (also "cannot tell"), 2 the input cannot be used as given, 130 stopped by Ctrl-C.
"""

from __future__ import annotations

import json
import sys
from typing import Any

import click

from tickover import __version__
from tickover.cli.lazy import LazyGroup
from tickover.errors import TickoverError

COMMANDS: dict[str, tuple[str, str]] = {
    "demo": ("tickover.cli.demo:demo_command", "The whole job on the simulated car, with its hand-over sheet."),
    "arrive": (
        "tickover.cli.arrive:arrive_command",
        "Take a car in: stop signs, which memory story fits, the ladder of routines.",
    ),
    "routine": ("tickover.cli.routine:routine_group", "The library of routines, and your own routine files."),
    "coach": ("tickover.cli.coach:coach_command", "Run a routine in the terminal, judged live."),
    "practice": ("tickover.cli.practice:practice_command", "Learn how you time, from taps; your odds follow from it."),
    "judge": ("tickover.cli.judge:judge_command", "Judge a recorded attempt."),
    "idle": ("tickover.cli.idle:idle_command", "Measure an idle from a log, or compare two."),
    "cause": ("tickover.cli.cause:cause_command", "Stale memory or a real fault; the next test."),
    "watch": ("tickover.cli.cause_watch:watch_command", "After the hand-over: is it coming back, drive by drive?"),
    "drive": ("tickover.cli.drive:drive_group", "Plan the confirmation drive, or check a recorded one."),
    "ready": ("tickover.cli.ready:ready_group", "Is the car ready for its inspection, and if not, when?"),
    "job": ("tickover.cli.job:job_group", "The job record: what was said, measured and done."),
    "serve": ("tickover.cli.serve:serve_command", "The web app: for this machine, or for the phone on the dash."),
}
"""Command name to where it lives and its one line in the help."""


@click.group(cls=LazyGroup, later=COMMANDS, context_settings={"help_option_names": ["-h", "--help"]})
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
