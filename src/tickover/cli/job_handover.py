"""``tickover job handover``: the customer's sheet and the shop's record of a job."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

import click

from tickover.cli.job_store import by_option, kept_line, opened, record, store_option
from tickover.errors import InputError
from tickover.handover import handover_json, record_pdf, sheet_from_entries, sheet_pdf
from tickover.signals.vin import Show


@click.command("handover")
@click.argument("job", type=click.IntRange(min=1))
@click.option("--out", type=click.Path(path_type=Path), default=Path(), help="Folder for the pages; here if not given.")
@click.option(
    "--vin",
    type=click.Choice(["masked", "whole", "left out"]),
    default="masked",
    show_default=True,
    help="How the number of the car is printed, where the job has it.",
)
@click.option("--draft", is_flag=True, help="Only print; the job is not closed by it.")
@by_option
@store_option
@click.option("--json", "as_json", is_flag=True, help="Print both pages as JSON; nothing is written.")
def handover_command(job: int, out: Path, vin: Show, draft: bool, by: str, store: str | None, as_json: bool) -> None:
    """Write the customer's sheet and the shop's record of JOB, and close it.

    The customer's sheet is one page in plain words. The shop's record holds everything behind it: readings, attempts,
    evidence, readiness, sources, versions. Sections whose stage has nothing yet are left out.
    """
    on = datetime.now().astimezone()
    with opened(store, create=False, read_only=as_json or draft) as held:
        entries, personal = held.entries(job), held.personal(job)
        if as_json:
            click.echo(handover_json(entries, on=on, vin=vin, personal=personal, job=job).model_dump_json(indent=2))
            return
        sheet, whole = out / f"job-{job}-sheet.pdf", out / f"job-{job}-record.pdf"
        pages = {
            sheet: sheet_pdf(entries, on=on, vin=vin, personal=personal, job=job),
            whole: record_pdf(entries, on=on, vin=vin, personal=personal, job=job),
        }
        _write(pages)
        headline = sheet_from_entries(entries, on=on, vin=vin, personal=personal, job=job).headline
        click.echo(f"{headline}.\nThe customer's sheet: {sheet}\nThe shop's record: {whole}")
        if draft:
            click.echo("A draft: the job is not closed by it.")
            return
        kept = record(held, job, "hand over", "sheet", {"sentence": headline}, attachments=[*pages], by=by or None)
        click.echo(kept_line(job, kept))


def _write(pages: dict[Path, bytes]) -> None:
    for path, content in pages.items():
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(content)
        except OSError as why:
            raise InputError(
                f"cannot be written: {why.strerror}", file=str(path), way_out="Name another --out."
            ) from None
