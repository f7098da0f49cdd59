"""``tickover job next``: what is to be done now on this car, and doing it."""

from __future__ import annotations

import re
import shlex
import sys
from pathlib import Path

import click

from tickover.cli.cause_options import option_of
from tickover.cli.job_store import JOB, opened, store_option
from tickover.cli.job_words import step_head
from tickover.results import envelope
from tickover.routines import load_library
from tickover.visit.next import next_step
from tickover.visit.rules import known

_BLANK = re.compile(r"(.*=)?([A-Z]{2,})")
"""A word in capitals stands for what only the user has: a file, an outcome, a few words."""
_ASKED = {
    "OUTCOME": "what came of it",
    "NUMBER": "the number that was read",
    "READING": "what was read",
    "WHAT": "what was mended",
}


@click.command("next", context_settings={"ignore_unknown_options": True})
@click.argument("job", type=JOB)
@click.argument("words", nargs=-1, type=click.UNPROCESSED)
@click.option("--tell", is_flag=True, help="Only tell it; do not run it.")
@click.option("--folder", type=click.Path(path_type=Path), help="Folder with routine files of your own.")
@store_option
@click.option("--json", "as_json", is_flag=True, help="Print the step as JSON; nothing is run.")
def next_command(
    job: int, words: tuple[str, ...], tell: bool, folder: Path | None, store: str | None, as_json: bool
) -> None:
    """Tell the next step of JOB, and run it.

    Where the step needs a file of yours, such as a log, name it behind the job: tickover job next 12 idle.csv. On a
    terminal it is asked for. Other WORDS go to the command as they are.
    """
    with opened(store, create=False) as held:
        step = next_step(held.entries(job), job, known(load_library(folder)), option_of)
    if as_json:
        click.echo(envelope("job next", step, inputs={"job": job}).model_dump_json(indent=2))
        return
    click.secho(step_head(step), bold=True)
    click.echo(step.sentence)
    for caution in step.cautions:
        click.echo(f"Caution: {caution}")
    if not step.command:
        return
    click.echo(f"\n  {step.command}")
    if tell:
        return
    unasked = bool(step.test) and not words and not sys.stdin.isatty()  # nobody to say what came of the test
    command = None if unasked else _filled(step.command, words)
    if command is None:
        what = "Say what came of it" if step.test else "Say what was mended" if step.act else "Name the file"
        click.echo(f"\n{what} behind the job's number, or type the line above with it.")
        return
    if store:
        command += ["--store", store]
    if sys.stdin.isatty() and not words and not click.confirm("\nRun it now?", default=True):
        return
    click.echo()
    click.get_current_context().find_root().command.main(args=command, standalone_mode=False)


def _filled(command: str, words: tuple[str, ...]) -> list[str] | None:
    """The command as a list, its blanks filled from the words, or by asking; None where one stays open."""
    given = list(words)
    parts: list[str] = []
    for part in shlex.split(command)[1:]:
        blank = _BLANK.fullmatch(part)
        if blank is None:
            parts.append(part)
        elif given and not given[0].startswith("-"):
            parts.append((blank[1] or "") + given.pop(0))
        elif sys.stdin.isatty():
            asked = _ASKED.get(blank[2], f"{blank[2].lower()}, its file")
            parts.append((blank[1] or "") + str(click.prompt(asked, type=str)))
        else:
            return None
    return [*parts, *given]
