"""The ``routine card`` command: one printed page for the steering wheel."""

from __future__ import annotations

from pathlib import Path

import click

from tickover.cli.routine_made import MadeFile, made_options, written_to
from tickover.cues.card import card_pdf
from tickover.results import envelope
from tickover.routines import Switch, compile_routine, load_routine


@click.command("card")
@made_options("File to write; by default ID-card.pdf here.")
def card_command(routine: str, out: Path | None, switch: Switch, folder: Path | None, as_json: bool) -> None:
    """Write ROUTINE as one printed A4 page: picture, windows, needs, cautions."""
    compiled = compile_routine(load_routine(routine, folder), switch)
    page = card_pdf(compiled)
    path = out if out is not None else Path(f"{compiled.id}-card.pdf")
    with written_to(path):
        path.write_bytes(page)
    if as_json:
        made = MadeFile(file=str(path), size=len(page))
        click.echo(
            envelope("routine card", made, inputs={"routine": routine, "switch": switch}).model_dump_json(indent=2)
        )
        return
    click.echo(f"{path}: one A4 page. Print it at full size; it reads on a grey printer too.")
