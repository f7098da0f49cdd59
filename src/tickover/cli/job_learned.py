"""``tickover job learned``: what the shop's own jobs say of its routines, its minutes and its relapses."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

import click
from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from tickover.cli.job_store import JOB, opened, store_option
from tickover.results import CannotTell, Measured, Quantity, envelope
from tickover.routines import load_library
from tickover.visit.rules import known
from tickover.visit.shop import NOT_KNOWN, KindOfCar, ShopLearning, kind_of_car, learn, outcomes


@click.command("learned")
@click.option("--like", "job", type=JOB, metavar="N", help="For cars of the kind of job N.")
@click.option("--throttle", default=NOT_KNOWN, help="Kind of car: electronic or cable.")
@click.option("--metering", default=NOT_KNOWN, help="Kind of car: air meter or manifold pressure.")
@click.option("--story", default=NOT_KNOWN, help="Kind of car: which story of the memory.")
@click.option("--simulated", is_flag=True, help="Count jobs on invented cars too.")
@click.option("--folder", type=click.Path(path_type=Path), help="Folder with routine files of your own.")
@store_option
@click.option("--json", "as_json", is_flag=True, help="Print the result as JSON.")
def learned_command(
    job: int | None,
    throttle: str,
    metering: str,
    story: str,
    simulated: bool,
    folder: Path | None,
    store: str | None,
    as_json: bool,
) -> None:
    """What this shop's own jobs say: how often each routine worked, minutes a stage, relapses; all with their range.

    The ladder of `tickover arrive --job N` goes by the same figures. With few jobs it says how few.
    """
    library = load_library(folder)
    with opened(store, create=False, read_only=True) as held:
        every = {str(j.job): held.entries(j.job) for j in held.jobs()}
        kind = KindOfCar(throttle=throttle, metering=metering, story=story)
        if job is not None:
            kind = kind_of_car(held.entries(job))
    now = datetime.now().astimezone()
    found = learn(outcomes(every, now, preparing=known(library).preparing, simulated=simulated), kind, library)
    if as_json:
        inputs = {"jobs": len(every), "simulated": simulated}
        click.echo(envelope("job learned", found, inputs=inputs, rests_on=found.rests_on).model_dump_json(indent=2))
        return
    _say(Console(highlight=False), found)


def _say(console: Console, found: ShopLearning) -> None:
    console.print(Text(found.sentence, style="bold"))
    console.print(Text(f"For: {found.kind_of_car.words}", style="dim"))
    counted = [(name, r.sentence) for name, r in found.routines.items() if r.rounds_anywhere]
    rows = counted or [("routines", "None was counted yet: it is, as jobs with an idle before and after are recorded.")]
    rows += [(f"minutes, {stage}", _words(m)) for stage, m in found.minutes.items() if not isinstance(m, CannotTell)]
    rows.append(("relapses", _relapses(found.relapses)))
    rows += [("rests on", r) for r in found.rests_on]
    table = Table.grid(padding=(0, 2))
    table.add_column(min_width=18, no_wrap=True)
    table.add_column(overflow="fold")
    last = ""
    for what, text in rows:
        table.add_row(Text(what if what != last else "", style="dim"), Text(text))
        last = what
    console.print(Padding(table, (1, 1, 0, 1)))


def _words(measured: Measured) -> str:
    if isinstance(measured, CannotTell):
        return f"cannot tell: {measured.reason}. {measured.way_out}"
    if measured.lo is None or measured.hi is None:
        return f"{measured.value:.2g} {measured.unit}; too few for a range"
    return f"{measured.value:.2g} {measured.unit} ({measured.lo:.2g} to {measured.hi:.2g}, {measured.level:.0%})"


def _relapses(measured: Measured) -> str:
    """Relapses a car and 100 days; a range that goes past one in ten days says nothing yet."""
    if isinstance(measured, Quantity) and measured.hi is not None and measured.hi > 10:
        return "cannot tell: the settled cars have not been out for long enough to say"
    if isinstance(measured, CannotTell):
        return _words(measured)
    lo, hi = (0.0 if end is None else end for end in (measured.lo, measured.hi))
    return f"{measured.value:.2g} a settled car in 100 days ({lo:.2g} to {hi:.2g}, {measured.level:.0%})"
