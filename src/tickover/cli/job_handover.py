"""``tickover job handover``: the customer's sheet and the shop's record of a job."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from pathlib import Path

import click

from tickover.cli.job_store import JOB, by_option, kept_line, opened, record, store_option
from tickover.errors import InputError
from tickover.handover import handover_json, record_pdf, sheet_from_entries, sheet_pdf
from tickover.jobs import Stage
from tickover.routines import load_library
from tickover.signals.vin import Show
from tickover.visit.rules import known
from tickover.visit.stages import StageState, stages

OPTIONAL: frozenset[Stage] = frozenset({"drive", "ready"})
"""Stages that a car may leave without: the customer can drive it, and an inspection may be far off. Own choice."""
_OPEN = frozenset({"due", "later"})
_LAST: Stage = "hand over"


@click.command("handover")
@click.argument("job", type=JOB)
@click.option("--out", type=click.Path(path_type=Path), default=Path(), help="Folder for the pages; here if not given.")
@click.option(
    "--vin",
    type=click.Choice(["masked", "whole", "left out"]),
    default="masked",
    show_default=True,
    help="How the number of the car is printed, where the job has it.",
)
@click.option("--draft", is_flag=True, help="Only print, marked as a draft; the job is not closed by it.")
@click.option("--as-it-stands", is_flag=True, help="Close the job though stages are open.")
@by_option
@store_option
@click.option("--json", "as_json", is_flag=True, help="Print both pages as JSON; nothing is written.")
def handover_command(
    job: int, out: Path, vin: Show, draft: bool, as_it_stands: bool, by: str, store: str | None, as_json: bool
) -> None:
    """Write the customer's sheet and the shop's record of JOB, and close it.

    The customer's sheet is one page in plain words. The shop's record holds everything behind it: readings, attempts,
    evidence, readiness, sources, versions. Sections whose stage has nothing yet are left out. A job with open stages is
    closed only with --as-it-stands.
    """
    on = datetime.now().astimezone()
    with opened(store, create=False, read_only=as_json or draft) as held:
        entries, personal = held.entries(job), held.personal(job)
        if as_json:
            click.echo(handover_json(entries, on=on, vin=vin, personal=personal, job=job).model_dump_json(indent=2))
            return
        still = [s for s in stages(entries, known(load_library(None))) if s.standing in _OPEN and s.stage != _LAST]
        if not (draft or as_it_stands):
            _refuse_open(job, still)
        _need_folder(out)
        sheet, whole = out / f"job-{job}-sheet.pdf", out / f"job-{job}-record.pdf"
        pages = {
            sheet: sheet_pdf(entries, on=on, vin=vin, personal=personal, job=job, draft=draft),
            whole: record_pdf(entries, on=on, vin=vin, personal=personal, job=job, draft=draft),
        }
        _write(pages)
        headline = sheet_from_entries(entries, on=on, vin=vin, personal=personal, job=job).headline
        click.echo(f"{headline}.\nThe customer's sheet: {sheet}\nThe shop's record: {whole}")
        if still:
            click.echo(f"Still open: {_told(still)}")
        if draft:
            click.echo("A draft: the job is not closed by it.")
            return
        kept = record(held, job, "hand over", "sheet", {"sentence": headline}, attachments=[*pages], by=by or None)
        click.echo(kept_line(job, kept))


def _told(still: Sequence[StageState]) -> str:
    """The open stages, each with what it waits for; one that comes later waits for those before it."""
    return "; ".join(s.stage if s.standing == "later" else f"{s.stage} ({s.line})" for s in still) + "."


def _refuse_open(job: int, still: Sequence[StageState]) -> None:
    """Say what is open, and close nothing while it matters.

    Raises: InputError.
    """
    if any(s.stage not in OPTIONAL for s in still):
        raise InputError(
            f"job {job} is not at its end; still open: {_told(still).rstrip('.')}",
            way_out=f"Go on with `tickover job next {job}`, print what there is with --draft, "
            "or close it with --as-it-stands.",
        )


def _need_folder(out: Path) -> None:
    """A folder that is there, or one that can be made in one that is: more is a slip of the keys.

    Raises: InputError.
    """
    if out.is_dir():
        return
    if out.exists():
        raise InputError("is no folder", file=str(out), way_out="Name a folder that is there.")
    if not out.absolute().parent.is_dir():
        raise InputError(
            f"has no folder {out.absolute().parent} to be made in",
            file=str(out),
            way_out="Name a folder that is there.",
        )


def _write(pages: dict[Path, bytes]) -> None:
    for path, content in pages.items():
        try:
            path.parent.mkdir(exist_ok=True)
            path.write_bytes(content)
        except OSError as why:
            raise InputError(
                f"cannot be written: {why.strerror}", file=str(path), way_out="Name another --out."
            ) from None
