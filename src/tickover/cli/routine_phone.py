"""The ``routine phone`` command: one HTML file that coaches from a phone's storage."""

from __future__ import annotations

from pathlib import Path

import click

from tickover.cli.routine_made import MadeFile, made_options, written_to
from tickover.cues.phone import phone_page
from tickover.results import envelope
from tickover.routines import Switch, compile_routine, load_routine


@click.command("phone")
@made_options("File to write; by default ID-phone.html here.")
def phone_command(routine: str, out: Path | None, switch: Switch, folder: Path | None, as_json: bool) -> None:
    """Write one HTML file that coaches ROUTINE from a phone, with no network."""
    compiled = compile_routine(load_routine(routine, folder), switch)
    page = phone_page(compiled)
    path = out if out is not None else Path(f"{compiled.id}-phone.html")
    with written_to(path):
        path.write_text(page, encoding="utf-8")
    written = MadeFile(file=str(path), size=len(page.encode()))
    if as_json:
        inputs = {"routine": routine, "switch": switch}
        click.echo(
            envelope("routine phone", written, inputs=inputs, rests_on=(compiled.basis.words,)).model_dump_json(
                indent=2
            )
        )
        return
    click.echo(
        f"{written.file}: {written.size / 1000:.0f} kB. Copy it to the phone and open it in the phone's browser."
    )
