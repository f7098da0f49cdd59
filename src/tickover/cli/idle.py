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

from tickover.idle import words
from tickover.idle.compare import compare
from tickover.idle.reading import read_idle
from tickover.idle.results import Comparison, IdleReading
from tickover.logs import LogReport, read_log_report
from tickover.results import CannotTell, Quantity, envelope
from tickover.signals import Recording

_SEED = 20  # the bootstrap's seed: the same log always gives the same figures


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
@click.argument("log", type=click.Path(path_type=Path))
@click.option("--against", type=click.Path(path_type=Path), help="An earlier log of the same car to compare with.")
@click.option("--normal", type=Normal(), help="The car's normal idle [r/min], like 650-750.")
@click.option("--diesel", is_flag=True, help="The engine is a diesel.")
@click.option("--report", is_flag=True, help="Say what the reader did with every column and row.")
@click.option("--json", "as_json", is_flag=True, help="Print the result for programs.")
def idle_command(
    log: Path, against: Path | None, normal: tuple[float, float] | None, diesel: bool, report: bool, as_json: bool
) -> None:
    """Measure the idle in LOG, with its uncertainty and what cannot be told from it.

    With --against, LOG is the idle after and the other one the idle before.
    """
    after, after_report = read_log_report(log)
    reading = read_idle(after, np.random.default_rng(_SEED), diesel=diesel)
    found: Comparison | None = None
    before: Recording | None = None
    if against is not None:
        before = read_log_report(against)[0]
        found = compare(read_idle(before, np.random.default_rng(_SEED), diesel=diesel), reading, normal=normal)
    if as_json:
        click.echo(_json(found or reading, log, against, normal, after.simulated or bool(before and before.simulated)))
        return
    console = Console(highlight=False)
    if found is not None:
        say_comparison(console, found)
    say_reading(console, reading, normal)
    say_log(console, after_report, whole=report)


def _json(
    result: Comparison | IdleReading | CannotTell,
    log: Path,
    against: Path | None,
    normal: tuple[float, float] | None,
    simulated: bool,
) -> str:
    inputs = {
        "log": str(log),
        "against": str(against) if against else None,
        "normal": list(normal) if normal else None,
        "seed": _SEED,
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
    if isinstance(found.difference, CannotTell) and found.difference.way_out:
        _list(console, [("way out", found.difference.way_out)])
    console.rule(style="dim", characters="━")


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
        _line(console, state.speed, None if state.name == "loads on" else normal)
        _list(console, words.rows(reading, state))
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
    rows += [("time", f"{report.time_base}: {report.time_why}")]
    _list(console, rows)
