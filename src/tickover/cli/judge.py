"""``tickover judge``: judge a recorded attempt, from exact or interval times."""

from __future__ import annotations

from pathlib import Path

import click
from rich.console import Console

from tickover.attempts import read_attempt
from tickover.cli.judge_draw import print_judgement
from tickover.coaching import judge_attempt
from tickover.results import envelope
from tickover.routines import compile_routine, load_routine


@click.command("judge")
@click.argument("attempt", type=click.Path(path_type=Path))
@click.option("--routine", required=True, help="The routine it was made with: an id of the library, or a file.")
@click.option("--folder", type=click.Path(path_type=Path), help="Folder with routine files of your own.")
@click.option("--all", "every", is_flag=True, help="Show every bound, orders included.")
@click.option("--json", "as_json", is_flag=True, help="Print the judgement as JSON.")
def judge_command(attempt: Path, routine: str, folder: Path | None, every: bool, as_json: bool) -> None:
    """Judge the recorded ATTEMPT: hit, missed or undecided, with early and late in seconds and what to change."""
    recorded = read_attempt(attempt)
    judgement = judge_attempt(compile_routine(load_routine(routine, folder)), recorded)
    if as_json:
        inputs = {"attempt": str(attempt), "routine": routine}
        click.echo(
            envelope("judge", judgement, inputs=inputs, simulated=recorded.header.simulated).model_dump_json(indent=2)
        )
        return
    print_judgement(Console(highlight=False), judgement, every=every)
