"""``tickover idle``: measure an idle from a log, or compare two."""

from __future__ import annotations

import re
from pathlib import Path

import click
import numpy as np
from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from tickover.cli import idle_draw
from tickover.cli.idle_job import InJob
from tickover.cli.job_store import by_option, job_option, kept_line, store_option
from tickover.idle import parse_glances, read_glances, words
from tickover.idle.compare import compare
from tickover.idle.results import Comparison, IdleReading
from tickover.logs import LogReport, read_log_report, set_units
from tickover.results import CannotTell, Quantity, envelope
from tickover.signals import Recording
from tickover.visit.measuring import SEED, idle_of, in_own_unit


class Normal(click.ParamType[tuple[float, float]]):
    """A range of speeds, ``650-750``."""

    name = "lo-hi"

    def convert(self, value: object, param: click.Parameter | None, ctx: click.Context | None) -> tuple[float, float]:
        """Turn the text into two numbers."""
        if isinstance(value, tuple):
            return float(value[0]), float(value[1])
        found = re.fullmatch(r"\s*(\d+(?:\.\d+)?)\s*[-–]\s*(\d+(?:\.\d+)?)\s*", str(value))
        if found is None or not 0 < float(found[1]) < float(found[2]):
            self.fail(f"“{value}” is not a range of r/min, lowest first; write it like 650-750", param, ctx)
        return float(found[1]), float(found[2])


@click.command("idle")
@click.argument("log", type=click.Path(path_type=Path), required=False)
@click.option("--against", metavar="LOG", help="An earlier log of the same car to compare with, or glances.")
@click.option("--glances", metavar="NUMBERS", help="Instead of LOG: ten glances at the tachometer, “700 720 690 …”.")
@click.option("--normal", type=Normal(), help="The car's normal idle [r/min], like 650-750.")
@click.option("--displacement", type=click.FloatRange(0.05, 20), help="Displacement of the engine [l], like 1.5.")
@click.option("--diesel", is_flag=True, help="The engine is a diesel.")
@click.option("--figure", type=click.Path(path_type=Path), help="Draw it into FILE.svg or FILE.png.")
@click.option("--page", "page_file", type=click.Path(path_type=Path), help="Write one offline page, FILE.html.")
@click.option(
    "--map", "map_file", type=click.Path(path_type=Path), help="A small TOML file: column to signal and unit."
)
@click.option("--set-unit", "units", metavar="COLUMN=UNIT", multiple=True, help="The unit a column is in; repeatable.")
@click.option("--report", is_flag=True, help="Say what the reader did with every column and row.")
@job_option
@by_option
@store_option
@click.option("--json", "as_json", is_flag=True, help="Print the result for programs.")
def idle_command(
    log: Path | None,
    against: str | None,
    glances: str | None,
    normal: tuple[float, float] | None,
    displacement: float | None,
    diesel: bool,
    figure: Path | None,
    page_file: Path | None,
    map_file: Path | None,
    units: tuple[str, ...],
    report: bool,
    job: int | None,
    by: str,
    store: str | None,
    as_json: bool,
) -> None:
    """Measure the idle in LOG, with its uncertainty and what cannot be told from it.

    With --against, LOG is the idle after and the other one the idle before. With --job the reading is kept in the job;
    after a relearn it is compared with the one that the job holds from before.
    """
    if (log is None) == (glances is None):
        raise click.UsageError("Name a LOG, or give --glances “700 720 690 …”; one of the two.")
    idle_draw.check_names(figure, page_file)
    held = InJob(store, job, by)
    normal, displacement = normal or held.normal, displacement or held.displacement
    one = _Source(diesel=diesel, displacement=displacement, map_file=map_file, units=set_units(units))
    reading, recording, log_report = one.by_eye(glances) if glances is not None else one.of(Path(str(log)))
    found: Comparison | None = None
    before: IdleReading | CannotTell | None = None
    earlier: Recording | None = None
    if against is not None:
        before, earlier, _ = one.of_either(against)
        found = compare(before, reading, normal=normal)
    elif job is not None:
        before = held.before
        found = held.compared(reading, normal)
    drawn = idle_draw.Drawn(reading, recording, found, before, normal)
    written = idle_draw.write(drawn, figure, page_file)
    simulated = any(r is not None and r.simulated for r in (recording, earlier))
    inputs = {"log": str(log or glances), "against": against, "displacement": displacement, "seed": SEED}
    kept = held.keep(reading, found, normal, files=[log] if log else [], inputs=inputs, simulated=simulated)
    if as_json:
        click.echo(_json(found or reading, str(log or glances), against, normal, simulated, displacement))
        return
    console = Console(highlight=False)
    if found is not None:
        say_comparison(console, found)
    say_reading(console, reading, normal)
    if log_report is not None:
        say_log(console, log_report, whole=report)
    for path in written:
        console.print(f"\nWritten: {path}", markup=False, soft_wrap=True)
    if kept:
        console.print(f"\n{kept_line(job, kept)} Next: tickover job next {job}")


class _Source:
    """Readings from a log or from glances, with the same settings."""

    def __init__(
        self, *, diesel: bool, displacement: float | None, map_file: Path | None, units: dict[str, str]
    ) -> None:
        self._diesel = diesel
        self._displacement = displacement
        self._map_file = map_file
        self._units = units

    def of(self, log: Path) -> tuple[IdleReading | CannotTell, Recording | None, LogReport | None]:
        recording, report = read_log_report(
            log, map_file=self._map_file, units=self._units, displacement=self._displacement
        )
        recording, report = in_own_unit(recording, report)
        rng = np.random.default_rng(SEED)
        reading = idle_of(recording, rng, file=str(log), diesel=self._diesel, displacement=self._displacement)
        return reading, recording, report

    def by_eye(self, text: str) -> tuple[IdleReading | CannotTell, Recording | None, LogReport | None]:
        values = parse_glances(text)
        if values is None:
            raise click.BadParameter(f"“{text}” is not a row of numbers; write them like “700 720 690”")
        try:
            return read_glances(values), None, None
        except ValueError as why:
            raise click.BadParameter(str(why)) from None

    def of_either(self, text: str) -> tuple[IdleReading | CannotTell, Recording | None, LogReport | None]:
        if not Path(text).exists() and parse_glances(text) is not None:
            return self.by_eye(text)
        return self.of(Path(text))


