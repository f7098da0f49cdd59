"""``tickover drive check``: a log, or a folder of them, against the conditions."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import click
from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from tickover.cli.drive import names_of, say_list
from tickover.cli.figure import write_figure
from tickover.cli.job_store import by_option, job_option, kept_line, opened, record_drafts, store_option
from tickover.drive import (
    Condition,
    ConditionFound,
    Conditions,
    DriveCheck,
    DriveRow,
    Drives,
    best_rows,
    check_drive,
    counted_steps,
    drives_of,
    load_conditions,
    row_of,
    strip,
)
from tickover.errors import InputError, TickoverError
from tickover.logs import read_log_report, set_units
from tickover.results import Quantity, envelope
from tickover.routines import compile_routine, load_routine
from tickover.visit.ready_drafts import check_draft, planned_monitors

LOGS = (".csv", ".txt", ".tsv", ".gpx", ".mf4", ".log")
PLAN_WAY = "`tickover drive plan --toml FILE.toml` writes one; an attempt is judged by `tickover judge`."
MARKS = {"met": "■", "not met": "▨", "cannot tell": "┄"}


@click.command("check")
@click.argument("log", metavar="LOG|FOLDER", type=click.Path(path_type=Path))
@click.option("--for", "wanted", metavar="MONITORS", help="Only these, like catalyst,evap,general.")
@click.option("--plan", "plan_file", metavar="FILE", help="A plan (routine file): check its counted steps too.")
@click.option("--conditions", "own", type=click.Path(path_type=Path), help="Your car's own conditions, FILE.toml.")
@click.option("--diesel", is_flag=True, help="The engine is a diesel.")
@click.option("--whole", is_flag=True, help="The log runs from the engine's start to its end, on your word.")
@click.option("--soaked", type=click.FloatRange(0, 1000), help="How long the engine stood before [h].")
@click.option("--fuel", type=click.FloatRange(0, 100), help="Fuel level [%], where the log has none.")
@click.option("--ambient", type=click.FloatRange(-60, 60), help="Outside air [°C], where the log has none.")
@click.option("--figure", type=click.Path(path_type=Path), help="Draw the drive into FILE.svg or FILE.png.")
@click.option(
    "--width", type=click.IntRange(320, 2400), default=920, show_default=True, help="Width of the figure [px]."
)
@click.option("--map", "map_file", type=click.Path(path_type=Path), help="A TOML file: column to signal and unit.")
@click.option("--set-unit", "units", metavar="COLUMN=UNIT", multiple=True, help="The unit a column is in; repeatable.")
@job_option
@by_option
@store_option
@click.option("--json", "as_json", is_flag=True, help="Print the result for programs.")
def check_command(
    log: Path,
    wanted: str | None,
    plan_file: str | None,
    own: Path | None,
    diesel: bool,
    whole: bool,
    soaked: float | None,
    fuel: float | None,
    ambient: float | None,
    figure: Path | None,
    width: int,
    map_file: Path | None,
    units: tuple[str, ...],
    job: int | None,
    by: str,
    store: str | None,
    as_json: bool,
) -> None:
    """Which stretch of LOG met which condition, by what margin, and what was just missed.

    A car's log or a GPX track; of a speed alone much cannot be told, and that is said. For a FOLDER: which of these
    drives hold what which monitor waits for.
    """
    if figure is not None and figure.suffix.lower() not in (".svg", ".png"):
        raise click.BadParameter(f"“{figure}” ends neither in .svg nor in .png", param_hint="--figure")
    given = {"soaked": soaked, "fuel_level": fuel, "ambient_temperature": ambient}
    one = _Checker(
        conditions=chosen(load_conditions(own).for_engine(diesel=diesel), names_of(wanted)),
        known={name: value for name, value in given.items() if value is not None},
        whole=whole,
        map_file=map_file,
        units=set_units(units),
        steps=plan_steps(Path(plan_file)) if plan_file else (),
    )
    inputs = {"log": str(log), "for": wanted, "plan": plan_file, "whole": whole, "diesel": diesel, "known": one.known}
    console = Console(highlight=False)
    if log.is_dir():
        if figure is not None or plan_file is not None or job is not None:
            raise click.UsageError("--figure, --plan and --job belong to one log, not to a folder.")
        found = drives_of(one.folder(log), tuple(one.conditions.monitors.values()))
        if as_json:
            click.echo(envelope("drive check", found, inputs=inputs, rests_on=found.rests_on).model_dump_json(indent=2))
        else:
            say_drives(console, found)
        return
    check, simulated = one.of(log)
    if figure is not None:
        _draw(check, figure, width)
    kept = record_drafts(
        store,
        job,
        [check_draft(check, _planned(store, job))],
        attachments=[log],
        by=by or None,
        inputs=inputs,
        simulated=simulated or None,
    )
    if as_json:
        made = envelope("drive check", check, inputs=inputs, simulated=simulated, rests_on=check.rests_on)
        click.echo(made.model_dump_json(indent=2))
        return
    say_check(console, check, simulated=simulated)
    if figure is not None:
        console.print(f"\nWritten: {figure}", markup=False, soft_wrap=True)
    if kept:
        console.print(f"\n{kept_line(job, kept)} Next: tickover job next {job}")


def _planned(store: str | None, job: int | None) -> tuple[str, ...]:
    """The monitors that the job's plan is for; none without a job or a plan."""
    if job is None:
        return ()
    with opened(store, create=False) as held:
        return planned_monitors(held.current(job))


