"""``tickover job export``, ``import``, ``backup`` and ``restore``: records that travel."""

from __future__ import annotations

import tempfile
from pathlib import Path

import click

from tickover.cli import job_words
from tickover.cli.job_store import JOB, opened, store_option, unmade_on_failure
from tickover.cli.routine import json_option
from tickover.errors import InputError, TickoverError
from tickover.jobs import Attached, BackedUp, Entry, Store, default_store, restore
from tickover.logs import read_log
from tickover.results import envelope
from tickover.signals import Recording

PDF = "application/pdf"


@click.command("export")
@click.argument("job", type=JOB)
@click.argument("file", type=click.Path(path_type=Path))
@click.option(
    "--sheet",
    type=click.Path(path_type=Path),
    help="The customer's sheet as PDF; where not given, the one that was kept at the hand-over.",
)
@click.option("--without-personal", is_flag=True, help="Leave the personal values out.")
@store_option
@json_option
def export_command(
    job: int, file: Path, sheet: Path | None, without_personal: bool, store: str | None, as_json: bool
) -> None:
    """Write JOB into FILE as one zip: entries as JSON, series as Parquet, attachments, the sheet, checksums.

    Its README.txt explains every part, so that it can be read without this program.
    """
    with opened(store, create=False) as held:
        entries, personal = held.entries(job), held.personal(job)
        exported = held.export(
            job,
            file,
            sheet_pdf=_sheet(held, entries, sheet),
            recordings=_recordings(held, entries),
            with_personal=not without_personal,
        )
    if as_json:
        inputs = {"job": job, "with_personal": not without_personal}
        simulated = any(e.simulated for e in entries)
        click.echo(envelope("job export", exported, inputs=inputs, simulated=simulated).model_dump_json(indent=2))
        return
    entries_in = job_words.count(len(entries), "entry", "entries")
    click.echo(f"Job {job} written to {file}: {entries_in}, {len(exported.files)} files inside.")
    click.echo(f"head {exported.head[:16]}, SHA-256 of the file {exported.sha256}")
    if personal and not without_personal:
        click.echo("Personal values are inside; --without-personal leaves them out.")


def _sheet(held: Store, entries: tuple[Entry, ...], given: Path | None) -> bytes | None:
    """The sheet that was named, else the last one kept at the hand-over."""
    if given is not None:
        try:
            data = given.read_bytes()
        except OSError as why:
            raise InputError(f"cannot be read: {why.strerror}", file=str(given)) from None
        if not data.startswith(b"%PDF-"):
            raise InputError("is no PDF", file=str(given), way_out="Name the sheet as PDF.")
        return data
    kept = [a for e in entries if e.stage == "hand over" for a in e.attachments if a.media_type == PDF]
    return held.attachment(kept[-1]) if kept else None


def _recordings(held: Store, entries: tuple[Entry, ...]) -> dict[str, Recording]:
    """The attachments that read as a log; the others travel as they are."""
    found: dict[str, Recording] = {}
    for attached in {a.digest: a for e in entries for a in e.attachments}.values():
        if attached.media_type != PDF:
            recording = _recording(held, attached)
            if recording is not None:
                found[attached.digest] = recording
    return found


def _recording(held: Store, attached: Attached) -> Recording | None:
    with tempfile.TemporaryDirectory() as folder:
        # only the ending is taken from its name: that is how a log is recognised, and it cannot lead elsewhere
        ending = "".join(c for c in Path(attached.name).suffix if c.isalnum() or c == ".")
        path = Path(folder) / f"log{ending}"
        path.write_bytes(held.attachment(attached))
        try:
            return read_log(path)
        except TickoverError:
            return None


@click.command("import")
@click.argument("file", type=click.Path(path_type=Path))
@store_option
@json_option
def import_command(file: Path, store: str | None, as_json: bool) -> None:
    """Take in the job in FILE. It is checked whole before anything is stored; twice does no harm."""
    with unmade_on_failure(store), opened(store) as held:
        report = held.import_(file)
    if as_json:
        click.echo(envelope("job import", report, inputs={"file": str(file)}).model_dump_json(indent=2))
        return
    entries = job_words.count(report.added, "entry", "entries")
    if not report.was_here:
        click.echo(f"Taken in as job {report.job}: {entries}.")
    elif report.added:
        click.echo(f"It continues job {report.job}: {entries} added.")
    else:
        click.echo(f"Job {report.job} is here already; nothing new in this file.")
    click.echo(f"Next: tickover job show {report.job}")


@click.command("backup")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--replace", is_flag=True, help="An older file of that name may go.")
@store_option
@json_option
@click.pass_context
def backup_command(context: click.Context, file: Path, replace: bool, store: str | None, as_json: bool) -> None:
    """Copy the whole record into FILE, and check the copy; others may go on writing. Ends with 2 on damage."""
    with opened(store, create=False) as held:
        report = held.backup(file, replace=replace)
    _say_copied(context, "job backup", "Backed up to", report, as_json)


@click.command("restore")
@click.argument("file", type=click.Path(path_type=Path))
@store_option
@json_option
@click.pass_context
def restore_command(context: click.Context, file: Path, store: str | None, as_json: bool) -> None:
    """Bring the back-up in FILE back, into a record that holds no jobs yet: name a new one with --store."""
    report = restore(file, store or default_store())
    _say_copied(context, "job restore", "Restored to", report, as_json)


def _say_copied(context: click.Context, what: str, words: str, report: BackedUp, as_json: bool) -> None:
    if as_json:
        click.echo(envelope(what, report).model_dump_json(indent=2))
    else:
        counts = ", ".join(
            (
                job_words.count(report.jobs, "job", "jobs"),
                job_words.count(report.entries, "entry", "entries"),
                job_words.count(report.attachments, "attachment", "attachments"),
            )
        )
        click.echo(f"{words} {report.path}: {counts}.")
        if report.findings:
            click.echo("It was copied as it is, but not all of it is as it was written:")
        for finding in report.findings:
            click.echo(f"  {job_words.clean(finding.what)}")
    if report.findings:
        context.exit(2)
