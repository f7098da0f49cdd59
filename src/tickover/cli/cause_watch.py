"""``tickover watch``: does a healed idle stay well, drive by drive."""

from __future__ import annotations

import re
from pathlib import Path

import click
from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from tickover.cli.cells import number_in, rows_of, text_of
from tickover.cli.job_store import by_option, job_option, kept_line, record, store_option
from tickover.drawing.figures import in_words
from tickover.errors import Fault, InputError
from tickover.idle.learning import Learning
from tickover.idle.relapse import Drive, Relapse, watch
from tickover.results import Quantity, envelope

COLUMNS = ("at", "trim", "spread", "misfires")
READINGS = {"trim", "spread", "misfires"}
SHAPE = "A first row like trim,spread,misfires, then a row a drive, read at warm idle: trim [%], spread [r/min]."


def read_drives(path: Path) -> list[Drive]:
    """Drives from a table with a header.

    Args:
        path: parted by commas, semicolons or tabs; columns ``at`` (hours of running, or the drive's number; rows are
            counted without it), ``trim`` [%], ``spread`` [r/min], ``misfires``; others are left aside. An empty cell is
            a reading that is missing.
    Raises: InputError with every fault of the file.
    """
    rows = list(rows_of(text_of(path, "Name a table of drives.")))
    found = rows[0][1] if rows else []
    places = {re.split(r"[\[(]", name)[0].strip().lower(): k for k, name in enumerate(found)}
    if not READINGS & set(places):
        what = f"no column is called trim, spread or misfires; it has {', '.join(found)}" if found else "is empty"
        raise InputError(what, file=str(path), line=rows[0][0] if rows else None, way_out=SHAPE)
    if len(rows) == 1:
        raise InputError("has a header and no drive", file=str(path), way_out=SHAPE)
    drives: list[Drive] = []
    faults: list[Fault] = []
    for number, (line, cells) in enumerate(rows[1:], start=1):
        filled = len(cells) - next((k for k, c in enumerate(reversed(cells)) if c), len(cells))
        if filled > len(found):
            faults.append(Fault(line, f"has {filled} cells, the first row names {len(found)} columns", _PARTED))
            continue
        given: dict[str, float] = {"at": float(number)}
        for name in COLUMNS:
            cell = cells[places[name]] if name in places and places[name] < len(cells) else ""
            told = f"column {name}: “{cell[:40]}”"
            try:
                given |= {name: _cell(name, cell)} if cell else {}
            except ValueError as why:
                faults.append(Fault(line, f"{told} {why}", _RIGHT[name]))
        if drives and given["at"] <= drives[-1].at:
            faults.append(
                Fault(
                    line,
                    f"column at: {given['at']:g} does not come after {drives[-1].at:g} of the drive before",
                    "Put the drives in their order; each has a larger at than the one before. Without the column at "
                    "the rows are counted.",
                )
            )
        drives.append(Drive(**given))
    if faults:
        others = sorted({f.line for f in faults[1:] if f.line is not None})
        more = f" (and {len(faults) - 1} more: lines {', '.join(map(str, others[:5]))})" if others else ""
        first = faults[0]
        raise InputError(f"{first.what}{more}", file=str(path), line=first.line, way_out=first.way_out)
    return drives


_PARTED = "Write decimals with a point, or part the cells by semicolons."
_BOUNDS = {"at": (-1e9, 1e9), "trim": (-60.0, 60.0), "spread": (0.0, 500.0), "misfires": (0.0, 65535.0)}
_RIGHT = {
    "at": "Write hours of running or the drive's number, like 12.5.",
    "trim": "Write short and long trim together, from -60 to 60 %, like 3.5; leave the cell empty where it was not "
    "read.",
    "spread": "Write it in r/min, above 0 and up to 500, like 7.5; leave the cell empty where it was not read.",
    "misfires": "Write the counter, from 0 to 65535, like 17; leave the cell empty where it was not read.",
}
"""What would be right in each column; the bounds are those of the evidence that it may become."""


