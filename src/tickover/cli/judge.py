"""``tickover judge``: judge a recorded attempt, from exact or interval times."""

from __future__ import annotations

from pathlib import Path

import click
from rich.console import Console
from rich.text import Text

from tickover.attempts import read_attempt
from tickover.cli.attempt_job import AttemptBook
from tickover.cli.job_store import by_option, job_option, store_option
from tickover.cli.judge_draw import print_judgement
from tickover.cli.people import one_of, person_option
from tickover.coaching import judge_attempt
from tickover.results import envelope
from tickover.routines import compile_routine, load_routine
from tickover.timing import Person
from tickover.timing.learn import Learned
from tickover.visit import TRIES_PER_ROUTINE, MayTry


@click.command("judge")
@click.argument("attempt", type=click.Path(path_type=Path))
@click.option(
    "--routine", required=True, metavar="ID|FILE", help="The routine it was made with: an id of the library, or a file."
)
@click.option("--folder", type=click.Path(path_type=Path), help="Folder with routine files of your own.")
@person_option
@click.option("--all", "every", is_flag=True, help="Show every bound, orders included.")
@job_option
@by_option
@store_option
@click.option("--json", "as_json", is_flag=True, help="Print the judgement as JSON.")
def judge_command(
    attempt: Path,
    routine: str,
    folder: Path | None,
    person: Person | Learned | None,
    every: bool,
    job: int | None,
    by: str,
    store: str | None,
    as_json: bool,
) -> None:
    """Judge the recorded ATTEMPT: hit, missed or undecided, with early and late in seconds and what to change.

    With --job it is kept there as an attempt that was made; the coach's own --job does that by itself.
    """
    recorded = read_attempt(attempt)
    compiled = compile_routine(load_routine(routine, folder))
    judgement = judge_attempt(compiled, recorded, None if person is None else one_of(person))
    book = AttemptBook(store, job, by, folder)
    kept = book.keep(compiled, judgement, book.may_try(compiled).number, attempt)
    if as_json:
        inputs = {"attempt": str(attempt), "routine": routine}
        click.echo(
            envelope("judge", judgement, inputs=inputs, simulated=recorded.header.simulated).model_dump_json(indent=2)
        )
        if kept:
            click.echo(kept, err=True)
        return
    console = Console(highlight=False)
    print_judgement(console, judgement, every=every)
    if judgement.verdict == "missed":
        console.print(Text(again_words(book, book.may_try(compiled))))
    if kept:
        click.echo(f"\n{kept}")


def again_words(book: AttemptBook, rule: MayTry) -> str:
    """Whether to try again after a miss, by the rule of three attempts; where no job is named, as far as that goes."""
    if not rule.allowed:
        return rule.why
    if book.in_job:
        return f"Then try again. {rule.why}"
    return f"Then try again, if this was not try {TRIES_PER_ROUTINE}; after {TRIES_PER_ROUTINE} take another routine."
