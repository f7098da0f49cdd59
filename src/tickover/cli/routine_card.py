"""The ``routine card`` command: one printed page for the steering wheel."""

from __future__ import annotations

from pathlib import Path

import click

from tickover.cues.card import card_pdf
from tickover.errors import InputError
from tickover.results import Result, envelope
from tickover.routines import Switch, compile_routine, load_routine


class CardFile(Result):
    """The file that was written: where, and how large [bytes]."""

    file: str
    size: int


@click.command("card")
@click.argument("routine")
@click.option("--out", type=click.Path(path_type=Path), help="File to write; by default ID-card.pdf here.")
@click.option(
    "--switch",
    type=click.Choice(["key", "button"]),
    default="key",
    show_default=True,
    help="The car's ignition switch.",
)
@click.option(
    "--folder",
    type=click.Path(path_type=Path),
    envvar="TICKOVER_ROUTINES",
    show_envvar=True,
    help="Your own folder of routine files; they come before the built-in ones of the same id.",
)
@click.option("--json", "as_json", is_flag=True, help="Print the result as JSON.")
def card_command(routine: str, out: Path | None, switch: Switch, folder: Path | None, as_json: bool) -> None:
    """Write ROUTINE as one printed A4 page: picture, windows, needs, cautions."""
    compiled = compile_routine(load_routine(routine, folder), switch)
    page = card_pdf(compiled)
    path = out if out is not None else Path(f"{compiled.id}-card.pdf")
    try:
        path.write_bytes(page)
    except OSError as why:
        raise InputError(
            f"cannot be written: {why.strerror}", file=str(path), way_out="Name a file with --out."
        ) from None
    if as_json:
        made = CardFile(file=str(path), size=len(page))
        click.echo(
            envelope("routine card", made, inputs={"routine": routine, "switch": switch}).model_dump_json(indent=2)
        )
        return
    click.echo(f"{path}: one A4 page. Print it at full size; it reads on a grey printer too.")
