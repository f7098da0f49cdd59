"""``tickover job new``, ``add``, ``correct`` and ``purge``: what writes to a job."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

import click

from tickover.cli.job_car import check_car
from tickover.cli.job_store import JOB, at_option, by_option, kept_line, now, opened, store_option
from tickover.cli.job_words import clean, taken_back_by
from tickover.cli.routine import json_option
from tickover.errors import InputError
from tickover.jobs import STAGES, Entry, Stage
from tickover.results import Result, envelope
from tickover.visit.correcting import correction

_PAIR = "Write it like name=value, or @file.json for a whole object."


class EntryKept(Result):
    """What ``job add`` and ``job correct`` answer."""

    job: int
    entry: Entry


class JobBegun(Result):
    """What ``job new`` answers."""

    job: int


class Purged(Result):
    """What ``job purge`` answers."""

    job: int
    fields: tuple[str, ...]


data_option = click.option(
    "--data", "pairs", multiple=True, metavar="NAME=VALUE", help="A value, or @file.json; may be given again."
)
attach_option = click.option(
    "--attach", "files", multiple=True, type=click.Path(path_type=Path), help="A file to keep with it; may be repeated."
)
personal_option = click.option(
    "--personal",
    "secrets",
    multiple=True,
    metavar="NAME=VALUE",
    help="What must be erasable, like customer, phone, plate, vin; kept outside the chain.",
)
as_it_stands_option = click.option(
    "--as-it-stands", is_flag=True, help="The car's number is right, though its check digit is not."
)


@click.command("new")
@click.option(
    "--car",
    "pairs",
    multiple=True,
    metavar="NAME=VALUE",
    help="year, fuel, displacement_l, cylinders, throttle, metering, complaint, shop …; may be repeated.",
)
@personal_option
@as_it_stands_option
@click.option("--simulated", is_flag=True, help="The car is invented.")
@by_option
@at_option
@store_option
@json_option
def new_command(
    pairs: tuple[str, ...],
    secrets: tuple[str, ...],
    as_it_stands: bool,
    simulated: bool,
    by: str,
    at: str | None,
    store: str | None,
    as_json: bool,
) -> None:
    """Begin a job. Its number is printed; the other commands take it as --job."""
    car, personal, warnings = check_car(data_of(pairs), texts_of(secrets), as_it_stands=as_it_stands)
    for warning in warnings:
        click.echo(clean(warning), err=True)
    with opened(store) as held:
        job = held.new(at=at or now(), by=by, car=car, personal=personal, simulated=simulated)
        name = held.name
    if as_json:
        _print_json("job new", JobBegun(job=job), {"store": name}, simulated)
        return
    click.echo(f"Job {job} begun, in {name}.")
    click.echo(f"Next: tickover arrive --job {job}")


@click.command("add")
@click.argument("job", type=JOB)
@click.option("--stage", type=click.Choice(STAGES), required=True, help="The stage it belongs to.")
@click.option("--kind", required=True, metavar="KIND", help="What it is: note, reading, attempt, repair …")
@data_option
@attach_option
@personal_option
@as_it_stands_option
@by_option
@at_option
@store_option
@json_option
def add_command(
    job: int,
    stage: Stage,
    kind: str,
    pairs: tuple[str, ...],
    files: tuple[Path, ...],
    secrets: tuple[str, ...],
    as_it_stands: bool,
    by: str,
    at: str | None,
    store: str | None,
    as_json: bool,
) -> None:
    """Add an entry to JOB. When this returns, it is on the disk.

    For a note: tickover job add 1 --stage before --kind note --data text="hisses when cold".
    """
    data, personal = data_of(pairs), texts_of(secrets)
    if not (data or files or personal):
        raise click.UsageError("Give --data, --attach or --personal; an entry with nothing in it says nothing.")
    _, personal, warnings = check_car({}, personal, as_it_stands=as_it_stands)
    for warning in warnings:
        click.echo(clean(warning), err=True)
    with opened(store, create=False) as held:
        held.entries(job)  # an unknown job is said before any file is kept
        attached = [held.attach(file) for file in files]
        entry = held.add(
            job, stage=stage, kind=kind, data=data, at=at or now(), by=by, personal=personal, attachments=attached
        )
    _say_kept("job add", job, entry, as_json)


@click.command("correct")
@click.argument("job", type=JOB)
@click.argument("entry", type=click.IntRange(min=1))
@data_option
@click.option("--anew", is_flag=True, help="Keep none of the old values; without it the given ones replace theirs.")
@click.option("--withdraw", is_flag=True, help="Take the entry back: nothing stands in its place.")
@attach_option
@by_option
@at_option
@store_option
@json_option
def correct_command(
    job: int,
    entry: int,
    pairs: tuple[str, ...],
    anew: bool,
    withdraw: bool,
    files: tuple[Path, ...],
    by: str,
    at: str | None,
    store: str | None,
    as_json: bool,
) -> None:
    """Correct ENTRY of JOB by a new entry that names it. The old one stays in the record, and no longer counts.

    Values that are not given again stay as they were.
    """
    data = data_of(pairs)
    if not (data or files or withdraw):
        raise click.UsageError("Give what is right with --data or --attach, or take the entry back with --withdraw.")
    with opened(store, create=False) as held:
        entries = held.entries(job)
        right = correction(job, entries, entry, data, anew=anew, withdraw=withdraw)
        gone = taken_back_by(entries, entry)
        if gone is not None and withdraw:
            raise InputError(f"entry {entry} was taken back already, by entry {gone.seq}", way_out="Nothing is to do.")
        attached = [*right.attachments, *(held.attach(file) for file in files)]
        kept = held.add(
            job,
            stage=right.stage,
            kind=right.kind,
            data=right.data,
            at=at or now(),
            by=by,
            attachments=attached,
            corrects=right.corrects,
            inputs=right.inputs,
            simulated=right.simulated,
        )
    _say_kept("job correct", job, kept, as_json)
    if gone is not None:
        said = f"Entry {entry} had been taken back by entry {gone.seq}; with this correction it counts again."
        click.echo(said, err=as_json)


@click.command("purge")
@click.argument("job", type=JOB)
@click.option("--field", metavar="NAME", help="Which one, like phone.")
@click.option("--all", "everything", is_flag=True, help="All of them.")
@click.option("--yes", is_flag=True, help="Do not ask.")
@by_option
@at_option
@store_option
@json_option
def purge_command(
    job: int,
    field: str | None,
    everything: bool,
    yes: bool,
    by: str,
    at: str | None,
    store: str | None,
    as_json: bool,
) -> None:
    """Erase personal values of JOB for good. The record still holds, and says that they were erased.

    Back-ups and exports made before still have them; a server keeps them until it tidies its files.
    """
    if (field is None) == (not everything):
        raise click.UsageError("Name --field NAME, or --all; one of the two.")
    with opened(store, create=False) as held:
        there = held.personal(job)
        if not yes:
            names = field if field is not None else ", ".join(there) or "nothing"
            if not sys.stdin.isatty():
                raise InputError("this cannot be undone, and there is no terminal to ask on", way_out="Give --yes.")
            click.confirm(f"Erase {clean(names)} of job {job} for good?", abort=True)
        fields = held.purge(job, field, at=at or now(), by=by)
    if as_json:
        _print_json("job purge", Purged(job=job, fields=fields), {"field": field}, False)
    elif fields:
        click.echo(f"Erased from job {job}: {clean(', '.join(fields))}. Look through back-ups and exports too.")
    else:
        click.echo(f"Job {job} holds nothing of that any more.")


def data_of(pairs: tuple[str, ...]) -> dict[str, Any]:
    """Values from ``name=value`` and ``@file.json``; a value that is JSON is taken as such, anything else as text.

    Raises: InputError for anything else.
    """
    data: dict[str, Any] = {}
    for pair in pairs:
        if pair.startswith("@"):
            data |= _object_in(Path(pair[1:]))
            continue
        name, equals, value = pair.partition("=")
        if not equals or not name.strip():
            raise InputError(f"“{pair}” is no value", way_out=_PAIR)
        if value.startswith("@"):
            data[name.strip()] = _json_in(Path(value[1:]))
        else:
            data[name.strip()] = _value(value)
    return data


def texts_of(pairs: tuple[str, ...]) -> dict[str, str]:
    """Personal values from ``name=value``; always text."""
    found: dict[str, str] = {}
    for pair in pairs:
        name, equals, value = pair.partition("=")
        if not equals or not name.strip() or not value.strip():
            raise InputError(f"“{pair}” is no value", way_out='Write it like customer="A. B.".')
        found[name.strip()] = value.strip()
    return found


def _value(text: str) -> Any:  # noqa: ANN401 — any JSON value
    try:
        return json.loads(text, parse_constant=lambda _: text)
    except (ValueError, RecursionError):
        return text


def _object_in(path: Path) -> dict[str, Any]:
    found = _json_in(path)
    if not isinstance(found, dict):
        raise InputError("holds no object of names and values", file=str(path), way_out=_PAIR)
    return found


def _json_in(path: Path) -> Any:  # noqa: ANN401 — any JSON value
    try:
        return json.loads(path.read_text(encoding="utf-8"))
    except OSError as why:
        raise InputError(f"cannot be read: {why.strerror}", file=str(path)) from None
    except json.JSONDecodeError as why:
        raise InputError(f"is not JSON: {why.msg}", file=str(path), line=why.lineno) from None
    except (ValueError, RecursionError):
        raise InputError("is not JSON", file=str(path)) from None


def _say_kept(what: str, job: int, entry: Entry, as_json: bool) -> None:
    if as_json:
        _print_json(what, EntryKept(job=job, entry=entry), {}, entry.simulated)
        return
    click.echo(kept_line(job, entry))


def _print_json(what: str, result: Result, inputs: dict[str, Any], simulated: bool) -> None:
    click.echo(envelope(what, result, inputs=inputs, simulated=simulated).model_dump_json(indent=2))
