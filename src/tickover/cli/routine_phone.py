"""The ``routine phone`` command: one HTML file that coaches from a phone's storage."""

from __future__ import annotations

from pathlib import Path

import click

from tickover.cues.phone import phone_page
from tickover.errors import InputError
from tickover.results import Result, envelope
from tickover.routines import Switch, compile_routine, load_routine


class PhoneFile(Result):
    """The file that was written: where, and how large [bytes]."""

    file: str
    size: int


@click.command("phone")
@click.argument("routine")
@click.option("--out", type=click.Path(path_type=Path), help="File to write; by default ID-phone.html here.")
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
def phone_command(routine: str, out: Path | None, switch: Switch, folder: Path | None, as_json: bool) -> None:
    """Write one HTML file that coaches ROUTINE from a phone, with no network."""
    compiled = compile_routine(load_routine(routine, folder), switch)
    page = phone_page(compiled)
    path = out if out is not None else Path(f"{compiled.id}-phone.html")
    try:
        path.write_text(page, encoding="utf-8")
    except OSError as why:
        raise InputError(
            f"cannot be written: {why.strerror}", file=str(path), way_out="Name a file with --out."
        ) from None
    written = PhoneFile(file=str(path), size=len(page.encode()))
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
