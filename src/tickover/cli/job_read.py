"""``tickover job list``, ``show``, ``verify`` and ``fetch``: what only reads."""

from __future__ import annotations

from pathlib import Path

import click

from tickover.cli import job_words
from tickover.cli.cause_options import option_of
from tickover.cli.job_store import JOB, opened, store_option
from tickover.cli.routine import folder_option, json_option
from tickover.errors import AttachmentError, InputError, UnknownEntryError
from tickover.jobs import Attached, Entry, JobSummary, Store, StoreVerification, Verification, default_store
from tickover.results import Result, envelope
from tickover.routines import load_library
from tickover.visit import known, next_step


class JobList(Result):
    """What ``job list`` answers."""

    jobs: tuple[JobSummary, ...]


class JobShown(Result):
    """What ``job show`` answers: every entry as written, and the personal values still held."""

    job: int
    entries: tuple[Entry, ...]
    personal: dict[str, str]


@click.command("list")
@store_option
@json_option
def list_command(store: str | None, as_json: bool) -> None:
    """List the jobs, the newest first."""
    jobs: list[JobSummary] = []
    where = store or str(default_store())
    # Nothing in the user's own folder is a beginning; a file that was named and is not there is a mistake.
    if store or Path(where).expanduser().exists():
        with opened(store, create=False) as held:
            jobs = held.jobs()
            where = held.name
    if as_json:
        simulated = bool(jobs) and all(job.simulated for job in jobs)
        found = envelope("job list", JobList(jobs=tuple(jobs)), inputs={"store": where}, simulated=simulated)
        click.echo(found.model_dump_json(indent=2))
        return
    if not jobs:
        click.echo(job_words.NO_JOBS)
        return
    job_words.say_jobs(job_words.console(), jobs)


@click.command("show")
@click.argument("job", type=JOB)
@click.argument("entry", type=click.IntRange(min=1), required=False)
@folder_option
@store_option
@json_option
def show_command(job: int, entry: int | None, folder: Path | None, store: str | None, as_json: bool) -> None:
    """Show JOB, entry by entry, and what is due; or one ENTRY in full."""
    with opened(store, create=False) as held:
        entries, personal = held.entries(job), held.personal(job)
    if entry is not None:
        if entry > len(entries):
            raise UnknownEntryError(job, entry, len(entries))
        chosen: tuple[Entry, ...] = (entries[entry - 1],)
    else:
        chosen = entries
    if as_json:
        shown = JobShown(job=job, entries=chosen, personal=personal)
        simulated = any(e.simulated for e in entries)
        click.echo(envelope("job show", shown, inputs={"entry": entry}, simulated=simulated).model_dump_json(indent=2))
        return
    if entry is not None:
        job_words.say_entry(job_words.console(), chosen[0], job_words.standing_words(entries, entry))
    else:
        step = next_step(entries, job, known(load_library(folder)), option_of)
        job_words.say_job(job_words.console(), job, entries, personal, step)


@click.command("verify")
@click.argument("job", type=JOB, required=False)
@click.option("--all", "everything", is_flag=True, help="Every job, every attachment, and the file itself.")
@click.option("--head", metavar="DIGEST", help="A head that was written down elsewhere; it must be in the chain.")
@store_option
@json_option
@click.pass_context
def verify_command(
    context: click.Context, job: int | None, everything: bool, head: str | None, store: str | None, as_json: bool
) -> None:
    """See whether JOB is as it was written. Ends with 2 where it is not.

    Found are entries that were changed, taken out, put in or moved, personal values and attachments that were changed.
    """
    if (job is None) == (not everything):
        raise click.UsageError("Name a JOB, or give --all; one of the two.")
    if head is not None and (job is None or len(head) < 8):
        raise click.UsageError("--head takes at least 8 letters of the digest of one JOB.")
    with opened(store, create=False) as held:
        checked = held.verify_all() if job is None else held.verify(job, head=head)
    if as_json:
        click.echo(envelope("job verify", checked, inputs={"job": job, "head": head}).model_dump_json(indent=2))
    else:
        _say(checked)
    if not checked.ok:
        context.exit(2)


def _say(checked: StoreVerification | Verification) -> None:
    out = job_words.console()
    if isinstance(checked, Verification):
        job_words.say_verification(out, checked)
    elif checked.jobs or checked.findings:
        job_words.say_store(out, checked)
    else:
        click.echo(job_words.NO_JOBS)


@click.command("fetch")
@click.argument("job", type=JOB)
@click.argument("attachment")
@click.argument("file", type=click.Path(path_type=Path))
@store_option
def fetch_command(job: int, attachment: str, file: Path, store: str | None) -> None:
    """Write an ATTACHMENT of JOB into FILE. Name it by its file name, or by the letters that `job show` gives."""
    with opened(store, create=False) as held:
        data = held.attachment(_attached(held, job, attachment))
    try:
        with file.open("xb") as out:
            out.write(data)
    except FileExistsError:
        raise InputError("is there already", file=str(file), way_out="Name another file.") from None
    except OSError as why:
        raise InputError(f"cannot be written: {why.strerror}", file=str(file)) from None
    click.echo(f"Written: {file}")


def _attached(held: Store, job: int, wanted: str) -> Attached:
    there = {a.digest: a for e in held.entries(job) for a in e.attachments}
    fits = [a for a in there.values() if a.name == wanted or (len(wanted) >= 6 and a.digest.startswith(wanted))]
    if len(fits) == 1:
        return fits[0]
    listed = ", ".join(f"{a.name} [{a.digest[:12]}]" for a in there.values()) or "none"
    many = f"{len(fits)} attachments of job {job} are" if fits else f"no attachment of job {job} is"
    raise AttachmentError(f"{many} called “{wanted}”", name=wanted, way_out=f"It has: {listed}.")