def _cell(name: str, cell: str) -> float:
    """One reading.

    Raises: ValueError with what is wrong with it.
    """
    try:
        value = number_in(cell)
    except ValueError:
        raise ValueError("is no number") from None
    low, high = _BOUNDS[name]
    if not low <= value <= high or (name == "spread" and value == 0):
        raise ValueError("cannot be")
    return value


RATE = click.FloatRange(0, 0.5, min_open=True, max_open=True)
"""A chance of error; at 0.5 one might as well throw a coin."""


@click.command("watch")
@click.argument("table", type=click.Path(path_type=Path))
@click.option(
    "--normal-trim",
    type=click.FloatRange(-60, 60),
    help="Idle trim right after it was healed [%]; without it the trim is not watched.",
)
@click.option(
    "--normal-spread",
    type=click.FloatRange(0, 500, min_open=True),
    help="Spread (standard deviation) of the warm idle's speed then [r/min]; without it the spread is not watched.",
)
@click.option(
    "--alpha",
    type=RATE,
    default=0.05,
    show_default=True,
    help="Chance of calling a well idle come back, as a share like 0.05.",
)
@click.option(
    "--beta",
    type=RATE,
    default=0.05,
    show_default=True,
    help="Chance of missing one that came back, as a share like 0.05.",
)
@click.option(
    "--below",
    type=click.FloatRange(0, 65535, min_open=True),
    default=10.0,
    show_default=True,
    help="Level [count] that the misfire counter is to fall below.",
)
@job_option
@by_option
@store_option
@click.option("--json", "as_json", is_flag=True, help="Print the result for programs.")
def watch_command(
    table: Path,
    normal_trim: float | None,
    normal_spread: float | None,
    alpha: float,
    beta: float,
    below: float,
    job: int | None,
    by: str,
    store: str | None,
    as_json: bool,
) -> None:
    """Watch a healed idle for a relapse: TABLE has a row a drive, with trim, spread or misfires at warm idle.

    It decides as soon as enough was seen, says how many drives that takes, and where a trim that still learns will end.
    """
    found = watch(
        read_drives(table), normal_trim=normal_trim, normal_spread=normal_spread, alpha=alpha, beta=beta, below=below
    )
    inputs = {
        "table": str(table),
        "normal_trim": normal_trim,
        "normal_spread": normal_spread,
        "alpha": alpha,
        "beta": beta,
        "below": below,
    }
    kept = record(store, job, "drive", "watch", found, attachments=[table], by=by or None, inputs=inputs)
    if as_json:
        click.echo(envelope("watch", found, inputs=inputs, rests_on=found.rests_on).model_dump_json(indent=2))
        return
    say_watch(Console(highlight=False), found)
    if kept:
        click.echo(f"\n{kept_line(job, kept)} Next: tickover job next {job}")


def say_watch(console: Console, found: Relapse) -> None:
    """The answer first, then quantity by quantity, then what it rests on."""
    mark = "┄" if found.verdict == "watch on" else "◆"
    head = Table.grid(padding=(0, 1))
    head.add_column(no_wrap=True)
    head.add_column(overflow="fold")
    head.add_row(Text(f" {mark}", style="bold"), Text(found.sentence, style="bold"))
    console.print(head)
    rows = [("watched", w.says[0].upper() + w.says[1:]) for w in found.watched]
    learning = found.learning
    if isinstance(learning, Learning):
        rows.append(("the trim learns", learning.says))
        rows.append(("learned", _learned(learning)))
    elif any(w.what == "idle trim" for w in found.watched):
        rows.append(("the trim's end", f"┄ cannot tell. {learning.reason} {learning.way_out}".strip()))
    if found.counter_says:
        rows.append(("misfire counter", found.counter_says))
    rows += [("rests on", r) for r in found.rests_on]
    grid = Table.grid(padding=(0, 2))
    grid.add_column(min_width=15, no_wrap=True)
    grid.add_column(overflow="fold")
    last = ""
    for what, text in rows:
        grid.add_row(Text(what if what != last else "", style="dim"), Text(text))
        last = what
    console.print(Padding(grid, (0, 3)))


def _learned(learning: Learning) -> str:
    at: Quantity = learning.learned_at
    return f"within 1 % of its end by {in_words(at.value, at.lo, at.hi)} (drives, or hours of the column at)"