def _json(
    result: Comparison | IdleReading | CannotTell,
    log: str,
    against: str | None,
    normal: tuple[float, float] | None,
    simulated: bool,
    displacement: float | None,
) -> str:
    inputs = {
        "log": log,
        "against": against,
        "normal": list(normal) if normal else None,
        "displacement": displacement,
        "seed": SEED,
    }
    rests_on = () if isinstance(result, CannotTell) else result.rests_on
    return envelope("idle", result, inputs=inputs, simulated=simulated, rests_on=rests_on).model_dump_json(indent=2)


def say_comparison(console: Console, found: Comparison) -> None:
    """The verdict line: word, sentence, difference, what it rests on."""
    console.rule(style="dim", characters="━")
    mark = "┄" if found.verdict == "cannot tell" else "◆"
    console.print(Text(f" {mark} {found.verdict}", style="bold"))
    console.print(Padding(found.sentence, (0, 3)))
    _line(console, found.after, found.normal)
    _list(console, [("difference", words.difference_words(found)), *(("rests on", r) for r in found.rests_on)])
    _numbers(console, found)
    if isinstance(found.difference, CannotTell) and found.difference.way_out:
        _list(console, [("way out", found.difference.way_out)])
    console.rule(style="dim", characters="━")


def _numbers(console: Console, found: Comparison) -> None:
    """The numbers behind the verdict, before and after side by side."""
    table = Table.grid(padding=(0, 2))
    table.add_column(min_width=17, no_wrap=True)
    for what, before, after in (("", "before", "after"), *words.numbers(found)):
        table.add_row(
            Text(what, style="dim"), Text(before, style="" if what else "dim"), Text(after, style="" if what else "dim")
        )
    if table.row_count > 1:
        console.print(Padding(table, (1, 3, 0, 3)))


def say_reading(console: Console, reading: IdleReading | CannotTell, normal: tuple[float, float] | None) -> None:
    """The reading card: figure first, then the line, the list, what it rests on, and what it cannot tell."""
    if isinstance(reading, CannotTell):
        console.print(Text("Cannot tell the idle", style="bold"))
        console.print(Padding(words.cannot_tell(reading), (0, 3)))
        return
    for state in reading.states:
        console.print()
        figure = words.plus_minus(state.speed) if isinstance(state.speed, Quantity) else "cannot tell"
        console.print(Text.assemble((f" {figure}", "bold"), " r/min"))
        console.print(Padding(f"{words.conditions(state)}, 95 %", (0, 3)))
        band = None if state.name == "loads on" else normal
        _line(console, state.speed, band)
        if band is not None and isinstance(state.speed, Quantity):
            _list(console, [("normal", words.against_normal(state.speed, band))])
        _list(console, words.rows(reading, state))
    if words.more(reading):
        console.print()
        _list(console, words.more(reading))
    console.print()
    _list(console, [("rests on", r) for r in reading.rests_on])
    _list(console, [("┄ cannot tell", words.cannot_tell(r)) for r in reading.refusals])


def _line(console: Console, measured: Quantity | CannotTell, normal: tuple[float, float] | None) -> None:
    if isinstance(measured, Quantity):
        drawn = words.ruled_line(measured, normal, width=min(60, console.width - 6))
        console.print(Padding(Text(f"{drawn.rule}\n{drawn.scale}"), (0, 3)))


def _list(console: Console, rows: list[tuple[str, str]] | tuple[tuple[str, str], ...]) -> None:
    table = Table.grid(padding=(0, 2))
    table.add_column(min_width=17, no_wrap=True)
    table.add_column(overflow="fold")
    last = ""
    for what, text in rows:
        table.add_row(Text(what if what != last else "", style="dim"), Text(text))
        last = what
    if table.row_count:
        console.print(Padding(table, (0, 3)))


def say_log(console: Console, report: LogReport, *, whole: bool) -> None:
    """What the reader did with the file; every column where asked for."""
    console.print()
    _list(console, [("the log", s) for s in report.sentences()])
    if not whole:
        return
    console.print()
    rows = [
        ("columns", f"{c.header} → {c.name} [{c.unit}]{'' if c.unit_given else ', unit assumed'}"
                    f"{', guessed' if c.guessed else ''}")
        for c in report.used
    ]  # fmt: skip
    rows += [("left out", f"{c.header}: {c.reason}") for c in report.left]
    rows += [("broken rows", f"line {b.line}: {b.what}") for b in report.broken]
    rows += [("doubtful", s.sentence()) for s in report.suspicions]
    rows += [
        ("measured every", f"{name}: {seconds:.3g} s, {report.refreshes.get(name, 0)} times")
        for name, seconds in report.refresh_period.items()
    ]
    rows += [
        (
            "rows",
            f"{report.rows_in} in = {report.rows_out} used + {len(report.broken)} broken + {report.backward} "
            f"backward + {report.frozen_tail} frozen; {report.blank_lines} blank lines",
        ),
        ("key on", f"{report.key_on_rows} rows before the engine turned"),
        ("time", f"{report.time_base}: {report.time_why}"),
    ]
    _list(console, rows)
