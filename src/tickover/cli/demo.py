"""``tickover demo``: the whole job on the simulated car, on simulated time, with its hand-over sheet."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

import click
from rich.console import Console

from tickover.cli.demo_job import DemoJob
from tickover.cli.demo_say import say_end, say_stage, say_title
from tickover.results import envelope


@click.command("demo")
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    default=Path("tickover-demo"),
    show_default=True,
    help="Folder for what it makes.",
)
@click.option("--seed", type=int, default=7, show_default=True, help="A number that fixes all chance.")
@click.option("--json", "as_json", is_flag=True, help="Print the job's entries as JSON.")
def demo_command(out: Path, seed: int, as_json: bool) -> None:
    """Run the whole job on the simulated car: an invented shop, an invented car, a throttle that was cleaned.

    One attempt misses a step and changes nothing; the next one hits. What it measured, how the attempts were judged
    and the hand-over sheet are left in the folder it names.
    """
    console = Console(stderr=as_json, highlight=False)
    job = DemoJob(out, seed, datetime.now().astimezone().replace(hour=8, minute=5, second=0, microsecond=0))
    say_title(console)
    for chapter in job.chapters():
        say_stage(console, chapter, job.entries)
    say_end(console, job)
    if as_json:
        click.echo(envelope("demo", job.record(), simulated=True).model_dump_json(indent=2))