def plan_steps(plan: Path) -> tuple[Condition, ...]:
    """The counted steps of a plan.

    Raises: InputError for a file that is no plan; RoutineFileError for the faults of one that is.
    """
    if not plan.is_file():
        raise InputError("there is no such file", file=str(plan), way_out=PLAN_WAY)
    if plan.suffix.lower() != ".toml":
        raise InputError("is no plan, which is a routine file and ends in .toml", file=str(plan), way_out=PLAN_WAY)
    return counted_steps(compile_routine(load_routine(plan)))


def chosen(conditions: Conditions, names: Sequence[str]) -> Conditions:
    """The conditions of some monitors; all where none is named."""
    if not names:
        return conditions
    monitors = {m.id: m for m in (conditions.monitor(name) for name in names)}
    wanted = {c for m in monitors.values() for c in m.conditions}
    return Conditions({i: c for i, c in conditions.conditions.items() if i in wanted}, monitors, conditions.holds)


class _Checker:
    """Checks logs with the same settings."""

    def __init__(
        self,
        *,
        conditions: Conditions,
        known: dict[str, float],
        whole: bool,
        map_file: Path | None,
        units: dict[str, str],
        steps: tuple[Condition, ...],
    ) -> None:
        self.conditions = conditions
        self.known = known
        self._whole = whole
        self._map_file = map_file
        self._units = units
        self._steps = steps

    def of(self, log: Path) -> tuple[DriveCheck, bool]:
        recording, _ = read_log_report(log, map_file=self._map_file, units=self._units)
        check = check_drive(recording, self.conditions, known=self.known, whole=self._whole, steps=self._steps)
        return check, recording.simulated

    def folder(self, folder: Path) -> list[DriveRow]:
        files = sorted(f for f in folder.iterdir() if f.suffix.lower() in LOGS and f.is_file())
        if not files:
            raise InputError("holds no log", file=str(folder), way_out=f"Logs end in {', '.join(LOGS)}.")
        rows = []
        for file in files:
            try:
                rows.append(row_of(self.of(file)[0]).model_copy(update={"file": file.name}))
            except TickoverError as why:
                rows.append(DriveRow(file=file.name, minutes=None, kilometres=None, monitors={}, verdicts={},
                                     why=why.what))  # fmt: skip
        return rows


def _draw(check: DriveCheck, figure: Path, width: int) -> None:
    if check.duration <= 0:
        raise click.UsageError("There is nothing to draw: the log has no length.")
    drawn = strip(check, [*check.steps, *check.conditions], room=width)
    write_figure(drawn, figure)


def say_check(console: Console, check: DriveCheck, *, simulated: bool = False) -> None:
    """The verdict line, every condition, the monitors, what it rests on."""
    met = [m for m in check.monitors if m.verdict == "met"]
    minutes = check.duration / 60
    km = check.distance
    console.rule(style="dim", characters="━")
    head = f" {check.file}: {minutes:.0f} min"
    if isinstance(km, Quantity):
        head += f", {km.value:.1f} km"
    if simulated:
        head += ", an invented car"
    console.print(Text(head, style="bold"), soft_wrap=True)
    held = ", ".join(m.title.lower() if m.title != "EGR" else m.title for m in met) or "none of them"
    console.print(Padding(f"The drive held what these wait for: {held}.", (0, 3)))
    console.rule(style="dim", characters="━")
    for rows, title in ((check.steps, "The plan, step by step"), (check.conditions, "Stretches and conditions")):
        if rows:
            console.print(Text(f"\n {title}", style="underline"))
            say_list(console, [(f"{MARKS[c.verdict]} {c.title}", _line(c)) for c in rows], wide=24)
    console.print(Text("\n Monitors", style="underline"))
    say_list(console, [(f"{MARKS[m.verdict]} {m.title}", m.words) for m in check.monitors], wide=24)
    console.print()
    if check.counter is not None:
        say_list(console, [("warm-up counter", check.counter.words)], wide=24)
    say_list(console, [("rests on", r) for r in check.rests_on], wide=24)
    ways = dict.fromkeys(c.cannot.way_out for c in check.conditions if c.cannot is not None and c.cannot.way_out)
    say_list(console, [("to tell more", w) for w in ways], wide=24)


def _line(c: ConditionFound) -> str:
    """Outcome, then what was asked and what that rests on."""
    near = f" {c.closest[:1].upper()}{c.closest[1:]}." if c.closest else ""
    return f"{c.words}{near} ({c.asks}. {c.basis})"


def say_drives(console: Console, drives: Drives) -> None:
    """Many drives as a table of words, and which of them would set what."""
    table = Table("drive", "min", "km", *drives.titles.values(), show_edge=False)
    for r in drives.rows:
        if r.why:
            table.add_row(Text(r.file), "", "", Text(f"not read: {r.why}"), *[""] * (len(drives.titles) - 1))
            continue
        km = f"{r.kilometres:.1f}" if r.kilometres is not None else ""
        table.add_row(Text(r.file), f"{r.minutes:.0f}", km, *[Text(r.monitors.get(n, "")) for n in drives.titles])
    console.print(table)
    console.print()
    for sentence in best_rows(drives).values():
        console.print(Padding(Text(sentence), (0, 1)))
    console.print()
    say_list(console, [("rests on", r) for r in drives.rests_on])
